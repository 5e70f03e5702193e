"""The command that maps photographed hides: `map`."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hidescan.basics.errors import BadInput
from hidescan.cli.groups import grouped
from hidescan.cli.many import BatchOptions, map_many
from hidescan.cli.options import HideFactOptions, PhotoOptions, Units, UnitsOption, map_name

if TYPE_CHECKING:
    from concurrent.futures import Future

    from hidescan.hide_map.model import HideMap
    from hidescan.photo.reading import Photo
    from hidescan.settings import Settings


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command(name="map")(grouped(map_))


def map_(
    photos: Annotated[list[Path], typer.Argument(help="Photos, or folders of photos.", show_default=False)],
    facts: HideFactOptions,
    of_photo: PhotoOptions,
    many: BatchOptions,
    out: Annotated[
        Path | None, typer.Option("-o", "--out", help="Folder for the maps; else beside each photo.")
    ] = None,
    hide: Annotated[str | None, typer.Option(help="A photo pixel on the hide to map, where there are several.")] = None,
    units: UnitsOption = Units.ft,
    fresh: Annotated[bool, typer.Option("--fresh", help="Forget what was given for this photo before.")] = False,
    force: Annotated[bool, typer.Option("--force", help="Write over the map of another photo.")] = False,
    join: Annotated[
        bool, typer.Option("--join", help="The photos show one hide that lay still, and its cards: make one map.")
    ] = False,
) -> None:
    """Map photographed hides: NAME.hide.json, the pictures .map.png, .zones.png and .marks.png, and a short summary."""
    from hidescan.settings import Settings

    settings = Settings()
    ahead = None if join or many.watch else _read_ahead(photos, settings)

    from hidescan.cli.parsing import inputs_from
    from hidescan.many.one_photo import Keeping, map_one, map_read, not_looked_into, photos_in

    found = [] if many.watch else photos_in(photos)
    for line in not_looked_into(photos):
        print(line, file=sys.stderr)
    if (many.asked or len(found) > 1) and (option := "--hide" if hide else of_photo.of_one_photo()):
        raise BadInput(f"{option} names a pixel of one photo; map that photo alone.")
    inputs = inputs_from(facts, of_photo, settings.thickness.reading_u_mm, hide=hide)
    keeping = Keeping(out, units.value, fresh, force)
    if join and many.asked:
        raise BadInput("--join makes one map here and now: leave --watch, --cluster, --to-shelf and --shelf away.")
    if join:
        from hidescan.many.joined_photos import join_photos

        written, hide_map = join_photos(found, inputs, keeping, settings)
    elif many.asked or len(found) > 1:
        raise typer.Exit(map_many(photos, found, inputs, keeping, settings, many))
    elif ahead is not None:
        written, hide_map = map_read(ahead.result(), found[0].parent, inputs, keeping, settings)
    else:
        written, hide_map = map_one(found[0], inputs, keeping, settings)
    _print_summary(map_name(written), hide_map, written, units, json=many.json)


def _read_ahead(photos: list[Path], settings: "Settings") -> "Future[Photo] | None":
    """Start on a photo that comes alone: it is decoded, and the networks are loaded, beside the imports to come."""
    if len(photos) != 1 or not photos[0].is_file():
        return None
    import gc
    from concurrent.futures import ThreadPoolExecutor

    from hidescan.outline.networks import load_ahead
    from hidescan.photo.reading import read_photo

    gc.disable()  # looking for circles among what one photo leaves takes longer than they are worth
    load_ahead()
    return ThreadPoolExecutor(1).submit(read_photo, photos[0], settings.photo)


def _print_summary(name: str, hide_map: "HideMap", written: Path, units: Units, *, json: bool) -> None:
    from hidescan.figures.summary import summary_lines
    from hidescan.hide_map.json_io import to_json

    if json:
        sys.stdout.write(to_json(hide_map).decode())
        return
    print("\n".join(summary_lines(name, hide_map, units.value)))
    print(f"  written {written}, and beside it {name}.map.png, .zones.png and .marks.png")
