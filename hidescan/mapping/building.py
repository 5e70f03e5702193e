"""Bring what the stages found into the hide frame and into one map."""

from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon

from hidescan import __version__
from hidescan.anatomy.back_line import BackLine, Shape
from hidescan.basics.errors import Doubt
from hidescan.basics.geometry import Points, rotation_2d, without_crossings
from hidescan.basics.uncertainty import COVERAGE_FACTOR, Measured
from hidescan.camera.model import Camera
from hidescan.figures.measures import Measures
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
    HideMap,
    Inputs,
    LineGeometry,
    MeasureEntry,
    MeasuresEntry,
    OutlineEntry,
    PhotoInfo,
    PhotoView,
    PolygonGeometry,
    ProgramInfo,
    Ring,
    WarningEntry,
)
from hidescan.mapping.plan import Plan
from hidescan.marks.derived import with_figures
from hidescan.marks.light import thin_marks
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

    The through holes among the marks become inner rings of the outline too. What follows from the geometry and from
    what a person gave is computed where every correction computes it (`with_figures`).
    """
    thin = () if inputs.light is None else thin_marks(inputs.light, settings.light)
    hide = _laid_out(plan, frame, shape.back_line, (*plan.found, *thin))
    upper = plan.heights.thickness_mm  # a gauge reads where it is put, on the leather
    at = [hide.camera.mm_from_px(np.array([reading.photo_px]), upper)[0] for reading in inputs.gauge]
    gauge = tuple(replace(reading, hide_mm=_xy(place)) for reading, place in zip(inputs.gauge, at, strict=True))
    marks = entries(hide.marks, Surroundings(Polygon(hide.outer), hide.back_line, ()))
    view = photo_view(plan.photo, hide.camera, hide.outer)
    measured = HideMap(
        program=ProgramInfo(__version__, settings_as_saved(settings)),
        photo=plan.photo,
        inputs=replace(inputs, gauge=gauge),
        cards=tuple(_card_entry(place, frame) for place in plan.places),
        camera=view.camera,
        outline=_outline_entry(hide.camera, plan.outline, hide.outer, hide.holes),
        back_line=_back_line_entry(shape.back_line, plan.camera, frame),
        form=FormEntry(cast(FormName, shape.form.name), shape.form.confidence),
        measures=_measures_entry(measures),
        budget=tuple(BudgetEntry(row.source, row.area_percent) for row in measures.budget),
        zones=(),
        marks=marks,
        warnings=tuple(WarningEntry(doubt.code, doubt.message) for doubt in doubts),
        photos=(view,),
        hide_id=new_hide_id(plan.photo.sha256, inputs.hide_at_px),
    )
    return with_figures(measured, settings)


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


def _measures_entry(measures: Measures) -> MeasuresEntry:
    return MeasuresEntry(
        _figure(measures.area_gross),
        _figure(measures.area_net),
        _figure(measures.area_net),
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
