"""A map with every figure that follows from its geometry and from what a person gave computed anew, in this one place.

Given or seen are: the rim, the marks' rings, kinds and states, the back line, the form, where zones part, thickness and
gauge readings, and how sure the measurement itself is (`budget`, and the figures' relative uncertainty). From these
follow the outline with its holes, the zones with their thickness, each mark's size and distances, the sampling point,
areas and lengths, and usable area with its budget.
"""

from dataclasses import dataclass, replace

import numpy as np
from shapely import get_coordinates, get_parts, orient_polygons, prepare, union_all
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from hidescan.anatomy.zones import Zone, lay_zones, sampling_point, zones_moved_to
from hidescan.basics.errors import BadInput, NotFound
from hidescan.basics.geometry import Points, divider_perimeter, polygonal, without_crossings
from hidescan.basics.uncertainty import Measured
from hidescan.figures.usable import usable_area
from hidescan.hide_map.model import (
    OFFCUT,
    XY,
    BudgetEntry,
    HideMap,
    MarkEntry,
    MeasureEntry,
    MeasuresEntry,
    MultiPolygonGeometry,
    OutlineEntry,
    PolygonGeometry,
    Ring,
    ZoneEntry,
)
from hidescan.marks.placement import Surroundings, mark_entry, number_of, on_hide, region_of, ring_of
from hidescan.marks.thickness import thickness_over
from hidescan.settings import Settings

# A hole at the rim may leave crumbs of leather that hang on nothing: up to this share of the hide they are let go.
_CRUMBS = 0.01


def with_figures(hide_map: HideMap, settings: Settings) -> HideMap:
    """Return the map with all its figures computed anew from its geometry and from what a person gave.

    Marks that lie off the hide are left out. Lengths and areas are those of the written rings; their relative
    uncertainty stays as it was measured.

    Raises
    ------
    BadInput
        The holes would part the hide in two.
    """
    rim = _rim(hide_map.outline)
    seen = [mark for mark in hide_map.marks if on_hide(_polygon(mark), rim.mm)]
    outline = _outline(hide_map, rim, seen)
    net = region_of(outline.hide_mm)
    curve_mm = None if hide_map.back_line.source == "none" else np.array(hide_map.back_line.curve_mm.coordinates)
    zones = _zones(hide_map, net, curve_mm, settings)
    thickness = thickness_over(hide_map, net, zones, settings)
    around = Surroundings(
        Polygon(outline.hide_mm.coordinates[0]), None if curve_mm is None else LineString(curve_mm), zones
    )
    prepare([around.outer.exterior, *(zone.polygon for zone in zones)])
    placed = replace(
        hide_map,
        outline=outline,
        zones=tuple(_zone_entry(zone, thickness.predict(_middle(zone))) for zone in zones),
        thickness_source=thickness.label,
        marks=tuple(_measured_mark(mark, around) for mark in seen),
        marks_numbered=max(hide_map.marks_numbered, *(number_of(mark) for mark in hide_map.marks), 0),
        sampling_mm=_sampling(net, hide_map, curve_mm, settings),
    )
    return _with_measures(placed, net, settings)


def _with_measures(hide_map: HideMap, net: Polygon, settings: Settings) -> HideMap:
    m, outer = hide_map.measures, np.array(net.exterior.coords)[:-1]
    width, length = np.ptp(outer, axis=0)
    area_net = _in_proportion(m.area_net, net.area)
    u = area_net.expanded_uncertainty
    measured_net = Measured(net.area, float("nan") if u is None else u / area_net.coverage_factor)
    budget = [(row.source, row.area_percent) for row in hide_map.budget]
    usable = usable_area(net, hide_map.marks, measured_net, budget, settings.usable)
    expanded = usable.area.expanded
    return replace(
        hide_map,
        measures=MeasuresEntry(
            area_gross=_in_proportion(m.area_gross, Polygon(net.exterior).area),
            area_net=area_net,
            area_usable=MeasureEntry(
                usable.area.value, expanded if np.isfinite(expanded) else None, area_net.coverage_factor
            ),
            length=_in_proportion(m.length, float(length)),
            width=_in_proportion(m.width, float(width)),
            perimeter=_in_proportion(m.perimeter, divider_perimeter(outer, settings.measure.perimeter_step_mm)),
        ),
        usable_budget=tuple(BudgetEntry(source, 100 * v / usable.area.value) for source, v in usable.u_by_source_mm2),
    )


def _in_proportion(figure: MeasureEntry, value: float) -> MeasureEntry:
    u = figure.expanded_uncertainty
    return replace(
        figure, value=value, expanded_uncertainty=None if u is None or not figure.value else u * value / figure.value
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Rim:
    """The rim before any hole is taken off: in the hide frame, and in the photo."""

    mm: Polygon
    ring_mm: Ring
    ring_px: Ring


def _rim(outline: OutlineEntry) -> _Rim:
    if outline.rim_mm is not None and outline.rim_px is not None:
        ring_mm, ring_px = outline.rim_mm, outline.rim_px
    else:
        ring_mm, ring_px = outline.hide_mm.coordinates[0], outline.photo_px.coordinates[0]
    return _Rim(Polygon(ring_mm), ring_mm, ring_px)


def _outline(hide_map: HideMap, rim: _Rim, marks: list[MarkEntry]) -> OutlineEntry:
    """The rim without the holes: those inside it become inner rings, once where they overlap; it follows the others."""
    holes = [mark for mark in marks if mark.kind == "hole" and mark.status != "rejected"]
    parts: list[tuple[list[MarkEntry], BaseGeometry]] = [
        ([m for m in holes if _polygon(m).intersects(part)], part)
        for part in get_parts(union_all([_polygon(mark) for mark in holes]))
    ]
    inside = [(members, part) for members, part in parts if rim.mm.contains_properly(part)]
    across = [(members, part) for members, part in parts if not rim.mm.contains_properly(part)]
    inner = [_inner_ring(hide_map, members, part) for members, part in inside]
    entry = replace(hide_map.outline, rim_mm=None, rim_px=None)
    outer_mm, outer_px = rim.ring_mm, rim.ring_px
    if across:
        cut = [mark for members, _ in across for mark in members]
        outer = _largest_without(rim.mm, union_all([part for _, part in across]), [mark.id for mark in cut])
        holes_px = union_all([Polygon(_in_first_photo(hide_map, mark)).buffer(0) for mark in cut])
        left_px = polygonal(Polygon(rim.ring_px).buffer(0).difference(holes_px))
        seen = max(left_px.geoms, key=lambda p: float(p.area), default=Polygon(rim.ring_px))
        outer_mm, outer_px = _closed(outer), _closed(seen)
        inner = [pair for pair in inner if outer.contains_properly(Polygon(pair[0]))]
        entry = replace(entry, rim_mm=rim.ring_mm, rim_px=rim.ring_px)
    return replace(
        entry,
        hide_mm=PolygonGeometry((outer_mm, *(mm[::-1] for mm, _ in inner))),
        photo_px=PolygonGeometry((outer_px, *(px for _, px in inner))),
    )


def _inner_ring(hide_map: HideMap, members: list[MarkEntry], part: BaseGeometry) -> tuple[Ring, Ring]:
    """A hole's ring on the hide and in the first photo; of several that overlap, that round all of them."""
    if len(members) == 1:
        return members[0].hide_mm.coordinates[0], _in_first_photo(hide_map, members[0])
    ring = _closed(Polygon(part.exterior))
    seen = hide_map.camera_over_hide().px_from_mm(np.array(ring), hide_map.upper_face_mm())
    return ring, tuple(map(tuple, seen.tolist()))


def _in_first_photo(hide_map: HideMap, mark: MarkEntry) -> Ring:
    if mark.photo == 0:
        return mark.photo_px.coordinates[0]
    ring = np.array(mark.hide_mm.coordinates[0])
    return tuple(map(tuple, hide_map.camera_over_hide().px_from_mm(ring, hide_map.upper_face_mm()).tolist()))


def _largest_without(rim: Polygon, holes: BaseGeometry, names: list[str]) -> Polygon:
    left = sorted(polygonal(rim.difference(holes)).geoms, key=lambda part: -float(part.area))
    if not left or sum(part.area for part in left[1:]) > _CRUMBS * rim.area:
        raise BadInput(f"{', '.join(sorted(names))} would part the hide in two. Call it a cut, or draw it smaller.")
    return Polygon(without_crossings(np.array(left[0].exterior.coords)[:-1]))


def _zones(hide_map: HideMap, net: Polygon, curve_mm: Points | None, settings: Settings) -> tuple[Zone, ...]:
    if any(warning.code == OFFCUT for warning in hide_map.warnings):  # it has the zones of the hide that it is cut from
        known = tuple(Zone(zone.name, region_of(zone.hide_mm)) for zone in hide_map.zones)
        return zones_moved_to(net, known) if known else ()
    lines = replace(settings.zones, **dict(hide_map.inputs.zone_lines))
    return lay_zones(net, hide_map.form.name, curve_mm, lines)


def _zone_entry(zone: Zone, thickness: tuple[Points, Points]) -> ZoneEntry:
    mean, u = thickness
    return ZoneEntry(zone.name, _geometry(zone.polygon), zone.area_mm2, float(mean[0]), float(u[0]))


def _middle(zone: Zone) -> Points:
    """A point well inside a zone, (1, 2)."""
    point = zone.polygon.representative_point()
    return np.array([[point.x, point.y]])


def _measured_mark(mark: MarkEntry, around: Surroundings) -> MarkEntry:
    measured = mark_entry(
        mark.id, mark.kind, ring_of(mark.hide_mm), ring_of(mark.photo_px), around,
        confidence=mark.confidence, status=mark.status,
    )  # fmt: skip
    return replace(measured, photo=mark.photo)


def _sampling(net: Polygon, hide_map: HideMap, curve_mm: Points | None, settings: Settings) -> XY | None:
    """Where a standard takes its sample (ISO 2418, from memory); None where it is not defined."""
    if curve_mm is None:
        return None
    point = sampling_point(net, hide_map.form.name, curve_mm, settings.sampling)
    return None if isinstance(point, NotFound) else (float(point[0]), float(point[1]))


def _polygon(mark: MarkEntry) -> Polygon:
    return Polygon(mark.hide_mm.coordinates[0])


def _closed(polygon: Polygon) -> Ring:
    """The outer ring, counter-clockwise, its first point repeated at the end."""
    return tuple(map(tuple, get_coordinates(orient_polygons(polygon).exterior).tolist()))


def _geometry(region: Polygon | MultiPolygon) -> PolygonGeometry | MultiPolygonGeometry:
    """A Shapely region as GeoJSON, outer rings counter-clockwise (RFC 7946, 3.1.6)."""
    turned = orient_polygons(region)
    parts = tuple(
        tuple(tuple(map(tuple, get_coordinates(ring).tolist())) for ring in (part.exterior, *part.interiors))
        for part in getattr(turned, "geoms", (turned,))
    )
    return PolygonGeometry(parts[0]) if len(parts) == 1 else MultiPolygonGeometry(parts)
