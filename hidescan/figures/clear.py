"""What comes out in one piece: the largest clear rectangle along the back line, and the largest clear circle."""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from hidescan.basics.geometry import polygonal
from hidescan.figures.usable import lost_in_map
from hidescan.hide_map.model import XY, HideMap
from hidescan.settings import ClearSettings, UsableSettings


@dataclass(frozen=True, slots=True)
class Rectangle:
    """A rectangle whose long side runs along the back line: x0 < x1 and y0 < y1, mm in the hide frame."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def width_mm(self) -> float:
        """Across the back line."""
        return self.x1 - self.x0

    @property
    def length_mm(self) -> float:
        """Along the back line."""
        return self.y1 - self.y0


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle, mm in the hide frame."""

    centre_mm: XY
    diameter_mm: float


def clear_leather(hide_map: HideMap, settings: UsableSettings) -> BaseGeometry:
    """The leather that counts as usable, in the hide frame, mm."""
    rings = hide_map.outline.hide_mm.coordinates
    net = Polygon(rings[0], rings[1:])
    left = net.difference(lost_in_map(net, hide_map.marks, settings))
    return left if left.geom_type != "GeometryCollection" else polygonal(left)


def largest_rectangle(clear: BaseGeometry, settings: ClearSettings) -> Rectangle | None:
    """The largest rectangle in the clear leather with its long side along y, at least as long as wide.

    The clear cells of a grid give a start: for each row the tallest columns of clear cells above it, and the largest
    rectangle under that skyline (a stack of open heights, linear in the number of cells). Its sides are then moved
    outward until they meet what is not clear, so that no point of it lies off the clear leather. A rectangle between
    two of the grid's lines may be missed: the grid's step bounds the loss.

    Returns
    -------
    None where not even one cell is clear.
    """
    if clear.is_empty:
        return None
    x0, y0, x1, y1 = clear.bounds
    step = max(x1 - x0, y1 - y0) / settings.cells
    cells = _clear_cells(clear, x0, y0, step)
    best = _largest_in_cells(cells)
    if best is None:
        return None
    column, row, wide, high = best
    inset = step / 4  # a ring may cut a corner off a cell between two of the points that were looked at
    left, bottom = x0 + column * step + inset, y0 + row * step + inset
    start = Rectangle(left, bottom, left + wide * step - 2 * inset, bottom + high * step - 2 * inset)
    return _drawn_out(clear, start, step)


def largest_circle(clear: BaseGeometry, settings: ClearSettings) -> Circle | None:
    """The largest circle in the clear leather (GEOS's maximum inscribed circle)."""
    if clear.is_empty:
        return None
    radius = shapely.maximum_inscribed_circle(clear, tolerance=settings.circle_tolerance_mm)
    (x, y), _ = radius.coords
    return Circle((x, y), 2 * float(shapely.distance(shapely.Point(x, y), clear.boundary)))


def _clear_cells(clear: BaseGeometry, x0: float, y0: float, step: float) -> NDArray[np.bool_]:
    """Cells that lie within the clear leather: its middle does and no ring runs through it, (rows, columns)."""
    _, _, x1, y1 = clear.bounds
    columns, rows = (int(np.ceil(size / step)) for size in (x1 - x0, y1 - y0))
    shapely.prepare(clear)
    x, y = np.meshgrid(x0 + (np.arange(columns) + 0.5) * step, y0 + (np.arange(rows) + 0.5) * step)
    cells = shapely.contains_xy(clear, x, y)
    rim = shapely.get_coordinates(shapely.segmentize(clear.boundary, step / 4))
    at = np.clip(((rim - (x0, y0)) / step).astype(int), 0, (columns - 1, rows - 1))
    cells[at[:, 1], at[:, 0]] = False
    return np.asarray(cells)


def _largest_in_cells(cells: NDArray[np.bool_]) -> tuple[int, int, int, int] | None:
    """Largest rectangle of clear cells that is not wider than high: column, row, width, height."""
    heights = np.zeros(cells.shape[1], dtype=int)
    best, found = 0, None
    for row, clear in enumerate(cells):
        heights = np.where(clear, heights + 1, 0)
        stack: list[tuple[int, int]] = []  # start and height of the rectangles still open
        for column, height in enumerate([*heights.tolist(), 0]):
            start = column
            while stack and stack[-1][1] >= height:
                start, high = stack.pop()
                wide = column - start
                if high * min(wide, high) > best:
                    wide = min(wide, high)
                    best, found = high * wide, (start, row - high + 1, wide, high)
            if height and (not stack or stack[-1][1] < height):
                stack.append((start, height))
    return found


def _drawn_out(clear: BaseGeometry, start: Rectangle, step: float) -> Rectangle:
    """The rectangle with its sides moved outward, a cell and less at a time, while it stays in the clear leather."""
    sides = [start.x0, start.y0, start.x1, start.y1]
    reach = step
    while reach > 0.05:
        moved = False
        for side, sign in ((1, -1), (3, 1), (0, -1), (2, 1)):  # first longer, then wider
            tried = sides.copy()
            tried[side] += sign * reach
            if tried[2] - tried[0] <= tried[3] - tried[1] and clear.contains(box(*tried)):
                sides, moved = tried, True
        reach = reach if moved else reach / 2
    return Rectangle(*sides)
