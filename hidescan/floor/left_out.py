"""Cards that do not fit are left out, one after the other, and named."""

from dataclasses import replace

from hidescan.basics.errors import Doubt
from hidescan.cards.detection import Card
from hidescan.floor.adjustment import Adjustment
from hidescan.floor.fit import Fit, adjusted


def without_misfits(fit: Fit) -> tuple[Fit | None, list[Doubt]]:
    """The fit of the cards that lie flat in one plane, and what was left out.

    A card that misfits on its own is bent. Cards that each fit alone but not together do not lie in one plane; the one
    whose absence mends most is left out, but of two such cards neither can be said to be the wrong one.
    """
    adjustment = fit.adjustment
    doubts: list[Doubt] = []
    if len(adjustment.cards) == 1:
        return fit, [
            Doubt("card-bent", f"Card {adjustment.cards[0].number} is bent: lay it flat. The ± is wider for it.")
        ]
    bent = [card for card in adjustment.cards if (alone := _by_itself(adjustment, card)) is None or _is_bent(alone)]
    if bent and len(bent) < len(adjustment.cards):
        for card in bent:
            doubts.append(Doubt("card-dropped", f"Card {card.number} is bent and was left out: lay it flat."))
        flat = tuple(c for c in adjustment.cards if c not in bent)
        adjustment = replace(adjustment, cards=flat)
        fit_or_none = _adjusted_with(adjustment, flat)
        if fit_or_none is None or not fit_or_none.misfit_cards():
            return fit_or_none, doubts
        fit = fit_or_none
    while fit.misfit_cards() and len(adjustment.cards) > 2:
        rests = [
            (adjusted(replace(adjustment, noise=None, cards=_others(adjustment, card))), card)
            for card in adjustment.cards
        ]
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


def _is_bent(alone: Fit) -> bool:
    return not alone.fits()


def _others(adjustment: Adjustment, card: Card) -> tuple[Card, ...]:
    return tuple(c for c in adjustment.cards if c is not card)


def _by_itself(adjustment: Adjustment, card: Card) -> Fit | None:
    return _adjusted_with(adjustment, (card,))


def _adjusted_with(adjustment: Adjustment, cards: tuple[Card, ...]) -> Fit | None:
    return adjusted(replace(adjustment, noise=None, cards=cards))
