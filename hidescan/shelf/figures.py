"""What questions are asked about, derived from a map: what is left, which rectangles fit in it, zones, marks."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from hidescan.anatomy.thickness import GIVEN, TYPICAL
from hidescan.hide_map.model import HideMap
from hidescan.shelf.settings import FitSettings


@dataclass(frozen=True, slots=True)
class ZoneFigure:
    """A part of the hide and its thickness; `source` says how that was got."""

    name: str
    area_mm2: float
    thickness_mm: float
    thickness_u_mm: float | None
    source: str


def left_mm(usable: BaseGeometry, cuts: Iterable[BaseGeometry]) -> BaseGeometry:
    """What is left of the usable part after cuts whose place is known."""
    return usable.difference(shapely.union_all(list(cuts)))


def rectangles(left: BaseGeometry, settings: FitSettings) -> tuple[tuple[float, float], ...]:
    """The largest rectangles along the back that fit: (length, width) mm, lengths rising, widths falling.

    A rectangle of length l and width w fits where the first of them with length >= l has width >= w. Found on a
    raster, of which only cells that lie wholly inside count: a rectangle is never promised that does not fit, and one
    is missed by at most two cells.
    """
    inside = _raster(left, settings.cell_mm)
    found: list[tuple[float, float]] = []
    rows = inside  # rows[r] is where all of the n rows from r on are inside
    for n in range(1, len(inside) + 1):
        if n > 1:
            rows = rows[:-1] & inside[n - 1 :]
        width = _longest_run(rows)
        if width == 0:
            break
        if found and found[-1][1] == width * settings.cell_mm:
            found.pop()
        found.append((n * settings.cell_mm, width * settings.cell_mm))
    return tuple(found)


def zones_of(hide_map: HideMap, readings: Mapping[str, float], given_mm: float | None) -> tuple[ZoneFigure, ...]:
    """Thickness by zone, best knowledge first: a reading on the shelf, the map's gauge, what was given for the whole.

    Parameters
    ----------
    readings
        Gauge readings by lower-case zone name, mm.
    given_mm
        The hide's thickness as a person gave it on the shelf.
    """
    figures = []
    for zone in hide_map.zones:
        read = readings.get(zone.name.lower())
        if read is not None:
            thickness, u, source = read, None, "read"
        elif hide_map.inputs.gauge:
            thickness, u, source = zone.thickness_mm, zone.thickness_u_mm, "interpolated from gauge readings"
        elif given_mm is not None:
            thickness, u, source = given_mm, None, GIVEN
        else:
            source = TYPICAL if hide_map.inputs.thickness_mm is None else GIVEN
            thickness, u = zone.thickness_mm, zone.thickness_u_mm
        figures.append(ZoneFigure(zone.name, zone.area_mm2, thickness, u, source))
    return tuple(figures)


def mark_counts(hide_map: HideMap) -> dict[str, int]:
    """Number of marks of each kind that were not rejected."""
    return dict(Counter(mark.kind for mark in hide_map.marks if mark.status != "rejected"))


def _raster(region: BaseGeometry, cell_mm: float) -> NDArray[np.bool_]:
    """Which cells lie wholly inside, their centre half a diagonal from the edge or more. Rows run along y."""
    core = region.buffer(-cell_mm / 2**0.5)
    if core.is_empty:
        return np.zeros((0, 0), dtype=np.bool_)
    x0, y0, x1, y1 = core.bounds
    x, y = np.arange(x0, x1 + cell_mm, cell_mm), np.arange(y0, y1 + cell_mm, cell_mm)
    shapely.prepare(core)
    return np.asarray(shapely.intersects_xy(core, *np.meshgrid(x, y)), dtype=np.bool_)


def _longest_run(rows: NDArray[np.bool_]) -> int:
    """The longest run of True along any row."""
    rows = rows[rows.any(axis=1)]
    if rows.size == 0:
        return 0
    columns = np.arange(1, rows.shape[1] + 1, dtype=np.int32)
    last_gap = np.maximum.accumulate(np.where(rows, 0, columns), axis=1)
    return int((columns - last_gap).max())
