"""Place pieces on hides: the rules made ready, the search, and what came of it in figures for people.

Every figure of a piece is taken from its own outline with Shapely, not from the search's grown and rounded one, and
a layout that breaks a rule by more than `PlaceSettings.tolerance_mm` never leaves here.
"""

import math
from collections import Counter
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry import Polygon

from hidescan import __version__
from hidescan.anatomy.thickness import TypicalThickness
from hidescan.anatomy.zones import zone_at
from hidescan.basics.errors import BadInput
from hidescan.basics.geometry import Points
from hidescan.exports.layers import tail_and_neck_mm
from hidescan.hide_map.model import XY, PolygonGeometry
from hidescan.pieces.file import Piece
from hidescan.placing.file import (
    MissedPiece,
    NearestMark,
    PieceKind,
    PlacedOn,
    PlacedPiece,
    Placing,
    Side,
    whole_sets,
)
from hidescan.placing.items import Item
from hidescan.placing.leather import Leather, mark_polygon
from hidescan.placing.pairs import mirrored_place
from hidescan.placing.reasons import nearest_miss
from hidescan.placing.rules import broken_rules, outline_of
from hidescan.placing.search import Effort, Layout
from hidescan.placing.sets import as_many_sets, one_set
from hidescan.placing.shapes import Pose, angle_to_back_deg, laid, outline_at
from hidescan.placing.table import Table
from hidescan.settings.uses import PlaceSettings

_DOUBTS = ("scale-unmeasured", "rim-doubtful", "outline-doubtful", "ends-doubtful")


def place_pieces(
    leathers: tuple[Leather, ...],
    hashes: tuple[str, ...],
    pieces: tuple[Piece, ...],
    settings: PlaceSettings,
    *,
    fill: bool = False,
    keep: Placing | None = None,
    effort: Effort | None = None,
) -> Placing:
    """Place pieces on hides.

    Parameters
    ----------
    hashes
        SHA-256 of each hide's map file, to know it again.
    fill
        As many whole sets as are found to fit, instead of one.
    keep
        An earlier placing whose pieces stay where they are: those marked kept, or all where none is.
    effort
        How long to search; ten seconds where None.

    Raises
    ------
    BadInput
        A piece with a grain and a hide without a back line, or a kept piece that is not among these.
    """
    _check_grain(leathers, pieces)
    effort = effort or Effort()
    found = (as_many_sets if fill else one_set)(leathers, pieces, keep, settings, effort)
    items, fixed, layout = found.items, found.fixed, found.layout
    placed = tuple(
        described(leathers[spot.hide], items[n], spot.pose, spot.at_mm, kept=n in fixed)
        for n, spot in sorted(layout.spots.items())
    )
    for leather in leathers:
        own = [p for p in placed if p.hide == leather.name and not p.kept]
        broken = broken_rules(leather, own, [p for p in placed if p.kept], pieces, settings)
        if broken:
            raise RuntimeError(f"the search broke a rule: {broken[0]}")
    lying = {p.id for p in placed}
    made = placing_of(leathers, hashes, pieces, placed)
    sets = max(1, whole_sets(made.pieces)) if fill else 1
    asked = [item for item in items if item.number <= item.piece.rules.count]
    return replace(
        made,
        seed=effort.seed,
        rounds=layout.rounds,
        pieces=tuple(replace(kind, asked=sets * kind.asked) for kind in made.pieces),
        missed=_missed([item for item in asked if item.id not in lying], leathers, items, layout, settings),
    )


def placing_of(
    leathers: tuple[Leather, ...], hashes: tuple[str, ...], pieces: tuple[Piece, ...], placed: tuple[PlacedPiece, ...]
) -> Placing:
    """Placed pieces as a placing, without the reasons of those that have no place."""
    placed = _with_mates(leathers, placed)
    numbers = Counter(p.piece for p in placed)
    hides, taken = [], []
    for leather, digest in zip(leathers, hashes, strict=True):
        own = [p for p in placed if p.hide == leather.name]
        cut = shapely.union_all([outline_of(p) for p in own]).intersection(leather.net)
        usable = float(leather.usable.union(cut).area)
        taken.append(float(cut.area))
        hides.append(
            PlacedOn(
                leather.name,
                digest,
                leather.hide_map.photo.sha256,
                float(leather.net.area),
                usable,
                sum(p.area_mm2 for p in own),
                _share(taken[-1], usable),
                hide_id=leather.hide_map.hide_id,
            )
        )
    opened = [n for n, hide in enumerate(hides) if hide.used_mm2]
    return Placing(
        program=__version__,
        seed=1,
        rounds=0,
        hides=tuple(hides),
        pieces=tuple(PieceKind(p.id, p.area_mm2, p.rules, p.pieces, numbers[p.id]) for p in pieces),
        placed=placed,
        missed=(),
        used_mm2=sum(hide.used_mm2 for hide in hides),
        usable_mm2=sum(hides[n].usable_mm2 for n in opened),
        yield_share=_share(sum(taken[n] for n in opened), sum(hides[n].usable_mm2 for n in opened)),
        warnings=(*_warnings(leathers, pieces), *_parted(placed)),
    )


def _share(part: float, whole: float) -> float:
    """A part's share of a whole that holds it, 0 to 1 whatever rounding does."""
    return min(1.0, part / whole) if whole else 0.0


def _check_grain(leathers: tuple[Leather, ...], pieces: tuple[Piece, ...]) -> None:
    grained = [piece.id for piece in pieces if piece.rules.turn_deg is not None]
    bare = [leather.name for leather in leathers if leather.back_line is None]
    if grained and bare:
        raise BadInput(
            f"{bare[0]}: has no back line, so {grained[0]} cannot be laid along it."
            ' Give --neck when mapping, or turn_deg = "any" in the pieces\' file.'
        )


def described(leather: Leather, item: Item, pose: Pose, at_mm: Points, *, kept: bool = False) -> PlacedPiece:
    """A piece in a place, with everything a person wants to know of it; its mate is looked at by `placing_of`."""
    piece = item.piece
    outline = outline_at(piece, pose, at_mm)
    ring = np.array(outline.exterior.coords)
    thinnest, u, under_spots = _thickness_under(leather, piece, outline, pose, at_mm)
    near = [(float(outline.distance(mark_polygon(m))), m) for m in leather.marks]
    mark = min(near, key=lambda pair: pair[0], default=None)
    ends = _ends(piece, pose, at_mm)
    line = tail_and_neck_mm(leather.hide_map, mirror=False)
    tape = None if line is None else (_tape(ends[0], line), _tape(ends[1], line))
    return PlacedPiece(
        id=item.id,
        piece=piece.id,
        number=item.number,
        side=item.side,
        hide=leather.name,
        at_mm=_xy(at_mm),
        angle_deg=angle_to_back_deg(pose.turned_deg),
        turned_deg=pose.turned_deg,
        mirrored=pose.mirrored,
        hide_mm=PolygonGeometry((tuple(_xy(point) for point in ring),)),
        area_mm2=piece.area_mm2,
        zone=zone_at(leather.zones, at_mm) if leather.zones else "",
        least_thickness_mm=thinnest,
        thickness_u_mm=u,
        spot_thickness_mm=under_spots,
        rim_mm=float(outline.distance(leather.net.boundary)),
        nearest_mark=None if mark is None else NearestMark(mark[1].id, mark[1].kind, mark[0]),
        ends_mm=ends,
        tape_mm=tape,
        mate_apart_mm=None,
        kept=kept,
    )


def _with_mates(leathers: tuple[Leather, ...], placed: tuple[PlacedPiece, ...]) -> tuple[PlacedPiece, ...]:
    """Say of each of a pair how far it lies from the mirrored place of its mate."""
    hides = {leather.name: leather for leather in leathers}
    mates = {(p.piece, p.number, p.side): p for p in placed}
    other: dict[Side, Side] = {"left": "right", "right": "left"}

    def apart(one: PlacedPiece) -> float | None:
        mate = mates.get((one.piece, one.number, other[one.side])) if one.side in other else None
        if mate is None:
            return None
        return float(math.dist(one.at_mm, mirrored_place(np.array(mate.at_mm), hides[mate.hide], hides[one.hide])))

    return tuple(replace(one, mate_apart_mm=apart(one)) for one in placed)


def _thickness_under(
    leather: Leather, piece: Piece, outline: Polygon, pose: Pose, at_mm: Points
) -> tuple[float, float, tuple[float, ...]]:
    """The thinnest place under a piece, its uncertainty there, and the thickness under its spots."""
    if isinstance(leather.thickness, TypicalThickness):  # one figure a zone: those that it touches
        touched = [
            k for k, zone in enumerate(leather.zones) if zone.polygon.intersection(outline).area > 1e-3 * outline.area
        ]
        thinnest, u = min((leather.thickness.mean_mm[k], leather.thickness.u_mm[k]) for k in touched or [0])
    else:
        x0, y0, x1, y1 = outline.bounds
        grid = np.stack(np.meshgrid(np.linspace(x0, x1, 25), np.linspace(y0, y1, 25)), axis=-1).reshape(-1, 2)
        inside = grid[shapely.contains_xy(outline, grid)]
        rim = shapely.get_coordinates(outline.exterior.segmentize(10.0))
        mean, sd = leather.thickness.predict(np.vstack([inside, rim]))
        n = int(np.argmin(mean))
        thinnest, u = float(mean[n]), float(sd[n])
    spots: tuple[float, ...] = ()
    if piece.spots_mm:
        spots = tuple(
            float(t) for t in leather.thickness.predict(laid(piece, np.array(piece.spots_mm), pose, at_mm))[0]
        )
    return thinnest, u, spots


def _ends(piece: Piece, pose: Pose, at_mm: Points) -> tuple[XY, XY]:
    """The corners of a piece furthest along its grain, one way and the other."""
    up = laid(piece, piece.ring_mm, Pose(0.0, False), np.zeros(2))
    there = laid(piece, piece.ring_mm, pose, at_mm)
    return _xy(there[int(np.argmax(up[:, 1]))]), _xy(there[int(np.argmin(up[:, 1]))])


def _tape(point: XY, line: tuple[XY, XY]) -> XY:
    (xt, yt), (xn, yn) = line
    return math.hypot(point[0] - xt, point[1] - yt), math.hypot(point[0] - xn, point[1] - yn)


def _missed(
    missing: list[Item], leathers: tuple[Leather, ...], items: tuple[Item, ...], layout: Layout, settings: PlaceSettings
) -> tuple[MissedPiece, ...]:
    """Each piece without a place, with what it lacks; alike for all of a kind and side."""
    if not missing:
        return ()
    table = Table(leathers, settings)
    for n, spot in layout.spots.items():
        table.put(n, items[n].piece, spot)
    why = {}
    found = []
    for item in missing:
        kind = item.piece.id, item.side == "right"
        if kind not in why:
            why[kind] = nearest_miss(table, item, settings)
        reason, nearest = why[kind]
        found.append(MissedPiece(item.id, item.piece.id, reason, nearest))
    return tuple(found)


def _warnings(leathers: tuple[Leather, ...], pieces: tuple[Piece, ...]) -> tuple[str, ...]:
    notes = []
    thick = any(piece.rules.min_thickness_mm > 0 or piece.rules.thick_parts for piece in pieces)
    for leather in leathers:
        if thick and isinstance(leather.thickness, TypicalThickness):
            notes.append(
                f"{leather.name}: its thickness is typical, not measured; gauge it (--gauge) before you rely on"
                " min_thickness_mm."
            )
        notes += [f"{leather.name}: {w.message}" for w in leather.hide_map.warnings if w.code in _DOUBTS]
    return tuple(notes)


def _parted(placed: tuple[PlacedPiece, ...]) -> list[str]:
    """A note on each pair that comes from two hides."""
    rights = {(p.piece, p.number): p for p in placed if p.side == "right"}
    notes = []
    for left in (p for p in placed if p.side == "left"):
        right = rights.get((left.piece, left.number))
        if right is not None and right.hide != left.hide:
            notes.append(
                f"{left.piece}-{left.number}: left from {left.hide}, right from {right.hide}, at mirrored places"
                f" ({left.zone or 'no zone'}; thinnest {left.least_thickness_mm:.1f} and"
                f" {right.least_thickness_mm:.1f} mm). Feel both before you cut."
            )
    return notes


def _xy(point: Points) -> XY:
    return float(point[0]), float(point[1])
