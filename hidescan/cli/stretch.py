"""The command that compares maps of one hide: `stretch`."""

import sys
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hidescan.basics.errors import BadInput

if TYPE_CHECKING:
    from hidescan.stretch.comparison import Mapped


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(stretch)


def stretch(
    before: Annotated[Path, typer.Argument(help="Map before.", show_default=False)],
    after: Annotated[list[Path], typer.Argument(help="Maps after each pass, in order.", show_default=False)],
    photo: Annotated[
        list[Path] | None, typer.Option(help="Photos of the maps, where they are not beside them.")
    ] = None,
    new_prints: Annotated[
        bool, typer.Option("--new-prints", help="The cards were printed anew in between, under the same numbers.")
    ] = False,
    out: Annotated[Path | None, typer.Option("-o", "--out", help="Picture to write; else beside the last map.")] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a picture that is there.")] = False,
) -> None:
    """Say what a hide gained, along and across the back; dots inked before wetting are found by themselves."""
    from hidescan.basics.atomic_files import write_whole
    from hidescan.settings.uses import DotSettings, StretchSettings
    from hidescan.stretch.comparison import gain
    from hidescan.stretch.picture import picture
    from hidescan.stretch.report import report

    target = out or after[-1].with_name(f"{_name(after[-1])}.stretch.png")
    if target.exists() and not force:
        raise BadInput(f"{target} is already there. Write over it with --force, or choose another with -o.")
    maps = [_mapped(path, photo or []) for path in (before, *after)]
    settings, dots = StretchSettings(), DotSettings()
    passes = tuple(gain(first, second, settings, dots, new_prints=new_prints) for first, second in pairwise(maps))
    total = passes[0] if len(passes) == 1 else gain(maps[0], maps[-1], settings, dots, new_prints=new_prints)
    print("\n".join(report(passes, total)))
    write_whole(target, picture(total))
    print(f"  written {target}")


def _mapped(path: Path, photos: list[Path]) -> "Mapped":
    """A map with the dots in its photo; without the photo it is compared by its outline."""
    from hidescan.hide_map.revisions import read_map
    from hidescan.pictures.source_pixels import pixels_of_map
    from hidescan.settings import Settings
    from hidescan.settings.uses import DotSettings
    from hidescan.stretch.comparison import Mapped
    from hidescan.stretch.dots import find_dots

    hide_map = read_map(path)
    given = next((p for p in photos if p.name == hide_map.photo.file), None)
    try:
        pictured, rgb = pixels_of_map(path, hide_map, given, Settings().photo)
    except BadInput as error:
        print(f"{error} Dots were not looked for.", file=sys.stderr)
        return Mapped(_name(path), hide_map)
    return Mapped(_name(path), hide_map, find_dots(rgb, pictured, DotSettings()))


def _name(path: Path) -> str:
    return path.name.removesuffix(".json").removesuffix(".hide")
