"""Offcuts worth keeping, as maps: what is left of a hide, with the grain direction of its parent."""

from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from shapely import affinity, maximum_inscribed_circle, orient_polygons, union_all
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from hidescan.basics.geometry import Points
from hidescan.camera.model import Camera
from hidescan.hide_map.model import (
    OFFCUT,
    XY,
    FormEntry,
    HideMap,
    LineGeometry,
    MarkEntry,
    MeasureEntry,
    MultiPolygonGeometry,
    PolygonGeometry,
    Ring,
    WarningEntry,
    ZoneEntry,
)
from hidescan.marks.corrections import with_marks
from hidescan.marks.placement import region_of
from hidescan.placing.file import PlacedPiece
from hidescan.placing.leather import Leather, mark_polygon
from hidescan.placing.rules import outline_of
from hidescan.settings import Settings
from hidescan.settings.uses import OffcutSettings


def offcut_regions(leather: Leather, placed: tuple[PlacedPiece, ...], settings: OffcutSettings) -> tuple[Polygon, ...]:
    """What is left beside the pieces, cut apart where it is narrow; large and wide parts only, the largest first."""
    taken = [outline_of(piece) for piece in placed if piece.hide == leather.name]
    if not taken:
        return ()
    left = leather.net.difference(union_all(taken))
    half = settings.bridge_mm / 2
    wide = left.buffer(-half).buffer(half).intersection(left)
    parts = [part for part in shapely.get_parts(wide) if part.geom_type == "Polygon"]
    kept = [
        part
        for part in parts
        if part.area >= settings.least_area_mm2
        and 2 * maximum_inscribed_circle(part, 2.0).length >= settings.least_width_mm
    ]
    return tuple(sorted(kept, key=lambda part: -float(part.area)))


def offcut_map(parent: HideMap, region: Polygon, parent_name: str, settings: Settings) -> HideMap:
    """The map of an offcut.

    Its frame is the parent's, moved: the origin is the lower end of the line through the middle of the offcut along the
    parent's back line, so +y is still the grain. Its uncertainty is the parent's, in proportion to its area.
    """
    x = float(region.centroid.x)
    if not region.intersects(shapely.LineString([(x, region.bounds[1] - 1), (x, region.bounds[3] + 1)])):
        x = float(region.representative_point().x)
    spine = region.intersection(shapely.LineString([(x, region.bounds[1] - 1), (x, region.bounds[3] + 1)]))
    low, high = float(spine.bounds[1]), float(spine.bounds[3])
    origin = np.array([x, low])
    camera = parent.camera_over_hide().moved(0.0, origin)
    moved: Polygon = orient_polygons(affinity.translate(region, -x, -low))
    outer = np.array(moved.exterior.coords)
    end = (0.0, high - low)
    z = parent.upper_face_mm()
    line_px = camera.px_from_mm(np.array([(0.0, 0.0), end]), z)
    share = float(moved.area) / parent.measures.area_net.value
    x0, y0, x1, y1 = moved.bounds
    whole = replace(
        parent,
        inputs=replace(
            parent.inputs,
            form="piece",
            gauge=tuple(replace(g, hide_mm=_moved(g.hide_mm, origin)) for g in parent.inputs.gauge),
            zone_lines=(),
        ),
        cards=tuple(replace(card, center_mm=_moved(card.center_mm, origin)) for card in parent.cards),
        camera=replace(
            parent.camera,
            rotation=tuple((float(a), float(b), float(c)) for a, b, c in camera.rotation),
            translation_mm=(
                float(camera.translation_mm[0]),
                float(camera.translation_mm[1]),
                float(camera.translation_mm[2]),
            ),
        ),
        outline=replace(
            parent.outline,
            hide_mm=PolygonGeometry((_ring(outer),)),
            photo_px=PolygonGeometry((_ring(camera.px_from_mm(outer, z)),)),
            doubtful=(),
        ),
        back_line=replace(
            parent.back_line,
            tail_mm=(0.0, 0.0),
            neck_mm=end,
            tail_px=_xy(line_px[0]),
            neck_px=_xy(line_px[1]),
            curve_mm=LineGeometry(((0.0, 0.0), end)),
            source="parent" if parent.back_line.source != "none" else "none",
        ),
        form=FormEntry("piece", 1.0),
        measures=replace(
            parent.measures,
            area_gross=_figure(parent.measures.area_gross, float(Polygon(moved.exterior).area), share),
            area_net=_figure(parent.measures.area_net, float(moved.area), share),
            length=_figure(parent.measures.length, y1 - y0, 1.0),
            width=_figure(parent.measures.width, x1 - x0, 1.0),
            perimeter=_figure(parent.measures.perimeter, float(moved.exterior.length), 1.0),
        ),
        zones=_zones(parent, region, origin),
        warnings=(
            *parent.warnings,
            WarningEntry(
                OFFCUT, f"An offcut of {parent_name}: planned by placing, not measured. Map it once it is cut."
            ),
        ),
        sampling_mm=None,
        photos=(),
        revision=1,
        parent_sha256=None,
    )
    several = len(parent.photos) > 1  # then a mark may be seen in another photo than the one that is kept
    marks = tuple(
        replace(
            mark,
            **_seen(mark, camera.moved(0.0, -origin), z) if several else {},
            hide_mm=PolygonGeometry(
                tuple(tuple(_moved(point, origin) for point in ring) for ring in mark.hide_mm.coordinates)
            ),
        )
        for mark in parent.marks
        if mark_polygon(mark).intersects(region) or (mark.kind == "hole" and _inside_outer(mark_polygon(mark), region))
    )
    return with_marks(whole, marks, settings)


def _seen(mark: MarkEntry, camera: Camera, z_mm: float) -> dict[str, Any]:
    """Where a mark lies in the first photo."""
    ring = np.array(mark.hide_mm.coordinates[0])
    return {"photo": 0, "photo_px": PolygonGeometry((_ring(camera.px_from_mm(ring, z_mm)),))}


def _inside_outer(hole: BaseGeometry, region: Polygon) -> bool:
    return bool(Polygon(region.exterior).contains(hole))


def _zones(parent: HideMap, region: Polygon, origin: Points) -> tuple[ZoneEntry, ...]:
    """The parent's zones as far as they lie on the offcut."""
    found = []
    for zone in parent.zones:
        part = region_of(zone.hide_mm).intersection(region)
        own = [p for p in shapely.get_parts(part) if p.geom_type == "Polygon" and p.area > 1.0]
        if own:
            moved = orient_polygons(affinity.translate(MultiPolygon(own), -origin[0], -origin[1]))
            rings = tuple(
                tuple(_ring(np.array(ring.coords)) for ring in (p.exterior, *p.interiors)) for p in moved.geoms
            )
            found.append(replace(zone, hide_mm=MultiPolygonGeometry(rings), area_mm2=float(moved.area)))
    return tuple(found)


def _figure(figure: MeasureEntry, value: float, share: float) -> MeasureEntry:
    u = figure.expanded_uncertainty
    return replace(figure, value=value, expanded_uncertainty=None if u is None else u * share)


def _moved(point: XY, origin: Points) -> XY:
    return point[0] - float(origin[0]), point[1] - float(origin[1])


def _ring(points: Points) -> Ring:
    return tuple(_xy(point) for point in points)


def _xy(point: Points) -> XY:
    return float(point[0]), float(point[1])
