"""Placing: validity, yield against a plain bottom-left greedy, puzzles, speed. Run by hand.

    python -m tests.benchmarks.place_study validity|greedy|puzzles|speed [cases]

`greedy` lays pieces in order of size, undistorted and unturned, each at the lowest then leftmost free position; free
positions are the exact ones, so it is a strong greedy. Times are CPU time of one core.
"""

import sys
import time
from dataclasses import replace

import cv2
import numpy as np
import shapely
from shapely.geometry import Polygon

from hidescan.hide_map.model import HideMap, MultiPolygonGeometry, PolygonGeometry, ZoneEntry
from hidescan.pieces.file import Piece, PieceRules
from hidescan.placing.items import Item, items_of
from hidescan.placing.layout import place_pieces
from hidescan.placing.leather import Leather, leather_of
from hidescan.placing.search import Effort, search
from hidescan.placing.shapes import Pose
from hidescan.placing.table import Spot, Table
from hidescan.settings import Settings
from hidescan.settings.uses import PlaceSettings
from tests.benchmarks.recorded import recorded
from tests.placing.checker import faults
from tests.placing.hides import laid_out, random_piece, ring_of, uppers
from tests.samples import rectangle_map

SETTINGS = PlaceSettings()
MARKS_MM = {"hole": 5.0, "cut": 5.0, "stain": 3.0, "brand": 3.0, "scratch": 3.0}
# Moron 1925: a rectangle of 33 x 32 from nine different squares (from memory: Brooks, Smith, Stone and Tutte 1940, 'The
# dissection of rectangles into squares').
SQUARED_RECTANGLE = (33, 32, (18, 15, 14, 10, 9, 8, 7, 4, 1))
# Duijvestijn 1978: the smallest perfect squared square, side 112 from 21 squares (from memory).
SQUARED_SQUARE = (112, 112, (50, 35, 27, 8, 19, 15, 17, 11, 6, 24, 29, 25, 9, 2, 7, 18, 16, 42, 4, 37, 33))


def greedy(leather: Leather, items: tuple[Item, ...]) -> dict[int, Spot]:
    """Plain bottom-left."""
    table, hopeless = Table((leather,), SETTINGS), set()
    for n in sorted(range(len(items)), key=lambda n: (-items[n].piece.area_mm2, n)):
        item, pose = items[n], Pose(0.0, items[n].side == "right")
        if (item.piece.id, item.side) in hopeless:
            continue
        regions = table.free(item.piece, pose, 0)
        if not regions:
            hopeless.add((item.piece.id, item.side))
            continue
        corners = np.vstack([np.array(path) for path in regions]).tolist()
        x, y = min(corners, key=lambda p: (p[1], p[0]))
        table.put(n, item.piece, Spot(0, pose, x, y))
    return {n: spot for n, (_, spot) in table.spots.items()}


def used(items: tuple[Item, ...], spots: dict[int, Spot]) -> float:
    """Area of the pieces laid; one of a pair without its mate is of no use."""
    return sum(items[n].piece.area_mm2 for n in spots if items[n].mate is None or items[n].mate in spots)


def rectangle_of(width: float, height: float) -> HideMap:
    """A bare rectangle of leather, one zone, no marks."""
    ring = ring_of(np.array([(0, 0), (width, 0), (width, height), (0, height)], float))
    m = rectangle_map()
    zone = ZoneEntry("butt", MultiPolygonGeometry(((ring,),)), width * height, 2.0, 0.3)
    return replace(m, outline=replace(m.outline, hide_mm=PolygonGeometry((ring,))), marks=(), zones=(zone,))


def cut_rectangle(rng: np.random.Generator, pieces: int, width: float, height: float) -> tuple[Piece, ...]:
    """A rectangle cut into convex pieces, the largest by a random line through near its middle, again and again."""
    parts = [shapely.box(0, 0, width, height)]
    while len(parts) < pieces:
        parts.sort(key=lambda part: float(part.area))
        part = parts.pop()
        x, y = np.array(part.centroid.coords[0]) + rng.normal(0, 0.08, 2) * np.sqrt(part.area)
        turn = rng.uniform(0, np.pi)
        dx, dy = 5000 * np.cos(turn), 5000 * np.sin(turn)
        side = Polygon(
            [(x - dx, y - dy), (x + dx, y + dy), (x + dx - 2 * dy, y + dy + 2 * dx), (x - dx - 2 * dy, y - dy + 2 * dx)]
        )
        parts += [part.intersection(side), part.difference(side)]
    rules = PieceRules(turn_deg=0.0, margin_mm=0.0)
    return tuple(
        Piece(f"p{n}", np.array(shapely.orient_polygons(p).exterior.coords)[:-1], 90.0, rules)
        for n, p in enumerate(parts)
    )


def squares(sides: tuple[int, ...], scale: float) -> tuple[Piece, ...]:
    return tuple(
        Piece(
            f"s{s}",
            scale * s * np.array([(0, 0), (1, 0), (1, 1), (0, 1)], float),
            90.0,
            PieceRules(turn_deg=0.0, margin_mm=0.0),
        )
        for s in sides
    )


def pieces_for(seed: int) -> tuple[Piece, ...]:
    """Uppers in every third case; else four random kinds, two of them paired in every other case, one that may turn."""
    rng = np.random.default_rng(seed)
    if seed % 3 == 0:
        return uppers(1)
    pair = seed % 2 == 0
    return tuple(
        random_piece(rng, f"p{n}", PieceRules(pair=pair and n < 2, turn_deg=None if n == 3 else 5.0)) for n in range(4)
    )


def study_greedy(cases: int, seconds: float = 20.0) -> None:
    ratios = []
    for seed in range(cases):
        species = ("deer", "goat", "calf")[seed % 3 if seed % 2 else (seed // 2) % 3]
        leather = leather_of("hide", laid_out(1000 + seed, species=species), Settings())
        pieces = pieces_for(seed)
        times = 1 + int(np.ceil(leather.usable.area / sum(p.area_mm2 * p.pieces for p in pieces)))
        items = items_of(pieces, times)
        plain = greedy(leather, items)
        start = time.process_time()
        made = search((leather,), items, {}, SETTINGS, Effort(seconds=seconds), back=0.0, clock=time.process_time)
        ratio = used(items, made.spots) / used(items, plain)
        ratios.append(ratio)
        print(
            f"{seed:3d} {species:5s} {len(plain):3d} -> {len(made.spots):3d} pieces, yield {used(items, plain) / leather.usable.area:.3f}"
            f" -> {used(items, made.spots) / leather.usable.area:.3f}, {100 * (ratio - 1):+.1f} %, {made.rounds} rounds, {time.process_time() - start:.0f} s",
            flush=True,
        )
    print(
        f"mean {100 * (np.mean(ratios) - 1):+.1f} %, worst {100 * (min(ratios) - 1):+.1f} %, over {cases} cases at {seconds:.0f} s"
    )


def study_puzzles(cases: int, seconds: float = 60.0) -> None:
    puzzles: list[tuple[str, float, float, tuple[Piece, ...], float]] = []
    puzzles.append(("squared rectangle, 9", *SQUARED_RECTANGLE[:2], squares(SQUARED_RECTANGLE[2], 20.0), 20.0))
    for seed in range(cases):
        count = (6, 8, 10, 12)[seed % 4]
        puzzles.append(
            (
                f"cut, {count} ({seed})",
                800.0,
                600.0,
                cut_rectangle(np.random.default_rng(seed), count, 800.0, 600.0),
                1.0,
            )
        )
    puzzles.append(("squared square, 21", *SQUARED_SQUARE[:2], squares(SQUARED_SQUARE[2], 8.0), 8.0))
    for count in (20, 30):
        puzzles.append(
            (f"cut, {count}", 800.0, 600.0, cut_rectangle(np.random.default_rng(count), count, 800.0, 600.0), 1.0)
        )
    yields = []
    for name, width, height, pieces, scale in puzzles:
        leather = leather_of("sheet", rectangle_of(width * scale, height * scale), Settings())
        items = items_of(pieces)
        made = search((leather,), items, {}, SETTINGS, Effort(seconds=seconds), back=0.0, clock=time.process_time)
        share = used(items, made.spots) / leather.usable.area
        yields.append((len(pieces), share))
        print(
            f"{name:22s} {len(made.spots):2d} of {len(items):2d} pieces, yield {share:.3f}, {made.rounds} rounds",
            flush=True,
        )
    small = [share for count, share in yields if count <= 12]
    print(f"at most 12 pieces: mean {np.mean(small):.3f}, worst {min(small):.3f}")


def study_validity(cases: int) -> None:
    broken, laid = 0, 0
    for seed in range(cases):
        rng = np.random.default_rng(5000 + seed)
        maps = {"hide": laid_out(2000 + seed, marks=int(rng.integers(0, 12)), species=("deer", "goat")[seed % 2])}
        rules = (
            PieceRules(count=2, pair=True, turn_deg=float(rng.choice([0, 3, 5, 10]))),
            PieceRules(count=3, zones=("butt", "shoulder"), margin_mm=float(rng.choice([0, 1, 5, 10]))),
            PieceRules(count=2, turn_deg=None, min_thickness_mm=1.3),
            PieceRules(count=3, may_cover=("stain", "scratch"), turn_deg=20.0, margin_mm=float(rng.choice([0, 2]))),
        )
        pieces = tuple(random_piece(rng, f"p{n}", rule) for n, rule in enumerate(rules))
        leathers = tuple(leather_of(name, m, Settings()) for name, m in maps.items())
        made = place_pieces(
            leathers, ("0" * 64,), pieces, SETTINGS, fill=seed % 4 == 0, effort=Effort(seed, 3 + seed % 4)
        )
        found = faults(made, maps, pieces, marks_mm=MARKS_MM)
        broken += bool(found)
        laid += len(made.placed)
        if found:
            print(seed, found, flush=True)
    print(f"{cases} cases, {laid} pieces placed, {broken} cases with a broken rule")


def study_speed(cases: int) -> None:
    times = []
    for seed in range(cases):
        leather = leather_of("deer", laid_out(3000 + seed), Settings())
        items = items_of(uppers(2))
        start = time.process_time()
        made = search((leather,), items, {}, SETTINGS, Effort(rounds=0), back=1.0)
        times.append(time.process_time() - start)
        print(f"{seed:3d} {len(made.spots)} of {len(items)} in {times[-1]:.2f} s", flush=True)
    print(f"first layout of two pairs of uppers: median {np.median(times):.2f} s, slowest {max(times):.2f} s of CPU")


if __name__ == "__main__":
    cv2.setNumThreads(1)
    what, count = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 20
    studies = {"validity": study_validity, "greedy": study_greedy, "puzzles": study_puzzles, "speed": study_speed}
    with recorded(f"place-{what}"):
        studies[what](count)
