"""Bring what the stages found into the hide frame and into one map."""

from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from numpy.typing import NDArray
from shapely import get_coordinates, orient_polygons
from shapely.geometry import LineString, MultiPolygon, Polygon

from hidescan import __version__
from hidescan.anatomy.back_line import BackLine, Shape
from hidescan.anatomy.lit_thickness import DensityField, lit_thickness
from hidescan.anatomy.thickness import Thickness, gauged_thickness, typical_thickness
from hidescan.anatomy.zones import Zone, lay_zones, sampling_point
from hidescan.basics.errors import Doubt, NotFound
from hidescan.basics.geometry import Points, rotation_2d, without_crossings
from hidescan.basics.uncertainty import COVERAGE_FACTOR, Measured
from hidescan.camera.model import Camera
from hidescan.figures.measures import Measures
from hidescan.figures.usable import usable_area
from hidescan.floor.solution import CardPlace
from hidescan.hide_map.identity import new_hide_id
from hidescan.hide_map.model import (
    XY,
    BackLineEntry,
    BudgetEntry,
    CameraEntry,
    CardEntry,
    DoubtfulStretch,
    FormEntry,
    FormName,
    GaugeInput,
    HideMap,
    Inputs,
    LineGeometry,
    MeasureEntry,
    MeasuresEntry,
    MultiPolygonGeometry,
    OutlineEntry,
    PhotoInfo,
    PhotoView,
    PolygonGeometry,
    ProgramInfo,
    Ring,
    WarningEntry,
    ZoneEntry,
)
from hidescan.mapping.light import density_field, thin_marks
from hidescan.mapping.plan import Plan
from hidescan.marks.placement import FoundMark, Surroundings, entries, placed
from hidescan.outline.finding import Outline
from hidescan.photo.reading import Photo
from hidescan.settings import Settings, settings_as_saved


@dataclass(frozen=True, slots=True, eq=False)
class HideFrame:
    """The hide frame in the floor frame: where its origin lies and where its x axis points."""

    origin_mm: NDArray[np.float64]
    x_axis_deg: float

    def xy(self, floor_mm: Points) -> Points:
        """Floor to hide frame, (N, 2)."""
        return (np.atleast_2d(floor_mm) - self.origin_mm) @ rotation_2d(self.x_axis_deg)


@dataclass(frozen=True, slots=True, eq=False)
class _LaidOut:
    """A hide in its own frame: rim (N, 2), marks with their rings, back line (K, 2) where there is one; its camera."""

    camera: Camera
    outer: Points
    marks: list[tuple[FoundMark, Points]]
    curve_mm: Points | None

    @property
    def holes(self) -> list[tuple[FoundMark, Points]]:
        """The through holes among the marks."""
        return [(mark, ring) for mark, ring in self.marks if mark.kind == "hole"]

    @property
    def back_line(self) -> LineString | None:
        """The back line, where there is one."""
        return None if self.curve_mm is None else LineString(self.curve_mm)


def _laid_out(plan: Plan, frame: HideFrame, back: BackLine, found: tuple[FoundMark, ...]) -> _LaidOut:
    camera = plan.camera.moved(frame.x_axis_deg, frame.origin_mm)
    outer = without_crossings(frame.xy(plan.ring_mm))
    marks = placed(camera, found, Polygon(outer), plan.heights)
    return _LaidOut(camera, outer, marks, None if back.source == "none" else frame.xy(back.curve_mm))


def assemble(
    plan: Plan,
    frame: HideFrame,
    shape: Shape,
    measures: Measures,
    doubts: tuple[Doubt, ...],
    inputs: Inputs,
    settings: Settings,
) -> HideMap:
    """The map: everything in mm is carried into the hide frame, and the camera with it.

    The through holes among the marks become inner rings of the outline too.
    """
    thin = () if inputs.light is None else thin_marks(inputs.light, settings.light)
    hide = _laid_out(plan, frame, shape.back_line, (*plan.found, *thin))
    net = Polygon(hide.outer, [ring for _, ring in hide.holes])
    zones = lay_zones(net, shape.form.name, hide.curve_mm, replace(settings.zones, **dict(inputs.zone_lines)))
    gauge = tuple(replace(g, hide_mm=_xy(hide.camera.mm_from_px(np.array([g.photo_px]))[0])) for g in inputs.gauge)
    light = None if inputs.light is None else density_field(inputs.light, hide.camera, plan.heights.thickness_mm)
    if gauge:
        thickness = measured_thickness(gauge, net.area, light, settings)
    else:
        given = inputs.thickness_mm is not None
        thickness = _assumed_thickness(zones, plan.heights.thickness_mm, given, settings)
    marks = entries(hide.marks, Surroundings(Polygon(hide.outer), hide.back_line, zones))
    net_budget = [(row.source, row.area_percent) for row in measures.budget]
    usable = usable_area(net, marks, measures.area_net, net_budget, settings.usable)
    view = photo_view(plan.photo, hide.camera, hide.outer)
    return HideMap(
        program=ProgramInfo(__version__, settings_as_saved(settings)),
        photo=plan.photo,
        inputs=replace(inputs, gauge=gauge),
        cards=tuple(_card_entry(place, frame) for place in plan.places),
        camera=view.camera,
        outline=_outline_entry(hide.camera, plan.outline, hide.outer, hide.holes),
        back_line=_back_line_entry(shape.back_line, plan.camera, frame),
        form=FormEntry(cast(FormName, shape.form.name), shape.form.confidence),
        measures=_measures_entry(measures, usable.area),
        budget=tuple(BudgetEntry(row.source, row.area_percent) for row in measures.budget),
        zones=tuple(_zone_entry(zone, thickness) for zone in zones),
        marks=marks,
        warnings=tuple(WarningEntry(doubt.code, doubt.message) for doubt in doubts),
        thickness_source=thickness.label,
        sampling_mm=_sampling(net, shape.form.name, hide.curve_mm, settings),
        usable_budget=tuple(BudgetEntry(source, 100 * u / usable.area.value) for source, u in usable.u_by_source_mm2),
        marks_numbered=len(marks),
        photos=(view,),
        hide_id=new_hide_id(plan.photo.sha256, inputs.hide_at_px),
    )


def _card_entry(place: CardPlace, frame: HideFrame) -> CardEntry:
    angle_deg = _half_turn(place.angle_deg - frame.x_axis_deg)
    return CardEntry(place.number, place.corners, place.rms_px, _xy(frame.xy(place.centre_mm)[0]), angle_deg)


def _back_line_entry(back: BackLine, floor_camera: Camera, frame: HideFrame) -> BackLineEntry:
    return BackLineEntry(
        tail_mm=_xy(frame.xy(back.tail_mm)[0]),
        neck_mm=_xy(frame.xy(back.neck_mm)[0]),
        tail_px=_xy(floor_camera.px_from_mm(back.tail_mm[None])[0]),
        neck_px=_xy(floor_camera.px_from_mm(back.neck_mm[None])[0]),
        curve_mm=LineGeometry(_line(frame.xy(back.curve_mm))),
        angle_sd_deg=back.angle_sd_deg,
        end_confidence=back.end_confidence,
        source=back.source,
    )


def _measures_entry(measures: Measures, usable: Measured) -> MeasuresEntry:
    return MeasuresEntry(
        _figure(measures.area_gross),
        _figure(measures.area_net),
        _figure(usable),
        _figure(measures.length),
        _figure(measures.width),
        _figure(measures.perimeter),
    )


def photo_info(photo: Photo) -> PhotoInfo:
    """What the map says of a photo."""
    return PhotoInfo(photo.file, photo.sha256, photo.width_px, photo.height_px, photo.taken, photo.focal_35mm)


def photo_view(photo: PhotoInfo, camera: Camera, outer_mm: Points) -> PhotoView:
    """A photo with its camera over the hide frame; `outer_mm` is the hide's rim in it, for the scale in its middle."""
    middle = camera.px_from_mm(np.array([outer_mm.mean(axis=0)]))
    return PhotoView(
        photo.file, photo.sha256, photo.width_px, photo.height_px, photo.taken, photo.focal_35mm,
        _camera_entry(camera, middle),
    )  # fmt: skip


def hide_frame(back: BackLine, plan_mm: Points) -> HideFrame:
    """Origin at the tail, +y to the neck; without a back line the centroid, and the long side of the smallest box."""
    if back.source != "none":
        return HideFrame(back.tail_mm, _direction_deg(back.neck_mm - back.tail_mm) - 90.0)
    hide = Polygon(plan_mm)
    corners = np.array(hide.minimum_rotated_rectangle.exterior.coords)
    sides = np.diff(corners[:3], axis=0)
    longer = sides[int(np.argmax(np.linalg.norm(sides, axis=1)))]
    return HideFrame(np.array(hide.centroid.coords[0]), _direction_deg(longer) % 180.0 - 90.0)


def _direction_deg(vector: NDArray[np.float64]) -> float:
    return float(np.rad2deg(np.arctan2(vector[1], vector[0])))


def _camera_entry(camera: Camera, middle_px: Points) -> CameraEntry:
    return CameraEntry(
        focal_px=camera.focal_px,
        distortion=(camera.k1, camera.k2),
        principal_point_px=_xy(camera.principal_point_px),
        rotation=tuple((float(a), float(b), float(c)) for a, b, c in camera.rotation),
        translation_mm=(
            float(camera.translation_mm[0]),
            float(camera.translation_mm[1]),
            float(camera.translation_mm[2]),
        ),
        tilt_deg=camera.tilt_deg,
        mm_per_px=float(camera.mm_per_px(middle_px)[0]),
    )


def _outline_entry(
    camera: Camera, outline: Outline, outer: Points, holes: list[tuple[FoundMark, Points]]
) -> OutlineEntry:
    doubtful = []
    for start, stop in outline.doubtful:
        at = np.arange(start, stop) % len(outline.ring_px)
        stretch = outline.ring_px[at]
        length = float(np.linalg.norm(np.diff(camera.mm_from_px(stretch), axis=0), axis=1).sum())
        doubtful.append(DoubtfulStretch(LineGeometry(_line(stretch)), length, float(outline.confidence[at].mean())))
    return OutlineEntry(
        hide_mm=PolygonGeometry((_ring(outer), *(_ring(ring[::-1]) for _, ring in holes))),
        photo_px=PolygonGeometry((_ring(outline.ring_px), *(_ring(hole.ring_px) for hole, _ in holes))),
        confidence=outline.confidence_whole,
        doubtful=tuple(doubtful),
    )


def _sampling(net: Polygon, form: str, curve_mm: Points | None, settings: Settings) -> XY | None:
    """Where a standard takes its sample (ISO 2418, from memory); None where it is not defined."""
    if curve_mm is None:
        return None
    point = sampling_point(net, form, curve_mm, settings.sampling)
    return None if isinstance(point, NotFound) else _xy(point)


def measured_thickness(
    gauge: tuple[GaugeInput, ...], area_mm2: float, light: DensityField | None, settings: Settings
) -> Thickness:
    """The thickness over the hide from gauge readings, at least one, and from light where there is some."""
    points, values, u = (np.array([getattr(g, name) for g in gauge]) for name in ("hide_mm", "thickness_mm", "u_mm"))
    if light is not None:
        lit = lit_thickness((points, values, u), area_mm2, light, settings.thickness, settings.light)
        if lit is not None:
            return lit
    return gauged_thickness(points, values, u, area_mm2, settings.thickness)


def _assumed_thickness(zones: tuple[Zone, ...], level_mm: float, given: bool, settings: Settings) -> Thickness:
    """The thickness by zone where nothing was gauged, about the one that was given or is typical."""
    m = settings.measure
    u_mm = m.given_thickness_u_share * level_mm if given else m.typical_thickness_u_mm
    return typical_thickness(zones, level_mm, u_mm, settings.thickness)


def _zone_entry(zone: Zone, thickness: Thickness) -> ZoneEntry:
    """A zone with the thickness at a point well inside it."""
    inside = zone.polygon.representative_point()
    mean, u = thickness.predict(np.array([[inside.x, inside.y]]))
    return ZoneEntry(zone.name, _region(zone.polygon), zone.area_mm2, float(mean[0]), float(u[0]))


def _half_turn(angle_deg: float) -> float:
    return (angle_deg + 180.0) % 360.0 - 180.0


def _figure(measured: Measured) -> MeasureEntry:
    expanded = measured.expanded
    return MeasureEntry(measured.value, expanded if np.isfinite(expanded) else None, COVERAGE_FACTOR)


def _xy(point: NDArray[np.float64]) -> XY:
    return float(point[0]), float(point[1])


def _line(points: Points) -> Ring:
    return tuple(map(tuple, points.tolist()))


def _ring(points: Points) -> Ring:
    return _line(np.vstack([points, points[:1]]))


def _region(region: Polygon | MultiPolygon) -> PolygonGeometry | MultiPolygonGeometry:
    """A Shapely region as GeoJSON, outer rings counter-clockwise (RFC 7946, 3.1.6)."""
    turned = orient_polygons(region)
    parts = tuple(
        tuple(_line(get_coordinates(ring)) for ring in (part.exterior, *part.interiors))
        for part in getattr(turned, "geoms", (turned,))
    )
    return PolygonGeometry(parts[0]) if len(parts) == 1 else MultiPolygonGeometry(parts)
