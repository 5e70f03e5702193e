"""Plane rings: closed polygons as (N, 2) arrays whose last point is not the first again.

Everything here is plain plane geometry, unit-free: what goes in as mm comes out as mm or mm2.
"""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from shapely.geometry import MultiPolygon
    from shapely.geometry.base import BaseGeometry

Points = NDArray[np.float64]
FARTHEST_MM = 1e5  # 100 m: no hide; corners far beyond it leave no area that could be computed


def signed_area(ring: Points) -> float:
    """Area by the shoelace formula; positive where the ring runs counter-clockwise (x right, y up).

    Examples
    --------
    >>> signed_area(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 3.0], [0.0, 3.0]]))
    6.0
    """
    x, y = (ring - ring.mean(axis=0)).T  # centred: far from the origin the products would cancel badly
    return float(0.5 * (x[:-1] @ y[1:] - x[1:] @ y[:-1] + x[-1] * y[0] - x[0] * y[-1]))


def counter_clockwise(ring: Points) -> Points:
    """The same ring, turned to run counter-clockwise (x right, y up)."""
    return ring if signed_area(ring) >= 0 else np.ascontiguousarray(ring[::-1])


def perimeter(ring: Points) -> float:
    """Length of the closed ring."""
    return float(np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1).sum())


def divider_perimeter(ring: Points, step: float) -> float:
    """Return the length of the closed ring as walked with a divider of opening `step`, the rest at the end included.

    From a point of the ring the next is the first one beyond it that lies `step` away, so that what is finer than a
    step does not count (Richardson 1961, General Systems Yearbook 6:139-187; Mandelbrot 1967, Science 156:636-638). A
    ring smaller than the step has its own length.

    Examples
    --------
    >>> divider_perimeter(np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 40.0], [0.0, 40.0]]), 20.0)
    200.0
    """
    closed = np.vstack([ring, ring[:1]])
    if not np.linalg.norm(ring - ring[0], axis=1).max() > step:
        return perimeter(ring)
    at, i, steps = closed[0], 0, 0
    while (found := _first_beyond(closed, i, at, step)) is not None:
        i, at = found
        steps += 1
    return steps * step + float(np.linalg.norm(closed[-1] - at))


def _first_beyond(line: Points, i: int, at: Points, step: float) -> tuple[int, Points] | None:
    """Where a line, followed from a point on its segment `i`, first lies `step` away: the segment, and the point."""
    window = 64
    for start in range(i + 1, len(line), window):
        far = np.flatnonzero(np.linalg.norm(line[start : start + window] - at, axis=1) >= step)
        if len(far):
            j = start + int(far[0])
            a, b = (line[j - 1] if j - 1 > i else at), line[j]
            # |a + t (b - a) - at| = step, the larger root: a lies nearer, b does not
            d, e = b - a, a - at
            p, q, r = float(d @ d), float(d @ e), float(e @ e) - step * step
            t = (-q + np.sqrt(max(q * q - p * r, 0.0))) / p
            return j - 1, a + min(float(t), 1.0) * d
    return None


def outward_normals(ring: Points) -> Points:
    """Unit normals of a counter-clockwise ring pointing out of it, one a vertex, shape (N, 2).

    A vertex where the ring doubles back on itself has no normal; it gets (0, 0).
    """
    chord = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    normal = np.column_stack([chord[:, 1], -chord[:, 0]])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    unit: Points = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)
    return unit


def resample(ring: Points, step: float) -> Points:
    """The ring with points evenly spaced about `step` apart along it.

    Raises
    ------
    ValueError
        If the ring has no length.
    """
    closed = np.vstack([ring, ring[:1]])
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))]
    if not along[-1] > 0:
        raise ValueError("A ring without length cannot be resampled.")
    count = max(3, round(along[-1] / step))
    at = np.linspace(0.0, along[-1], count, endpoint=False)
    return np.column_stack([np.interp(at, along, closed[:, 0]), np.interp(at, along, closed[:, 1])])


def without_crossings(ring: Points) -> Points:
    """The largest simple ring in a ring that may cross itself, counter-clockwise.

    A rim brought to the plan view from two heights can cross itself by a fraction of a millimetre where the height
    changes; GEOS's valid form of it differs by the tiny loops only.
    """
    from shapely import make_valid
    from shapely.geometry import Polygon

    polygon = Polygon(ring)
    if polygon.is_valid:
        return counter_clockwise(ring)
    largest = max(polygonal(make_valid(polygon)).geoms, key=lambda part: float(part.area))
    return counter_clockwise(np.array(largest.exterior.coords)[:-1])


def has_area(ring: Points) -> bool:
    """Whether a ring encloses more than a thousandth of a square unit: less may be lost on the way to another frame.

    Examples
    --------
    >>> has_area(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    True
    >>> has_area(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 0.0]]))
    False
    """
    from shapely import make_valid
    from shapely.geometry import Polygon

    return len(ring) >= 3 and bool(polygonal(make_valid(Polygon(ring))).area > 1e-3)


def rotation_2d(angle_deg: float) -> NDArray[np.float64]:
    """Matrix that turns a column vector counter-clockwise (x right, y up) by `angle_deg`."""
    c, s = np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))
    return np.array([[c, -s], [s, c]])


def polygonal(shape: "BaseGeometry") -> "MultiPolygon":
    """The polygons of an intersection or a difference, without points and lines where two shapes only touch."""
    from shapely import get_parts
    from shapely.geometry import MultiPolygon

    parts = get_parts(get_parts(shape))  # polygons beside lines may be a collection within a collection
    return MultiPolygon([part for part in parts if part.geom_type == "Polygon" and part.area > 0])
