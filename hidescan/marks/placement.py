"""Marks: from what was seen in the photo to entries of the map, each with its place and its size.

A mark on the leather lies at its upper face and is brought to the plan view at that height; a hole or a cut is an edge
and is brought there as the rim is (`camera.relief`). Cuts, scratches and wrinkles are slender and may be crooked: their
length is that of the ribbon with the same area and perimeter, not the side of a box round them.
"""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from shapely import make_valid, prepare
from shapely.geometry import LineString, MultiPolygon, Polygon

from hidescan.anatomy.zones import Zone, zone_at
from hidescan.basics.geometry import Points, polygonal, without_crossings
from hidescan.basics.vocabulary import MARKS
from hidescan.camera.model import Camera
from hidescan.camera.relief import Heights, plan_view
from hidescan.hide_map.model import HideMap, MarkEntry, MarkKind, MarkStatus, MultiPolygonGeometry, PolygonGeometry
from hidescan.outline.defects import Fault
from hidescan.outline.holes import Hole

EDGES = tuple(mark.name for mark in MARKS.terms if mark.sharp)
# A cut that the outline itself runs into lies outside it, but for the width of the rim's own uncertainty.
NEAR_MM = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class FoundMark:
    """A mark as seen: its kind, its ring (M, 2) in upright photo px, not closed, and the probability that it is one."""

    kind: MarkKind
    ring_px: Points
    confidence: float


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """What places a mark, in the hide frame: the outer rim, the back line (None without one), the zones."""

    outer: Polygon
    back_line: LineString | None
    zones: tuple[Zone, ...]


def surroundings_of(hide_map: HideMap) -> Surroundings:
    """The surroundings of a map's marks."""
    curve = hide_map.back_line.curve_mm.coordinates
    return Surroundings(
        Polygon(hide_map.outline.hide_mm.coordinates[0]),
        None if hide_map.back_line.source == "none" else LineString(curve),
        tuple(Zone(zone.name, region_of(zone.hide_mm)) for zone in hide_map.zones),
    )


def found_marks(holes: Iterable[Hole], faults: Iterable[Fault]) -> tuple[FoundMark, ...]:
    """Through holes and other faults as marks."""
    return (
        *(FoundMark("hole", hole.ring_px, hole.confidence) for hole in holes),
        *(FoundMark(fault.kind, fault.ring_px, fault.confidence) for fault in faults),
    )


def placed(
    camera: Camera, found: Iterable[FoundMark], outer: Polygon, heights: Heights
) -> list[tuple[FoundMark, Points]]:
    """The marks that lie on the hide, each with its plan view (M, 2) in mm, from the top of the photo down.

    A hole that touches the rim or another hole is left out: it would not be an inner ring; so is a mark off the hide.
    """
    kept: list[tuple[FoundMark, Points]] = []
    holes: list[Polygon] = []
    for mark in found:
        if mark.kind in EDGES:
            ring = plan_view(camera, mark.ring_px, heights, hole=True)
        else:
            ring = camera.mm_from_px(mark.ring_px, heights.thickness_mm)
        ring = without_crossings(ring)
        polygon = Polygon(ring)
        if mark.kind == "hole":
            if not outer.contains_properly(polygon) or any(polygon.intersects(other) for other in holes):
                continue
            holes.append(polygon)
        elif not on_hide(polygon, outer):
            continue
        kept.append((mark, ring))
    # by place in the photo: a neck turned round must not give a mark another number
    return sorted(kept, key=lambda pair: tuple(pair[0].ring_px.mean(axis=0)[::-1]))


def on_hide(mark: Polygon, outer: Polygon) -> bool:
    """Whether a mark lies on the hide or at its rim."""
    return bool(outer.distance(mark) < NEAR_MM)


def mark_entry(
    name: str, kind: MarkKind, ring_mm: Points, ring_px: Points, around: Surroundings, *,
    confidence: float, status: MarkStatus,
) -> MarkEntry:  # fmt: skip
    """A mark's entry in the map: area, size, zone and distances from its rings (M, 2), not closed."""
    polygon = Polygon(ring_mm)
    length, width = sides(polygon, kind)
    return MarkEntry(
        id=name,
        kind=kind,
        hide_mm=PolygonGeometry((_ring(ring_mm),)),
        photo_px=PolygonGeometry((_ring(ring_px),)),
        area_mm2=polygon.area,
        length_mm=length,
        width_mm=width,
        zone=zone_at(around.zones, ring_mm.mean(axis=0)) if around.zones else None,
        confidence=confidence,
        status=status,
        from_back_line_mm=None if around.back_line is None else float(polygon.distance(around.back_line)),
        from_rim_mm=float(polygon.distance(around.outer.exterior)),
    )


def entries(marks: list[tuple[FoundMark, Points]], around: Surroundings, first: int = 1) -> tuple[MarkEntry, ...]:
    """Entries of placed marks, numbered from `first` across all kinds."""
    prepare([around.outer.exterior, *(zone.polygon for zone in around.zones)])
    return tuple(
        mark_entry(
            f"{mark.kind}-{n}", mark.kind, ring, mark.ring_px, around, confidence=mark.confidence, status="found"
        )
        for n, (mark, ring) in enumerate(marks, start=first)
    )


def sides(polygon: Polygon, kind: MarkKind) -> tuple[float, float]:
    """Length and width of a mark, mm.

    Those of the smallest enclosing rectangle; of a slender kind those of the ribbon that has its area and perimeter
    (length x width = area, 2 (length + width) = perimeter), which follows a crooked mark.

    Examples
    --------
    >>> corner = Polygon([(0, 0), (50, 0), (50, 50), (48, 50), (48, 2), (0, 2)])
    >>> [round(side) for side in sides(corner, "scratch")], [round(side) for side in sides(corner, "stain")]
    ([98, 2], [50, 50])
    """
    if MARKS[kind].slender:
        half = polygon.length / 4
        if half * half >= polygon.area:
            root = math.sqrt(half * half - polygon.area)
            return half + root, polygon.area / (half + root)
    corners = np.array(polygon.minimum_rotated_rectangle.exterior.coords)
    lengths = np.linalg.norm(np.diff(corners[:3], axis=0), axis=1)
    return float(lengths.max()), float(lengths.min())


def ring_of(geometry: PolygonGeometry) -> Points:
    """A mark's ring as points (M, 2), not closed."""
    return np.array(geometry.coordinates[0][:-1])


def number_of(mark: MarkEntry) -> int:
    """The number in a mark's id, by which pictures and sheets call it; 0 where a hand-written id has none."""
    found = re.search(r"(\d+)$", mark.id)
    return int(found[1]) if found else 0


def region_of(geometry: PolygonGeometry | MultiPolygonGeometry) -> Polygon | MultiPolygon:
    """A map's region as a valid Shapely geometry: where it crosses itself, by a sliver, it is mended."""
    if isinstance(geometry, PolygonGeometry):
        region: Polygon | MultiPolygon = Polygon(geometry.coordinates[0], geometry.coordinates[1:])
    else:
        region = MultiPolygon([(part[0], part[1:]) for part in geometry.coordinates])
    return region if region.is_valid else polygonal(make_valid(region))


def _ring(points: Points) -> tuple[tuple[float, float], ...]:
    return tuple((x, y) for x, y in np.vstack([points, points[:1]]).tolist())
