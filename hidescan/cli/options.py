"""Options that several commands share, each declared once."""

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from hidescan.basics.errors import BadInput
from hidescan.cli.groups import fact_options
from hidescan.hide_map.facts import HideFacts

Texts = dict[str, Any]  # what a person wrote of the facts, by field; None where nothing was given


class Units(StrEnum):
    """Which figures come first."""

    ft = "ft"
    metric = "metric"


class Paper(StrEnum):
    """Size of paper."""

    a4 = "a4"
    letter = "letter"


MapFile = Annotated[Path, typer.Argument(help="NAME.hide.json", show_default=False, metavar="MAP")]
PhotoFile = Annotated[Path | None, typer.Option(help="The map's photo, where it is not beside the map.")]
UnitsOption = Annotated[Units, typer.Option("--units", help="How figures are shown.")]
ForceOption = Annotated[bool, typer.Option("--force", help="Write over files that are there.")]
CardScale = Annotated[str | None, typer.Option(help="Measured / nominal of the two check bars: SX,SY.")]
Lens = Annotated[str | None, typer.Option(help="Lens profile; else one of yours that fits the EXIF.")]


@dataclass(frozen=True, slots=True)
class PhotoOptions:
    """What a person gives of a photo and of the cards in it, as written."""

    card_scale: CardScale = None
    tape: Annotated[list[str] | None, typer.Option(help="Tape between two cards' rings: 1-3:1842mm.")] = None
    lens: Lens = None
    neck: Annotated[str | None, typer.Option(help="A photo pixel toward the neck: X,Y.")] = None
    arrow: Annotated[int | None, typer.Option(help="Number of a card whose arrow points to the neck.")] = None
    inside: Annotated[list[str] | None, typer.Option(help="A photo pixel that is hide: X,Y.")] = None
    outside: Annotated[list[str] | None, typer.Option(help="A photo pixel that is not hide: X,Y.")] = None
    gauge: Annotated[list[str] | None, typer.Option(help="A gauge reading at a photo pixel: X,Y:1.8mm.")] = None
    gauge_file: Annotated[Path | None, typer.Option(help="CSV of gauge readings: x_px,y_px,value,unit.")] = None

    def of_one_photo(self) -> str | None:
        """The first option given that names a pixel of one photo; None where there is none."""
        pixels = ("neck", "inside", "outside", "gauge", "gauge_file")
        return next((f"--{name.replace('_', '-')}" for name in pixels if getattr(self, name)), None)


HideFactOptions = Annotated[Texts, fact_options(HideFacts)]


def file_text(path: Path, advice: str) -> str:
    """A file's text.

    Raises
    ------
    BadInput
        It cannot be read as text; `advice` says what to give.
    """
    from hidescan.basics.reading import read_text

    return read_text(path, advice)


def map_name(map_file: Path) -> str:
    """NAME of NAME.hide.json."""
    return map_file.name.removesuffix(".json").removesuffix(".hide")


def refuse_existing(paths: list[Path], *, force: bool) -> None:
    """Refuse to write over files that are there.

    Raises
    ------
    BadInput
        One is there, and `force` is off.
    """
    there = [path for path in paths if path.exists()]
    if there and not force:
        more = f" and {len(there) - 1} more are" if len(there) > 1 else " is"
        raise BadInput(f"{there[0]}{more} already there. Write over with --force, or choose another place with -o.")
