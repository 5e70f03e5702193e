"""Where a polygon can lie: the exact regions of free positions, from convolutions of polygons.

A piece B placed at t covers t + B. It meets an obstacle A exactly where t lies in the Minkowski sum of A and -B, the
no-fit polygon; it lies inside a ring exactly where it does not meet the ring's outside, the inner-fit polygon.

Both come from one curve, the convolution of two polygonal tracings (Guibas, Ramshaw and Stolfi 1983, 'A kinetic
framework for computational geometry'): its winding number at t is the number of separate parts in which A and t - B
meet. So the no-fit polygon is where it is not zero, and about a ring that runs clockwise (its inside is not leather's
obstacle but its outside is) the inner-fit polygon is where it is -1. The curve has about as many edges as both polygons
together, against the product of both for the usual sum over all pairs of edges; pyclipper, a general library for
integer polygons, resolves its crossings. All coordinates are integers, micrometres.
"""

from collections import defaultdict
from typing import Any

import numpy as np
import pyclipper
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Paths = list[list[list[int]]]

PER_MM = 1000
_CIRCLE = 1 << 40  # directions as integers: parallel edges are then exactly so, and ties break the same way everywhere


def no_fit(obstacle: Ints, piece: Ints) -> Paths:
    """Positions at which a piece meets an obstacle; both rings counter-clockwise, (N, 2). Holes run clockwise."""
    return _resolved(_convolution(obstacle, -piece), pyclipper.PFT_NONZERO)


def inner_fit(ring: Ints, piece: Ints) -> Paths:
    """Positions at which a piece lies inside a ring; both counter-clockwise. The piece must not be the larger."""
    return _resolved(_convolution(ring[::-1], -piece), pyclipper.PFT_NEGATIVE)


def minus(region: Paths, taken: list[Paths]) -> Paths:
    """A region of positions less others."""
    if not region or not taken:
        return region
    clipper = pyclipper.Pyclipper()
    if not _added(clipper, region, pyclipper.PT_SUBJECT):
        return []
    for paths in taken:
        _added(clipper, paths, pyclipper.PT_CLIP)
    return clipper.Execute(pyclipper.CT_DIFFERENCE, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO)  # type: ignore[no-any-return]


def common(region: Paths, other: Paths) -> Paths:
    """The common part of two regions."""
    if not region or not other:
        return []
    clipper = pyclipper.Pyclipper()
    if not (_added(clipper, region, pyclipper.PT_SUBJECT) and _added(clipper, other, pyclipper.PT_CLIP)):
        return []
    return clipper.Execute(pyclipper.CT_INTERSECTION, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO)  # type: ignore[no-any-return]


def _added(clipper: Any, paths: Paths, kind: int) -> bool:
    """Add paths; those that have no area on the integer grid are left out, and false says that none is left."""
    flat = [path for path in paths if len(path) > 2]
    try:
        clipper.AddPaths(flat, kind, True)
    except pyclipper.ClipperException:  # raised where not one of them has an area
        return False
    return bool(flat)


def _resolved(curve: Paths, fill: int) -> Paths:
    clipper = pyclipper.Pyclipper()
    added = False
    for path in curve:
        if len(path) > 2:
            try:
                clipper.AddPath(path, pyclipper.PT_SUBJECT, True)
                added = True
            except pyclipper.ClipperException:
                # Where edges of both are parallel, a path may only run back over itself: it encloses nothing.
                if _twice_area(path):
                    raise
    return clipper.Execute(pyclipper.CT_UNION, fill, fill) if added else []


def _twice_area(path: list[list[int]]) -> int:
    """Twice a path's signed area, exactly."""
    return sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(path, path[1:] + path[:1], strict=True))


def _convolution(a: Ints, b: Ints) -> Paths:
    """The closed curves traced by a + b where both tracings look the same way.

    At a corner of one polygon its tracing turns through an interval of directions; every edge of the other that points
    into the interval is traced there, backward where the corner is a reflex one. Edges of `a` count as a hair clockwise
    of parallel ones of `b`.
    """
    from_a, turn_a = _directions(a)
    from_b, turn_b = _directions(b)
    edge_a, edge_b = np.roll(from_a, -1), np.roll(from_b, -1)  # direction of the edge that leaves each corner
    # Edges of b at corners of a: (corner i, edge j).
    ccw = (edge_b[None] - from_a[:, None]) % _CIRCLE
    cw = (from_a[:, None] - edge_b[None]) % _CIRCLE
    forward_b = (turn_a[:, None] > 0) & (ccw < turn_a[:, None])
    backward_b = (turn_a[:, None] < 0) & (cw > 0) & (cw <= -turn_a[:, None])
    # Edges of a at corners of b: (edge i, corner j).
    ccw = (edge_a[:, None] - from_b[None]) % _CIRCLE
    cw = (from_b[None] - edge_a[:, None]) % _CIRCLE
    forward_a = (turn_b[None] > 0) & (ccw > 0) & (ccw <= turn_b[None])
    backward_a = (turn_b[None] < 0) & (cw < -turn_b[None])
    n, m = len(a), len(b)
    steps: list[NDArray[np.int64]] = []
    for mask, di, dj, back in (
        (forward_b, 0, 1, False),
        (backward_b, 0, 1, True),
        (forward_a, 1, 0, False),
        (backward_a, 1, 0, True),
    ):
        i, j = np.nonzero(mask)
        start, end = i * m + j, ((i + di) % n) * m + (j + dj) % m
        steps.append(np.column_stack([end, start] if back else [start, end]))
    return _walked(np.vstack(steps), a, b)


def _directions(ring: Ints) -> tuple[Ints, Ints]:
    """Direction of the edge into each corner, and the signed turn there, in parts of `_CIRCLE`."""
    into = ring - np.roll(ring, 1, axis=0)
    direction = np.rint(np.arctan2(into[:, 1], into[:, 0]) / (2 * np.pi) * _CIRCLE).astype(np.int64) % _CIRCLE
    turn = (np.roll(direction, -1) - direction) % _CIRCLE
    return direction, np.where(turn > _CIRCLE // 2, turn - _CIRCLE, turn)


def _walked(steps: Ints, a: Ints, b: Ints) -> Paths:
    """Closed paths through all steps; as many leave a state as enter it, so any walk ends where it began."""
    m = len(b)
    leaving: defaultdict[int, list[int]] = defaultdict(list)
    for start, end in steps.tolist():
        leaving[start].append(end)
    paths = []
    for start in list(leaving):
        while leaving[start]:
            states, at = [start], leaving[start].pop()
            while at != start:
                states.append(at)
                at = leaving[at].pop()
            i, j = np.divmod(np.array(states), m)
            paths.append((a[i] + b[j]).tolist())
    return paths
