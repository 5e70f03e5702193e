"""Pieces on a hide, laid by hand: the worker's part.

A work's `pieces.json` holds the drawing and the rules as they came, its `placing.json` where the pieces lie, in the
format of `hidescan place`, and `placed-on.hide.json` the map in whose frame that is. When the map changes, the pieces
stay where they lie on the leather and are judged anew.
"""

import base64
import hashlib
import json
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pydantic import TypeAdapter, ValidationError
from shapely.geometry import Polygon

from hidescan.anatomy.thickness import TypicalThickness
from hidescan.basics.atomic_files import write_whole
from hidescan.basics.errors import BadInput
from hidescan.exports import dxf, svg
from hidescan.exports.pdf import full_size as pdf_full
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.hide_map.revisions import file_digest
from hidescan.page.settings import PageSettings
from hidescan.page.worker.bench import Bench, Files, PieceTable, Subject, found_map, mapped_with
from hidescan.page.works import harmless_name
from hidescan.pieces.apart import drawing_apart
from hidescan.pieces.file import Piece, pieces_from
from hidescan.placing import file as placing_file
from hidescan.placing.by_hand import HandSpot, broken_by, carried_spots, laid_by_hand, spots_of
from hidescan.placing.file import PlacedPiece
from hidescan.placing.items import items_of
from hidescan.placing.layout import place_pieces
from hidescan.placing.leather import Leather, leather_of
from hidescan.placing.picture import shapes_of
from hidescan.placing.report import table_csv
from hidescan.placing.search import Effort
from hidescan.placing.shapes import Pose
from hidescan.placing.shapes import laid as laid_points
from hidescan.settings.uses import PieceSettings, PlaceSettings

Say = Callable[[str], None]
_PLACED_ON = "placed-on.hide.json"


@dataclass(frozen=True, slots=True)
class _Stored:
    """The drawing, base64, and the rules as they came."""

    file: str
    drawing: str
    rules: str


FORMS = ("svg", "dxf", "pdf", "csv", "json")
_SPOTS = TypeAdapter(tuple[HandSpot, ...])
_STORED = TypeAdapter(_Stored)


def shown(bench: Bench, subject: Subject, say: Say) -> bytes:
    """The pieces and where they lie, as JSON; null where there are none yet."""
    table = _table(bench, subject, say)
    return b"null" if table is None else _answer(bench, table)


def loaded(bench: Bench, subject: Subject, file: str, drawing: bytes | None, rules: str, say: Say) -> bytes:
    """Take in pieces; without a drawing, new rules for those that are here. What lies where it may lie stays."""
    before = _stored(subject.folder)
    if drawing is None:
        if before is None:
            raise BadInput("Choose the drawing of your pieces first: an SVG or a DXF.")
        file, drawing = before.file, base64.b64decode(before.drawing)
    file = harmless_name(file)
    pieces = _read(bench.page, file, drawing, rules)
    leather, digest = _leather(bench, subject, say)
    _check_grain(leather, pieces)
    ids = {item.id for item in items_of(pieces)}
    spots = tuple(spot for spot in _spots(subject.folder, leather, digest) if spot.id in ids)
    plain = {"file": file, "drawing": base64.b64encode(drawing).decode(), "rules": rules}
    write_whole(subject.folder / "pieces.json", json.dumps(plain).encode())
    placing = laid_by_hand(leather, digest, pieces, spots)
    return _keep(bench, subject, PieceTable(mapped_with(subject), leather, digest, file, rules, pieces, placing, ""))


def checked(bench: Bench, subject: Subject, plain: Any, say: Say) -> bytes:
    """What is to be said of one piece at a place where it does not lie yet."""
    table = _there(bench, subject, say)
    (spot,) = _valid([plain])
    spots = (*(other for other in spots_of(table.placing) if other.id != spot.id), spot)
    placed = laid_by_hand(table.leather, table.digest, table.pieces, spots, table.placing).placed
    return _json(_told(table, placed[-1], placed, PlaceSettings(usable=bench.settings.usable)))


def laid(bench: Bench, subject: Subject, plain: Any, base: str, say: Say) -> bytes:
    """Lay the pieces where a person says; all others are taken off."""
    table = _there(bench, subject, say, base)
    placing = laid_by_hand(table.leather, table.digest, table.pieces, _valid(plain), table.placing)
    return _keep(bench, subject, replace(table, placing=placing))


def rest(bench: Bench, subject: Subject, base: str, say: Say) -> bytes:
    """Find places for all pieces that no person put."""
    table = _there(bench, subject, say, base)
    say("placing the rest")
    placing = place_pieces(
        (table.leather,),
        (table.digest,),
        table.pieces,
        PlaceSettings(usable=bench.settings.usable),
        keep=table.placing if any(p.kept for p in table.placing.placed) else None,
        effort=Effort(seconds=bench.page.place_seconds),
    )
    return _keep(bench, subject, replace(table, placing=placing))


def exported(bench: Bench, subject: Subject, form: str, mirror: bool, say: Say) -> Files:
    """The pieces where they lie as a file: outlines, the table of tape distances, or the placing itself."""
    table = _there(bench, subject, say)
    name, placing = table.leather.name, table.placing
    if not placing.placed:
        raise BadInput("No piece lies on this hide yet.")
    if form == "csv":
        return [(f"{name}.placing.csv", table_csv(placing))]
    if form == "json":
        return [(f"{name}.placing.json", placing_file.to_json(placing))]
    say("writing")
    to_bytes = {"svg": svg.to_bytes, "dxf": dxf.to_bytes, "pdf": pdf_full.to_bytes}[form]
    data = to_bytes(table.leather.hide_map, name=f"{name}, pieces", mirror=mirror, pieces=shapes_of(placing, name))
    return [(f"{name}.placing{'.mirrored' if mirror else ''}.{form}", data)]


def _table(bench: Bench, subject: Subject, say: Say) -> PieceTable | None:
    """The table of a work, judged anew where its map has changed."""
    table = bench.tables.get(subject.folder)
    if table is not None and table.mapped_with == mapped_with(subject):
        return table
    stored = _stored(subject.folder)
    if stored is None:
        return None
    pieces = _read(bench.page, stored.file, base64.b64decode(stored.drawing), stored.rules)
    leather, digest = _leather(bench, subject, say)
    _check_grain(leather, pieces)
    placing = laid_by_hand(leather, digest, pieces, _spots(subject.folder, leather, digest))
    _keep(
        bench,
        subject,
        PieceTable(mapped_with(subject), leather, digest, stored.file, stored.rules, pieces, placing, ""),
    )
    return bench.tables[subject.folder]


def _there(bench: Bench, subject: Subject, say: Say, base: str | None = None) -> PieceTable:
    table = _table(bench, subject, say)
    if table is None:
        raise BadInput("There are no pieces here yet.")
    if base is not None and base != table.tag:
        raise BadInput("The pieces were moved in another window; where they lie now is shown.")
    return table


def _keep(bench: Bench, subject: Subject, table: PieceTable) -> bytes:
    """Keep where the pieces lie, on the disk and at hand; returns the answer."""
    data = placing_file.to_json(table.placing)
    write_whole(subject.folder / "placing.json", data)
    if file_digest(subject.folder / _PLACED_ON) != table.digest:
        write_whole(subject.folder / _PLACED_ON, to_json(table.leather.hide_map))
    tag = hashlib.sha256(data + table.file.encode() + table.rules.encode()).hexdigest()[:16]
    bench.tables.pop(subject.folder, None)
    while len(bench.tables) >= bench.page.warm_photos:
        del bench.tables[next(iter(bench.tables))]
    bench.tables[subject.folder] = replace(table, tag=tag)
    return _answer(bench, bench.tables[subject.folder])


def _leather(bench: Bench, subject: Subject, say: Say) -> tuple[Leather, str]:
    table = bench.tables.get(subject.folder)
    if table is not None and table.mapped_with == mapped_with(subject):
        return table.leather, table.digest
    hide_map = found_map(bench, subject, say, quick=True)
    return leather_of(Path(subject.file).stem, hide_map, bench.settings), hashlib.sha256(to_json(hide_map)).hexdigest()


def _read(page: PageSettings, file: str, drawing: bytes, rules: str) -> tuple[Piece, ...]:
    pieces = pieces_from(
        drawing, file, rules if rules.strip() else None, "The rules", PieceSettings(), read=drawing_apart
    )
    count = sum(piece.pieces for piece in pieces)
    if count > page.most_pieces:
        raise BadInput(f"These are {count} pieces; on the page there may be {page.most_pieces}. Use hidescan place.")
    return pieces


def _check_grain(leather: Leather, pieces: tuple[Piece, ...]) -> None:
    grained = next((piece.id for piece in pieces if piece.rules.turn_deg is not None), None)
    if grained is not None and leather.back_line is None:
        raise BadInput(
            f"This hide has no back line, so {grained} cannot be laid along it. Set it under Back, or say"
            ' turn_deg = "any" in the rules.'
        )


def _stored(folder: Path) -> _Stored | None:
    """The drawing and the rules as they came; None where there are none."""
    path = folder / "pieces.json"
    if not path.is_file():
        return None
    try:
        return _STORED.validate_json(path.read_bytes())
    except ValidationError as error:
        raise _set_aside(path, "The drawing of the pieces", "Choose it again.") from error


def _spots(folder: Path, leather: Leather, digest: str) -> tuple[HandSpot, ...]:
    """Where the pieces were put, in the frame of the map as it is now."""
    path, under = folder / "placing.json", folder / _PLACED_ON
    if not path.is_file():
        return ()
    try:
        placing = placing_file.from_json(path.read_bytes(), path.name)
        on = placing.hides[0].map_sha256
        if on == digest or file_digest(under) != on:  # as it was; or kept by a version that did not keep the map
            return spots_of(placing)
        return carried_spots(spots_of(placing), from_json(under.read_bytes(), under.name), leather.hide_map)
    except BadInput as error:
        raise _set_aside(path, "Where the pieces lay", "Lay them again.") from error


def _set_aside(path: Path, what: str, advice: str) -> BadInput:
    """Give a damaged file another name; what to tell."""
    aside = path.with_suffix(f".damaged{path.suffix}")
    path.replace(aside)
    return BadInput(f"{what} cannot be read any more; the file was set aside ({aside.name}). {advice}")


def _valid(plain: Any) -> tuple[HandSpot, ...]:
    try:
        return _SPOTS.validate_python(plain)
    except ValidationError as error:
        raise BadInput("That is no place for a piece.") from error


def _answer(bench: Bench, table: PieceTable) -> bytes:
    """All that the page shows of the pieces."""
    settings, placing = PlaceSettings(usable=bench.settings.usable), table.placing
    thick = any(piece.rules.min_thickness_mm > 0 or piece.rules.thick_parts for piece in table.pieces)
    return _json(
        {
            "tag": table.tag,
            "file": table.file,
            "rules": table.rules,
            "face_mm": table.leather.hide_map.upper_face_mm(),
            "kinds": {piece.id: _kind(piece, bench.page) for piece in table.pieces},
            "items": [
                {"id": item.id, "piece": item.piece.id, "mirrored": item.side == "right"}
                for item in items_of(table.pieces)
            ],
            "placed": [_told(table, one, placing.placed, settings) for one in placing.placed],
            "missed": [{"id": missed.id, "reason": missed.reason} for missed in placing.missed],
            "used_mm2": placing.used_mm2,
            "yield": placing.yield_share,
            "thickness_unmeasured": thick and isinstance(table.leather.thickness, TypicalThickness),
        }
    )


def _kind(piece: Piece, page: PageSettings) -> dict[str, Any]:
    """A piece with its grain up about its own middle, and its rules."""
    ring = laid_points(piece, piece.ring_mm, Pose(0.0, False), np.zeros(2))
    thin = shapely.get_coordinates(Polygon(ring).simplify(page.piece_flat_mm).exterior)[:-1]
    return {"ring": np.round(thin, 2).reshape(-1).tolist(), "rules": asdict(piece.rules)}


def _told(
    table: PieceTable, one: PlacedPiece, placed: tuple[PlacedPiece, ...], settings: PlaceSettings
) -> dict[str, Any]:
    """What the page says of one piece."""
    mark = one.nearest_mark
    return {
        "id": one.id,
        "piece": one.piece,
        "at": one.at_mm,
        "turned": one.turned_deg,
        "mirrored": one.mirrored,
        "kept": one.kept,
        "angle": one.angle_deg,
        "zone": one.zone,
        "thinnest": one.least_thickness_mm,
        "thinnest_u": one.thickness_u_mm,
        "spots": one.spot_thickness_mm,
        "rim": one.rim_mm,
        "mark": None if mark is None else {"id": mark.id, "kind": mark.kind, "mm": mark.distance_mm},
        "apart": one.mate_apart_mm,
        "broken": broken_by(table.leather, one, placed, table.pieces, settings),
    }


def _json(plain: Any) -> bytes:
    return json.dumps(plain, separators=(",", ":"), allow_nan=False).encode()
