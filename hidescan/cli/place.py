"""The command that places pieces on hides: `place`."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hidescan.basics.errors import BadInput

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from hidescan.hide_map.model import HideMap
    from hidescan.placing.file import Placing


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(place)


def place(
    files: Annotated[list[Path], typer.Argument(help="Maps, then the pieces (SVG or DXF).", metavar="MAP... PIECES")],
    out: Annotated[Path, typer.Option("-o", "--out", help="Folder to write to.")],
    fill: Annotated[bool, typer.Option("--fill", help="As many whole sets as fit, instead of one.")] = False,
    keep: Annotated[
        Path | None, typer.Option(help="An earlier placing.json: its kept pieces stay (all, where none is kept).")
    ] = None,
    seconds: Annotated[float, typer.Option(help="How long to look for something better.", min=0, max=86_400)] = 10.0,
    rounds: Annotated[
        int | None, typer.Option(help="Rounds of improvement: the same number repeats a result.", min=0, max=1_000_000)
    ] = None,
    seed: Annotated[int, typer.Option(help="Another seed tries other ways.", min=0, max=2**32 - 1)] = 1,
    to: Annotated[str, typer.Option(help="Formats of the outlines.")] = "svg,dxf,geojson,pdf",
    mirror: Annotated[bool, typer.Option("--mirror", help="Outlines as seen from the other face.")] = False,
    photo: Annotated[
        Path | None, typer.Option(help="The photo, for the picture, where it is not beside a map.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a placing that is there.")] = False,
) -> None:
    """Place pieces on hides: along the back line, clear of marks and rim, thick where asked."""
    from hidescan.basics.atomic_files import write_together
    from hidescan.basics.reading import MOST_TEXT_BYTES, read_bytes
    from hidescan.hide_map.json_io import to_json
    from hidescan.hide_map.revisions import file_digest, read_map
    from hidescan.pieces.file import read_pieces
    from hidescan.placing import file as placing_file
    from hidescan.placing.layout import place_pieces
    from hidescan.placing.leather import leather_of
    from hidescan.placing.offcuts import with_offcuts
    from hidescan.placing.report import summary, table_csv
    from hidescan.placing.search import Effort
    from hidescan.settings import Settings
    from hidescan.settings.uses import OffcutSettings, PieceSettings, PlaceSettings

    if len(files) < 2:
        raise BadInput("place: give at least one map, then the pieces: hidescan place deer.hide.json uppers.svg -o DIR")
    *map_files, drawing = files
    _check_order(map_files, drawing)
    forms = _formats(to)
    pieces = read_pieces(drawing, PieceSettings())
    names = [path.name.removesuffix(".json").removesuffix(".hide") for path in map_files]
    if len(set(names)) < len(names):
        raise BadInput("place: two maps have the same name. Rename one, so that pieces can say which hide they lie on.")
    if (out / "placing.json").exists() and not force:
        raise BadInput(f"{out / 'placing.json'} is already there. Write over with --force, or choose another folder.")
    maps = [read_map(path) for path in map_files]
    settings = Settings()
    leathers = tuple(leather_of(name, hide_map, settings) for name, hide_map in zip(names, maps, strict=True))
    made = place_pieces(
        leathers,
        tuple(file_digest(path) for path in map_files),
        pieces,
        PlaceSettings(usable=settings.usable),
        fill=fill,
        keep=None if keep is None else placing_file.from_json(read_bytes(keep, MOST_TEXT_BYTES), str(keep)),
        effort=Effort(seed, rounds, None if rounds is not None else seconds),
    )
    written: dict[str, bytes] = {}
    for leather in leathers:
        made, offcuts = with_offcuts(made, leather, settings, OffcutSettings())
        written |= {file: to_json(offcut) for file, offcut in offcuts.items()}
    for path, name, hide_map in zip(map_files, names, maps, strict=True):
        pictured, rgb = _pixels(path, hide_map, photo)
        written |= _drawings(made, name, pictured, forms, mirror=mirror, rgb=rgb)
    written["placing.csv"] = table_csv(made)
    written["placing.json"] = placing_file.to_json(made)  # last: where it stands, the rest does too
    write_together({out / file: data for file, data in written.items()})
    print("\n".join(summary(made)))
    print(f"  {made.rounds} rounds, seed {made.seed}; written to {out}: {', '.join(sorted(written))}")
    if made.missed:
        raise typer.Exit(2)


def _check_order(map_files: list[Path], drawing: Path) -> None:
    """Refuse files in another order than maps, then the drawing, with the order that was meant."""
    drawings = [path for path in (*map_files, drawing) if path.suffix.lower() in (".svg", ".dxf")]
    maps = [path for path in (*map_files, drawing) if path not in drawings]
    if len(drawings) > 1:
        raise BadInput(f"place: {len(drawings)} drawings were given ({', '.join(map(str, drawings))}); give one, last.")
    if drawings and drawings[0] != drawing:
        right = " ".join(map(str, (*maps, drawings[0])))
        raise BadInput(f"place: maps come first, the pieces last: hidescan place {right} -o DIR")


def _drawings(
    made: "Placing",
    name: str,
    hide_map: "HideMap",
    forms: tuple[str, ...],
    *,
    mirror: bool,
    rgb: "NDArray[np.uint8] | None",
) -> dict[str, bytes]:
    """The picture of a hide and its pieces' outlines in each format."""
    from hidescan.exports.formats import FORMATS, contents
    from hidescan.placing.picture import picture, shapes_of
    from hidescan.settings.uses import PlaceDrawSettings

    shapes = shapes_of(made, name)
    stem = f"{name}.placing.mirrored" if mirror else f"{name}.placing"
    files = {f"{name}.placing.png": picture(hide_map, name, made, PlaceDrawSettings(), rgb)}
    for form in forms:
        made_of = contents(form, hide_map, name=f"{name}, pieces", mirror=mirror, pieces=shapes)
        files |= dict(zip((f"{stem}{ending}" for ending in FORMATS[form].endings), made_of, strict=True))
    return files


def _formats(text: str) -> tuple[str, ...]:
    from hidescan.exports.formats import FORMATS, formats

    return tuple(form for form in formats(text) if FORMATS[form].takes_pieces)  # the table and the picture always come


def _pixels(map_file: Path, hide_map: "HideMap", given: Path | None) -> "tuple[HideMap, NDArray[np.uint8] | None]":
    """The photo's pixels and the map over them; None, with a word if a photo was named, where they cannot be had."""
    from hidescan.pictures.source_pixels import pixels_of_map
    from hidescan.settings import Settings

    try:
        return pixels_of_map(map_file, hide_map, given, Settings().photo)
    except BadInput as error:
        if given is not None:
            print(f"{error} The picture is drawn without it.", file=sys.stderr)
        return hide_map, None
