"""The floor plane and the camera from all cards at once, with their covariance.

Only that the cards lie on one floor is assumed. What a person or the EXIF said enters the adjustment as priors, that
is, as observations with their own uncertainty, so the covariance that comes out holds them; what follows from it is
plain propagation (GUM, JCGM 100:2008, 5.2).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from hidescan.basics.errors import Doubt, NotFound
from hidescan.basics.geometry import Points
from hidescan.camera.model import Camera
from hidescan.cards.detection import Card
from hidescan.floor.adjustment import FIRST_PLACE, LN_F, Adjustment, Array, Prior, Priors, State, minimised
from hidescan.floor.flatness import bend_of
from hidescan.settings import PlaneSettings


@dataclass(frozen=True, slots=True, eq=False)
class CardPlace:
    """Where a card lies on the floor: centre (2,), direction of the board's x axis, and how well it fits."""

    number: int
    corners: int
    rms_px: float
    centre_mm: Points
    angle_deg: float
    on_hide: bool


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
        Standard deviation of a corner's coordinate, a posteriori.
    doubts
        Cards left out, a doubtful focal length, tapes that disagree.
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


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    adjustment: Adjustment
    state: State
    weights: Array
    cost: float

    def card_rms_px(self) -> list[float]:
        """For each card, the root mean square misfit of its corner coordinates."""
        misfit, _ = self.adjustment.corner_misfits(self.state)
        ends = np.cumsum([2 * len(card.corners_px) for card in self.adjustment.cards])
        return [float(np.sqrt(np.mean(m**2))) for m in np.split(misfit, ends[:-1])]

    def misfit_cards(self) -> list[Card]:
        """Cards whose misfit is beyond what corner noise explains."""
        return [
            card
            for card, rms in zip(self.adjustment.cards, self.card_rms_px(), strict=True)
            if rms > _misfit_limit_px(card, self.adjustment.settings)
        ]

    def bent_cards(self) -> list[Card]:
        """Cards that a curved surface explains much better than a plane."""
        settings = self.adjustment.settings
        bends = [bend_of(self.adjustment, self.state, j) for j in range(len(self.adjustment.cards))]
        return [
            card
            for card, bend in zip(self.adjustment.cards, bends, strict=True)
            if bend.sigma > settings.bent_sigma and bend.depth_mm > settings.bent_depth_mm
        ]


def solve_plane(
    cards: tuple[Card, ...],
    size_px: tuple[int, int],
    priors: Priors,
    settings: PlaneSettings,
    on_hide: frozenset[int] = frozenset(),
) -> Plane | NotFound:
    """Adjust camera and floor to the corners of all cards.

    A card that does not fit is left out and named, while others remain to measure by. Where the cards contradict the
    focal length known beforehand, the cards win.

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
    The plane, or NotFound where no camera above a flat floor explains the corners.
    """
    ordered = tuple(sorted(cards, key=lambda card: -_extent_px(card)))
    fit = _fit(Adjustment(ordered, size_px, priors, on_hide, settings))
    doubts: list[Doubt] = []
    if fit is not None and (fit.misfit_cards() or fit.bent_cards()):
        fit, doubts = _without_misfits(fit)
    if fit is None or max(fit.card_rms_px()) > settings.hopeless_rms_px:
        return NotFound(
            "card-misfit",
            "The card's corners fit no camera above a flat floor: the card is bent.",
            "Lay it flat, best glued to a stiff board, and photograph again.",
        )
    focal_doubts: list[Doubt] = []
    if not fit.misfit_cards():  # bent cards would blame the lens
        fit, focal_doubts = _cards_over_exif(fit)
    information, sd_px = _information(fit)
    covariance = _inverse_of_sum(information)
    return Plane(
        state=fit.state,
        covariance=covariance,
        information=information,
        size_px=size_px,
        places=_places(fit),
        corner_sd_px=sd_px,
        doubts=(*doubts, *focal_doubts, *_tape_doubts(fit, covariance)),
    )


def _extent_px(card: Card) -> float:
    extent: Array = card.corners_px.max(axis=0) - card.corners_px.min(axis=0)
    return float(extent.max())


def _fit(adjustment: Adjustment) -> _Fit | None:
    """The better of the two planar poses (Schweighofer and Pinz 2006), each adjusted."""
    best: _Fit | None = None
    for start in adjustment.starts():  # the one that fits better before adjustment comes first
        result = minimised(adjustment, start, np.inf if best is None else best.cost)
        if result is not None and (best is None or result[2] < best.cost):
            best = _Fit(adjustment, *result)
    return best


def _misfit_limit_px(card: Card, settings: PlaneSettings) -> float:
    """Corner noise has a floor in px; on a card seen large, blur and print errors make it grow with the pattern."""
    px_per_mm = np.linalg.norm(np.ptp(card.corners_px, axis=0)) / np.linalg.norm(np.ptp(card.board_mm, axis=0))
    return float(max(settings.misfit_rms_px, settings.misfit_rms_mm * float(px_per_mm)))


def _without_misfits(fit: _Fit) -> tuple[_Fit | None, list[Doubt]]:
    """Leave cards out until the rest fits.

    A card that misfits on its own is bent. Cards that each fit alone but not together do not lie in one plane; the one
    whose absence mends most is left out, but of two such cards neither can be said to be the wrong one.
    """
    adjustment = fit.adjustment
    doubts: list[Doubt] = []
    if len(adjustment.cards) == 1:
        return fit, [
            Doubt("card-bent", f"Card {adjustment.cards[0].number} is bent: lay it flat. The ± is wider for it.")
        ]
    bent = [card for card in adjustment.cards if (alone := _alone(adjustment, card)) is None or _is_bent(alone)]
    if bent and len(bent) < len(adjustment.cards):
        for card in bent:
            doubts.append(Doubt("card-dropped", f"Card {card.number} is bent and was left out: lay it flat."))
        adjustment = replace(adjustment, cards=tuple(c for c in adjustment.cards if c not in bent))
        fit_or_none = _fit(adjustment)
        if fit_or_none is None or not fit_or_none.misfit_cards():
            return fit_or_none, doubts
        fit = fit_or_none
    while fit.misfit_cards() and len(adjustment.cards) > 2:
        rests = [(_fit(replace(adjustment, cards=_others(adjustment, card))), card) for card in adjustment.cards]
        whole = [(rest, card) for rest, card in rests if rest is not None]
        if not whole:
            return None, doubts
        fit, left_out = min(whole, key=lambda pair: max(pair[0].card_rms_px()))
        adjustment = fit.adjustment
        doubts.append(
            Doubt("card-dropped", f"Card {left_out.number} does not lie flat on the floor of the others; left out.")
        )
    if fit.misfit_cards():
        names = " and ".join(str(n) for n in sorted(card.number for card in adjustment.cards))
        doubts.append(
            Doubt(
                "cards-disagree", f"Cards {names} do not lie in one plane: lay both flat on the floor. The ± is wider."
            )
        )
    return fit, doubts


def _is_bent(alone: _Fit) -> bool:
    return bool(alone.misfit_cards() or alone.bent_cards())


def _others(adjustment: Adjustment, card: Card) -> tuple[Card, ...]:
    return tuple(c for c in adjustment.cards if c is not card)


def _alone(adjustment: Adjustment, card: Card) -> _Fit | None:
    return _fit(replace(adjustment, cards=(card,)))


def _cards_over_exif(fit: _Fit) -> tuple[_Fit, list[Doubt]]:
    """Refit without the given focal length where the cards contradict it.

    The change that the cards made to the prior mean has variance u_prior^2 - u_posterior^2 when both agree (the
    innovation of a linear estimate), so their contradiction is judged without a second adjustment.
    """
    adjustment = fit.adjustment
    prior, settings = adjustment.priors.ln_focal, adjustment.settings
    if prior.u >= settings.broad_ln_focal_u:
        return fit, []
    covariance = _inverse_of_sum(_information(fit)[0])
    change = float(fit.state.parameters[LN_F]) - prior.mean
    expected = np.sqrt(max(prior.u**2 - covariance[LN_F, LN_F], 1e-12))
    if abs(change) <= settings.focal_contradiction_sigma * expected:
        return fit, []
    broad = replace(adjustment.priors, ln_focal=Prior(prior.mean, settings.broad_ln_focal_u), lens_covariance=None)
    free = _fit(replace(adjustment, priors=broad))
    if free is None:
        return fit, []
    percent = 100 * (float(np.exp(free.state.parameters[LN_F] - prior.mean)) - 1)
    message = f"The cards say the focal length is {percent:+.0f} % off what the photo claims (zoomed or cropped?)."
    return free, [Doubt("focal-doubtful", message + " The cards were believed.")]


def _information(fit: _Fit) -> tuple[dict[str, Array], float]:
    """What each kind of observation knows of the parameters, (P, P) each, and the corners' a posteriori deviation.

    The corners' variance is their weighted residuals pooled with the prior variance, which counts as
    `corner_sd_dof` observations. It scales the corners' information only; priors and tapes keep their own.
    """
    adjustment, settings = fit.adjustment, fit.adjustment.settings
    misfit, J_corners = adjustment.corner_misfits(fit.state)
    determined = FIRST_PLACE - 3 + 3 * (len(adjustment.cards) - 1)  # pose, lens, places; scale and heights are priors'
    free = max(0.0, float(fit.weights.sum()) - determined)
    pooled = settings.corner_sd_dof * settings.corner_sd_px**2 + float(np.sum(fit.weights * misfit**2))
    variance = pooled / (settings.corner_sd_dof + free)
    _, J_prior = adjustment.priors.whitened(fit.state.parameters)
    _, J_tapes = adjustment.tape_misfits(fit.state)
    information = {
        "corner noise": (J_corners.T * (fit.weights / variance)) @ J_corners,
        "lens": J_prior[:3].T @ J_prior[:3],
        "print scale": J_prior[3:5].T @ J_prior[3:5],
        "card on the hide": J_prior[5:].T @ J_prior[5:],
        "tape": J_tapes.T @ J_tapes,
    }
    return information, float(np.sqrt(variance))


def _inverse_of_sum(information: Mapping[str, Array]) -> Array:
    covariance: Array = np.linalg.inv(np.sum(list(information.values()), axis=0))
    return covariance


def _places(fit: _Fit) -> tuple[CardPlace, ...]:
    places = []
    for j, (card, rms) in enumerate(zip(fit.adjustment.cards, fit.card_rms_px(), strict=True)):
        x, y, angle = fit.state.place(j)
        on_hide = card.number in fit.adjustment.on_hide
        places.append(
            CardPlace(card.number, len(card.corners_px), rms, np.array([x, y]), float(np.rad2deg(angle)), on_hide)
        )
    return tuple(sorted(places, key=lambda place: place.number))


def _tape_doubts(fit: _Fit, covariance: Array) -> list[Doubt]:
    """Tapes further from the result than their own uncertainty and the result's leave room for."""
    adjustment = fit.adjustment
    misfits, J = adjustment.tape_misfits(fit.state)
    numbers = {card.number for card in adjustment.cards}
    used = [tape for tape in adjustment.priors.tapes if {tape.first, tape.second} <= numbers]
    room = np.sqrt(np.maximum(1.0 - np.einsum("ip,pq,iq->i", J, covariance, J), 1e-6))
    bad = [
        t for t, m, r in zip(used, misfits, room, strict=True) if abs(m) > adjustment.settings.contradiction_sigma * r
    ]
    if not bad:
        return []
    names = ", ".join(f"{t.first}-{t.second}" for t in (bad if len(bad) > 1 or len(used) == 1 else used))
    other = "each other" if len(used) > 1 else "the print scale"
    return [Doubt("tapes-disagree", f"Tape {names} disagrees with {other} beyond its uncertainty: measure again.")]
