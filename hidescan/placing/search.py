"""The search for a good layout: first one in order of size, then rounds of taking up a few pieces and laying anew.

Ruin and recreate (Schrimpf et al. 2000) with late acceptance. A round takes up some neighbouring pieces and lays them,
and whatever has no place yet, in another order and turn; only the freed place needs to be searched for what fitted
nowhere before. The same pieces, hides, settings and seed give the same layout after the same number of rounds; a time
limit only decides how many rounds there are.
"""

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from hidescan.pieces.file import Piece
from hidescan.placing.items import Item
from hidescan.placing.leather import Leather
from hidescan.placing.no_fit_polygon import PER_MM, Ints, Paths, common, no_fit
from hidescan.placing.pairs import are_alike, mirrored_place
from hidescan.placing.shapes import Pose, solid, turns
from hidescan.placing.table import PlacementWeights, Spot, Table
from hidescan.settings.uses import PlaceSettings

# First layouts: toward the tail, toward the neck, then to either side; the search goes on from the best.
_WAYS = ((0.0, -1.0), (0.0, 1.0), (-0.7, -0.7), (0.7, -0.7))


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """Which items lie where, after how many rounds."""

    spots: dict[int, Spot]
    rounds: int
    value: float


@dataclass(frozen=True, slots=True)
class Effort:
    """How long to search: at most so many rounds and seconds (None: no limit), whichever comes first.

    The same seed gives the same result after the same number of rounds.
    """

    seed: int = 1
    rounds: int | None = None
    seconds: float | None = 10.0


def search(
    leathers: tuple[Leather, ...],
    items: tuple[Item, ...],
    fixed: dict[int, Spot],
    settings: PlaceSettings,
    effort: Effort,
    *,
    back: float,
    clock: Callable[[], float] = time.monotonic,
) -> Layout:
    """Lay as many items as will go, better with every round.

    Parameters
    ----------
    fixed
        Items that stay where they are.
    back
        How much nearness to the back line counts, 0 to 1: less where every piece of leather is needed.
    effort
        When to stop; the first layout is always finished.
    """
    start = clock()
    work = _Work(leathers, items, fixed, settings, np.random.default_rng(effort.seed), back)

    def over(done: int) -> bool:
        late = effort.seconds is not None and clock() - start >= effort.seconds
        return late or (effort.rounds is not None and done >= effort.rounds)

    best = work.first(_WAYS[0])
    done = 0
    for way in _WAYS[1:]:
        if over(done):
            return Layout(best.spots, done, best.value)
        other = work.first(way)
        done += 1
        best = max(best, other, key=lambda layout: layout.value)
    work.restore(best)
    current = best
    late = deque([current.value] * settings.late, maxlen=settings.late)
    better = done
    while not over(done) and not (len(best.spots) == len(items) and done - better >= settings.patience):
        made = work.ruin_and_recreate(current)
        done += 1
        if made.value > best.value + 1e-9:
            better = done
        if made.value >= min(late[0], current.value):
            current = made
        else:
            work.restore(current)
        late.append(current.value)
        best = max(best, made, key=lambda layout: layout.value)
    return Layout(best.spots, done, best.value)


class _Work:
    """A table at work: lays items in order, takes them up, remembers layouts."""

    def __init__(
        self,
        leathers: tuple[Leather, ...],
        items: tuple[Item, ...],
        fixed: dict[int, Spot],
        settings: PlaceSettings,
        rng: np.random.Generator,
        back: float,
    ) -> None:
        self.items, self.fixed, self.settings, self.rng, self.back = items, fixed, settings, rng, back
        self.table = Table(leathers, settings)
        self.way: tuple[float, float] = _WAYS[0]
        self.area = {n: item.piece.area_mm2 for n, item in enumerate(items)}
        self.asked = sum(self.area.values())
        for n, spot in fixed.items():
            self.table.put(n, items[n].piece, spot)

    def restore(self, layout: Layout) -> None:
        """Make the table as it was."""
        for n, (_, spot) in list(self.table.spots.items()):
            if layout.spots.get(n) != spot:
                self.table.take(n)
        for n, spot in layout.spots.items():
            if n not in self.table.spots:
                self.table.put(n, self.items[n].piece, spot)

    def layout(self) -> Layout:
        """The table as it is now."""
        spots = {n: spot for n, (_, spot) in self.table.spots.items()}
        laid = sum(self.area[n] for n in spots)
        good = sum(self.area[n] * (self.table.quality(n, self.way, self.back) + self._mated(n)) for n in spots)
        return Layout(spots, 0, (laid + self.settings.quality_weight * good) / self.asked)

    def _mated(self, n: int) -> float:
        """1 for a piece at the mirrored place of its mate, falling to 0 at a hand's breadth."""
        mate = self.items[n].mate
        if mate is None or mate not in self.table.spots:
            return 0.0
        (_, a), (_, b) = self.table.spots[n], self.table.spots[mate]
        if a.hide != b.hide:
            return 0.0
        apart = np.hypot(*(a.at_mm * (-1.0, 1.0) - b.at_mm))
        return float(max(0.0, 1.0 - apart / self.settings.mate_mm))

    def first(self, way: tuple[float, float]) -> Layout:
        """A layout from nothing: largest pieces first."""
        self.way = way
        for n in list(self.table.spots):
            if n not in self.fixed:
                self.table.take(n)
        order = sorted(range(len(self.items)), key=lambda n: (-self.area[n], n))
        self._lay(order, PlacementWeights(way, 1.0, self.back, 0.0), None, first=True)
        return self.layout()

    def ruin_and_recreate(self, current: Layout) -> Layout:
        """One round: take up some neighbours, lay them and what is missing."""
        s, rng, table = self.settings, self.rng, self.table
        hide = int(rng.integers(len(table.leathers)))
        movable = [n for n in table.items_on(hide) if n not in self.fixed]
        taken: list[int] = []
        window = None
        if movable:
            centre = table.gap(hide, rng)
            count = min(len(movable), int(rng.integers(1, s.most_taken_up + 1)))
            boxes = [table.box(n) for n in movable]
            apart = [
                float(np.hypot(*np.maximum(0, np.maximum(lo / 1000 - centre, centre - hi / 1000)))) for lo, hi in boxes
            ]
            taken = [movable[k] for k in np.argsort(np.array(apart), kind="stable")[:count]]
            chosen = [table.box(n) for n in taken]
            window = np.min([lo for lo, _ in chosen], axis=0), np.max([hi for _, hi in chosen], axis=0)
            for n in taken:
                table.take(n)
        missing = [n for n in range(len(self.items)) if n not in table.spots and n not in taken]
        noise = np.exp(rng.normal(0, rng.choice([0.1, 0.6]), len(taken) + len(missing)))
        todo = np.array(taken + missing, dtype=int)
        sizes = np.array([self.area[int(n)] for n in todo])
        order = todo[np.argsort(-sizes * noise, kind="stable")].tolist()
        angle = rng.uniform(0, 2 * np.pi)
        way = self.way if rng.random() < 0.4 else (float(np.cos(angle)), float(np.sin(angle)))
        taste = PlacementWeights(
            way, float(rng.choice([0.3, 1.0, 2.0])), self.back, s.noise_weight if rng.random() < 0.5 else 0.0
        )
        wide = rng.random() < 0.15
        self._lay(order, taste, None if wide else window, hide=hide)
        return self.layout()

    def _lay(
        self,
        order: list[int],
        taste: PlacementWeights,
        window: tuple[Ints, Ints] | None,
        *,
        hide: int | None = None,
        first: bool = False,
    ) -> None:
        """Lay items in order; a pair whole or not at all. A kind that found no place is not tried again."""
        hopeless: set[tuple[Piece, str]] = set()
        for n in order:
            item = self.items[n]
            kind = (item.piece, item.side)
            if n in self.table.spots or kind in hopeless:
                continue
            mate = item.mate
            if mate is None or mate in self.table.spots:
                spot = (
                    self._spot(item, self._hides(hide), taste, window, first)
                    if mate is None
                    else self._beside(item, mate, taste, first)
                )
                if spot is not None:
                    self.table.put(n, item.piece, spot)
                    continue
            elif self._lay_pair(n, mate, taste, window, self._hides(hide), first):
                continue
            hopeless.add(kind)
        for n in list(self.table.spots):  # a piece whose mate found no place is of no use
            mate = self.items[n].mate
            if mate is not None and mate not in self.table.spots and n not in self.fixed:
                self.table.take(n)

    def _hides(self, hide: int | None) -> list[int]:
        every = list(range(len(self.table.leathers)))
        return every if hide is None else [hide, *(h for h in every if h != hide)]

    def _lay_pair(
        self,
        n: int,
        mate: int,
        taste: PlacementWeights,
        window: tuple[Ints, Ints] | None,
        hides: list[int],
        first: bool,
    ) -> bool:
        """Both of a pair on one hide, mirrored about the back line if that goes."""
        item, other = self.items[n], self.items[mate]
        for hide in hides:
            if window is None:
                mirrored = self._mirrored(item, hide, taste, first)
                if mirrored is not None:
                    self.table.put(n, item.piece, mirrored[0])
                    self.table.put(mate, other.piece, mirrored[1])
                    return True
            spot = self._spot(item, [hide], taste, window, first)
            if spot is None:
                continue
            self.table.put(n, item.piece, spot)
            second = self._spot(other, [hide], taste, window, first)
            if second is not None:
                self.table.put(mate, other.piece, second)
                return True
            self.table.take(n)
        return window is None and self._lay_apart(n, mate, taste, hides, first)

    def _lay_apart(self, n: int, mate: int, taste: PlacementWeights, hides: list[int], first: bool) -> bool:
        """Left and right from two hides, at places that are alike."""
        for hide in hides if len(hides) > 1 else ():
            spot = self._spot(self.items[n], [hide], taste, None, first)
            if spot is None:
                continue
            self.table.put(n, self.items[n].piece, spot)
            second = self._alike(self.items[mate], spot)
            if second is not None:
                self.table.put(mate, self.items[mate].piece, second)
                return True
            self.table.take(n)
        return False

    def _beside(self, item: Item, mate: int, taste: PlacementWeights, first: bool) -> Spot | None:
        """A place for a piece whose mate lies already: at the mirrored place of one that a person put, if that goes."""
        there = self.table.spots[mate][1]
        if mate in self.fixed:
            spot = Spot(there.hide, Pose(-there.pose.turned_deg, item.side == "right"), -there.x, there.y)
            if self._is_free(item, spot):
                return spot
        return self._spot(item, [there.hide], taste, None, first) or self._alike(item, there)

    def _alike(self, item: Item, mate: Spot) -> Spot | None:
        """The place on another hide that mirrors a mate's most nearly, if it is like it."""
        leathers, pose = self.table.leathers, Pose(-mate.pose.turned_deg, item.side == "right")
        found = []
        for hide, leather in enumerate(leathers):
            if hide == mate.hide:
                continue
            want = mirrored_place(mate.at_mm, leathers[mate.hide], leather)
            spot = Spot(hide, pose, *(round(float(v) * PER_MM) for v in want))
            regions = self.table.free(item.piece, pose, hide)
            if regions and not self._is_free(item, spot):
                at = np.vstack([np.array(path) for path in regions])
                near = at[int(np.argmin(np.hypot(*(at / PER_MM - want).T)))]
                spot = replace(spot, x=int(near[0]), y=int(near[1]))
            back = mirrored_place(spot.at_mm, leather, leathers[mate.hide])
            apart = max(float(np.hypot(*(spot.at_mm - want))), float(np.hypot(*(mate.at_mm - back))))
            near_enough = bool(regions) and apart <= self.settings.mate_mm
            if near_enough and are_alike(mate.at_mm, leathers[mate.hide], spot.at_mm, leather, self.settings):
                found.append((apart, hide, spot))
        return min(found, key=lambda one: one[:2])[2] if found else None

    def _is_free(self, item: Item, spot: Spot) -> bool:
        """Whether a piece may lie in just this place."""
        x, y = spot.x, spot.y
        around = [[[x - 1, y - 1], [x + 1, y - 1], [x + 1, y + 1], [x - 1, y + 1]]]
        return bool(common(self.table.free(item.piece, spot.pose, spot.hide), around))

    def _poses(self, item: Item, first: bool) -> list[Pose]:
        every = turns(item.piece.rules, self.settings)
        if first:
            chosen = [turn for turn in every if turn % 90 == 0]
        else:
            some = min(self.settings.turns_each, len(every))
            share = np.linspace(2.0, 1.0, len(every))  # straighter turns a little more often
            chosen = [every[int(k)] for k in self.rng.choice(len(every), some, replace=False, p=share / share.sum())]
        return [Pose(turn, item.side == "right") for turn in chosen]

    def _spot(
        self, item: Item, hides: list[int], taste: PlacementWeights, window: tuple[Ints, Ints] | None, first: bool
    ) -> Spot | None:
        """The best free position on the first hide that has one."""
        for hide in hides:
            found = []
            for pose in self._poses(item, first):
                regions = self.table.free(item.piece, pose, hide, window)
                if regions:
                    found.append(self.table.best(item.piece, pose, hide, regions, taste, self.rng))
            if found:
                return max(found, key=lambda pair: pair[0])[1]
        return None

    def _mirrored(self, item: Item, hide: int, taste: PlacementWeights, first: bool) -> tuple[Spot, Spot] | None:
        """Mirrored positions for both of a pair."""
        found = []
        for pose in self._poses(item, first):
            back = Pose(-pose.turned_deg, not pose.mirrored)
            here = self.table.free(item.piece, pose, hide)
            there = self.table.free(item.piece, back, hide) if here else []
            both = _apart(
                common(here, [[[-x, y] for x, y in path[::-1]] for path in there]),
                item.piece,
                pose,
                back,
                self.settings,
            )
            if both:
                found.append(self.table.best(item.piece, pose, hide, both, taste, self.rng))
        if not found:
            return None
        spot = max(found, key=lambda pair: pair[0])[1]
        mirrored = Spot(hide, Pose(-spot.pose.turned_deg, not spot.pose.mirrored), -spot.x, spot.y)
        return spot, mirrored


def _apart(both: Paths, piece: Piece, pose: Pose, back: Pose, settings: PlaceSettings) -> Paths:
    """Of positions where a piece and its mirror image are free, those where the two are clear of one another.

    The image lies 2x away across the back line; a piece is clear of it where x is beyond half the widest reach of their
    no-fit polygon along x. A little stricter than needed where the outlines could interlock.
    """
    if not both:
        return []
    paths = no_fit(solid(piece, back, settings).ring, solid(piece, pose, settings).ring)
    reach = max(abs(x) for path in paths for x, _ in path) // 2 + 2
    corners = np.vstack([np.array(path) for path in both])
    (x0, y0), (x1, y1) = corners.min(axis=0) - 1, corners.max(axis=0) + 1
    sides = []
    if x1 > reach:
        sides.append([[reach, y0], [x1, y0], [x1, y1], [reach, y1]])
    if x0 < -reach:
        sides.append([[x0, y0], [-reach, y0], [-reach, y1], [x0, y1]])
    return common(both, sides)
