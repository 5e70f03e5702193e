"""One photo to each stretch of the joined rim, and the step from one to the next taken where they agree.

Photos disagree most at narrow nicks, of which each sees the bottom from its own side: a mean of them is a nick that
nobody saw. So each stretch is drawn by one photo. Which one, is the cheapest way round the ring (dynamic programming,
Bellman 1957, as seams are laid between photos of a panorama: Milgram 1977): it costs to be drawn by a photo less sure
there than the best, and to change the photo, the more so where the two differ within the length of the change.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points, signed_area
from hidescan.join.region_vote import Array
from hidescan.join.settings import RimSettings
from hidescan.join.strip import Base, Strip


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """The rim from all photos.

    Attributes
    ----------
    offset_mm
        (N,) outward from the base's points.
    ring_mm, at
        (L, 2) and (L,) the rim as the photos drew it, with each nick as one of them saw it; and place along the base,
        index with fraction.
    photo
        (L,) the photo that drew it there; -1 where none sees it.
    confidence
        (L,) of that photo there.
    """

    offset_mm: Array
    ring_mm: Points
    at: Array
    photo: NDArray[np.intp]
    confidence: Array


def drawn(base: Base, strips: list[Strip], shifts: list[Array], settings: RimSettings) -> Drawn:
    """Draw the rim.

    Parameters
    ----------
    shifts
        (N,) for each photo: by how much its offset is off for what is known of height, bias and camera.
    """
    n, step_mm = len(base.ring_mm), base.step_mm
    reach = max(1, round(settings.fade_mm / step_mm))
    offsets = np.stack([strip.offset_mm - shift for strip, shift in zip(strips, shifts, strict=True)])
    offsets = np.stack([_without_jumps(part, settings.jump_mm) for part in offsets])
    seen = np.isfinite(offsets)
    hops = [_hops(strip, seen[k], base, settings) for k, strip in enumerate(strips)]
    u = np.stack([_filled_over(strip.u_mm, seen[k], hops[k]) for k, strip in enumerate(strips)])
    label = _photos(offsets, u, step_mm, settings)
    weights = np.stack([_softened((label == k).astype(np.float64), reach) for k in range(len(strips))])
    pure = weights[label, np.arange(n)] > 1.0 - 1e-9
    weights = np.where(seen, weights, 0.0)
    total = weights.sum(axis=0)
    mean = np.sum(np.where(seen, weights * offsets, 0.0), axis=0)
    offset = np.divide(mean, total, out=np.full(n, np.nan), where=total > 1e-9)
    px_mm = np.stack([_filled_over(strip.px_mm, seen[k], hops[k]) for k, strip in enumerate(strips)])
    at = np.arange(n)
    known = np.isfinite(u)[label, at]
    of_photo, of_px = (np.where(known, part[label, at], 0.0) for part in (u, px_mm))
    wrong = np.sqrt(np.maximum(of_photo**2 - of_px**2, 0.0))
    confidence = np.where(known, 1.0 - wrong / settings.wrong_mm, 0.0)
    ring, place = _as_drawn(base, strips, shifts, hops, np.where(pure, label, -1), offset)
    nearest = np.rint(place).astype(np.intp) % n
    photo = np.where(np.isfinite(u).any(axis=0), label, -1).astype(np.intp)
    return Drawn(filled(offset), ring, place, photo[nearest], confidence[nearest])


@dataclass(frozen=True, slots=True, eq=False)
class _Hops:
    """How a photo's rim goes from one base point to the next that it crosses, (H,): from, how far, vertices between.

    The vertices are `many` from `first` on, backwards where `way` is -1; `first` may pass the rim's end.
    """

    start: NDArray[np.intp]
    far: NDArray[np.intp]
    first: NDArray[np.intp]
    many: NDArray[np.intp]
    way: int


def _hops(strip: Strip, seen: NDArray[np.bool_], base: Base, settings: RimSettings) -> _Hops:
    """Where the rim leaves the photo, or goes a long way round or leaves out much of the base, there is no hop."""
    n, count = len(base.ring_mm), len(strip.floor_mm)
    i = np.flatnonzero(seen)
    j = np.roll(i, -1)
    floor = np.where(strip.usable[:, None], strip.floor_mm, 0.0)
    way = 1 if signed_area(floor) > 0 else -1
    first = np.floor(strip.at[i if way > 0 else j]).astype(np.intp) + 1
    many = (np.floor(strip.at[j if way > 0 else i]).astype(np.intp) - first + 1) % count
    first %= count
    last, far = first + many, (j - i) % n
    length = np.r_[0.0, np.cumsum(np.tile(np.linalg.norm(np.roll(floor, -1, axis=0) - floor, axis=1), 2))]
    left_out = np.r_[0, np.cumsum(np.tile(~strip.usable, 2))]
    way_mm = length[np.maximum(last - 1, first)] - length[first]
    good = (far > 0) & (left_out[last] == left_out[first])
    gap_mm = base.step_mm * far
    good &= (way_mm < 1.5 * gap_mm + settings.nick_mm) & (way_mm > 0.5 * gap_mm - settings.left_out_mm)
    return _Hops(i[good], far[good], first[good], many[good], way)


def _filled_over(values: Array, seen: NDArray[np.bool_], hops: _Hops) -> Array:
    """A strip's values, with those between two points that its rim joins; infinite where it says nothing."""
    n = len(values)
    full = np.where(seen, values, np.inf)
    for i, far in zip(hops.start[hops.far > 1], hops.far[hops.far > 1], strict=True):
        full[np.arange(i + 1, i + far) % n] = max(values[i], values[(i + far) % n])
    return full


def _as_drawn(
    base: Base, strips: list[Strip], shifts: list[Array], hops: list[_Hops], alone: NDArray[np.intp], offset: Array
) -> tuple[Points, Array]:
    """The ring's points and their places along the base: vertices of one photo's rim where that draws `alone` (N,)."""
    n = len(base.ring_mm)
    changes = np.cumsum(np.tile(alone != np.roll(alone, 1), 2))
    skipped = np.zeros(2 * n + 1, dtype=np.intp)
    points, places = list[Points](), list[Array]()
    for k, (strip, hop) in enumerate(zip(strips, hops, strict=True)):
        taken = (alone[hop.start] == k) & (changes[hop.start + hop.far] == changes[hop.start])
        start, far, first, many = (part[taken] for part in (hop.start, hop.far, hop.first, hop.many))
        np.add.at(skipped, start + 1, 1)
        np.add.at(skipped, start + far, -1)
        whose = np.repeat(np.arange(len(start)), many)
        within = np.arange(len(whose)) - np.repeat(np.cumsum(many) - many, many)
        at = start[whose] + far[whose] * (within + 1.0) / (many[whose] + 1.0)
        vertex = (first[whose] + (within if hop.way > 0 else many[whose] - 1 - within)) % len(strip.floor_mm)
        near = np.rint(at).astype(np.intp) % n
        points.append(strip.floor_mm[vertex] - shifts[k][near, None] * base.normals[near])
        places.append(at % n)
    over = np.cumsum(skipped)
    own = np.flatnonzero((over[:n] + over[n : 2 * n] == 0) & np.isfinite(offset))
    points.append(base.ring_mm[own] + offset[own, None] * base.normals[own])
    places.append(own.astype(np.float64))
    order = np.argsort(np.concatenate(places), kind="stable")
    return np.vstack(points)[order], np.concatenate(places)[order]


def _photos(offsets: Array, u: Array, step_mm: float, settings: RimSettings) -> NDArray[np.intp]:
    """The photo that draws each point of the ring, (N,)."""
    photos, n = offsets.shape
    best = np.where(np.isfinite(u).any(axis=0), u.min(axis=0), 1.0)
    drawn = np.minimum(np.where(np.isfinite(u), u, np.inf) / best - 1.0, settings.most_unsure) * step_mm
    change = np.full((n, photos, photos), settings.change_mm)
    reach = max(1, round(settings.fade_mm / step_mm))
    for k in range(photos):
        change[:, k, k] = 0.0
        for j in range(k):
            apart = np.abs(offsets[k] - offsets[j])
            apart = np.where(np.isfinite(apart), np.minimum(apart, settings.most_apart_mm), settings.most_apart_mm)
            change[:, k, j] = change[:, j, k] = settings.change_mm + settings.apart_cost * _greatest(apart, reach)
    # in stretches of several points: a photo is not changed twice within one
    size = max(1, round(settings.stretch_mm / step_mm))
    stretch = np.arange(n) // size
    starts = np.arange(0, n, size)
    m = len(starts)
    drawn, change = np.add.reduceat(drawn, starts, axis=1), np.maximum.reduceat(change, starts, axis=0)
    cost, came = drawn[:, 0].copy(), np.zeros((2 * m, photos), dtype=np.intp)
    for i in range(1, 2 * m):  # twice round, so that the end meets the beginning
        ways = cost[:, None] + change[i % m]
        came[i] = np.argmin(ways, axis=0)
        cost = ways[came[i], np.arange(photos)] + drawn[:, i % m]
    path = np.zeros(2 * m, dtype=np.intp)
    path[-1] = int(np.argmin(cost))
    for i in range(2 * m - 1, 0, -1):
        path[i - 1] = came[i, path[i]]
    return np.asarray(np.r_[path[m : m + m // 2], path[m // 2 : m]][stretch], dtype=np.intp)


def _greatest(values: Array, reach: int) -> Array:
    """The greatest value within `reach` points to either side, round the ring."""
    from scipy.ndimage import maximum_filter1d

    return np.asarray(maximum_filter1d(values, 2 * reach + 1, mode="wrap"))


def _softened(values: Array, reach: int) -> Array:
    """Values with each step made a ramp of `reach` points, round the ring."""
    from scipy.ndimage import uniform_filter1d

    return np.asarray(uniform_filter1d(values, 2 * (reach // 2) + 1, mode="wrap"))


def _without_jumps(offset: Array, most_mm: float) -> Array:
    """Offsets with NaN where a point is off all its neighbours: there a rim was read across a gap or at a tip."""
    around = np.stack([np.roll(offset, k) for k in range(-4, 5)])
    known = np.isfinite(around).any(axis=0)
    middle = np.full(len(offset), np.nan)
    middle[known] = np.nanmedian(around[:, known], axis=0)
    return np.where(np.abs(offset - middle) > most_mm, np.nan, offset)


def filled(values: Array) -> Array:
    """NaN replaced by the line between the values on both sides, round the ring; all NaN become 0."""
    good = np.flatnonzero(np.isfinite(values))
    if not len(good):
        return np.zeros(len(values))
    n = len(values)
    at, known = np.r_[good[-1] - n, good, good[0] + n], values[np.r_[good[-1], good, good[0]]]
    return np.asarray(np.interp(np.arange(n), at, known))


def along(at_nodes: Array, points: int) -> Array:
    """Values at nodes carried to the base's points, linear in between, round the ring."""
    m = len(at_nodes)
    place = (np.arange(points) + 0.5) / points * m - 0.5
    return np.asarray(np.interp(place, np.arange(-1, m + 1), np.r_[at_nodes[-1], at_nodes, at_nodes[0]]))
