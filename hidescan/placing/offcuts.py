"""Offcuts worth keeping, as maps: what is left of a hide, with the grain direction of its parent."""

from dataclasses import replace

import numpy as np
import shapely
from shapely import affinity, maximum_inscribed_circle, orient_polygons, union_all
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from hidescan.basics.geometry import Points, polygonal
from hidescan.camera.model import Camera
from hidescan.hide_map.identity import new_offcut_id
from hidescan.hide_map.model import (
    OFFCUT,
    XY,
    BackLineEntry,
    CameraEntry,
    FormEntry,
    HideMap,
    LineGeometry,
    MarkEntry,
    MeasureEntry,
    MeasuresEntry,
    MultiPolygonGeometry,
    PolygonGeometry,
    Ring,
    WarningEntry,
    ZoneEntry,
)
from hidescan.marks.corrections import with_marks
from hidescan.marks.placement import mark_entry, number_of, on_hide, region_of, ring_of, surroundings_of
from hidescan.placing.file import PlacedPiece, Placing
from hidescan.placing.leather import Leather
from hidescan.placing.rules import outline_of
from hidescan.settings import Settings
from hidescan.settings.uses import OffcutSettings

# All far below what a knife follows: how far a chord lies within its arc, the slit that opens an inner ring to the rim
# that it touches, and the share by which two rings of one hole may differ.
_CHORD_MM = 0.05
_HAIR_MM = 0.01
_SAME_SHARE = 1e-6


def with_offcuts(
    placing: Placing, leather: Leather, settings: Settings, worth: OffcutSettings
) -> tuple[Placing, dict[str, HideMap]]:
    """Return the placing with what is left of a hide, and the maps of the offcuts worth keeping by file name.

    A hide that no piece lies on is kept whole: all of it counts as kept, and there is no new map.
    """
    name = leather.name
    regions = offcut_regions(leather, placing.placed, worth)
    made = {
        f"{name}-offcut-{n}.hide.json": offcut_map(leather.hide_map, region, name, settings)
        for n, region in enumerate(regions, start=1)
    }
    touched = any(piece.hide == name for piece in placing.placed)
    kept = union_all(regions) if touched else leather.net
    net, usable = float(kept.area), float(kept.intersection(leather.usable).area)
    hides = tuple(
        replace(hide, offcuts=tuple(made), offcuts_mm2=net, offcuts_usable_mm2=usable) if hide.name == name else hide
        for hide in placing.hides
    )
    return replace(placing, hides=hides), made


def offcut_regions(leather: Leather, placed: tuple[PlacedPiece, ...], settings: OffcutSettings) -> tuple[Polygon, ...]:
    """What is left beside the pieces, cut apart where it is narrow; large and wide parts only, the largest first."""
    taken = [outline_of(piece) for piece in placed if piece.hide == leather.name]
    if not taken:
        return ()
    left = leather.net.difference(union_all(taken))
    half = settings.bridge_mm / 2
    # A little wider again than it was made narrower: round corners drawn by chords would else cut into even rims.
    wide = left.buffer(-half, quad_segs=32).buffer(half + _CHORD_MM, quad_segs=32).intersection(left)
    parts = [part for part in shapely.get_parts(wide) if part.geom_type == "Polygon"]
    kept = [
        part
        for part in parts
        if part.area >= settings.least_area_mm2
        and 2 * maximum_inscribed_circle(part, 2.0).length >= settings.least_width_mm
    ]
    return tuple(sorted((_with_rings_apart(part) for part in kept), key=lambda part: -float(part.area)))


def _with_rings_apart(part: Polygon) -> Polygon:
    """The largest piece of a region in which no inner ring touches the outer one: a map's holes lie inside its rim."""
    whole = Polygon(part.exterior)
    touching = [Polygon(ring) for ring in part.interiors if not whole.contains_properly(Polygon(ring))]
    if not touching:
        return part
    open_part = part.difference(union_all([ring.buffer(_HAIR_MM) for ring in touching]))
    return max((p for p in shapely.get_parts(open_part) if p.geom_type == "Polygon"), key=lambda p: float(p.area))


def offcut_map(parent: HideMap, region: Polygon, parent_name: str, settings: Settings) -> HideMap:
    """The map of an offcut: of its parent only what was given and seen; every figure follows from its own geometry.

    Its frame is the parent's, moved: the origin is the lower end of the line through the middle of the offcut along the
    parent's back line, so +y is still the grain. What was cut from its inside is a hole of it. Its uncertainty is the
    parent's, in proportion to its area.
    """
    origin, length_mm = _origin_and_length(region)
    camera = parent.camera_over_hide().moved(0.0, origin)
    net: Polygon = orient_polygons(affinity.translate(region, -origin[0], -origin[1]))
    outer, z_mm = np.array(net.exterior.coords), parent.upper_face_mm()
    planned = f"An offcut of {parent_name}: planned by placing, not measured. Map it once it is cut."
    whole = replace(
        parent,
        inputs=replace(
            parent.inputs,
            form="piece",
            gauge=tuple(replace(g, hide_mm=_moved(g.hide_mm, origin)) for g in parent.inputs.gauge),
            zone_lines=(),
        ),
        cards=tuple(replace(card, center_mm=_moved(card.center_mm, origin)) for card in parent.cards),
        camera=_camera_entry(parent.camera, camera),
        outline=replace(
            parent.outline,
            hide_mm=PolygonGeometry((_ring(outer),)),
            photo_px=PolygonGeometry((_ring(camera.px_from_mm(outer, z_mm)),)),
            doubtful=(),
            rim_mm=None,
            rim_px=None,
        ),
        back_line=_back_line(parent.back_line, camera, length_mm, z_mm),
        form=FormEntry("piece", 1.0),
        measures=_measures(parent.measures, net),
        zones=_zones(parent, net, origin),
        warnings=(*parent.warnings, WarningEntry(OFFCUT, planned)),
        sampling_mm=None,
        photos=(),
        revision=1,
        parent_sha256=None,
    )
    rim_px = whole.outline.photo_px.coordinates[0]
    whole = replace(whole, hide_id=new_offcut_id(parent.hide_id, rim_px), parent_id=parent.hide_id)
    return with_marks(whole, _marks(parent, whole, net, origin), settings)


def _origin_and_length(region: Polygon) -> tuple[Points, float]:
    """The lower end (2,) of the line through the middle of a region along the grain, and the line's length, mm."""
    x = float(region.centroid.x)
    if not region.intersects(_through(region, x)):
        x = float(region.representative_point().x)
    spine = region.intersection(_through(region, x))
    low, high = float(spine.bounds[1]), float(spine.bounds[3])
    return np.array([x, low]), high - low


def _through(region: Polygon, x: float) -> shapely.LineString:
    return shapely.LineString([(x, region.bounds[1] - 1), (x, region.bounds[3] + 1)])


def _camera_entry(parent: CameraEntry, camera: Camera) -> CameraEntry:
    """The parent's camera over the offcut's frame."""
    x, y, z = camera.translation_mm.tolist()
    rotation = tuple((float(a), float(b), float(c)) for a, b, c in camera.rotation)
    return replace(parent, rotation=rotation, translation_mm=(x, y, z))


def _back_line(parent: BackLineEntry, camera: Camera, length_mm: float, z_mm: float) -> BackLineEntry:
    """The offcut's own line along the parent's back line."""
    end = (0.0, length_mm)
    line_px = camera.px_from_mm(np.array([(0.0, 0.0), end]), z_mm)
    return replace(
        parent,
        tail_mm=(0.0, 0.0),
        neck_mm=end,
        tail_px=_xy(line_px[0]),
        neck_px=_xy(line_px[1]),
        curve_mm=LineGeometry(((0.0, 0.0), end)),
        source="parent" if parent.source != "none" else "none",
    )


def _measures(parent: MeasuresEntry, net: Polygon) -> MeasuresEntry:
    """The offcut's own figures; areas are as uncertain as the parent's in proportion, lengths as the parent's."""
    share = float(net.area) / parent.area_net.value
    x0, y0, x1, y1 = net.bounds
    return replace(
        parent,
        area_gross=_figure(parent.area_gross, float(Polygon(net.exterior).area), share),
        area_net=_figure(parent.area_net, float(net.area), share),
        length=_figure(parent.length, y1 - y0, 1.0),
        width=_figure(parent.width, x1 - x0, 1.0),
        perimeter=_figure(parent.perimeter, float(net.exterior.length), 1.0),
    )


def _marks(parent: HideMap, offcut: HideMap, net: Polygon, origin: Points) -> tuple[MarkEntry, ...]:
    """The parent's marks that lie on the offcut, measured on it, and what was cut from its inside as holes.

    `net` is the offcut with its inner rings and `origin` its origin in the parent's frame.
    """
    around, camera, z_mm = surroundings_of(offcut), offcut.camera_over_hide(), parent.upper_face_mm()
    several = len(parent.photos) > 1  # then a mark may be seen in another photo than the one that is kept
    voids, marks, known = [Polygon(ring) for ring in net.interiors], list[MarkEntry](), set[int]()
    for mark in parent.marks:
        ring = ring_of(mark.hide_mm) - origin
        polygon = Polygon(ring).buffer(0)
        if mark.kind == "hole" and mark.status != "rejected":
            same = next((n for n, void in enumerate(voids) if _is_same(polygon, void)), None)
            if same is None or same in known:  # cut away, or part of the rim now
                continue
            known.add(same)
        elif not (polygon.intersection(net).area > 0 or (mark.kind == "cut" and on_hide(polygon, net))):
            continue
        seen = camera.px_from_mm(ring, z_mm) if several else ring_of(mark.photo_px)
        entry = mark_entry(mark.id, mark.kind, ring, seen, around, confidence=mark.confidence, status=mark.status)
        marks.append(entry)
    numbered = max(parent.marks_numbered, *(number_of(mark) for mark in parent.marks), 0)
    for n, void in enumerate(voids):
        if n not in known:
            numbered += 1
            ring = np.array(void.exterior.coords)[:-1]
            ring = ring if void.exterior.is_ccw else ring[::-1]
            seen = camera.px_from_mm(ring, z_mm)
            marks.append(mark_entry(f"hole-{numbered}", "hole", ring, seen, around, confidence=1.0, status="added"))
    return tuple(marks)


def _is_same(hole: BaseGeometry, void: Polygon) -> bool:
    """Whether an inner ring is a known hole's, and not one that was cut larger."""
    return bool(hole.symmetric_difference(void).area <= _SAME_SHARE * void.area)


def _zones(parent: HideMap, net: Polygon, origin: Points) -> tuple[ZoneEntry, ...]:
    """The parent's zones as far as they lie on the offcut `net`, in the offcut's frame."""
    found = []
    for zone in parent.zones:
        own = polygonal(affinity.translate(region_of(zone.hide_mm), -origin[0], -origin[1]).intersection(net))
        if not own.is_empty:
            rings = tuple(
                tuple(_ring(np.array(ring.coords)) for ring in (part.exterior, *part.interiors))
                for part in orient_polygons(own).geoms
            )
            found.append(replace(zone, hide_mm=MultiPolygonGeometry(rings), area_mm2=float(own.area)))
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
