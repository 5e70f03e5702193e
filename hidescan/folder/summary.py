"""A run in one table and one picture: hides.csv, a line a photo, and contact-sheet.jpg."""

import csv
import io
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from hidescan.batch import picture_of
from hidescan.folder.run import Result
from hidescan.folder.settings import FolderSettings
from hidescan.folder.work import thumbnail

if TYPE_CHECKING:
    from PIL import ImageFont

TABLE = "hides.csv"
_COLUMNS = (
    "photo", "mapped", "reason", "map", "form", "net_mm2", "net_expanded_mm2", "usable_mm2", "length_mm", "width_mm",
    "marks", "warnings", "photo_sha256",
)  # fmt: skip


def table(results: Sequence[Result]) -> bytes:
    """The table, by photo name; the same results give the same bytes, whatever their order."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(_COLUMNS)
    for result in _by_name(results):
        made = result.hide_map
        if made is None:
            rows.writerow((result.photo.name, "no", result.reason, *[""] * (len(_COLUMNS) - 3)))
            continue
        m = made.measures
        figures = (
            m.area_net.value,
            m.area_net.expanded_uncertainty,
            m.area_usable.value,
            m.length.value,
            m.width.value,
        )
        marks = sum(mark.status != "rejected" for mark in made.marks)
        doubts = " ".join(warning.code for warning in made.warnings)
        shown = ("" if figure is None else f"{figure:.0f}" for figure in figures)
        rows.writerow(
            (result.photo.name, "yes", "", result.target.name, made.form.name, *shown, marks, doubts, made.photo.sha256)
        )
    return text.getvalue().encode()


def contact_sheet(results: Sequence[Result], settings: FolderSettings) -> bytes:
    """Every map in small with its photo's name under it, as a JPEG; a photo that was not mapped is a crossed blank.

    Pictures of photos that were done before are read from their files.
    """
    from PIL import Image, ImageDraw, ImageFont

    ordered, side = _by_name(results), settings.thumbnail_px
    columns = min(settings.most_columns, math.ceil(math.sqrt(len(ordered))))
    caption, gap = 22, 6
    wide, high = side + gap, side + caption + gap
    sheet = Image.new("RGB", (columns * wide + gap, math.ceil(len(ordered) / columns) * high + gap), (245, 244, 240))
    pen, font = ImageDraw.Draw(sheet), ImageFont.load_default(13)
    for number, result in enumerate(ordered):
        x, y = gap + number % columns * wide, gap + number // columns * high
        small = _small(result, side)
        if small is None:
            pen.rectangle((x, y, x + side, y + side), fill=(225, 222, 215))
            pen.line((x, y, x + side, y + side), fill=(150, 60, 40), width=3)
            pen.line((x + side, y, x, y + side), fill=(150, 60, 40), width=3)
        else:
            with Image.open(io.BytesIO(small)) as picture:
                sheet.paste(picture, (x + (side - picture.width) // 2, y + (side - picture.height) // 2))
        pen.text((x, y + side + 3), _shortened(result.photo.stem, font, side), fill=(40, 36, 30), font=font)
    out = io.BytesIO()
    sheet.save(out, "JPEG", quality=85)
    return out.getvalue()


def _by_name(results: Sequence[Result]) -> list[Result]:
    return sorted(results, key=lambda result: (result.photo.name, str(result.photo)))


def _shortened(text: str, font: "ImageFont.FreeTypeFont | ImageFont.ImageFont", width: int) -> str:
    """The text, its middle left out where it is wider than `width` px."""
    kept, short = len(text), text
    while kept > 2 and font.getlength(short) > width:
        kept -= 1
        short = f"{text[: kept // 2]}...{text[-(kept - kept // 2) :]}"
    return short


def _small(result: Result, side: int) -> bytes | None:
    if result.thumbnail is not None or result.hide_map is None:
        return result.thumbnail
    picture = picture_of(result.target, "map")
    return thumbnail(picture.read_bytes(), side)
