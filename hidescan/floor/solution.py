"""The floor plane and the camera from all cards at once, with their covariance.

Only that the cards lie on one floor is assumed. What a person or the EXIF said enters the adjustment as priors, that
is, as observations with their own uncertainty, so the covariance that comes out holds them; what follows from it is
plain propagation (GUM, JCGM 100:2008, 5.2).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from hidescan.basics.errors import Doubt, NotFound
from hidescan.basics.geometry import Points
from hidescan.camera.model import Camera
from hidescan.cards.detection import Card
from hidescan.floor.adjustment import Adjustment
from hidescan.floor.contradictions import (
    cards_over_focal,
    contradicting_bars,
    contradicting_tape,
    unused_tapes,
)
from hidescan.floor.fit import Fit, adjusted, information_of, inverse_of_sum
from hidescan.floor.left_out import without_misfits
from hidescan.floor.parameters import Array, Priors, State
from hidescan.settings import PlaneSettings


@dataclass(frozen=True, slots=True, eq=False)
class CardPlace:
    """Where a card lies on the floor.

    Attributes
    ----------
    number, corners
        The card's, and how many of its corners were found.
    rms_px
        Misfit across its edges, or of its corners where edges are too small.
    centre_mm, angle_deg
        (2,) and direction of the board's x axis, floor frame.
    on_hide
        Whether it lies on the hide.
    bend_mm
        How much the sheet rises within the pattern; 0 where that was not solved for.
    """

    number: int
    corners: int
    rms_px: float
    centre_mm: Points
    angle_deg: float
    on_hide: bool
    bend_mm: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """The adjusted camera over the floor.

    Attributes
    ----------
    state, covariance
        Parameters as `adjustment` orders them, and their (P, P) covariance.
    size_px
        (width, height) of the photo.
    places
        One for each card used, by number.
    information
        What each kind of observation knows: matrices (P, P) by name, whose sum is the inverse of the covariance.
    corner_sd_px
        Standard deviation of a corner's coordinate, or of a stretch of edge across it, a posteriori.
    doubts
        Cards left out or bent, a doubtful focal length, tapes that were not used.
    """

    state: State
    covariance: Array
    information: Mapping[str, Array]
    size_px: tuple[int, int]
    places: tuple[CardPlace, ...]
    corner_sd_px: float
    doubts: tuple[Doubt, ...]

    @property
    def camera(self) -> Camera:
        """The camera in the floor frame."""
        return self.state.camera(self.size_px)

    def camera_after(self, step: Array) -> Camera:
        """The camera with its parameters moved by `step` (P,), for derivatives."""
        return self.state.stepped(step).camera(self.size_px)


def solve_plane(
    cards: tuple[Card, ...],
    size_px: tuple[int, int],
    priors: Priors,
    settings: PlaneSettings,
    on_hide: frozenset[int] = frozenset(),
) -> Plane | NotFound:
    """The camera over the floor, adjusted to all cards.

    A card that does not fit is left out and named, while others remain to measure by. Where the cards contradict the
    focal length known beforehand, the cards win; a tape or check bars that they contradict are refused.

    Parameters
    ----------
    cards
        Cards found in the photo, at least one.
    size_px
        (width, height) of the photo.
    priors
        What is known beforehand.
    on_hide
        Numbers of the cards that lie on the hide.

    Returns
    -------
    The plane, or NotFound: "card-misfit" where no camera above a flat floor explains the cards, "tapes-disagree",
    "bars-contradict".
    """
    ordered = tuple(sorted(cards, key=lambda card: -_extent_px(card)))
    fit, doubts, focal_doubts = _believed(adjusted(Adjustment(ordered, size_px, priors, on_hide, settings)))
    if fit is None or max(fit.card_rms_px()) > settings.hopeless_rms_px:
        return NotFound(
            "card-misfit",
            "The card's corners fit no camera above a flat floor: the card is bent.",
            "Lay it flat, best glued to a stiff board, and photograph again.",
        )
    information, sd_px = information_of(fit)
    covariance = inverse_of_sum(information)
    refusal = contradicting_tape(fit, covariance)
    if refusal is None:
        refusal = contradicting_bars(fit, covariance)
    if refusal is not None:
        return refusal
    return Plane(
        state=fit.state,
        covariance=covariance,
        information=information,
        size_px=size_px,
        places=_places(fit),
        corner_sd_px=sd_px,
        doubts=(*doubts, *focal_doubts, *_bent_sheets(fit, doubts), *unused_tapes(fit)),
    )


def _believed(fit: Fit | None) -> tuple[Fit | None, list[Doubt], list[Doubt]]:
    """The fit without cards or a focal length that the others contradict; doubts about cards, and about the lens."""
    if fit is None:
        return None, [], []
    whole, focal_doubts = cards_over_focal(fit)
    if whole.fits():
        return whole, [], focal_doubts
    rest, doubts = without_misfits(fit)
    if rest is None or rest.misfit_cards():  # bent cards would blame the lens
        return rest, doubts, []
    believed, focal_doubts = cards_over_focal(rest)
    return believed, doubts, focal_doubts


def _extent_px(card: Card) -> float:
    extent: Array = card.corners_px.max(axis=0) - card.corners_px.min(axis=0)
    return float(extent.max())


def _bent_sheets(fit: Fit, doubts: list[Doubt]) -> list[Doubt]:
    """Cards whose bend was solved for and is worth a word."""
    if any(doubt.code == "card-bent" for doubt in doubts):
        return []
    return [
        Doubt("card-bent", f"Card {card.number} is bent by {bend:.0f} mm, which was reckoned with: lay it flat.")
        for j, card in enumerate(fit.adjustment.cards)
        if (bend := fit.bend_mm(j)) > fit.adjustment.settings.named_bend_mm
    ]


def _places(fit: Fit) -> tuple[CardPlace, ...]:
    places = []
    for j, (card, rms) in enumerate(zip(fit.adjustment.cards, fit.card_rms_px(), strict=True)):
        x, y, angle = fit.state.place(j)
        on_hide = card.number in fit.adjustment.on_hide
        centre = np.array([x, y])
        places.append(
            CardPlace(card.number, len(card.corners_px), rms, centre, float(np.rad2deg(angle)), on_hide, fit.bend_mm(j))
        )
    return tuple(sorted(places, key=lambda place: place.number))
