"""From several photos of one hide to one map: each photo is looked at alone, then all are joined.

A photo's pixels are needed by `look_at` only; what it gives is small, so that one decoded photo at a time is held.
"""

from dataclasses import asdict, dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import Doubt, NotFound
from hidescan.basics.geometry import Points, without_crossings
from hidescan.basics.opencv import reduced
from hidescan.camera.model import Camera
from hidescan.camera.relief import Heights, plan_view
from hidescan.figures.measures import Measures
from hidescan.hide_map.model import DoubtfulStretch, HideMap, Inputs, LineGeometry, PhotoInfo, PolygonGeometry, Ring
from hidescan.join.coverage import Coverage, coverage, unseen
from hidescan.join.figures import joined_measures
from hidescan.join.moved import moved_hide
from hidescan.join.region_vote import SeenRim
from hidescan.join.rims import JoinedRim, joined_rim
from hidescan.join.seen_marks import SeenMark, merged_marks
from hidescan.join.settings import JoinSettings
from hidescan.join.views import View
from hidescan.mapping.building import photo_info, photo_view
from hidescan.mapping.photo_checks import photo_doubts
from hidescan.mapping.plan import Plan
from hidescan.mapping.rim import HideInPhoto
from hidescan.marks.placement import EDGES, FoundMark
from hidescan.outline.finding import Outline, stretches
from hidescan.pipeline import Pipeline, map_of
from hidescan.settings import Settings

_ABOVE_MM = 1e9  # from up there every ray is plumb to a nanometre
_OF_ONE_PHOTO = ("blur", "over-exposed", "card-small", "tilt", "card-dropped", "card-bent", "tape-unused")


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """What one photo gave: the hide as it shows it, a reduced copy for the pictures, and which lens it has."""

    info: PhotoInfo
    hide: HideInPhoto
    small: NDArray[np.uint8]
    lens: str


def look_at(pipeline: Pipeline, inputs: Inputs) -> Look | NotFound:
    """Look at one photo: its cards, its camera, and what it shows of the hide, which its frame may cut."""
    photo, settings = pipeline.photo, pipeline.settings
    cut = replace(settings, outline=replace(settings.outline, most_on_frame=1.0))
    hide = replace(pipeline, settings=cut).rim(of_any_photo(inputs))
    if isinstance(hide, NotFound):
        return hide
    scale = min(1.0, settings.draw.long_side_px / max(photo.size_px))
    small = reduced(photo.rgb, (round(photo.width_px * scale), round(photo.height_px * scale)))
    lens = f"{photo.camera} {photo.focal_mm} {photo.focal_35mm} {max(photo.size_px)}x{min(photo.size_px)}"
    return Look(photo_info(photo), hide, small, lens)


def of_any_photo(inputs: Inputs) -> Inputs:
    """The inputs that hold for every photo of a hide: those that name pixels of one are left away."""
    return replace(inputs, neck_px=None, hide_at_px=None, hints=(), gauge=(), rim_px=(), back_line_px=None)


def map_joined(looks: tuple[Look, ...], inputs: Inputs, settings: Settings, join: JoinSettings) -> HideMap | NotFound:
    """Join what the photos gave.

    Parameters
    ----------
    looks
        Two or more, of one hide among cards that were left where they lie.
    inputs
        What was given of the hide.

    Returns
    -------
    The map; or why there is none: a photo without a card in common, a card or the hide moved, a side that no photo
    shows.
    """
    first = looks[0].hide
    inputs = first.floor.inputs.completed(of_any_photo(inputs))
    seen = coverage_of(looks, settings, join)
    if isinstance(seen, NotFound):
        return seen
    if seen.missing:
        return _unseen(seen)
    rims = tuple(_rim(look) for look in looks)
    rim = joined_rim(seen.joint, seen.cover, rims, first.heights, join, settings.measure)
    if (moved := moved_hide(seen.joint, rim, join.rim)) is not None:
        return moved
    mapped = map_of(_plan(looks, seen, rim, settings, join), inputs, settings)
    if isinstance(mapped, NotFound):
        return mapped
    made, frame = mapped
    over_hide = tuple(camera.moved(frame.x_axis_deg, frame.origin_mm) for camera in seen.cameras)
    program = replace(made.program, settings={**made.program.settings, "join": asdict(join)})
    return _in_photos(replace(made, program=program), looks, over_hide, rim, frame.xy(rim.ring_mm), settings)


def _plan(looks: tuple[Look, ...], seen: Coverage, rim: JoinedRim, settings: Settings, join: JoinSettings) -> Plan:
    """The hide on the floor as all photos together show it."""
    joint, measured_print = seen.joint, any(look.hide.floor.print_measured for look in looks)
    plan_mm = without_crossings(rim.ring_mm)
    heights = Heights(rim.thickness_mm, max(0.0, rim.mean_lift_mm))
    found_by = [mark for k, look in enumerate(looks) for mark in _marks(k, look, seen.cameras[k], heights)]
    marks = merged_marks(found_by, seen.cameras, joint.sizes_px, join.marks)
    holes = tuple((mark.ring_mm, mark.u_mm) for mark in marks if mark.kind == "hole")
    above = _from_above(plan_mm)
    flat = Outline(
        above.px_from_mm(plan_mm),
        np.zeros(len(plan_mm)),
        np.ones(len(plan_mm)),
        (),
        _whole(looks),
        (),
        _open_area_u(looks),
    )

    def measured(along: NDArray[np.float64]) -> Measures:
        return joined_measures(
            rim, holes, along, settings.measure, print_measured=measured_print, open_area_u=_open_area_u(looks)
        )

    return Plan(
        photo=looks[0].info,
        camera=above,
        outline=flat,
        found=tuple(FoundMark(mark.kind, above.px_from_mm(mark.ring_mm), mark.confidence) for mark in marks),
        ring_mm=plan_mm,
        places=joint.places,
        heights=heights,
        measured=measured,
        doubts=(*joint.doubts, *_rim_doubts(looks, rim, settings), *_photo_doubts(looks, plan_mm, settings)),
    )


def coverage_of(looks: tuple[Look, ...], settings: Settings, join: JoinSettings) -> Coverage | NotFound:
    """What the photos show together so far."""
    return coverage(
        tuple(_view(look) for look in looks), tuple(_rim(look) for look in looks), join, settings.plane
    )  # fmt: skip


def _view(look: Look) -> View:
    floor = look.hide.floor
    used = {place.number for place in floor.plane.places}
    cards = tuple(card for card in floor.search.cards if card.number in used)
    return View(look.info.file, cards, floor.plane, floor.priors, look.lens)


def _rim(look: Look) -> SeenRim:
    outline = look.hide.outline
    return SeenRim(outline.ring_px, outline.u_px, outline.confidence, outline.confidence_whole)


def _marks(k: int, look: Look, camera: Camera, heights: Heights) -> list[SeenMark]:
    """A photo's marks in plan view."""
    seen, u_px = [], float(np.median(look.hide.outline.u_px))
    for mark in look.hide.found:
        if mark.kind in EDGES:
            ring = plan_view(camera, mark.ring_px, heights, hole=True)
        else:
            ring = camera.mm_from_px(mark.ring_px, heights.thickness_mm)
        mm_per_px = float(camera.mm_per_px(mark.ring_px.mean(axis=0)[None])[0])
        seen.append(SeenMark(mark.kind, k, without_crossings(ring), u_px * mm_per_px, mm_per_px, mark.confidence))
    return seen


def _unseen(seen: Coverage) -> NotFound:
    """The refusal of a hide that no photo shows all of."""
    first = unseen(seen)[0]
    length = sum(part.length_mm for part in unseen(seen))
    return NotFound(
        "partly-unseen",
        f"The hide goes on beyond the photos at the {first.side} of {seen.joint.names[0]}, near card {first.card}:"
        f" {length:.0f} mm of its edge are in none.",
        "Take one more photo of that side with a card in it.",
    )


def _open_area_u(looks: tuple[Look, ...]) -> float:
    """What the photos leave open: their mean square, as they vote, and as if the others did not help to decide it."""
    votes = _votes(looks)
    return float(np.sqrt(votes @ [look.hide.outline.open_area_u**2 for look in looks]))


def _whole(looks: tuple[Look, ...]) -> float:
    return float(_votes(looks) @ [look.hide.outline.confidence_whole for look in looks])


def _votes(looks: tuple[Look, ...]) -> NDArray[np.float64]:
    """By how much each photo counts for being sure of its region, (K,), summing up to 1 (`cover`)."""
    sure = np.maximum([look.hide.outline.confidence_whole for look in looks], 0.05) ** 2
    return np.asarray(sure / sure.sum(), dtype=np.float64)


def _from_above(plan_mm: Points) -> Camera:
    """A camera straight above the hide, 1 px a millimetre: the joined hide lies in no one photo."""
    low = plan_mm.min(axis=0)
    turn = np.diag([1.0, -1.0, -1.0])
    centre = np.array([*plan_mm.mean(axis=0), _ABOVE_MM])
    return Camera(_ABOVE_MM, 0.0, 0.0, plan_mm.mean(axis=0) - low, turn, -turn @ centre)


def _rim_doubts(looks: tuple[Look, ...], rim: JoinedRim, settings: Settings) -> list[Doubt]:
    if _whole(looks) < settings.outline.whole_doubt_below:
        return [
            Doubt("outline-doubtful", "Hide and floor are hard to tell apart in these photos: look at the picture.")
        ]
    length = sum(
        float(np.linalg.norm(np.diff(rim.ring_mm[at], axis=0), axis=1).sum()) for at in _doubtful(rim, settings)
    )
    if not length:
        return []
    return [Doubt("rim-doubtful", f"{length:.0f} mm of the rim are doubtful in all photos (dashed): look there first.")]


def _doubtful(rim: JoinedRim, settings: Settings) -> list[NDArray[np.intp]]:
    """Indices of the ring's points in each stretch that no photo is sure of."""
    n = len(rim.ring_mm)
    low = (rim.confidence < settings.outline.doubt_below) | (rim.photo < 0)
    return [np.arange(a, b) % n for a, b in stretches(low, settings.outline.least_doubt_points)]


def _photo_doubts(looks: tuple[Look, ...], plan_mm: Points, settings: Settings) -> list[Doubt]:
    """What is to be said of single photos, by name, and of the print."""
    doubts: dict[str, Doubt] = {}
    for look in looks:
        floor = look.hide.floor
        for doubt in (*floor.plane.doubts, *photo_doubts(floor, plan_mm, settings.quality)):
            if doubt.code == "scale-unmeasured":
                doubts.setdefault(doubt.code, doubt)
            elif doubt.code in _OF_ONE_PHOTO:
                doubts.setdefault(doubt.code, Doubt(doubt.code, f"{look.info.file}: {doubt.message}"))
    return list(doubts.values())


def _in_photos(
    made: HideMap,
    looks: tuple[Look, ...],
    cameras: tuple[Camera, ...],
    rim: JoinedRim,
    rim_mm: Points,
    settings: Settings,
) -> HideMap:
    """The map with everything in px where it lies in the photos: rim and back line in the first, marks where shown.

    `cameras` and `rim_mm`, the joined rim, are in the hide frame.
    """
    outer = np.array(made.outline.hide_mm.coordinates[0])
    views = tuple(photo_view(look.info, camera, outer[:-1]) for look, camera in zip(looks, cameras, strict=True))
    top = rim.thickness_mm + rim.mean_lift_mm
    marks = []
    for mark in made.marks:
        ring = np.array(mark.hide_mm.coordinates[0])
        k = _shown_in(ring, cameras, looks)
        marks.append(replace(mark, photo=k, photo_px=PolygonGeometry((_line(cameras[k].px_from_mm(ring, top)),))))
    holes = (np.array(mark.hide_mm.coordinates[0]) for mark in marks if mark.kind == "hole")
    edges = (_line(cameras[0].px_from_mm(ring, top)) for ring in (outer, *holes))
    doubtful = []
    for at in _doubtful(rim, settings):
        k = max(0, int(rim.photo[at[len(at) // 2]]))
        length = float(np.linalg.norm(np.diff(rim_mm[at], axis=0), axis=1).sum())
        line = LineGeometry(_line(cameras[k].px_from_mm(rim_mm[at], rim.lift_mm[at])))
        doubtful.append(DoubtfulStretch(line, length, float(rim.confidence[at].mean()), k))
    ends = _line(cameras[0].px_from_mm(np.array([made.back_line.tail_mm, made.back_line.neck_mm])))
    return replace(
        made,
        camera=views[0].camera,
        photos=views,
        marks=tuple(marks),
        outline=replace(made.outline, photo_px=PolygonGeometry(tuple(edges)), doubtful=tuple(doubtful)),
        back_line=replace(made.back_line, tail_px=ends[0], neck_px=ends[1]),
    )


def _shown_in(ring_mm: Points, cameras: tuple[Camera, ...], looks: tuple[Look, ...]) -> int:
    """The photo that shows the ring nearest and squarest of those that show all of it, else the one that shows most."""
    shown = []
    for camera, look in zip(cameras, looks, strict=True):
        px = camera.px_from_mm(ring_mm)
        size = np.array([look.info.width_px, look.info.height_px])
        share = float(((px > 0) & (px < size - 1.0)).all(axis=1).mean())
        shown.append((share, -float(camera.mm_per_px(px.mean(axis=0)[None])[0]) if share == 1.0 else 0.0))
    return max(range(len(shown)), key=lambda k: shown[k])


def _line(points: Points) -> Ring:
    return tuple((x, y) for x, y in points.tolist())
