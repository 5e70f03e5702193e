"""Stage 1, the floor: cards, then camera and floor from all of them."""

from dataclasses import dataclass, replace

import numpy as np

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points, rotation_2d
from hidescan.basics.opencv import grey_of
from hidescan.cards.detection import CardSearch, find_cards
from hidescan.cards.pattern import paper_corners_mm
from hidescan.figures.measures import HeightPriors
from hidescan.floor.lying import from_board
from hidescan.floor.parameters import Prior, Priors, Tape
from hidescan.floor.priors import focal_prior, known_print_scale, own_prints, print_scale_priors
from hidescan.floor.solution import CardPlace, Plane, solve_plane
from hidescan.hide_map.model import XY, Inputs, TapeInput
from hidescan.mapping.calibration import Calibration
from hidescan.mapping.heights import height_priors, on_hide_prior
from hidescan.mapping.refusals import no_card
from hidescan.photo.reading import Photo
from hidescan.settings import Settings


@dataclass(frozen=True, slots=True)
class FloorInputs:
    """What this stage reads of `Inputs`: the fields are theirs."""

    card_scale: XY | None = None
    tapes: tuple[TapeInput, ...] = ()
    lens: str | None = None

    def completed(self, inputs: Inputs) -> Inputs:
        """A person's inputs with the print scale and the lens that the floor was found with."""
        return replace(inputs, card_scale=self.card_scale, lens=self.lens)


@dataclass(frozen=True, slots=True, eq=False)
class Floor:
    """The floor found: cards, plane, what it was solved with, and the inputs completed by the calibration."""

    search: CardSearch
    plane: Plane
    priors: Priors
    inputs: FloorInputs

    @property
    def print_measured(self) -> bool:
        """Whether the print's scale was measured: by the check bars of a card used, or by a tape between two."""
        used = {place.number for place in self.plane.places}
        taped = any({tape.first, tape.second} <= used for tape in self.inputs.tapes)
        return self.inputs.card_scale is not None or taped or bool(used & self.priors.own_prints.keys())


def find_floor(photo: Photo, given: FloorInputs, calibration: Calibration, settings: Settings) -> Floor | NotFound:
    """The camera over the floor, from all cards of the photo.

    Raises
    ------
    BadInput
        The lens profile given is not known, or is for pictures of another size.
    """
    lens = calibration.lens_for(photo, given.lens)
    grey = grey_of(photo.rgb)
    search = find_cards(grey, settings.card)
    if not search.cards:
        return no_card(grey, search, settings.card)
    numbers = [card.number for card in search.cards]
    if given.card_scale is None:
        given = replace(given, card_scale=known_print_scale(numbers, calibration.card_scales))
    priors = _priors(photo, given, settings)
    if given.card_scale is None:
        priors = replace(priors, own_prints=own_prints(numbers, calibration.card_scales, settings.plane))
    if lens is not None:
        given = replace(given, lens=lens[0])
        priors = lens[1].on(priors, settings.lens)
    plane = solve_plane(search.cards, photo.size_px, priors, settings.plane)
    return plane if isinstance(plane, NotFound) else Floor(search, plane, priors, given)


def with_cards_on_hide(
    floor: Floor, photo: Photo, ring_px: Points, heights: HeightPriors, settings: Settings
) -> Floor | NotFound:
    """The floor solved again where a card lies within the rim, `ring_px` (N, 2): by the leather's height over it."""
    priors = replace(floor.priors, on_hide_mm=on_hide_prior(heights, settings.plane))
    on_hide = _lying_on(floor.plane, ring_px)
    if not on_hide:
        return replace(floor, priors=priors)
    plane = solve_plane(floor.search.cards, photo.size_px, priors, settings.plane, on_hide)
    return plane if isinstance(plane, NotFound) else replace(floor, priors=priors, plane=plane)


def papers_mm(places: tuple[CardPlace, ...]) -> list[Points]:
    """Each used card's sheet on the floor, (4, 2) mm."""
    local = from_board(paper_corners_mm())
    return [local @ rotation_2d(place.angle_deg).T + place.centre_mm for place in places]


def _priors(photo: Photo, given: FloorInputs, settings: Settings) -> Priors:
    scale, skew = print_scale_priors(given.card_scale, settings.plane)
    return Priors(
        ln_focal=focal_prior(photo, settings.plane),
        k1=Prior(0.0, settings.plane.k1_u),
        k2=Prior(0.0, settings.plane.k2_u),
        ln_scale=scale,
        skew=skew,
        on_hide_mm=on_hide_prior(height_priors(None, (), settings.measure), settings.plane),  # no card is known to be
        mount_mm=settings.plane.paper_mm,
        tapes=tuple(Tape(t.first, t.second, t.distance_mm) for t in given.tapes),
    )


def _lying_on(plane: Plane, ring_px: Points) -> frozenset[int]:
    """Numbers of the cards whose middle lies within the rim."""
    import cv2

    rim = plane.camera.mm_from_px(ring_px).astype(np.float32)
    return frozenset(
        place.number for place in plane.places if cv2.pointPolygonTest(rim, place.centre_mm.tolist(), False) > 0
    )
