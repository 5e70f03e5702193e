"""The command that gives more about a mapped hide: `edit`."""

from pathlib import Path
from typing import Annotated

import typer

from hidescan.basics.errors import BadInput
from hidescan.cli.groups import grouped
from hidescan.cli.options import HideFactOptions, MapFile, PhotoFile, PhotoOptions, Units, UnitsOption


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(grouped(edit))


def edit(
    map_file: MapFile,
    facts: HideFactOptions,
    of_photo: PhotoOptions,
    photo: PhotoFile = None,
    mark: Annotated[list[str] | None, typer.Option(help="ID:confirmed, ID:rejected or ID:KIND.")] = None,
    merge: Annotated[
        list[Path] | None, typer.Option(help="Marks drawn elsewhere (CSV, GeoJSON), or the map of the other face.")
    ] = None,
    zone_line: Annotated[list[str] | None, typer.Option(help="Move a zone line: shoulder=0.6.")] = None,
    take_back: Annotated[
        list[str] | None, typer.Option(help="X,Y: forget the tap or the gauge reading at that photo pixel.")
    ] = None,
    units: UnitsOption = Units.ft,
) -> None:
    """Give more about a mapped hide; its map becomes a new revision, nothing is lost."""
    from hidescan.cli import parsing
    from hidescan.figures.summary import summary_lines
    from hidescan.hide_map.revisions import find_photo, read_map
    from hidescan.many.one_photo import Also, edit_one
    from hidescan.settings import Settings

    settings = Settings()
    corrections = dict(parsing.mark_correction(text) for text in mark or ())
    inputs = parsing.inputs_from(facts, of_photo, settings.thickness.reading_u_mm, zone_lines=tuple(zone_line or ()))
    old = read_map(map_file)
    if len(old.photos) > 1:
        from hidescan.many.joined_photos import edit_joined

        if option := "--take-back" if take_back else of_photo.of_one_photo():
            raise BadInput(f"{option} names a pixel of one photo; {map_file} was joined from several.")
        hide_map = edit_joined(map_file, inputs, corrections, settings, tuple(merge or ()), units.value)
    else:
        at = photo or find_photo(map_file, old.photo) or map_file.parent / old.photo.file
        also = Also(tuple(merge or ()), tuple(parsing.pair(text, "--take-back") for text in take_back or ()))
        hide_map = edit_one(map_file, at, inputs, corrections, settings, also, units.value)
    print("\n".join(summary_lines(map_file.name.removesuffix(".hide.json"), hide_map, units.value)))
    if merge:
        before = {m.id: (m.kind, m.status) for m in old.marks}
        new = [m.id for m in hide_map.marks if m.status == "added" and m.id not in before]
        changed = [m.id for m in hide_map.marks if m.id in before and before[m.id] != (m.kind, m.status)]
        print(f"  merged: added {', '.join(new) or 'none'}; changed {', '.join(changed) or 'none'}")
    print(f"  revision {hide_map.revision} of {map_file}")
