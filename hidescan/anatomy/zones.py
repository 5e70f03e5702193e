"""Parts of a hide in trade names, laid out from the outline and the back line.

ISO 2418 says itself that the size of a segment cannot be uniquely defined; so the lines between the zones are a few
fractions (`ZoneLines`) that a person may move. Lengthwise they count from tail (0) to neck (1), crosswise from the
back line (0) in half widths of the trunk. A curved back line carries the lines with it.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points, polygonal
from hidescan.settings import SamplingSettings, ZoneLines

__all__ = ["Zone", "lay_zones", "sampling_point", "zone_at", "zone_shares", "zones_moved_to"]

# Beyond any outline, in lengths and half widths.
FAR = 9.0
_HAIR_MM = 0.01  # shapes that share a border overlap this far when one is grown by it
# Share of the whole hide's length that a form covers, as (tail end, neck end); None stands for the shoulder line.
_SPANS: dict[str, tuple[float | None, float | None]] = {
    "whole": (0.0, 1.0),
    "side": (0.0, 1.0),
    "belly": (0.0, 1.0),
    "shoulder": (None, 1.0),
}


@dataclass(frozen=True, slots=True, eq=False)
class Zone:
    """A part of the hide: its trade name and its area on the map, in the hide frame (mm)."""

    name: str
    polygon: Polygon | MultiPolygon

    @property
    def area_mm2(self) -> float:
        """Area, mm2."""
        return float(self.polygon.area)


def lay_zones(outline: Polygon, form: str, curve_mm: Points | None, lines: ZoneLines) -> tuple[Zone, ...]:
    """Divide an outline into zones.

    Parameters
    ----------
    outline : Polygon
        The hide in the hide frame (mm, tail at the origin, neck up), holes or none.
    form : str
        "whole", "side", "bend", "shoulder", "belly" or "piece".
    curve_mm : ndarray of shape (K, 2) or None
        Back line from tail to neck in the hide frame; None where there is none.
    lines : ZoneLines
        Where the zones part.

    Returns
    -------
    tuple of Zone
        Zones that are not empty; they neither overlap nor leave a gap. A bend is all butt. A piece is one zone named
        "piece": where on the hide it lay cannot be seen.
    """
    if form == "bend":
        return (Zone("butt", MultiPolygon([outline])),)
    if form not in _SPANS or curve_mm is None:
        return (Zone("piece", MultiPolygon([outline])),)
    half_width = _half_width(outline, form, curve_mm)
    zones = []
    for name, cells in _cells(form, lines).items():
        whole = shapely.union_all([_cell(cell, form, curve_mm, half_width, lines) for cell in cells])
        part = polygonal(outline.intersection(whole))
        if not part.is_empty:
            zones.append(Zone(name, part))
    return _with_limbs_whole(tuple(zones), curve_mm)


def _with_limbs_whole(zones: tuple[Zone, ...], curve_mm: Points) -> tuple[Zone, ...]:
    """The zones, of which the neck is what hangs together about the back line: a fore shank beside it is no neck."""
    neck = next((zone for zone in zones if zone.name == "neck"), None)
    parts = [] if neck is None else list(getattr(neck.polygon, "geoms", ()))
    if len(parts) < 2:
        return zones
    top = curve_mm[-1]
    back = LineString([*curve_mm, top + FAR * (top - curve_mm[-2])])
    own = min(parts, key=lambda part: (float(part.distance(back)), -float(part.area)))
    kept = tuple(Zone("neck", MultiPolygon([own])) if zone is neck else zone for zone in zones)
    shanks = [n for n, zone in enumerate(kept) if zone.name == "shank"]
    found = list(kept)
    for part in (part for part in parts if part is not own):
        along = [part.buffer(_HAIR_MM).intersection(z.polygon).area if z.name != "neck" else 0.0 for z in found]
        beside = [n for n in shanks if along[n] > 0]
        at = beside[0] if beside else int(np.argmax(along))
        found[at] = Zone(found[at].name, polygonal(found[at].polygon.union(part)))
    return tuple(found)


def zones_moved_to(outline: Polygon, zones: tuple[Zone, ...]) -> tuple[Zone, ...]:
    """Return known zones cut to an outline; leather that none of them holds goes to the zone it borders on most.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> known = Zone("butt", box(0, 0, 2, 1)), Zone("neck", box(0, 1, 2, 2))
    >>> [(zone.name, zone.area_mm2) for zone in zones_moved_to(box(0, 0, 3, 2), known)]
    [('butt', 4.0), ('neck', 2.0)]
    """
    shapes = [zone.polygon.intersection(outline) for zone in zones]
    for part in polygonal(outline.difference(shapely.union_all(shapes))).geoms:
        along = [part.buffer(_HAIR_MM).intersection(shape).area for shape in shapes]
        best = int(np.argmax(along)) if max(along) > 0 else int(np.argmin([part.distance(s) for s in shapes]))
        shapes[best] = shapes[best].union(part)
    found = [Zone(zone.name, polygonal(shape)) for zone, shape in zip(zones, shapes, strict=True)]
    return tuple(zone for zone in found if not zone.polygon.is_empty)


def zone_shares(zones: tuple[Zone, ...]) -> dict[str, float]:
    """Share of the area in each zone; the shares sum to 1."""
    total = sum(zone.area_mm2 for zone in zones)
    return {zone.name: zone.area_mm2 / total for zone in zones}


def zone_at(zones: tuple[Zone, ...], point_mm: NDArray[np.float64]) -> str:
    """Name of the zone that holds a point, or of the nearest one for a point off the hide."""
    at = shapely.Point(point_mm)
    return min(zones, key=lambda zone: zone.polygon.distance(at)).name


def sampling_point(
    outline: Polygon, form: str, curve_mm: Points, settings: SamplingSettings
) -> NDArray[np.float64] | NotFound:
    """The middle of the ISO 2418 sampling square, in the hide frame.

    From memory of the standard's figure, which was not at hand: B is the root of the tail and C the neck end of the
    back line; A on BC has AC = 2 AB; AD stands square to BC and ends at the rim; AF = FD; E on AD has AE = 50 mm; the
    square has the side EF and lies between E and F, half toward the neck and half toward the tail.

    Parameters
    ----------
    outline, form, curve_mm
        As for `lay_zones`. On a whole hide the right-hand square is given.
    """
    if form not in ("whole", "side"):
        return NotFound(
            "no-sampling-point",
            f"The sampling position is defined on a whole hide or a side, not on a {form}.",
            "Say --form if this is a whole hide or a side.",
        )
    at = (len(curve_mm) - 1) * settings.a_share
    along = curve_mm[min(round(at) + 1, len(curve_mm) - 1)] - curve_mm[max(round(at) - 1, 0)]
    right = np.array([along[1], -along[0]]) / np.linalg.norm(along)
    origin = np.array([np.interp(at, np.arange(len(curve_mm)), part) for part in curve_mm.T])
    reach = max(_reach(outline, origin, right), 0.0)
    if form == "side" and (left := _reach(outline, origin, -right)) > reach:
        right, reach = -right, left
    near, far = settings.e_mm, reach / 2
    if far <= near:
        return NotFound("no-sampling-point", "The hide is too narrow for the sampling square.", "Check the back line.")
    return np.asarray(origin + right * (near + far) / 2)


def _reach(outline: Polygon, origin: NDArray[np.float64], direction: NDArray[np.float64]) -> float:
    """Distance from a point to the far rim along a direction, 0 if there is no leather."""
    size = float(np.hypot(*np.ptp(np.array(outline.exterior.coords), axis=0)))
    hit = LineString([origin, origin + direction * size]).intersection(outline)
    return 0.0 if hit.is_empty else float((shapely.get_coordinates(hit) - origin).dot(direction).max())


def _half_width(outline: Polygon, form: str, curve_mm: Points) -> float:
    """Half width of the trunk, mm: the median over its middle; on a shoulder over the rear, beside its cut."""
    length = curve_mm[-1, 1] - curve_mm[0, 1]
    low, high = (0.05, 0.3) if form == "shoulder" else (0.35, 0.65)
    y = curve_mm[0, 1] + np.linspace(low, high, 9) * length
    left, _, right, _ = outline.bounds
    sections = shapely.intersection(
        shapely.linestrings([[(left - 1, at), (right + 1, at)] for at in y]),
        outline,
    )
    sides = 2 if form in ("whole", "shoulder") else 1
    return max(float(np.median(shapely.length(sections))) / sides, 1.0)


# A cell: from and to along the back (shares), from and to across (half widths, both sides of the back line).
_Cell = tuple[float, float, float, float]


def _cells(form: str, lines: ZoneLines) -> dict[str, list[_Cell]]:
    belly, shank = (0.0, lines.belly_shank) if form == "belly" else (lines.belly, lines.shank)
    cells = {
        "neck": [(lines.neck, FAR, 0.0, shank)],
        "shoulder": [(lines.shoulder, lines.neck, 0.0, belly)],
        "butt": [(-FAR, lines.shoulder, 0.0, belly)],
        "belly": [(lines.flank, lines.neck, belly, shank), (lines.flank, lines.fore_shank, shank, FAR)],
        "flank": [(-FAR, lines.flank, belly, shank), (lines.hind_shank, lines.flank, shank, FAR)],
        "shank": [(-FAR, lines.hind_shank, shank, FAR), (lines.fore_shank, FAR, shank, FAR)],
    }
    if form == "belly":  # cut off beyond the belly line: no neck, shoulder or butt
        cells["belly"].append((lines.neck, FAR, 0.0, shank))
        del cells["neck"], cells["shoulder"], cells["butt"]
    return cells


def _cell(cell: _Cell, form: str, curve_mm: Points, half_width: float, lines: ZoneLines) -> BaseGeometry:
    """A cell as a polygon: bands along the curved back line, on both sides of it."""
    low, high, near, far = cell
    start, end = (lines.shoulder if at is None else at for at in _SPANS[form])
    length = curve_mm[-1, 1] - curve_mm[0, 1]
    bottom, top = (curve_mm[0, 1] + (at - start) / (end - start) * length for at in (low, high))
    inner = curve_mm[(curve_mm[:, 1] > bottom) & (curve_mm[:, 1] < top), 1]
    y = np.r_[bottom, inner, top]
    x = np.interp(y, curve_mm[:, 1], curve_mm[:, 0])
    right = np.vstack([np.column_stack([x + near * half_width, y]), np.column_stack([x + far * half_width, y])[::-1]])
    left = np.vstack([np.column_stack([x - far * half_width, y]), np.column_stack([x - near * half_width, y])[::-1]])
    if near == 0:
        return Polygon(np.vstack([left[: len(y)], right[len(y) :]]))
    return MultiPolygon([Polygon(left), Polygon(right)])
