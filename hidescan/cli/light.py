"""The command that reads a hide's thickness from light: `light`."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hidescan.basics.errors import BadInput
from hidescan.cli.options import MapFile, PhotoFile, Units, UnitsOption

if TYPE_CHECKING:
    from hidescan.hide_map.model import HideMap, LightInput
    from hidescan.light.reading import LightReading
    from hidescan.settings import Settings


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(light)


def light(
    map_file: MapFile,
    backlit: Annotated[Path, typer.Argument(help="Photo of the hide held flat against a window or a lit table.")],
    empty: Annotated[Path | None, typer.Option(help="The same pane without the hide, from the same place.")] = None,
    gauge: Annotated[list[str] | None, typer.Option(help="A gauge reading at a photo pixel: X,Y:1.8mm.")] = None,
    mirrored: Annotated[
        bool | None, typer.Option(help="Whether the photo shows the face that the map does not.", show_default=False)
    ] = None,
    photo: PhotoFile = None,
    units: UnitsOption = Units.ft,
) -> None:
    """Read a hide's thickness from the light that comes through it; its map becomes a new revision.

    In mm from three gauge readings on; with fewer, how thin each part is beside the rest. Lamps get hot: keep them
    off the leather, never heat wet leather, and do not look into the sun.
    """
    from hidescan.cli.parsing import gauge as reading
    from hidescan.hide_map.model import Inputs
    from hidescan.hide_map.revisions import read_map
    from hidescan.light.report import light_lines
    from hidescan.many.one_photo import edit_one
    from hidescan.settings import Settings

    settings = Settings()
    old = read_map(map_file)
    if len(old.photos) > 1:
        raise BadInput(f"{map_file}: was joined from several photos. Give the map of one photo.")
    given, read = _read(backlit, empty, mirrored, old, settings)
    readings = tuple(reading(text, settings.thickness.reading_u_mm) for text in gauge or ())
    at = photo or map_file.parent / old.photo.file
    new = edit_one(map_file, at, Inputs(light=given, gauge=readings), {}, settings, units=units.value)
    name = map_file.name.removesuffix(".hide.json")
    print("\n".join(light_lines(name, new, read, units.value)))
    print(f"  revision {new.revision} of {map_file}")


def _read(
    backlit: Path, empty: Path | None, mirrored: bool | None, old: "HideMap", settings: "Settings"
) -> "tuple[LightInput, LightReading]":
    from hidescan.basics.errors import NotFound
    from hidescan.hide_map.model import LightInput
    from hidescan.light.reading import as_rows, read_light
    from hidescan.photo.reading import read_photo

    seen = read_photo(backlit, settings.photo)
    if seen.sha256 == old.photo.sha256:
        raise BadInput(f"{backlit}: is the photo that the map was made from. Give one with light behind the hide.")
    bare = None if empty is None else read_photo(empty, settings.photo).rgb
    read = read_light(seen.rgb, old, settings.light, bare, mirrored)
    if isinstance(read, NotFound):
        raise BadInput(f"{backlit}: {read}")
    return LightInput(seen.file, seen.sha256, read.step_px, read.u, read.mirrored, as_rows(read.density)), read
