"""The command that writes the one-page record of a hide: `sheet`."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from hidescan.basics.errors import BadInput
from hidescan.cli.options import ForceOption, Paper, PhotoFile, Units, UnitsOption, map_name, refuse_existing


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(sheet)


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
    units: UnitsOption = Units.ft,
    photo: PhotoFile = None,
    force: ForceOption = False,
) -> None:
    """Write the one-page record of a hide, or one page that compares several."""
    from hidescan.basics.atomic_files import write_whole
    from hidescan.figures.marked_area import marked_area
    from hidescan.hide_map.revisions import read_map
    from hidescan.pictures.source_pixels import pixels_of_map
    from hidescan.record import comparison as sheet_compare
    from hidescan.record import one_page as record
    from hidescan.settings import Settings

    written = None if marked is None else marked_area(marked)
    maps = [(path, read_map(path)) for path in map_files]
    refuse_existing([out], force=force)
    if len(maps) > 1:
        if any((marked, seller, price, licence, place, photo)):
            raise BadInput("sheet: --marked, --seller, --price, --licence, --place and --photo belong to one hide.")
        named = [(map_name(path), hide_map) for path, hide_map in maps]
        write_whole(out, sheet_compare.to_bytes(named, units=units.value, paper=paper.value))
        print(out)
        return
    (map_file, hide_map), rgb = maps[0], None
    try:
        hide_map, rgb = pixels_of_map(map_file, hide_map, photo, Settings().photo)
    except BadInput as error:
        print(f"{error} The sheet is drawn without it.", file=sys.stderr)
    deal = None if for_buyer else record.Deal(seller, price, licence, place)
    made = record.to_bytes(
        hide_map, name=map_name(map_file), units=units.value, paper=paper.value, rgb=rgb, marked=written, deal=deal
    )
    write_whole(out, made)
    print(out)
