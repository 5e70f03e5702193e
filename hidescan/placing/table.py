"""The cutting table: hides with pieces on them, and where one more could go.

Positions come from exact free regions (`place_nofit`): the corners of what is left of the inner-fit polygon when all
no-fit polygons are taken away. At such a corner a piece touches two neighbours or the rim, so nothing is wasted by a
grid; among the corners the one with the most contact is taken.
"""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from hidescan.basics.geometry import Points, counter_clockwise, rotation_2d
from hidescan.pieces.file import Piece
from hidescan.placing.leather import Leather, allowed_region
from hidescan.placing.no_fit_polygon import PER_MM, Ints, Paths, common, inner_fit, minus, no_fit
from hidescan.placing.shapes import Pose, Solid, gap_mm, grown_ring, solid, to_ints
from hidescan.settings.uses import PlaceSettings


@dataclass(frozen=True, slots=True)
class Spot:
    """A piece's place: which hide, which pose, and where its middle lies, micrometres in the hide frame."""

    hide: int
    pose: Pose
    x: int
    y: int

    @property
    def at_mm(self) -> Points:
        """Where its middle lies, mm."""
        return np.array([self.x, self.y]) / PER_MM


@dataclass(frozen=True, slots=True)
class PlacementWeights:
    """What makes one free position better than another.

    `towards` is which way to lie, `contact` how much touching counts, `back` how much nearness to the back line does,
    `noise` how much chance decides.
    """

    towards: tuple[float, float]
    contact: float
    back: float
    noise: float


@dataclass(frozen=True, slots=True, eq=False)
class _NoFit:
    """A no-fit polygon with its smallest and largest x and y, micrometres."""

    paths: list[Ints]
    x0: int
    y0: int
    x1: int
    y1: int


class Table:
    """Hides and the pieces on them; `put` and `take` change it."""

    def __init__(self, leathers: tuple[Leather, ...], settings: PlaceSettings) -> None:
        self.leathers = leathers
        self.settings = settings
        self.spots: dict[int, tuple[Piece, Spot]] = {}
        self._on: list[dict[int, tuple[Piece, Spot]]] = [{} for _ in leathers]
        self._rasters = [_Raster(leather, settings) for leather in leathers]
        # Keyed by the pieces themselves, which stay as long as what is known of them: a number of one that has gone may
        # be another's.
        self._solids: dict[tuple[Piece, Pose], Solid] = {}
        self._inner: dict[tuple[int, Piece, Pose], Paths] = {}
        self._meeting: dict[tuple[Piece, Piece, float, bool], list[Ints]] = {}
        self._between: dict[tuple[Piece, Pose, Piece, Pose], _NoFit] = {}
        # Free regions of whole hides, with how many of the hide's pieces were taken off: laying only ever takes more.
        self._left: list[dict[tuple[Piece, Pose], tuple[Paths, int]]] = [{} for _ in leathers]

    def put(self, item: int, piece: Piece, spot: Spot) -> None:
        """Lay a piece down."""
        self.spots[item] = self._on[spot.hide][item] = (piece, spot)
        self._rasters[spot.hide].mark(self.solid(piece, spot.pose), spot, 1)

    def take(self, item: int) -> tuple[Piece, Spot]:
        """Take a piece up again."""
        piece, spot = self.spots.pop(item)
        del self._on[spot.hide][item]
        self._left[spot.hide].clear()
        self._rasters[spot.hide].mark(self.solid(piece, spot.pose), spot, -1)
        return piece, spot

    def box(self, item: int) -> tuple[Ints, Ints]:
        """Smallest and largest x and y that a piece covers."""
        piece, spot = self.spots[item]
        shape = self.solid(piece, spot.pose)
        return shape.low + (spot.x, spot.y), shape.high + (spot.x, spot.y)

    def items_on(self, hide: int) -> list[int]:
        """The pieces on a hide, in the order they were laid."""
        return list(self._on[hide])

    def free(self, piece: Piece, pose: Pose, hide: int, window: tuple[Ints, Ints] | None = None) -> Paths:
        """Positions at which a piece is free to lie; of those that touch a window only, if one is given."""
        region = self._inside(piece, pose, hide)
        if window is None:
            region, done = self._left[hide].get((piece, pose), (region, 0))
            region = self._less(region, list(self._on[hide].values())[done:], piece, pose)
            self._left[hide][piece, pose] = region, len(self._on[hide])
            return region
        shape = self.solid(piece, pose)
        (x0, y0), (x1, y1) = window[0] - shape.high, window[1] - shape.low
        region = common(region, [[[x0, y0], [x1, y0], [x1, y1], [x0, y1]]])
        return self._less(region, list(self._on[hide].values()), piece, pose)

    def _less(self, region: Paths, others: list[tuple[Piece, Spot]], piece: Piece, pose: Pose) -> Paths:
        """Free positions less those that meet other pieces."""
        if not region or not others:
            return region
        corners = np.vstack([np.array(path) for path in region])
        (x0, y0), (x1, y1) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
        taken = []
        for other, spot in others:
            nofit = self._no_fit(other, spot.pose, piece, pose)
            x, y = spot.x, spot.y
            if nofit.x0 + x < x1 and nofit.x1 + x > x0 and nofit.y0 + y < y1 and nofit.y1 + y > y0:
                taken.append([(path + (x, y)).tolist() for path in nofit.paths])
        return minus(region, taken)

    def solid(self, piece: Piece, pose: Pose) -> Solid:
        """A piece in a pose as the search sees it."""
        key = piece, pose
        if key not in self._solids:
            self._solids[key] = solid(piece, pose, self.settings)
        return self._solids[key]

    def _inside(self, piece: Piece, pose: Pose, hide: int) -> Paths:
        """Positions at which a piece lies within the region that its rules allow."""
        key = hide, piece, pose
        if key not in self._inner:
            self._inner[key] = _inner(_regions(self.leathers[hide], piece, self.settings), self.solid(piece, pose))
        return self._inner[key]

    def _no_fit(self, other: Piece, other_pose: Pose, piece: Piece, pose: Pose) -> "_NoFit":
        """Positions of a piece, about another that lies at the origin, at which they meet.

        It is worked out once for each turn of one against the other, and turned and mirrored from there.
        """
        key = other, other_pose, piece, pose
        if key in self._between:
            return self._between[key]
        sign = -1.0 if other_pose.mirrored else 1.0
        unlike = pose.mirrored != other_pose.mirrored
        turn = round((sign * (pose.turned_deg - other_pose.turned_deg)) % 360.0, 6)
        first = other, piece, turn, unlike
        if first not in self._meeting:
            half_mm = gap_mm(other.rules, piece.rules) / 2
            paths = no_fit(
                grown_ring(other, Pose(0.0, False), half_mm, self.settings),
                grown_ring(piece, Pose(turn, unlike), half_mm, self.settings),
            )
            self._meeting[first] = [np.array(path, np.int64) for path in paths]
        turned = rotation_2d(other_pose.turned_deg).T
        paths_at = [
            np.rint((path * (sign, 1.0)) @ turned).astype(np.int64)[:: int(sign)] for path in self._meeting[first]
        ]
        corners = np.vstack(paths_at)
        (x0, y0), (x1, y1) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
        self._between[key] = _NoFit(paths_at, x0, y0, x1, y1)
        return self._between[key]

    def best(
        self,
        piece: Piece,
        pose: Pose,
        hide: int,
        regions: Paths,
        taste: PlacementWeights,
        rng: np.random.Generator,
    ) -> tuple[float, Spot]:
        """The best corner of some free regions, with its score (more is better)."""
        at = np.vstack([np.array(path) for path in regions])
        shape = self.solid(piece, pose)
        score = self._rasters[hide].score(shape, at / PER_MM, taste, piece)
        if taste.noise:
            score = score + taste.noise * rng.random(len(score))
        n = int(np.argmax(score))
        return float(score[n]), Spot(hide, pose, int(at[n, 0]), int(at[n, 1]))

    def quality(self, item: int, towards: tuple[float, float], back: float) -> float:
        """How well a piece lies where it is: along the preferred direction, near the back, thick where it needs."""
        piece, spot = self.spots[item]
        shape = self.solid(piece, spot.pose)
        return float(
            self._rasters[spot.hide].score(shape, spot.at_mm[None], PlacementWeights(towards, 0.0, back, 0.0), piece)[0]
        )

    def gap(self, hide: int, rng: np.random.Generator) -> Points:
        """A point of leather, mm; more often one that no piece covers."""
        return self._rasters[hide].somewhere(rng)


class _Raster:
    """What is taken on one hide, coarsely: good for judging positions, not for finding them."""

    def __init__(self, leather: Leather, settings: PlaceSettings) -> None:
        self.settings = settings
        step = settings.contact_step_mm
        x0, y0, x1, y1 = leather.net.bounds
        self.origin = np.array([x0 - 8 * step, y0 - 8 * step])
        self.size = np.array([x1 - x0, y1 - y0])
        columns, rows = np.ceil((self.size + 16 * step) / step).astype(int)
        self.middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
        usable = np.zeros((rows, columns), np.uint8)
        for part in shapely.get_parts(leather.usable):
            if part.is_empty:  # marks cover it all
                continue
            cv2.fillPoly(usable, [self._px(ring.coords) for ring in (part.exterior, *part.interiors)], 1)
        self.taken = (1 - usable).astype(np.int16)
        self.thickness: NDArray[np.float64] | None = None
        self.leather = leather

    def _px(self, coords: object) -> NDArray[np.int32]:
        return np.asarray(np.rint((np.array(coords) - self.origin) / self.settings.contact_step_mm), dtype=np.int32)

    def mark(self, shape: Solid, spot: Spot, change: int) -> None:
        """Add or take away a piece."""
        ring = self._px(shape.ring / PER_MM + spot.at_mm)
        low = np.maximum(ring.min(axis=0), 0)
        high = np.minimum(ring.max(axis=0) + 1, self.taken.shape[::-1])
        if (high <= low).any():
            return
        patch = np.zeros((high[1] - low[1], high[0] - low[0]), np.uint8)
        cv2.fillPoly(patch, [(ring - low).astype(np.int32)], 1)
        self.taken[low[1] : high[1], low[0] : high[0]] += change * patch.astype(np.int16)

    def score(self, shape: Solid, at_mm: Points, taste: PlacementWeights, piece: Piece) -> NDArray[np.float64]:
        """Contact with what is taken, nearness to the preferred direction, thickness under the spots that need it."""
        s = self.settings
        total = s.direction_weight * ((at_mm - self.middle) / self.size) @ np.array(taste.towards)
        if taste.back:
            total = total - s.back_weight * taste.back * 2 * np.abs(at_mm[:, 0]) / self.size[0]
        if taste.contact:
            feel = np.rint((shape.feelers_mm[None] + at_mm[:, None] - self.origin) / s.contact_step_mm).astype(int)
            feel = np.clip(feel, 0, np.array(self.taken.shape[::-1]) - 1)
            total = total + s.contact_weight * taste.contact * (self.taken[feel[..., 1], feel[..., 0]] > 0).mean(axis=1)
        if len(shape.spots_mm):
            where = (shape.spots_mm[None] + at_mm[:, None]).reshape(-1, 2)
            thick = self._thickness_at(where).reshape(len(at_mm), -1).mean(axis=1)
            total = total + s.thickness_weight * thick
        return np.asarray(total)

    def _thickness_at(self, points_mm: Points) -> NDArray[np.float64]:
        """Thickness over the hide's mean, from a coarse table made when first asked for."""
        step = self.settings.thickness_step_mm
        columns, rows = np.ceil(self.size / step).astype(int) + 1
        low = self.middle - self.size / 2
        if self.thickness is None:
            grid = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1) * step + low
            mean = self.leather.thickness.predict(grid.reshape(-1, 2))[0].reshape(rows, columns)
            self.thickness = mean / max(float(mean.mean()), 1e-9)
        c, r = np.clip(np.rint((points_mm - low) / step).astype(int), 0, (columns - 1, rows - 1)).T
        return np.asarray(self.thickness[r, c])

    def somewhere(self, rng: np.random.Generator) -> Points:
        rows, columns = np.nonzero(self.taken == 0)
        if len(rows) == 0 or rng.random() < 0.2:
            return np.asarray(self.middle + (rng.random(2) - 0.5) * self.size)
        n = int(rng.integers(len(rows)))
        return np.asarray(np.array([columns[n], rows[n]]) * self.settings.contact_step_mm + self.origin)


def _inner(regions: tuple[Polygon, ...], shape: Solid) -> Paths:
    """Positions at which a piece lies within one of the regions."""
    area = float(Polygon(shape.ring).area) / PER_MM**2
    found: Paths = []
    for region in regions:
        if region.area > area:
            free = inner_fit(_ring(region.exterior.coords), shape.ring)
            found += minus(free, [no_fit(_ring(hole.coords), shape.ring) for hole in region.interiors])
    return found


@lru_cache(maxsize=64)
def _regions(leather: Leather, piece: Piece, settings: PlaceSettings) -> tuple[Polygon, ...]:
    """The allowed region of a piece's grown outline, with fewer corners and never larger than it is."""
    rules = piece.rules
    region = allowed_region(leather, rules, settings, grown_mm=rules.margin_mm / 2)
    if shapely.get_num_coordinates(region) > 4 * settings.few_corners:
        region = shapely.simplify(region.buffer(-settings.coarse_mm), settings.coarse_mm)
    return tuple(part for part in shapely.get_parts(region) if part.area > piece.area_mm2)


def _ring(coords: object) -> Ints:
    return to_ints(counter_clockwise(np.array(coords)[:-1]))
