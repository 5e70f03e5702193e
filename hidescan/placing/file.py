"""Where pieces lie on which hides: the result of placing, and its file placing.json.

The same model writes the file and reads it. Geometry is GeoJSON in the hide frame of the hide named beside it, mm.
"""

import json
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any, Literal

from pydantic import TypeAdapter, ValidationError

from hidescan.basics.errors import BadInput
from hidescan.hide_map.identity import new_hide_id
from hidescan.hide_map.model import XY, Number, PolygonGeometry
from hidescan.pieces.file import PieceRules

FORMAT, VERSION = "hidescan-placing", 1
Side = Literal["left", "right", "single"]


@dataclass(frozen=True, slots=True)
class PlacedOn:
    """A hide that pieces were placed on, and how well it was used.

    `map_sha256` is that of the map file and `hide_id` the hide's own. `usable_mm2` is net less the counted marks with
    their margins, and what pieces cover that may lie over marks; `used_mm2` the area of the pieces, without margins;
    `used_share` the part of the usable leather that they take, 0 to 1. Pieces, offcuts worth keeping (`offcuts_mm2`, of
    which `offcuts_usable_mm2` are usable) and scraps are together the net area; both are None where it was not looked
    at what is left, and in files of version 0.1.0.
    """

    name: str
    map_sha256: str
    photo_sha256: str
    net_mm2: Number
    usable_mm2: Number
    used_mm2: Number
    used_share: Number
    offcuts: tuple[str, ...] = ()
    offcuts_mm2: Number | None = None
    offcuts_usable_mm2: Number | None = None
    hide_id: str = ""


@dataclass(frozen=True, slots=True)
class PieceKind:
    """A piece as it was asked for: `asked` counts single pieces, `placed` those that have a place."""

    id: str
    area_mm2: Number
    rules: PieceRules
    asked: int
    placed: int


@dataclass(frozen=True, slots=True)
class NearestMark:
    """The mark nearest to a piece, by its own outline without margin."""

    id: str
    kind: str
    distance_mm: Number


@dataclass(frozen=True, slots=True)
class PlacedPiece:
    """A piece in its place.

    Attributes
    ----------
    id
        "vamp-1-left", "vamp-1-right", "sole-3".
    piece, number, side
        Which piece, which of its kind (pairs share a number), and which of a pair.
    hide
        Name of the hide.
    at_mm
        Where the middle of its area lies.
    angle_deg
        Its grain against the back line, counter-clockwise, over -90 to 90.
    turned_deg
        The turn of the piece laid with its grain up; differs from `angle_deg` by half a turn or nothing.
    hide_mm
        Its outline.
    least_thickness_mm, thickness_u_mm
        The thinnest place under it and the standard uncertainty there.
    spot_thickness_mm
        Thickness under each of its `thick_parts`.
    rim_mm
        Least distance to the rim or a hole.
    tape_mm
        Distances from the tail end and from the neck end of the back line to the piece's two ends along its grain:
        ((tail to first, neck to first), (tail to second, neck to second)).
    mate_apart_mm
        Of a pair: how far from the mirrored place of its mate it lies, on whichever hide.
    kept
        A person put it there.
    """

    id: str
    piece: str
    number: int
    side: Side
    hide: str
    at_mm: XY
    angle_deg: Number
    turned_deg: Number
    mirrored: bool
    hide_mm: PolygonGeometry
    area_mm2: Number
    zone: str
    least_thickness_mm: Number
    thickness_u_mm: Number
    spot_thickness_mm: tuple[Number, ...]
    rim_mm: Number
    nearest_mark: NearestMark | None
    ends_mm: tuple[XY, XY]
    tape_mm: tuple[XY, XY] | None
    mate_apart_mm: Number | None
    kept: bool = False


@dataclass(frozen=True, slots=True)
class NearestMiss:
    """Where a piece would go if one rule gave way: by how much, in mm (or mm of thickness, or degrees)."""

    hide: str
    at_mm: XY
    turned_deg: Number
    rule: str
    lacking: Number
    unit: str


@dataclass(frozen=True, slots=True)
class MissedPiece:
    """A piece that has no place, and why."""

    id: str
    piece: str
    reason: str
    nearest: NearestMiss | None


@dataclass(frozen=True, slots=True)
class Placing:
    """All of it. `rounds` and `seed` repeat it: the same maps, pieces, version, rounds and seed give the same places.

    `yield_share` is the part of the usable leather of the hides that carry any piece that the pieces take, 0 to 1.
    """

    program: str
    seed: int
    rounds: int
    hides: tuple[PlacedOn, ...]
    pieces: tuple[PieceKind, ...]
    placed: tuple[PlacedPiece, ...]
    missed: tuple[MissedPiece, ...]
    used_mm2: Number
    usable_mm2: Number
    yield_share: Number
    warnings: tuple[str, ...] = ()
    format: Literal["hidescan-placing"] = field(default="hidescan-placing")
    version: Literal[1] = field(default=1)


def whole_sets(kinds: tuple[PieceKind, ...]) -> int:
    """How many sets of pieces are placed with every piece in its place."""
    return min((kind.placed // in_a_set(kind) for kind in kinds), default=0)


def in_a_set(kind: PieceKind) -> int:
    """How many single pieces of a kind a set takes."""
    return kind.rules.count * (2 if kind.rules.pair else 1)


def to_json(placing: Placing) -> bytes:
    """The file; numbers to a micrometre or a millionth."""
    plain = _rounded(_adapter().dump_python(placing, mode="json"))
    return json.dumps(plain, indent=1, sort_keys=True, allow_nan=False).encode() + b"\n"


def from_json(data: bytes, name: str) -> Placing:
    """Read a placing's file.

    Raises
    ------
    BadInput
        No placing, another version, or a field missing or wrong; the message names it.
    """
    try:
        plain = json.loads(data, parse_constant=lambda text: text)
    except (UnicodeDecodeError, ValueError, RecursionError) as error:
        raise BadInput(f"{name}: is not a placing (not JSON). Place the pieces again.") from error
    if not isinstance(plain, dict) or plain.get("format") != FORMAT:
        raise BadInput(f"{name}: is not a placing. Give the placing.json that hidescan place wrote.")
    if plain.get("version") != VERSION:
        raise BadInput(f"{name}: has version {plain.get('version')}, this program reads {VERSION}. Update hidescan.")
    try:
        placing = _adapter().validate_python(plain)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        raise BadInput(f"{name}: {where}: {first['msg']}. Place the pieces again.") from error
    if not _can_be(placing):
        raise BadInput(f"{name}: its areas or counts cannot be. The file was changed by hand; place the pieces again.")
    return replace(
        placing,
        hides=tuple(
            hide if hide.hide_id else replace(hide, hide_id=new_hide_id(hide.photo_sha256, None))
            for hide in placing.hides
        ),
    )


def _can_be(placing: Placing) -> bool:
    """Whether areas are none below zero, a part no larger than its whole, and counts those of pieces."""
    counted = all(
        kind.rules.count >= 1 and kind.asked >= 0 and kind.placed >= 0 and kind.area_mm2 >= 0 for kind in placing.pieces
    )
    return counted and all(
        min(hide.net_mm2, hide.usable_mm2, hide.used_mm2, hide.offcuts_mm2 or 0.0, hide.offcuts_usable_mm2 or 0.0) >= 0
        and (hide.offcuts_usable_mm2 or 0.0) <= hide.usable_mm2 * (1 + 1e-6)
        for hide in placing.hides
    )


@cache
def _adapter() -> TypeAdapter[Placing]:
    return TypeAdapter(Placing)


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 6) + 0.0
    if isinstance(value, dict):
        return {key: _rounded(v) for key, v in value.items()}
    if isinstance(value, list):
        return [_rounded(v) for v in value]
    return value
