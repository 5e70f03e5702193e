"""One adjustment carried through: poses tried, noise learnt, and how well each card fits."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from hidescan.cards.detection import Card
from hidescan.floor import sheet
from hidescan.floor.adjustment import Adjustment
from hidescan.floor.flatness import bend_of
from hidescan.floor.least_squares import gram, minimised
from hidescan.floor.lying import from_board
from hidescan.floor.noise import estimated_noise
from hidescan.floor.parameters import Array, State
from hidescan.settings import PlaneSettings


@dataclass(frozen=True, eq=False)
class Fit:
    """An adjustment at its solution: state, robust weights of its rows (R,), cost."""

    adjustment: Adjustment
    state: State
    weights: Array
    cost: float

    @cached_property
    def misfits(self) -> tuple[Array, Array]:
        """What the state leaves, px (R,), and its Jacobian."""
        return self.adjustment.misfits(self.state)

    def card_rms_px(self) -> list[float]:
        """For each card, the root mean square misfit of its corner coordinates, or across its edges.

        Of edges what the robust weights keep is counted, and it is refused where they keep less than half.
        """
        misfit, seen = self.misfits[0], self.adjustment.seen
        owner, corners = seen.row_owner, 2 * seen.corners
        rms = []
        for j in range(len(self.adjustment.cards)):
            mine = np.flatnonzero(owner == j)
            kept = mine[self.weights[mine] > 0.1] if len(mine) and mine[0] >= corners else mine
            rms.append(float(np.sqrt(np.mean(misfit[kept if 2 * len(kept) > len(mine) else mine] ** 2))))
        return rms

    def misfit_cards(self) -> list[Card]:
        """Cards whose misfit is beyond what noise explains."""
        return [
            card
            for card, rms in zip(self.adjustment.cards, self.card_rms_px(), strict=True)
            if rms > _misfit_limit_px(card, self.adjustment.settings)
        ]

    def bent_cards(self) -> list[Card]:
        """Cards bent by more than is solved for: of one read by its corners alone, by more than a plane explains."""
        settings, bent = self.adjustment.settings, []
        for j, card in enumerate(self.adjustment.cards):
            if card.edges is not None:
                if self.bend_mm(j) > settings.most_bend_mm:
                    bent.append(card)
                continue
            bend = bend_of(self.adjustment, self.state, j)
            if bend.sigma > settings.bent_sigma and bend.depth_mm > settings.bent_depth_mm:
                bent.append(card)
        return bent

    def bend_mm(self, j: int) -> float:
        """How much card j rises over its edges' stretches; 0 where its sheet was not solved for."""
        card = self.adjustment.cards[j]
        if card.edges is None:
            return 0.0
        bend = self.state.parameters[self.adjustment.bend_columns(j)]
        return sheet.depth_mm(bend, from_board(card.edges.board_mm))

    def fits(self) -> bool:
        """Whether every card fits and none is bent too much."""
        return not self.misfit_cards() and not self.bent_cards()


def adjusted(adjustment: Adjustment) -> Fit | None:
    """The best adjustment of all poses that the first card allows; None where none of them can be.

    A flat pattern seen from afar leaves two poses (Schweighofer and Pinz 2006): each is adjusted to the corners, and
    with edges again to them. Then noise is learnt from what is left, and the adjustment made once more with it.
    """
    plain = replace(adjustment, cards=tuple(replace(card, edges=None) for card in adjustment.cards))
    found: list[Fit] = []
    for start in plain.starts():  # the one that fits better before adjustment comes first
        result = minimised(plain, start, min((fit.cost for fit in found), default=np.inf))
        if result is not None:
            found.append(Fit(plain, *result))
    found.sort(key=lambda fit: fit.cost)
    if not any(adjustment.layout.has_sheet):
        return found[0] if found else None
    best: Fit | None = None
    for fit in _different(found):
        result = minimised(adjustment, _with_sheets(adjustment, fit.state), np.inf if best is None else best.cost)
        if result is not None and (best is None or result[2] < best.cost):
            best = Fit(adjustment, *result)
    return None if best is None else again(best)


def _different(found: list[Fit]) -> list[Fit]:
    """The fits without those that ended where one before them did."""
    return [
        fit
        for k, fit in enumerate(found)
        if not any(np.abs(fit.state.rotation - other.state.rotation).max() < 1e-4 for other in found[:k])
    ]


def again(fit: Fit) -> Fit | None:
    """The same adjustment with the noise that its solution leaves."""
    misfit, _ = fit.misfits
    known = replace(fit.adjustment, noise=estimated_noise(fit.adjustment, misfit, fit.weights))
    result = minimised(known, fit.state)
    return None if result is None else Fit(known, *result)


def _with_sheets(adjustment: Adjustment, state: State) -> State:
    """The state of an adjustment without sheets, flat sheets added."""
    parameters = np.zeros(adjustment.layout.size)
    parameters[: len(state.parameters)] = state.parameters
    return State(parameters, state.rotation)


def _misfit_limit_px(card: Card, settings: PlaneSettings) -> float:
    """Noise has a floor in px; on a card seen large, blur and print errors make it grow with the pattern."""
    px_per_mm = np.linalg.norm(np.ptp(card.corners_px, axis=0)) / np.linalg.norm(np.ptp(card.board_mm, axis=0))
    return float(max(settings.misfit_rms_px, settings.misfit_rms_mm * float(px_per_mm)))


def information_of(fit: Fit) -> tuple[dict[str, Array], float]:
    """What each kind of observation knows of the parameters, (P, P) each, and the corners' a posteriori deviation.

    The noise scales the information of corners and edges only; priors and tapes keep their own.
    """
    misfit, J = fit.misfits
    noise = estimated_noise(fit.adjustment, misfit, fit.weights)
    known = replace(fit.adjustment, noise=noise)
    J_seen, corners = known.whitened_rows(J, fit.weights), 2 * known.seen.corners
    information = {
        "corner noise": gram(J_seen[:corners]),
        "edge noise": gram(J_seen[corners:]),
    }
    information |= {kind: jacobian.T @ jacobian for kind, (_, jacobian) in known.known(fit.state).items()}
    return information, known.sd_px


def inverse_of_sum(information: Mapping[str, Array]) -> Array:
    """The covariance (P, P)."""
    covariance: Array = np.linalg.inv(np.sum(list(information.values()), axis=0))
    return covariance
