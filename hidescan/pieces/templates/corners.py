"""A template's edge as the knife cut it: smooth, but for its corners, which the picture's blur has rounded.

A blurred corner's half-way line runs inside its tip: by 0.8 standard deviations of the blur at a right angle, by more
at a sharper one. Where the edge's sides, fitted on both beyond the blur's reach, meet at an angle, and the blur
explains how far the edge stays short of the point in which they meet, that point is the corner. A corner that was cut
round stays shorter still and is left as it is. Between corners the edge is smoothed by local parabolas (Cleveland
1979), which leave curves as they are.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points
from hidescan.settings.uses import CornerSettings

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    """A side of a corner as a parabola over the length along the edge from the corner: coefficients (3, 2)."""

    curve: Points
    rms_px: float

    def at(self, along_px: Array) -> Points:
        return np.vander(along_px, 3, increasing=True) @ self.curve

    def direction(self) -> Points:
        """Unit direction at the corner, away from it."""
        return np.asarray(self.curve[1] / np.linalg.norm(self.curve[1]))


def as_cut(ring_px: Points, weights: Array, blur_px: float, smooth_px: float, settings: CornerSettings) -> Points:
    """The ring smoothed, its rounded corners drawn to their tips.

    Parameters
    ----------
    ring_px
        An edge in the photo, (N, 2), in even steps of `settings.step_px`.
    weights
        How far each of its points is to be trusted, (N,).
    blur_px
        Standard deviation of the blur across the edge.
    smooth_px
        Half the length of the parabolas that smooth it.
    """
    skip = round(settings.skip_blurs * blur_px / settings.step_px)
    reach = round(smooth_px / settings.step_px)
    if len(ring_px) < max(8 * skip, 4 * reach):
        return ring_px
    smooth = _smoothed(ring_px, weights, reach, closed=True)
    rough = 1.4826 * float(np.median(np.linalg.norm(ring_px - smooth, axis=1)))
    seen, tips = _Ring(ring_px, weights, rough), {}
    for n in _candidates(ring_px, skip, settings):
        found = _tip(seen, n, skip, blur_px, settings)
        if found is not None:
            tips[n] = found
    return _drawn(seen, tips, smooth, reach)


@dataclass(frozen=True, slots=True, eq=False)
class _Ring:
    """A ring, the weights of its points, and how rough it is."""

    px: Points
    weights: Array
    rough_px: float


def _smoothed(points: Points, weights: Array, reach: int, *, closed: bool) -> Points:
    """A line smoothed by long parabolas, and by shorter ones where its bends are more than its roughness."""
    short, long = (_parabolas(points, weights, r, closed=closed) for r in (reach // 2, reach))
    off = np.linalg.norm(short - long, axis=1)
    bends = np.clip(off / (6 * float(np.median(off)) + 1e-9) - 1, 0, 1) * weights  # 4 standard deviations and more
    return np.asarray(long + bends[:, None] * (short - long))


def _parabolas(points: Points, weights: Array, reach: int, *, closed: bool) -> Points:
    """Points of a line on the parabolas that fit best what lies within reach of each, the nearer the more."""
    reach = min(reach, (len(points) - 1) // 2)
    if reach < 2:
        return points
    along = np.arange(-reach, reach + 1) / (reach + 1)
    near = (1 - np.abs(along) ** 3) ** 3

    def moments(values: Array) -> Array:
        """Sums over each window of values times along^0..4, (5, N)."""
        padded = np.pad(values, reach, mode="wrap" if closed else "constant")
        return np.array([np.correlate(padded, near * along**k, "valid") for k in range(5)])

    own = moments(weights)
    normal = own[np.add.outer(np.arange(3), np.arange(3))].transpose(2, 0, 1) + 1e-9 * np.eye(3)
    right = np.array([moments(weights * column)[:3] for column in points.T]).transpose(2, 1, 0)
    return np.asarray(np.linalg.solve(normal, right)[:, 0])


def _candidates(ring: Points, skip: int, settings: CornerSettings) -> list[int]:
    """Where the edge turns most within the blur's reach, once for each corner."""
    ahead = np.roll(ring, -2 * skip, axis=0) - np.roll(ring, -skip, axis=0)
    behind = np.roll(ring, skip, axis=0) - np.roll(ring, 2 * skip, axis=0)
    turn = np.abs(_angle(behind, ahead))
    found: list[int] = []
    for n in np.argsort(-turn).tolist():
        if turn[n] < np.radians(settings.least_turn_deg):
            break
        if all(min(abs(n - m), len(ring) - abs(n - m)) > 3 * skip for m in found):
            found.append(n)
    return found


def _angle(a: Points, b: Points) -> Array:
    """Signed angle from one vector to another, radians, (N,)."""
    return np.asarray(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], np.sum(a * b, axis=1)))


def _tip(seen: _Ring, n: int, skip: int, blur_px: float, settings: CornerSettings) -> tuple[int, Points] | None:
    """A corner's tip, and how many points on each side of it the blur has moved; None where there is no corner."""
    ring = seen.px
    for _ in range(2):  # the sharper, the farther the blur reaches
        sides = [_side(seen, n, way, skip, settings) for way in (-1, 1)]
        one, other = (side.direction() for side in sides)
        half = float(np.arccos(np.clip(one @ other, -1, 1))) / 2
        skip = min(round(settings.skip_blurs * blur_px / settings.step_px / max(np.sin(half), 0.3)), len(ring) // 8)
    turn = np.pi - 2 * half
    if 2 * half < np.radians(settings.least_tip_deg):
        return None
    if turn < np.radians(settings.least_turn_deg) or max(side.rms_px for side in sides) > max(
        settings.most_rms_px, settings.most_rough * seen.rough_px
    ):
        return None
    tip = _meeting(*sides)
    if tip is None:
        return None
    near = ring[(n + np.arange(-skip, skip + 1)) % len(ring)]
    nearest = near[int(np.argmin(np.linalg.norm(near - tip, axis=1)))]
    short = float(np.linalg.norm(tip - nearest))
    expected = blur_px * _retreat(round(np.degrees(half)))
    if short > settings.most_short * expected + settings.noise_px + seen.rough_px:
        return None
    return skip, nearest + (tip - nearest) * min(1.0, settings.most_drawn * expected / max(short, 1e-6))


def _side(seen: _Ring, n: int, way: int, skip: int, settings: CornerSettings) -> _Side:
    """The side of a corner that lies ahead (1) or behind (-1), fitted beyond the blur's reach."""
    # As long as what it is drawn on over, twice: a parabola drawn on far beyond its points leads anywhere.
    straight = max(settings.straight_rms_px, settings.most_rough * seen.rough_px / 2)
    length = settings.side_px * min(straight / settings.straight_rms_px, settings.most_side)
    steps = np.arange(skip, skip + max(round(length / settings.step_px), 2 * skip) + 1)
    at = (n + way * steps) % len(seen.px)
    points, weights = seen.px[at], np.asarray(np.sqrt(seen.weights[at])[:, None])
    along = steps * settings.step_px
    design = np.vander(along, 3, increasing=True)
    line, curve = (_fitted(points, weights, np.asarray(design[:, :terms])) for terms in (2, 3))
    # Straight, unless a parabola is clearly better: drawn on to the tip, it strays more.
    return line if line.rms_px <= max(straight, settings.straighter * curve.rms_px) else curve


def _fitted(points: Points, weights: Array, design: Array) -> _Side:
    """Least squares of a side's points."""
    curve = np.zeros((3, 2))
    curve[: design.shape[1]] = np.linalg.lstsq(weights * design, weights * points, rcond=None)[0]
    off = np.sum((design @ curve[: design.shape[1]] - points) ** 2, axis=1)
    return _Side(curve, float(np.sqrt(np.average(off, weights=weights[:, 0] ** 2))))


def _meeting(one: _Side, other: _Side) -> Points | None:
    """Where two sides meet, by Newton's method from the corner as it was seen; None where they do not."""
    along = np.zeros(2)
    for _ in range(12):
        gap = one.at(along[:1])[0] - other.at(along[1:])[0]
        slopes = np.column_stack(
            [one.curve[1] + 2 * along[0] * one.curve[2], -other.curve[1] - 2 * along[1] * other.curve[2]]
        )
        if abs(np.linalg.det(slopes)) < 1e-3:
            return None
        step = np.linalg.solve(slopes, gap)
        along = along - step
        if np.abs(step).max() < 1e-6:
            return np.asarray(one.at(along[:1])[0])
    return None


@lru_cache(maxsize=180)
def _retreat(half_deg: int) -> float:
    """How far inside a corner's tip the half-way line runs, in standard deviations of a Gaussian blur.

    The blurred wedge of half angle h at a distance d inside its tip is the integral over x > -d of phi(x) times
    2 Phi((x + d) tan h) - 1; d makes it one half. A wedge of more than 180 degrees is the floor's, seen from outside.
    """
    from scipy.optimize import brentq
    from scipy.special import ndtr

    half = np.radians(min(half_deg, 180 - half_deg))
    if half > np.radians(85):
        return 0.0
    x = np.linspace(0.0, 12.0, 4001)  # from the tip

    def share(d: float) -> float:
        phi = np.exp(-((x - d) ** 2) / 2) / np.sqrt(2 * np.pi)
        return float(np.trapezoid(phi * (2 * ndtr(x * np.tan(half)) - 1), x)) - 0.5

    return float(brentq(share, 0.0, 11.0))


def _drawn(seen: _Ring, tips: dict[int, tuple[int, Points]], smooth: Points, reach: int) -> Points:
    """The ring smoothed from tip to tip, each tip in place of what the blur has moved."""
    if not tips:
        return smooth
    order = sorted(tips)
    made = []
    for n, following in zip(order, [*order[1:], order[0] + len(smooth)], strict=True):
        skip, tip = tips[n]
        between = np.arange(n + skip + 1, following - tips[following % len(smooth)][0]) % len(smooth)
        made += [tip[None], _smoothed(seen.px[between], seen.weights[between], reach, closed=False)]
    return np.vstack(made)
