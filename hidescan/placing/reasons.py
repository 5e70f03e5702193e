"""Why a piece found no place: which one rule, given up, would let it lie, or by how much it does not fit."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from shapely import union_all
from shapely.geometry import Polygon

from hidescan.basics.geometry import counter_clockwise
from hidescan.pieces.file import COVERABLE, Piece
from hidescan.placing.file import NearestMiss
from hidescan.placing.items import Item
from hidescan.placing.leather import mark_polygon
from hidescan.placing.no_fit_polygon import PER_MM
from hidescan.placing.shapes import Pose, angle_to_back_deg, outline_at, turns
from hidescan.placing.table import PlacementWeights, Spot, Table
from hidescan.settings.uses import PlaceSettings

_STILL = PlacementWeights((0.0, -1.0), 1.0, 0.0, 0.0)


def nearest_miss(table: Table, item: Item, settings: PlaceSettings) -> tuple[str, NearestMiss | None]:
    """Why an item has no place on a laid table, and where it would lie without one of its rules."""
    piece, mirrored = item.piece, item.side == "right"
    if item.mate is not None and _spot(table, piece, mirrored, settings) is not None:
        return "there is room for one of the pair, not for both on one hide or at places alike on two", None
    for rule, looser in _looser(piece):
        spot = _spot(table, looser, mirrored, settings, near=piece.rules.zones if rule == "zones" else ())
        if spot is None:
            continue
        if rule == "min_thickness_mm":  # the thickest place that would do
            low, high = 0.0, piece.rules.min_thickness_mm
            while high - low > settings.miss_thickness_mm:
                middle = (low + high) / 2
                less = replace(piece, rules=replace(piece.rules, min_thickness_mm=middle))
                better = _spot(table, less, mirrored, settings)
                low, high, spot = (low, middle, spot) if better is None else (middle, high, better)
        lacking, unit, text = _lacking(table, piece, rule, spot)
        miss = NearestMiss(table.leathers[spot.hide].name, _xy(spot), spot.pose.turned_deg, rule, lacking, unit)
        return f"{text} ({miss.hide}, {spot.at_mm[1]:.0f} mm from the tail, {_side(spot)})", miss
    low, high = 0.0, _half_width(piece)
    found = None
    while high - low > settings.miss_step_mm:
        shrink = (low + high) / 2
        spot = _spot(table, _shrunk(piece, shrink), mirrored, settings)
        if spot is None:
            low = shrink
        else:
            high, found = shrink, spot
    if found is None:
        x0, y0, x1, y1 = Polygon(piece.ring_mm).bounds
        return f"no rule given up alone makes room for it ({x1 - x0:.0f} x {y1 - y0:.0f} mm as drawn)", None
    name = table.leathers[found.hide].name
    miss = NearestMiss(name, _xy(found), found.pose.turned_deg, "room", high, "mm")
    return f"no room: it would lie {high:.0f} mm too far over its neighbours or the rim ({name}, {_where(found)})", miss


def _looser(piece: Piece) -> Iterator[tuple[str, Piece]]:
    """The piece with one rule given up at a time."""
    rules = piece.rules
    if rules.min_thickness_mm > 0:
        yield "min_thickness_mm", replace(piece, rules=replace(rules, min_thickness_mm=0.0))
    if rules.turn_deg is not None:
        yield "turn_deg", replace(piece, rules=replace(rules, turn_deg=None))
    if rules.zones:
        yield "zones", replace(piece, rules=replace(rules, zones=()))
    if set(rules.may_cover) != set(COVERABLE):
        yield "may_cover", replace(piece, rules=replace(rules, may_cover=COVERABLE))
    if rules.margin_mm > 0:
        yield "margin_mm", replace(piece, rules=replace(rules, margin_mm=0.0))


def _lacking(table: Table, piece: Piece, rule: str, spot: Spot) -> tuple[float, str, str]:
    """By how much a rule is missed at a place: number, unit, text."""
    leather, rules = table.leathers[spot.hide], piece.rules
    outline = outline_at(piece, spot.pose, spot.at_mm)
    if rule == "min_thickness_mm":
        points = np.array(outline.exterior.segmentize(10.0).coords)
        thinnest = float(leather.thickness.predict(points)[0].min())
        lacking = max(rules.min_thickness_mm - thinnest, 0.0)
        return lacking, "mm", f"the leather is {lacking:.2f} mm too thin where it would fit"
    if rule == "turn_deg" and rules.turn_deg is not None:
        angle = abs(angle_to_back_deg(spot.pose.turned_deg))
        return (
            angle - rules.turn_deg,
            "deg",
            f"it would fit turned by {angle:.0f} degrees, {rules.turn_deg:g} are allowed",
        )
    if rule == "zones":
        zones = [z for z in leather.zones if z.name in rules.zones]
        out = float(outline.area - sum(z.polygon.intersection(outline).area for z in zones)) / 100
        return out, "cm2", f"it would lie {out:.0f} cm² outside {', '.join(rules.zones)}"
    if rule == "may_cover":
        under = [m for m in leather.marks if m.kind not in rules.may_cover and m.kind != "hole"]
        near = min(under, key=lambda m: float(outline.distance(mark_polygon(m))), default=None)
        if near is None:
            return 0.0, "mm", "a mark is in the way"
        return 0.0, "mm", f"{near.id} ({near.kind}) is in the way"
    return rules.margin_mm, "mm", f"it would fit without its margin of {rules.margin_mm:g} mm"


def _spot(
    table: Table, piece: Piece, mirrored: bool, settings: PlaceSettings, near: tuple[str, ...] = ()
) -> Spot | None:
    """A free place: the nearest to the middle of some zones, if any are named."""
    rng = np.random.default_rng(0)  # not drawn from: the taste has no noise
    for hide in range(len(table.leathers)):
        straight = sorted(turns(piece.rules, settings), key=lambda turn: abs(angle_to_back_deg(turn)))
        for turn in straight:
            regions = table.free(piece, Pose(turn, mirrored), hide)
            wanted = [z.polygon for z in table.leathers[hide].zones if z.name in near]
            if regions and wanted:
                corners = np.vstack([np.array(path) for path in regions])
                middle = np.array(union_all(wanted).centroid.coords[0]) * PER_MM
                x, y = corners[int(np.argmin(np.linalg.norm(corners - middle, axis=1)))]
                return Spot(hide, Pose(turn, mirrored), int(x), int(y))
            if regions:
                return table.best(piece, Pose(turn, mirrored), hide, regions, _STILL, rng)[1]
    return None


def _shrunk(piece: Piece, by_mm: float) -> Piece:
    """The piece smaller by so much on all sides, unturned."""
    outline = Polygon(piece.ring_mm)
    inner = outline.buffer(-by_mm, join_style="mitre")
    largest = max(getattr(inner, "geoms", [inner]), key=lambda part: float(part.area))
    ring = counter_clockwise(np.array(largest.exterior.coords)[:-1])
    return replace(piece, ring_mm=ring, spots_mm=(), rules=replace(piece.rules, turn_deg=0.0))


def _half_width(piece: Piece) -> float:
    """Most that can be taken off all sides with something left."""
    outline = Polygon(piece.ring_mm)
    low, high = 0.0, float(np.sqrt(outline.area))
    for _ in range(12):
        middle = (low + high) / 2
        low, high = (middle, high) if outline.buffer(-middle, join_style="mitre").area > 1.0 else (low, middle)
    return low * 0.98


def _xy(spot: Spot) -> tuple[float, float]:
    return spot.x / PER_MM, spot.y / PER_MM


def _side(spot: Spot) -> str:
    return f"{abs(spot.x) / PER_MM:.0f} mm {'right' if spot.x >= 0 else 'left'} of the back line"


def _where(spot: Spot) -> str:
    return f"{spot.y / PER_MM:.0f} mm from the tail, {_side(spot)}"
