"""Card templates on tables of eight kinds, as a phone sees them: outlines, grain, what is found and what is not.

python -m tests.benchmarks.templates_bench_study [photos] [first seed]

One reference card or two (whole, half outside the picture, or only its rim in it), templates of white, grey and brown
card half a millimetre thick, tilts of 2-35 degrees, 12 and 4 megapixels, JPEG of quality 80, a soft shadow in two
photos of five, a template 0-6 mm from a card's sheet in one of five. Outlines are compared after the best turn and
shift; the aim is 0.5 mm everywhere and 1 degree. Where card and table are nearly of one colour a template may be
refused, but what is returned without a doubt counts.
"""

import sys
import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import rotation_2d
from hidescan.hide_map.model import Inputs
from hidescan.photo.reading import Photo
from hidescan.pieces.templates.finding import find_templates
from hidescan.pieces.templates.on_floor import sheets_mm
from hidescan.pipeline import Pipeline
from hidescan.settings import Settings
from hidescan.settings.uses import TemplateSettings
from tests.benchmarks.recorded import recorded
from tests.synthetic.cards_on_table import Drawn, aligned, farthest, grain_error_deg
from tests.synthetic.scenes import Array
from tests.synthetic.workbench import CARDS, TABLES, THICKNESS_MM, Bench, bench

ALIKE = {("white", "white"), ("brown", "pine"), ("brown", "oak"), ("grey", "stone")}  # card, table


@dataclass(frozen=True, eq=False)
class Outcome:
    """What was made of a photo: per template found its farthest error and whether it is sure, arrows, false ones."""

    errors: tuple[tuple[float, bool], ...]
    grains: tuple[float, ...]
    missed: tuple[Drawn, ...]
    false: int
    seconds: float


def setting(rng: np.random.Generator) -> Bench:
    """A bench at random."""
    return Bench(
        table=str(rng.choice(list(TABLES))),
        card=str(rng.choice(list(CARDS))),
        second=str(rng.choice(["none", "whole", "cut", "edge"], p=[0.4, 0.2, 0.25, 0.15])),
        tilt_deg=float(rng.uniform(2, 35)),
        size_px=((4000, 3000), (2304, 1728))[int(rng.random() < 0.3)],
        gap_mm=float(rng.choice([0.0, 1.0, 3.0, 6.0])) if rng.random() < 0.2 else None,
        shadow=bool(rng.random() < 0.4),
    )


def outcome(rgb: NDArray[np.uint8], drawn: list[Drawn], card_at: tuple[Array, float]) -> Outcome:
    """The photo worked through; everything is compared where the first card was laid."""
    settings, start = Settings(), time.process_time()
    photo = Photo(rgb, "bench.jpg", "0" * 64, None, 27.0, "", None)
    floor = Pipeline(photo, settings).floor(Inputs(card_scale=(1.0, 1.0)))
    assert not isinstance(floor, NotFound), floor
    found = find_templates(
        rgb, floor.plane, sheets_mm(floor), THICKNESS_MM, TemplateSettings(), settings.measure,
        print_measured=True,
    )  # fmt: skip
    seconds = time.process_time() - start
    templates = () if isinstance(found, NotFound) else found.templates
    place = next(place for place in floor.plane.places if place.number == 1)
    turn = rotation_2d(card_at[1] - place.angle_deg).T
    errors, grains, left, false = [], [], list(drawn), 0
    for t in templates:
        ring = (t.ring_mm - place.centre_mm) @ turn + card_at[0]
        true = next((d for d in left if _share(ring, d.ring) > 0.8), None)
        if true is None:
            false += 1
            continue
        left = [d for d in left if d is not true]
        errors.append((farthest(aligned(ring, true.ring), true.ring), not t.doubt))
        if t.grain is not None and true.arrow_deg is not None:
            grains.append(grain_error_deg(t.grain, true.arrow_deg + place.angle_deg - card_at[1]))
    return Outcome(tuple(errors), tuple(grains), tuple(left), false, seconds)


def _share(a: Array, b: Array) -> float:
    """Overlap of two rings, share of what they cover together."""
    one, other = Polygon(a).buffer(0), Polygon(b)
    return float(one.intersection(other).area / one.union(other).area)


def scene(seed: int) -> tuple[Bench, NDArray[np.uint8], list[Drawn], tuple[Array, float]]:
    """A bench, its photo, the templates on it, and where its first card lies."""
    rng = np.random.default_rng(seed)
    where = setting(rng)
    rgb, drawn, card = bench(rng, where)
    return where, rgb, drawn, (np.array(card.centre), card.angle_deg)


def study(photos: int, first: int) -> None:
    """Work through the photos and print a line each, then the figures."""
    made: list[tuple[Bench, Outcome]] = []
    for seed in range(first, first + photos):
        where, rgb, drawn, card_at = scene(seed)
        got = outcome(rgb, drawn, card_at)
        made.append((where, got))
        off = " ".join(f"{error:.2f}{'' if sure else '?'}" for error, sure in got.errors)
        print(
            f"{seed:5} {where.card:6} on {where.table:12}{where.second:6}{where.tilt_deg:4.0f} deg"
            f"{where.size_px[0] * where.size_px[1] / 1e6:4.0f} MP gap {where.gap_mm!s:5}{'shadow' * where.shadow:7}"
            f"{got.seconds:5.1f} s  {off}  missed {len(got.missed)} false {got.false}"
            f" grain {max(got.grains, default=0):.2f}",
            flush=True,
        )
    groups = {
        "one card": [o for b, o in made if b.second == "none" and (b.card, b.table) not in ALIKE],
        "two cards": [o for b, o in made if b.second != "none" and (b.card, b.table) not in ALIKE],
        "alike": [o for b, o in made if (b.card, b.table) in ALIKE],
    }
    for name, outcomes in groups.items():
        _print(name, outcomes)
    _print("all", [o for _, o in made])


def _print(name: str, outcomes: list[Outcome]) -> None:
    sure = np.array([error for o in outcomes for error, is_sure in o.errors if is_sure])
    doubted = [error for o in outcomes for error, is_sure in o.errors if not is_sure]
    count, missed = len(sure) + len(doubted), sum(len(o.missed) for o in outcomes)
    grains = [g for o in outcomes for g in o.grains]
    print(f"{name:10}{len(outcomes):4} photos  returned {count}/{count + missed}", end="")
    if len(sure):
        within = 100 * np.mean(sure <= 0.5)
        print(
            f"  without a doubt {len(sure)}: {within:.1f} % within 0.5 mm, median {np.median(sure):.2f},"
            f" worst {sure.max():.2f} mm",
            end="",
        )
    print(
        f"  doubted {len(doubted)}, {sum(error <= 0.5 for error in doubted)} within, worst {max(doubted, default=0):.2f}"
        f"  false {sum(o.false for o in outcomes)}  grain worst {max(grains, default=0):.2f} deg of {len(grains)}"
    )


if __name__ == "__main__":
    with recorded("templates-bench"):
        study(*(int(word) for word in (sys.argv[1:] + ["150", "1000"][len(sys.argv) - 1 :])))
