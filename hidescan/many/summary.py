"""A run in one table and one picture: hides.csv, a line a photo, and contact-sheet.jpg."""

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from hidescan.basics.own_pictures import stamped
from hidescan.basics.reading import read_bytes
from hidescan.basics.tables import csv_bytes
from hidescan.many.one_photo import picture_of
from hidescan.many.run import Result
from hidescan.many.settings import FolderSettings
from hidescan.many.task import thumbnail

if TYPE_CHECKING:
    from PIL import ImageFont

TABLE = "hides.csv"
_MOST_PICTURE_BYTES = 50_000_000
_COLUMNS = (
    "photo", "mapped", "reason", "map", "form", "net_mm2", "net_expanded_mm2", "usable_mm2", "length_mm", "width_mm",
    "marks", "warnings", "photo_sha256",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """What a summary needs of a photo: its line of the table and its small picture.

    A map takes a megabyte or more of memory; of 500 only this is kept.
    """

    photo: Path
    target: Path
    mapped: bool
    fault: bool
    cells: tuple[str, ...]
    thumbnail: bytes | None


def line_of(result: Result) -> Line:
    """A result's line."""
    return Line(
        result.photo, result.target, result.hide_map is not None, result.fault, _cells(result), result.thumbnail
    )


def table(lines: Sequence[Line]) -> bytes:
    """The table, by photo name; the same results give the same bytes, whatever their order."""
    return csv_bytes([_COLUMNS, *(line.cells for line in _by_name(lines))])


def _cells(result: Result) -> tuple[str, ...]:
    made = result.hide_map
    if made is None:
        return (result.photo.name, "no", str(result.reason), *[""] * (len(_COLUMNS) - 3))
    m = made.measures
    net, expanded = m.area_net.value, m.area_net.expanded_uncertainty
    figures = (net, expanded, m.area_usable.value, m.length.value, m.width.value)
    marks = sum(mark.status != "rejected" for mark in made.marks)
    doubts = " ".join(warning.code for warning in made.warnings)
    shown = ("" if figure is None else f"{figure:.0f}" for figure in figures)
    first = (result.photo.name, "yes", "", result.target.name, made.form.name)
    return (*first, *shown, str(marks), doubts, made.photo.sha256)


def contact_sheet(lines: Sequence[Line], settings: FolderSettings) -> bytes:
    """Every map in small with its photo's name under it, as a JPEG; a photo that was not mapped is a crossed blank.

    Pictures of photos that were done before are read from their files.
    """
    from PIL import Image, ImageDraw, ImageFont

    ordered, side = _by_name(lines), settings.thumbnail_px
    columns = min(settings.most_columns, math.ceil(math.sqrt(len(ordered))))
    caption, gap = 22, 6
    wide, high = side + gap, side + caption + gap
    sheet = Image.new("RGB", (columns * wide + gap, math.ceil(len(ordered) / columns) * high + gap), (245, 244, 240))
    pen, font = ImageDraw.Draw(sheet), ImageFont.load_default(13)
    for number, line in enumerate(ordered):
        x, y = gap + number % columns * wide, gap + number // columns * high
        small = _small(line, side)
        if small is None:
            pen.rectangle((x, y, x + side, y + side), fill=(225, 222, 215))
            pen.line((x, y, x + side, y + side), fill=(150, 60, 40), width=3)
            pen.line((x + side, y, x, y + side), fill=(150, 60, 40), width=3)
        else:
            with Image.open(io.BytesIO(small)) as picture:
                sheet.paste(picture, (x + (side - picture.width) // 2, y + (side - picture.height) // 2))
        pen.text((x, y + side + 3), _shortened(line.photo.stem, font, side), fill=(40, 36, 30), font=font)
    out = io.BytesIO()
    sheet.save(out, "JPEG", quality=85)
    return stamped(out.getvalue())


def _by_name(lines: Sequence[Line]) -> list[Line]:
    return sorted(lines, key=lambda line: (line.photo.name, str(line.photo)))


def _shortened(text: str, font: "ImageFont.FreeTypeFont | ImageFont.ImageFont", width: int) -> str:
    """The text, its middle left out where it is wider than `width` px."""
    kept, short = len(text), text
    while kept > 2 and font.getlength(short) > width:
        kept -= 1
        short = f"{text[: kept // 2]}...{text[-(kept - kept // 2) :]}"
    return short


def _small(line: Line, side: int) -> bytes | None:
    if line.thumbnail is not None or not line.mapped:
        return line.thumbnail
    return thumbnail(read_bytes(picture_of(line.target, "map"), _MOST_PICTURE_BYTES), side)
