"""Stage 4, the plan: the hide as it lies on the floor, seen from straight above, whatever it was seen by."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import Doubt, NotFound
from hidescan.basics.geometry import Points, rotation_2d, without_crossings
from hidescan.camera.model import Camera
from hidescan.camera.relief import Heights, plan_view
from hidescan.figures.measures import HideRims, Measures, Rim, measure
from hidescan.floor.solution import CardPlace
from hidescan.hide_map.model import Inputs, PhotoInfo
from hidescan.mapping.doubts import outline_doubts
from hidescan.mapping.photo_checks import photo_doubts
from hidescan.mapping.refusals import neck_off_floor, no_arrow, rim_off_floor
from hidescan.mapping.rim import HideInPhoto
from hidescan.marks.placement import FoundMark
from hidescan.outline.finding import Outline
from hidescan.settings import Settings


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """A hide on the floor.

    Attributes
    ----------
    photo
        The photo that `outline` and `found` are given in; the first of several.
    camera
        The camera of that photo, over the floor.
    outline, found
        Rim and marks as that camera shows them.
    ring_mm
        (N, 2) the rim in plan view, floor frame, without crossings.
    places
        The cards on the floor.
    heights
        Of the leather, as the plan view was made with.
    measured
        Gives the figures, by the direction of the back line (2,) in the floor frame.
    doubts
        What is doubtful so far.
    """

    photo: PhotoInfo
    camera: Camera
    outline: Outline
    found: tuple[FoundMark, ...]
    ring_mm: Points
    places: tuple[CardPlace, ...]
    heights: Heights
    measured: Callable[[NDArray[np.float64]], Measures]
    doubts: tuple[Doubt, ...]


def plan_of_photo(photo: PhotoInfo, hide: HideInPhoto, settings: Settings) -> Plan | NotFound:
    """The plan of a hide that one photo shows."""
    floor, outline, heights = hide.floor, hide.outline, hide.heights.means
    plane = floor.plane
    seen_mm = plan_view(plane.camera, outline.ring_px, heights)
    if not np.isfinite(seen_mm).all():
        return rim_off_floor()
    ring_mm = without_crossings(seen_mm)
    u_px = np.median(outline.u_px)
    holes = tuple(Rim(m.ring_px, np.full(len(m.ring_px), u_px)) for m in hide.found if m.kind == "hole")
    rims = HideRims(Rim(outline.ring_px, outline.u_px), holes, outline.open_area_u)

    def measured(along: NDArray[np.float64]) -> Measures:
        return measure(
            plane, rims, hide.heights, along, settings.measure, print_measured=floor.print_measured
        )  # fmt: skip

    doubts = (
        *plane.doubts,
        *outline_doubts(outline, plane.camera, settings.outline),
        *photo_doubts(floor, ring_mm, settings.quality),
    )
    return Plan(photo, plane.camera, outline, hide.found, ring_mm, plane.places, heights, measured, doubts)


def neck_given(inputs: Inputs, plan: Plan) -> Points | NotFound | None:
    """A floor point toward the neck (2,), as a pixel or a card's arrow says; None where neither was given."""
    if inputs.neck_px is not None:
        point: Points = plan.camera.mm_from_px(np.array([inputs.neck_px]))[0]
        return point if np.isfinite(point).all() else neck_off_floor()
    if inputs.arrow is None:
        return None
    card = next((place for place in plan.places if place.number == inputs.arrow), None)
    if card is None:
        return no_arrow(inputs.arrow)
    along = rotation_2d(card.angle_deg) @ np.array([0.0, 1.0])  # off the top of the page
    return np.asarray(plan.ring_mm.mean(axis=0) + float(np.ptp(plan.ring_mm, axis=0).sum()) * along)
