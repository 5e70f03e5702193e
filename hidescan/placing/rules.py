"""Whether pieces lie as their rules ask, by Shapely on their own outlines."""

import math
from collections.abc import Iterable
from functools import lru_cache

from shapely import prepare, union_all
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from hidescan.marks.placement import EDGES
from hidescan.pieces.file import Piece, PieceRules
from hidescan.placing.file import PlacedPiece
from hidescan.placing.leather import Leather, allowed_region, mark_polygon, thick_region
from hidescan.placing.shapes import gap_mm
from hidescan.settings.uses import PlaceSettings


def outline_of(placed: PlacedPiece) -> Polygon:
    """A placed piece's outline."""
    return Polygon(placed.hide_mm.coordinates[0])


def broken_rules(
    leather: Leather,
    placed: Iterable[PlacedPiece],
    others: Iterable[PlacedPiece],
    pieces: tuple[Piece, ...],
    settings: PlaceSettings,
) -> tuple[str, ...]:
    """What is wrong with pieces on a hide, a line a fault; empty if nothing is.

    Parameters
    ----------
    placed
        The pieces to check, against the leather and each other.
    others
        Pieces that lie there already and are only checked against.
    """
    kinds = {piece.id: piece for piece in pieces}
    slack = settings.tolerance_mm
    faults: list[str] = []
    there = [(p, outline_of(p)) for p in others if p.hide == leather.name]
    for one in placed:
        rules, outline = kinds[one.piece].rules, outline_of(one)
        if not _room(leather, rules, settings).covers(outline):
            faults += [f"{one.id}: {fault}" for fault in _why_not(leather, one, rules, settings)]
        if rules.turn_deg is not None and abs(one.angle_deg) > rules.turn_deg + 1e-6:
            faults.append(f"{one.id}: turned {abs(one.angle_deg):.1f} degrees from the back line")
        for other, shape in there:
            gap = gap_mm(rules, kinds[other.piece].rules)
            if _boxes_apart(outline, shape) > gap:
                continue
            apart = outline.distance(shape)
            if apart == 0 and outline.buffer(-slack).intersects(shape.buffer(-slack)):
                faults.append(f"{one.id}: over {other.id}")
            elif apart < gap - slack:
                faults.append(f"{one.id}: nearer than {gap:g} mm to {other.id}")
        there.append((one, outline))
    return tuple(faults)


@lru_cache(maxsize=64)
def _room(leather: Leather, rules: PieceRules, settings: PlaceSettings) -> BaseGeometry:
    """Where pieces with these rules may lie, with what rounding may do: asked again for every move of a hand."""
    region = allowed_region(leather, rules, settings).buffer(settings.tolerance_mm)
    prepare(region)
    return region


def _boxes_apart(one: Polygon, other: Polygon) -> float:
    """Distance of two bounding boxes: no more than that of the shapes."""
    (ax, ay, bx, by), (cx, cy, dx, dy) = one.bounds, other.bounds
    return math.hypot(max(0.0, cx - bx, ax - dx), max(0.0, cy - by, ay - dy))


def _why_not(leather: Leather, one: PlacedPiece, rules: PieceRules, settings: PlaceSettings) -> list[str]:
    """Which rules keep a piece off where it lies: each part of `allowed_region` by itself."""
    outline, slack = outline_of(one), settings.tolerance_mm
    faults = []
    if not _net(leather, slack).covers(outline):
        faults.append("over the rim or a hole")
    elif not _net(leather, slack - rules.margin_mm).covers(outline):
        faults.append(f"within {rules.margin_mm:g} mm of the rim or a hole")
    for mark in leather.marks:
        own = settings.usable.hole_margin_mm if mark.kind in EDGES else settings.usable.other_margin_mm
        apart = float(outline.distance(mark_polygon(mark)))
        if mark.kind not in rules.may_cover and apart < max(own, rules.margin_mm) - slack:
            faults.append(f"over {mark.id}" if apart == 0 else f"{apart:.0f} mm from {mark.id}")
    if rules.zones and _less(outline, leather, _zones(leather, rules.zones), slack):
        inside = one.zone in rules.zones
        faults.append(f"partly outside the {' and '.join(rules.zones)}" if inside else f"in the {one.zone}")
    least = rules.min_thickness_mm
    if least > 0 and _less(outline, leather, thick_region(leather, least, settings), slack):
        faults.append(f"{one.least_thickness_mm:.1f} mm thick only, {least:g} mm asked for")
    return faults or ["partly outside the leather that its rules leave it"]


def _less(outline: Polygon, leather: Leather, region: BaseGeometry, slack_mm: float) -> bool:
    """Whether a region covers less of the leather than a piece does."""
    return not region.intersection(outline).buffer(slack_mm).covers(outline.intersection(leather.net))


@lru_cache(maxsize=64)
def _net(leather: Leather, grown_mm: float) -> BaseGeometry:
    net = leather.net.buffer(grown_mm)
    prepare(net)
    return net


@lru_cache(maxsize=64)
def _zones(leather: Leather, names: tuple[str, ...]) -> BaseGeometry:
    return union_all([zone.polygon for zone in leather.zones if zone.name in names])
