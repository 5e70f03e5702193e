"""Pieces as the search sees them: turned, mirrored, grown by half their margin, with few corners, in micrometres."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Polygon

from hidescan.basics.geometry import Points, counter_clockwise, rotation_2d
from hidescan.pieces.file import Piece, PieceRules
from hidescan.placing.no_fit_polygon import PER_MM, Ints
from hidescan.settings.uses import PlaceSettings


@dataclass(frozen=True, slots=True)
class Pose:
    """How a piece lies: turned counter-clockwise from its grain up, and perhaps mirrored first."""

    turned_deg: float
    mirrored: bool


@dataclass(frozen=True, slots=True, eq=False)
class Solid:
    """A piece in a pose about its own middle.

    Attributes
    ----------
    ring
        The grown outline, counter-clockwise, micrometres.
    low, high
        Its smallest and largest x and y.
    feelers_mm
        Points just outside the outline, at which contact is felt.
    spots_mm
        The spots that need thickness most.
    """

    ring: Ints
    low: Ints
    high: Ints
    feelers_mm: Points
    spots_mm: Points


def laid(piece: Piece, points_mm: Points, pose: Pose, at_mm: Points) -> Points:
    """Points of a piece's drawing where a pose and a place on the hide put them, (N, 2)."""
    middle = np.array(Polygon(piece.ring_mm).centroid.coords[0])
    up = (points_mm - middle) @ rotation_2d(90.0 - piece.grain_deg).T
    if pose.mirrored:
        up = up * (-1.0, 1.0)
    return np.asarray(up @ rotation_2d(pose.turned_deg).T + at_mm)


def outline_at(piece: Piece, pose: Pose, at_mm: Points) -> Polygon:
    """The piece's own outline in its place."""
    return Polygon(counter_clockwise(laid(piece, piece.ring_mm, pose, at_mm)))


def grown_ring(piece: Piece, pose: Pose, grow_mm: float, settings: PlaceSettings) -> Ints:
    """A piece's outline about its own middle, grown on all sides: counter-clockwise, (N, 2), micrometres."""
    grown = _coarse(outline_at(piece, pose, np.zeros(2)), grow_mm, settings)
    return to_ints(counter_clockwise(np.array(grown.exterior.coords)[:-1]))


def gap_mm(one: PieceRules, other: PieceRules) -> float:
    """How far apart two pieces must lie: each keeps its own margin to the other."""
    return max(one.margin_mm, other.margin_mm)


def solid(piece: Piece, pose: Pose, settings: PlaceSettings) -> Solid:
    """A piece in a pose as the search sees it."""
    origin = np.zeros(2)
    ints = grown_ring(piece, pose, piece.rules.margin_mm / 2, settings)
    grown = Polygon(ints / PER_MM)
    reach = grown.buffer(settings.contact_reach_mm).exterior
    at = np.linspace(0, 1, settings.contact_points, endpoint=False)
    feelers = shapely.get_coordinates(shapely.line_interpolate_point(reach, at, normalized=True))
    spots = np.array(piece.spots_mm).reshape(-1, 2)
    return Solid(ints, ints.min(axis=0), ints.max(axis=0), feelers, laid(piece, spots, pose, origin))


def _coarse(ring: Polygon, grow_mm: float, settings: PlaceSettings) -> Polygon:
    """Grown, and where it has many corners, a little more with fewer: never smaller than `ring` grown, less a hair."""
    few = len(ring.exterior.coords) - 1 <= settings.few_corners
    extra = -settings.slack_mm if few else settings.coarse_mm
    if grow_mm + extra < 0:  # an inner parallel line would cut off sharp corners by more than the slack
        reach = float(np.linalg.norm(np.array(ring.exterior.coords) - ring.centroid.coords[0], axis=1).max())
        return affinity.scale(ring, 1 - settings.slack_mm / reach, 1 - settings.slack_mm / reach, origin="centroid")
    grown = ring.buffer(grow_mm + extra, join_style="mitre", mitre_limit=2.0)
    if not few:
        grown = shapely.simplify(grown, settings.coarse_mm)
    return Polygon(grown.exterior)


def to_ints(points_mm: Points) -> Ints:
    """Millimetres to micrometres."""
    return np.rint(points_mm * PER_MM).astype(np.int64)


def turns(rules: PieceRules, settings: PlaceSettings) -> tuple[float, ...]:
    """Turns that may be tried, the straightest first; a grain has no head, so each comes with its half turn."""
    if rules.turn_deg is None:
        steps = np.arange(0.0, 180.0, settings.free_step_deg)
        straight = sorted(steps.tolist(), key=lambda turn: (turn % 90 != 0, turn))
    else:
        straight = list(dict.fromkeys(share * rules.turn_deg for share in settings.turn_shares))
    return tuple(turn for base in straight for turn in (base, base + 180.0))


def angle_to_back_deg(turned_deg: float) -> float:
    """Angle between grain and back line, over -90 to 90: a half turn is no turn."""
    return 90.0 - (90.0 - turned_deg) % 180.0
