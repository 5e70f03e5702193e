"""What each of several photos brings, and how their own floors fit together: the start of the joint adjustment."""

from dataclasses import dataclass, replace

import numpy as np

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points, rotation_2d
from hidescan.cards.detection import Card
from hidescan.cards.edges import EdgePoints
from hidescan.cards.pattern import inner_corners_mm
from hidescan.floor.lying import from_board, rigid_fit
from hidescan.floor.parameters import Prior, Priors
from hidescan.floor.solution import Plane


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """What one photo brings: the plane that it gives alone, the cards used for it, priors, and which lens it has."""

    name: str
    cards: tuple[Card, ...]
    plane: Plane
    priors: Priors
    lens: str


def by_use(views: tuple[View, ...]) -> list[int]:
    """Numbers of all cards, the one seen in most photos first: it is the floor's frame."""
    seen = [card.number for view in views for card in view.cards]
    return sorted(set(seen), key=lambda number: (-seen.count(number), number))


def chained(views: tuple[View, ...], numbers: list[int]) -> list[tuple[float, Points]] | NotFound:
    """Each photo's own floor in the shared one: its angle (degrees) and origin, by cards in common.

    Starts at a photo of the first card and goes on with whichever photo shares most cards with those already there.
    """
    local = inner_corners_mm()[[0, 2, 9, 11]]

    def corners(centre: Points, angle_deg: float) -> Points:
        return np.asarray(from_board(local) @ rotation_2d(angle_deg).T + centre)

    own = [{p.number: corners(p.centre_mm, p.angle_deg) for p in view.plane.places} for view in views]
    first = max((k for k in range(len(views)) if numbers[0] in own[k]), key=lambda k: len(own[k]))
    datum = next(p for p in views[first].plane.places if p.number == numbers[0])
    placed: dict[int, tuple[float, Points]] = {
        first: (-datum.angle_deg, np.asarray(-datum.centre_mm @ rotation_2d(-datum.angle_deg).T))
    }
    shared = {n: xy @ rotation_2d(placed[first][0]).T + placed[first][1] for n, xy in own[first].items()}
    while len(placed) < len(views):
        rest = [k for k in range(len(views)) if k not in placed]
        k = max(rest, key=lambda k: len(own[k].keys() & shared.keys()))
        common = sorted(own[k].keys() & shared.keys())
        if not common:
            there = ", ".join(str(n) for n in sorted(shared))
            return NotFound(
                "photo-apart",
                f"{views[k].name} shows none of the cards that the other photos show ({there}).",
                "Take it again with at least one of those cards in it.",
            )
        x, y, angle = rigid_fit(np.vstack([own[k][n] for n in common]), np.vstack([shared[n] for n in common]))
        placed[k] = (float(np.rad2deg(angle)), np.array([x, y]))
        turn = rotation_2d(placed[k][0])
        shared |= {n: xy @ turn.T + placed[k][1] for n, xy in own[k].items() if n not in shared}
    return [placed[k] for k in range(len(views))]


def own_prints(views: tuple[View, ...]) -> dict[int, tuple[Prior, Prior]]:
    """Prints known apart, by card; a photo whose common print is known otherwise than the first's adds its cards."""
    first = views[0].priors
    own: dict[int, tuple[Prior, Prior]] = {}
    for view in views:
        own |= dict(view.priors.own_prints)
        common = view.priors.ln_scale, view.priors.skew
        if common != (first.ln_scale, first.skew):
            own |= {card.number: common for card in view.cards if card.number not in own}
    return own


def cards_of(views: tuple[View, ...], numbers: list[int]) -> list[tuple[Card, ...]]:
    """All cards for each photo, in one order; those that it does not show have nothing seen.

    A card is measured by its edges where every photo that shows it shows them.
    """
    by_corners = {card.number for view in views for card in view.cards if card.edges is None}
    nothing, none = np.zeros((0, 2)), np.zeros(0, dtype=np.intp)
    no_edges = EdgePoints(nothing, nothing, nothing, nothing, none)
    every = []
    for view in views:
        seen = {card.number: card for card in view.cards}
        blank = replace(view.cards[0], board_mm=nothing, corners_px=nothing, edges=no_edges)
        cards = [seen.get(number, replace(blank, number=number)) for number in numbers]
        every.append(tuple(replace(c, edges=None) if c.number in by_corners else c for c in cards))
    return every
