"""Whole sets of pieces on hides: one set, or as many as are found to fit.

A pair of boots is cut from every piece of it, so leather is filled by sets: half the pieces of a sixth set are worth
nothing. How many sets fit is found by halving the span between what surely fits and what the area allows.
"""

import math
from collections import defaultdict
from dataclasses import dataclass, replace

from hidescan.basics.errors import BadInput
from hidescan.pieces.file import Piece
from hidescan.placing.file import PlacedPiece, Placing
from hidescan.placing.items import Item, items_of
from hidescan.placing.leather import Leather
from hidescan.placing.no_fit_polygon import PER_MM
from hidescan.placing.search import Effort, Layout, search
from hidescan.placing.shapes import Pose
from hidescan.placing.table import Spot
from hidescan.settings.uses import PlaceSettings


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """Items, where they lie, and which of them a person put (`fixed`, by place in `items`)."""

    items: tuple[Item, ...]
    fixed: dict[int, Spot]
    layout: Layout

    @property
    def whole(self) -> bool:
        """Whether every item has a place."""
        return len(self.layout.spots) == len(self.items)


def one_set(
    leathers: tuple[Leather, ...],
    pieces: tuple[Piece, ...],
    keep: Placing | None,
    settings: PlaceSettings,
    effort: Effort,
) -> Laid:
    """One set of pieces laid as well as is found, near the back line.

    Raises
    ------
    BadInput
        A kept piece is not among these, or on none of these hides.
    """
    items = items_of(pieces)
    fixed = _fixed(keep, leathers, items)
    return Laid(items, fixed, search(leathers, items, fixed, settings, effort, back=1.0))


def as_many_sets(
    leathers: tuple[Leather, ...],
    pieces: tuple[Piece, ...],
    keep: Placing | None,
    settings: PlaceSettings,
    effort: Effort,
) -> Laid:
    """As many whole sets as are found to fit; of one set as many pieces as fit where not even one does.

    What a person put stays, whole set or not.

    Raises
    ------
    BadInput
        As `one_set`.
    """
    kept = frozenset() if keep is None else frozenset((p.piece, p.number) for p in _kept(keep))
    net = sum(float(leather.net.area) for leather in leathers)
    low, high = 0, max(1, int(net // sum(p.area_mm2 * p.pieces for p in pieces)))
    tries = 1 + math.ceil(math.log2(high + 1))
    each = replace(effort, seconds=None if effort.seconds is None else effort.seconds / tries)
    hasty = replace(settings, patience=0)  # with everything in its place, a search is done
    best = first = None
    while low < high:
        sets = (low + high + 1) // 2
        items = items_of(pieces, sets, kept)
        fixed = _fixed(keep, leathers, items)
        laid = Laid(items, fixed, search(leathers, items, fixed, hasty, each, back=0.0))
        if sets == 1:
            first = laid
        whole = laid if laid.whole else _only_whole_sets(laid, pieces, kept)
        if laid.whole or _sets(laid, pieces) > low:
            best, low = whole, max(sets if laid.whole else 0, _sets(laid, pieces))
        if not laid.whole:
            high = max(low, sets - 1)
    found = best or first
    assert found is not None  # a span of one set or more is looked at once at least
    return found


def _kept(keep: Placing) -> list[PlacedPiece]:
    """Of an earlier placing the pieces that stay: those marked kept, or all where none is."""
    return [p for p in keep.placed if p.kept] or list(keep.placed)


def _fixed(keep: Placing | None, leathers: tuple[Leather, ...], items: tuple[Item, ...]) -> dict[int, Spot]:
    """The kept pieces' places, by item."""
    index = {item.id: n for n, item in enumerate(items)}
    names = {leather.name: n for n, leather in enumerate(leathers)}
    fixed = {}
    for placed in () if keep is None else _kept(keep):
        if placed.hide not in names or placed.id not in index:
            missing = f"hide {placed.hide}" if placed.hide not in names else f"piece {placed.id}"
            raise BadInput(f"--keep: there is no {missing} among those given. Give the same maps and pieces again.")
        x, y = (round(v * PER_MM) for v in placed.at_mm)
        fixed[index[placed.id]] = Spot(names[placed.hide], Pose(placed.turned_deg, placed.mirrored), x, y)
    return fixed


def _units(laid: Laid) -> dict[str, list[int]]:
    """The numbers of the pieces, or whole pairs, of each kind that have a place; those a person put come first."""
    there: defaultdict[tuple[str, int], list[int]] = defaultdict(list)
    for n in laid.layout.spots:
        there[laid.items[n].piece.id, laid.items[n].number].append(n)
    found: defaultdict[str, list[int]] = defaultdict(list)
    for (piece, number), places in sorted(
        there.items(), key=lambda unit: (not any(n in laid.fixed for n in unit[1]), unit[0][1])
    ):
        if len(places) == (2 if laid.items[places[0]].mate is not None else 1):
            found[piece].append(number)
    return found


def _sets(laid: Laid, pieces: tuple[Piece, ...]) -> int:
    units = _units(laid)
    return min(len(units.get(piece.id, ())) // piece.rules.count for piece in pieces)


def _only_whole_sets(laid: Laid, pieces: tuple[Piece, ...], kept: frozenset[tuple[str, int]]) -> Laid:
    """The whole sets of a layout, numbered from one; pieces of a kind are alike, so any of them make a set."""
    sets, units = _sets(laid, pieces), _units(laid)
    items = items_of(pieces, sets, kept)
    old = {(item.piece.id, item.number, item.side): n for n, item in enumerate(laid.items)}
    spots, fixed = dict[int, Spot](), dict[int, Spot]()
    free = {piece.id: [n for n in units.get(piece.id, []) if (piece.id, n) not in kept] for piece in pieces}
    numbers: dict[tuple[str, int], int] = {}
    for n, item in enumerate(items):
        key = item.piece.id, item.number
        if key not in numbers:
            numbers[key] = item.number if key in kept else free[item.piece.id].pop(0)
        at = old[item.piece.id, numbers[key], item.side]
        if at in laid.layout.spots:
            spots[n] = laid.layout.spots[at]
        if at in laid.fixed:
            fixed[n] = laid.fixed[at]
    return Laid(items, fixed, replace(laid.layout, spots=spots))
