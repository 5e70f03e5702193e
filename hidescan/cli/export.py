"""The command that writes a map in other formats: `export`."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from hidescan.basics.errors import BadInput
from hidescan.cli.options import ForceOption, MapFile, Paper, PhotoFile, map_name, refuse_existing
from hidescan.exports.formats import FORMATS


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(export)


def export(
    map_file: MapFile,
    to: Annotated[str, typer.Option(help=f"Formats, with commas between: {','.join(FORMATS)}.")],
    out: Annotated[Path | None, typer.Option("-o", "--out", help="Folder to write to; else beside the map.")] = None,
    mirror: Annotated[bool, typer.Option("--mirror", help="As seen from the other face, to cut from there.")] = False,
    paper: Annotated[Paper | None, typer.Option(help="Full-size PDF over sheets of a4 or letter.")] = None,
    photo: PhotoFile = None,
    force: ForceOption = False,
) -> None:
    """Write a map's outline at true scale for cutting and costing."""
    from hidescan.basics.atomic_files import write_together
    from hidescan.exports.formats import contents, file_names, formats
    from hidescan.hide_map.revisions import read_map
    from hidescan.pictures.source_pixels import pixels_of_map
    from hidescan.settings import Settings

    chosen, hide_map, name = formats(to), read_map(map_file), map_name(map_file)
    folder, size = out or map_file.parent, None if paper is None else paper.value
    targets = {form: [folder / file for file in file_names(form, name, mirror=mirror, paper=size)] for form in chosen}
    refuse_existing([path for paths in targets.values() for path in paths], force=force)
    pictured, rgb, missing = hide_map, None, None
    of_photo = [form for form in chosen if FORMATS[form].needs_photo]
    if of_photo:
        try:
            pictured, rgb = pixels_of_map(map_file, hide_map, photo, Settings().photo)
        except BadInput as error:
            missing = error
            targets = {form: paths for form, paths in targets.items() if form not in of_photo}
    made: dict[Path, bytes] = {}
    for form, paths in targets.items():
        drawn = pictured if form in of_photo else hide_map
        made |= zip(paths, contents(form, drawn, name=name, mirror=mirror, paper=size, rgb=rgb), strict=True)
    write_together(made)
    print("\n".join(map(str, made)))
    if missing is not None:
        print(f"{missing} The {' and '.join(form.upper() for form in of_photo)} was not written.", file=sys.stderr)
        raise typer.Exit(2)
