"""The commands that take a map out of hidescan: `export` and `sheet`."""

import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hidescan.basics.errors import BadInput

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from hidescan.hide_map.model import HideMap


class Paper(StrEnum):
    """Paper to print on."""

    a4 = "a4"
    letter = "letter"


MapFile = Annotated[Path, typer.Argument(help="NAME.hide.json", show_default=False, metavar="MAP")]
PhotoFile = Annotated[Path | None, typer.Option(help="The map's photo, where it is not beside the map.")]
Force = Annotated[bool, typer.Option("--force", help="Write over files that are there.")]


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    app.command()(export)
    app.command()(sheet)


def export(
    map_file: MapFile,
    to: Annotated[str, typer.Option(help="Formats, with commas between: svg,dxf,geojson,csv,pdf,png.")],
    out: Annotated[Path | None, typer.Option("-o", "--out", help="Folder to write to; else beside the map.")] = None,
    mirror: Annotated[bool, typer.Option("--mirror", help="As seen from the other face, to cut from there.")] = False,
    paper: Annotated[Paper | None, typer.Option(help="Full-size PDF over sheets of a4 or letter.")] = None,
    photo: PhotoFile = None,
    force: Force = False,
) -> None:
    """Write a map's outline at true scale for cutting and costing."""
    from hidescan.basics.atomic_files import write_whole
    from hidescan.exports.formats import contents, file_names, formats
    from hidescan.hide_map.revisions import read_map

    chosen, hide_map, name = formats(to), read_map(map_file), _name(map_file)
    folder, size = out or map_file.parent, None if paper is None else paper.value
    targets = {form: [folder / file for file in file_names(form, name, mirror=mirror, paper=size)] for form in chosen}
    _refuse_existing([path for paths in targets.values() for path in paths], force=force)
    pictured, rgb, missing = hide_map, None, None
    if "png" in chosen:
        try:
            pictured, rgb = _pixels(map_file, hide_map, photo)
        except BadInput as error:
            missing = error
            del targets["png"]
    for form, paths in targets.items():
        drawn = pictured if form == "png" else hide_map
        for path, data in zip(paths, contents(form, drawn, name=name, mirror=mirror, paper=size, rgb=rgb), strict=True):
            write_whole(path, data)
            print(path)
    if missing is not None:
        print(f"{missing} The PNG was not written.", file=sys.stderr)
        raise typer.Exit(2)


class Units(StrEnum):
    """Which figures come first."""

    ft = "ft"
    metric = "metric"


def sheet(
    map_files: Annotated[list[Path], typer.Argument(help="One map, or several to compare.", metavar="MAP...")],
    out: Annotated[Path, typer.Option("-o", "--out", help="PDF to write.")],
    marked: Annotated[str | None, typer.Option(help='Area the seller marked: "11 2/4", 11.5ft2, 107dm2.')] = None,
    for_buyer: Annotated[bool, typer.Option("--for-buyer", help="Leave out price, seller, licence and place.")] = False,
    seller: Annotated[str, typer.Option(help="Who sells it.")] = "",
    price: Annotated[str, typer.Option(help="Price, with its currency.")] = "",
    licence: Annotated[str, typer.Option(help="Licence or tag of a wild hide.")] = "",
    place: Annotated[str, typer.Option(help="Where it is from.")] = "",
    paper: Annotated[Paper, typer.Option(help="Paper size.")] = Paper.a4,
    units: Annotated[Units, typer.Option(help="Which figures come first.")] = Units.ft,
    photo: PhotoFile = None,
    force: Force = False,
) -> None:
    """Write the one-page record of a hide, or one page that compares several."""
    from hidescan.basics.atomic_files import write_whole
    from hidescan.figures.marked_area import marked_area
    from hidescan.hide_map.revisions import read_map
    from hidescan.record import comparison as sheet_compare
    from hidescan.record import one_page as record

    written = None if marked is None else marked_area(marked)
    maps = [(path, read_map(path)) for path in map_files]
    _refuse_existing([out], force=force)
    if len(maps) > 1:
        if any((marked, seller, price, licence, place, photo)):
            raise BadInput("sheet: --marked, --seller, --price, --licence, --place and --photo belong to one hide.")
        named = [(_name(path), hide_map) for path, hide_map in maps]
        write_whole(out, sheet_compare.to_bytes(named, units=units.value, paper=paper.value))
        print(out)
        return
    (map_file, hide_map), rgb = maps[0], None
    try:
        hide_map, rgb = _pixels(map_file, hide_map, photo)
    except BadInput as error:
        print(f"{error} The sheet is drawn without it.", file=sys.stderr)
    deal = None if for_buyer else record.Deal(seller, price, licence, place)
    made = record.to_bytes(
        hide_map, name=_name(map_file), units=units.value, paper=paper.value, rgb=rgb, marked=written, deal=deal
    )
    write_whole(out, made)
    print(out)


def _name(map_file: Path) -> str:
    return map_file.name.removesuffix(".json").removesuffix(".hide")


def _refuse_existing(paths: list[Path], *, force: bool) -> None:
    there = [path for path in paths if path.exists()]
    if there and not force:
        more = f" and {len(there) - 1} more are" if len(there) > 1 else " is"
        raise BadInput(f"{there[0]}{more} already there. Write over with --force, or choose a folder with -o.")


def _pixels(map_file: Path, hide_map: "HideMap", given: Path | None) -> "tuple[HideMap, NDArray[np.uint8]]":
    from hidescan.pictures.source_pixels import pixels_of_map
    from hidescan.settings import Settings

    return pixels_of_map(map_file, hide_map, given, Settings().photo)
