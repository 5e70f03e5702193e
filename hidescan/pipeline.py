"""From a photo to a map: the stages in order.

photo -> cards -> plane -> outline -> (cards found lying on the hide: plane again) -> back line -> measures -> map
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from hidescan.anatomy.back_line import Shape, drawn_back_line, find_shape
from hidescan.anatomy.species import plausible_size
from hidescan.basics.errors import Doubt, NotFound
from hidescan.basics.geometry import Points, rotation_2d, without_crossings
from hidescan.basics.opencv import grey_of
from hidescan.basics.parallel import start_in_thread
from hidescan.camera.relief import Heights, plan_view
from hidescan.cards.detection import CardSearch, find_cards, is_inverted, paper_corners_mm
from hidescan.figures.measures import Measures, Rim, measure
from hidescan.floor.adjustment import Prior, Priors, Tape, from_board
from hidescan.floor.lens_profile import LensProfile
from hidescan.floor.priors import focal_prior, print_scale_priors, with_known_print
from hidescan.floor.solution import CardPlace, Plane, solve_plane
from hidescan.hide_map.model import XY, HideMap, Inputs
from hidescan.mapping.building import assemble, photo_info
from hidescan.mapping.photo_checks import photo_doubts
from hidescan.marks.placement import found_marks
from hidescan.outline.by_hand import redrawn
from hidescan.outline.coarse import FirstLook, Hint, first_look
from hidescan.outline.finding import Outline, find_outline
from hidescan.photo.reading import Photo
from hidescan.settings import Settings


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What is known besides the photo: prints measured earlier, by card number, and a lens profile with its name."""

    card_scales: Mapping[int, XY] = field(default_factory=dict)
    lens: tuple[str, LensProfile] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Floor:
    """The floor found: cards, plane, what it was solved with, and the inputs completed by what is known."""

    search: CardSearch
    plane: Plane
    priors: Priors
    inputs: Inputs


def find_floor(
    photo: Photo, grey: NDArray[np.uint8], inputs: Inputs, known: Known, settings: Settings
) -> Floor | NotFound:
    """Cards, then camera and floor from all of them."""
    search = find_cards(grey, settings.card)
    cards = search.cards
    if not cards:
        return _no_card(grey, search, settings)
    inputs = with_known_print(inputs, (card.number for card in cards), known.card_scales)
    priors = _priors(photo, inputs, settings)
    if known.lens is not None:
        inputs = replace(inputs, lens=known.lens[0])
        priors = known.lens[1].on(priors, settings.lens)
    plane = solve_plane(cards, photo.size_px, priors, settings.plane)
    return plane if isinstance(plane, NotFound) else Floor(search, plane, priors, inputs)


def run(photo: Photo, inputs: Inputs, settings: Settings, known: Known | None = None) -> HideMap | NotFound:
    """Map a photo: every stage takes what the ones before it gave, and none touches disk."""
    look = start_in_thread(first_look, photo.rgb, settings.outline, _hints(inputs))  # cards keep one core busy
    floor = find_floor(photo, grey_of(photo.rgb), inputs, known or Known(), settings)
    if isinstance(floor, NotFound):
        return floor
    return map_from(photo, floor, find_hide(photo, floor, settings, look()), settings)


def find_hide(photo: Photo, floor: Floor, settings: Settings, look: FirstLook | None = None) -> Outline | NotFound:
    """The hide's outline as the program sees it, a person's taps honoured; `look` where it was had already."""
    inputs, camera = floor.inputs, floor.plane.camera
    papers_px = [camera.px_from_mm(corners) for corners in papers_mm(floor.plane.places)]
    return find_outline(
        photo.rgb, camera, papers_px, settings.outline, hints=_hints(inputs), hide_at=inputs.hide_at_px, look=look
    )


def _hints(inputs: Inputs) -> tuple[Hint, ...]:
    return tuple(Hint(hint.photo_px, hint.inside) for hint in inputs.hints)


def map_from(photo: Photo, floor: Floor, seen: Outline | NotFound, settings: Settings) -> HideMap | NotFound:
    """The map from what was seen, with the rim and the back line as a person drew them."""
    inputs, plane = floor.inputs, floor.plane
    outline = redrawn(seen, tuple(np.array(line) for line in inputs.rim_px), settings.redrawn)
    if isinstance(outline, NotFound):
        return outline
    if on_hide := lying_on(plane, outline.ring_px):
        again = solve_plane(floor.search.cards, photo.size_px, floor.priors, settings.plane, on_hide)
        if isinstance(again, NotFound):
            return again
        plane = again
    leather = leather_of(inputs, settings)
    heights = Heights(leather.thickness.mean, leather.lift.mean)
    seen_mm = plan_view(plane.camera, outline.ring_px, heights)
    if not np.isfinite(seen_mm).all():
        return NotFound(
            "rim-off-floor",
            "Part of the rim lies above the horizon of the floor that the cards lie on.",
            "Lay the cards flat beside the hide and take the photo from higher up, or correct the rim.",
        )
    plan_mm = without_crossings(seen_mm)
    neck_mm = _neck_given(inputs, plane, plan_mm)
    if isinstance(neck_mm, NotFound):
        return neck_mm
    shape = find_shape(plan_mm, settings.shape, neck_mm=neck_mm, form=inputs.form)
    if inputs.back_line_px is not None:
        tail_mm, neck_mm = plane.camera.mm_from_px(np.array(inputs.back_line_px))
        shape = replace(shape, back_line=drawn_back_line(tail_mm, neck_mm, settings.shape))
    found = found_marks(outline.holes, outline.faults)
    rim = Rim(outline.ring_px, outline.u_px)
    holes = tuple(Rim(m.ring_px, np.full(len(m.ring_px), np.median(rim.u_px))) for m in found if m.kind == "hole")
    along = shape.back_line.neck_mm - shape.back_line.tail_mm
    measures = measure(
        plane, rim, holes, leather.thickness, leather.lift, along, settings.measure,
        print_measured=print_measured(inputs), open_area_u=outline.open_area_u,
    )  # fmt: skip
    doubts = (
        *plane.doubts,
        *_outline_doubts(outline, plane, settings),
        *photo_doubts(floor.search, plane, plan_mm, inputs, settings.quality),
        *shape_doubts(inputs, shape, settings),
        *size_doubts(inputs, shape, measures),
    )
    return assemble(
        photo_info(photo), inputs, plane.camera, outline, shape, measures,
        plan_mm=plan_mm, places=plane.places, found=found, heights=heights, doubts=doubts, settings=settings,
    )  # fmt: skip


def _neck_given(inputs: Inputs, plane: Plane, plan_mm: Points) -> Points | NotFound | None:
    """A floor point toward the neck, as a pixel or a card's arrow says; None where neither was given."""
    if inputs.neck_px is not None:
        point: Points = plane.camera.mm_from_px(np.array([inputs.neck_px]))[0]
        if np.isfinite(point).all():
            return point
        return NotFound(
            "neck-off-floor", "The pixel given for the neck is not on the floor.", "Point at the hide's neck."
        )
    return None if inputs.arrow is None else toward_arrow(inputs.arrow, plane.places, plan_mm)


def toward_arrow(number: int, places: tuple[CardPlace, ...], plan_mm: Points) -> Points | NotFound:
    """A floor point far off where the arrow of a card points, seen from the hide's middle."""
    card = next((place for place in places if place.number == number), None)
    if card is None:
        return NotFound("no-arrow", f"Card {number} was not found.", "Name a card in the picture with --arrow.")
    along = rotation_2d(card.angle_deg) @ np.array([0.0, 1.0])  # off the top of the page
    return np.asarray(plan_mm.mean(axis=0) + float(np.ptp(plan_mm, axis=0).sum()) * along)


def print_measured(inputs: Inputs) -> bool:
    """Whether the print's scale was measured, by its bars or a tape."""
    return inputs.card_scale is not None or bool(inputs.tapes)


@dataclass(frozen=True, slots=True)
class Leather:
    """What is known of the leather's thickness and of its rim's mean lift over the floor, mm."""

    thickness: Prior
    lift: Prior


def leather_of(inputs: Inputs, settings: Settings) -> Leather:
    """What is known of the leather: gauged, given, or typical."""
    m = settings.measure
    if inputs.gauge:
        readings = np.array([g.thickness_mm for g in inputs.gauge])
        mean = float(readings.mean())
        thickness = Prior(mean, max(float(readings.std()), m.given_thickness_u_share * mean) / len(readings) ** 0.5)
    elif inputs.thickness_mm is None:
        thickness = Prior(m.typical_thickness_mm, m.typical_thickness_u_mm)
    else:
        thickness = Prior(inputs.thickness_mm, m.given_thickness_u_share * inputs.thickness_mm)
    return Leather(thickness, Prior(m.lift_mm, m.lift_u_mm))


def _priors(photo: Photo, inputs: Inputs, settings: Settings) -> Priors:
    leather = leather_of(inputs, settings)
    scale, skew = print_scale_priors(inputs.card_scale, settings.plane)
    return Priors(
        ln_focal=focal_prior(photo, settings.plane),
        k1=Prior(0.0, settings.plane.k1_u),
        k2=Prior(0.0, settings.plane.k2_u),
        ln_scale=scale,
        skew=skew,
        on_hide_mm=Prior(
            leather.thickness.mean, float(np.hypot(leather.thickness.u, settings.plane.on_hide_lift_u_mm))
        ),
        mount_mm=settings.plane.paper_mm,
        tapes=tuple(Tape(t.first, t.second, t.distance_mm) for t in inputs.tapes),
    )


def papers_mm(places: tuple[CardPlace, ...]) -> list[Points]:
    """Each used card's sheet on the floor, (4, 2) mm."""
    local = from_board(paper_corners_mm())
    return [local @ rotation_2d(place.angle_deg).T + place.centre_mm for place in places]


def lying_on(plane: Plane, ring_px: Points) -> frozenset[int]:
    """Numbers of the cards whose middle lies within the rim."""
    import cv2

    rim = plane.camera.mm_from_px(ring_px).astype(np.float32)
    return frozenset(
        place.number for place in plane.places if cv2.pointPolygonTest(rim, place.centre_mm.tolist(), False) > 0
    )


def _no_card(grey: NDArray[np.uint8], search: CardSearch, settings: Settings) -> NotFound:
    if search.doubled:
        names = ", ".join(str(n) for n in search.doubled)
        return NotFound(
            "card-doubled", f"Two cards carry the number {names}.", "Print cards of different numbers and lay those."
        )
    if is_inverted(grey, settings.card):
        return NotFound(
            "card-inverted",
            "The card was printed with black and white exchanged.",
            "Print it again without the printer's 'negative' or dark mode.",
        )
    return NotFound(
        "no-card",
        "No reference card was found in the photo.",
        "Lay at least one printed card flat beside the hide, all of it in the picture (hidescan card -o cards.pdf).",
    )


def _outline_doubts(outline: Outline, plane: Plane, settings: Settings) -> list[Doubt]:
    """Where the outline itself should be looked at."""
    if outline.confidence_whole < settings.outline.whole_doubt_below:
        advice = "look at the picture; --inside X,Y and --outside X,Y set it right."
        return [Doubt("outline-doubtful", f"Hide and floor are hard to tell apart here: {advice}")]
    length = 0.0
    for start, stop in outline.doubtful:
        stretch = outline.ring_px[np.arange(start, stop) % len(outline.ring_px)]
        length += float(np.linalg.norm(np.diff(plane.camera.mm_from_px(stretch), axis=0), axis=1).sum())
    if not length:
        return []
    return [
        Doubt("rim-doubtful", f"{length:.0f} mm of the rim are doubtful (dashed in the picture): look there first.")
    ]


def shape_doubts(inputs: Inputs, shape: Shape, settings: Settings) -> list[Doubt]:
    """Form and neck end that a person should settle."""
    least, doubts = settings.quality.least_shape_confidence, []
    if inputs.form is None and shape.form.confidence < least:
        doubts.append(
            Doubt("form-doubtful", f"It looks like a {shape.form.name}, but only just: say --form if you know better.")
        )
    if shape.back_line.source == "none":
        message = "No back line can be seen, so its stretch direction is unknown: --neck X,Y gives it if you know."
        doubts.append(Doubt("ends-doubtful", message))
    elif shape.back_line.end_confidence < least:
        doubts.append(Doubt("ends-doubtful", "Neck and tail may be the wrong way round: check, --neck X,Y settles it."))
    return doubts


def size_doubts(inputs: Inputs, shape: Shape, measures: Measures) -> list[Doubt]:
    """Whether the size is unusual for the species given."""
    if inputs.species is None:
        return []
    odd = plausible_size(inputs.species, shape.form.name, measures.area_net.value, measures.length.value)
    return [] if odd is None else [Doubt("size-unusual", odd)]
