"""How far off the area is, and whether the stated interval holds the truth: corner-level scenes, no pixels.

    python -m tests.benchmarks.accuracy_study [--scenes 400]

One factor is varied a row; the rest is drawn as in the first row. Hides come from `tests/synthetic/hides.py`, their rim
stands over the floor as a hide laid by hand does, cameras and cards are OpenCV's; nothing of the program makes truth.
"""

import argparse
import multiprocessing
import sys
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from hidescan.figures.measures import HeightPriors, HideRims, Rim, measure
from hidescan.floor.parameters import Prior, Priors, Tape
from hidescan.floor.priors import exif_ln_focal_u
from hidescan.floor.solution import Plane, solve_plane
from hidescan.settings import Settings
from tests.benchmarks.recorded import recorded
from tests.synthetic.bound import area_sd_percent
from tests.synthetic.corners import floor_to_floor, seen_card
from tests.synthetic.hides import whole_hide
from tests.synthetic.rims import camera_over, cards_beside, lift_field, seen_rim
from tests.synthetic.scenes import Array

S = Settings()
SIZES = {3: (2048, 1536), 12: (4000, 3000), 24: (5656, 4242), 48: (8000, 6000)}


@dataclass(frozen=True)
class Row:
    """One row of the table: what is the same in all its scenes; None is drawn anew in each."""

    name: str
    cards: int = 2
    tilt_deg: float | None = None
    species: str | None = None
    megapixels: int = 12
    k1: float | None = None
    exif: bool = True
    exif_factor: float = 1.0
    profile: bool = False
    measured: bool = True
    print_off: float | None = None
    tape: bool = False
    lift_mm: float | None = None
    counted: bool = True


ROWS = [
    Row("two cards, all else drawn"),
    Row("1 card", cards=1),
    Row("3 cards", cards=3),
    Row("4 cards", cards=4),
    Row("1 card, deer", cards=1, species="deer"),
    Row("1 card, deer, lens profile", cards=1, species="deer", profile=True),
    Row("1 card, no EXIF", cards=1, exif=False),
    Row("2 cards, no EXIF", exif=False),
    *(Row(f"tilt {t} deg", tilt_deg=t) for t in (0, 10, 20, 30, 40, 50)),
    *(Row(s, species=s) for s in ("goat", "deer", "calf", "cattle")),
    *(Row(f"{mp} megapixels", megapixels=mp) for mp in (3, 24, 48)),
    *(Row(f"k1 {k:+.2f}", k1=k) for k in (-0.15, -0.05, 0.0, 0.08)),
    Row("print never measured, scale from the prior", measured=False),
    Row("print 2 % small, one tape", measured=False, print_off=-0.02, tape=True),
    *(Row(f"rim up to {mm} mm high", lift_mm=mm) for mm in (0, 4, 8)),
    Row("EXIF 10 % off, 2 cards", exif_factor=1.1),
    Row("EXIF 10 % off, 1 card (reported, not counted)", cards=1, exif_factor=1.1, counted=False),
]


@dataclass(frozen=True)
class Outcome:
    """One scene: error and U in percent of the true area, the plane's share of u and its least-squares bound."""

    error: float
    expanded: float
    plane_u: float
    bound_u: float


def scene(job: tuple[Row, int]) -> Outcome | None:
    """Make and measure one scene; None where no plane was found."""
    row, seed = job
    rng = np.random.default_rng([seed, *row.name.encode()])
    species = row.species or str(rng.choice(["goat", "deer", "calf", "cattle"]))
    ring = _ring(species, seed % 50)
    k1 = float(rng.normal(0, 0.05)) if row.k1 is None else row.k1
    k2 = float(rng.normal(0, 0.015)) - 0.2 * k1
    tilt = float(rng.uniform(2, 32)) if row.tilt_deg is None else row.tilt_deg
    camera = camera_over(
        ring, tilt, rng, fill=float(rng.uniform(0.75, 0.95)), focal_35mm=float(rng.uniform(23, 29)), k1=k1, k2=k2,
        size_px=SIZES[row.megapixels],
    )  # fmt: skip
    scale = _print_scale(row, rng)
    cards = cards_beside(ring, row.cards, rng, scale)
    sd_px = float(rng.uniform(0.06, 0.25)) * (1.5 if row.megapixels == 48 else 1.0)
    seen = tuple(seen_card(camera, card, sd_px, rng) for card in cards)
    thickness = float(rng.uniform(1.0, 3.5))
    most = float(rng.uniform(0, 8)) if row.lift_mm is None else row.lift_mm
    rim_px = seen_rim(camera, ring, thickness, lift_field(len(ring), most, rng), 0.5, rng)
    priors = _priors(row, camera.focal_px, k1, k2, cards, rng)
    plane = solve_plane(seen, camera.size_px, priors, S.plane)
    if not isinstance(plane, Plane):
        return None
    given = thickness * (1 + float(rng.normal(0, S.measure.given_thickness_u_share)))
    m = measure(
        plane,
        HideRims(Rim(rim_px, np.full(len(rim_px), 0.5))),
        HeightPriors(
            Prior(given, S.measure.given_thickness_u_share * given), Prior(S.measure.lift_mm, S.measure.lift_u_mm)
        ),
        np.array([1.0, 0.0]),
        S.measure,
        print_measured=row.measured or row.tape,
    )
    x, y = ring.T
    true = float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    rows = {r.source: r.area_percent for r in m.budget}
    plane_u = float(np.sqrt(sum(rows.get(s, 0.0) ** 2 for s in ("corner noise", "lens", "print scale", "tape"))))
    with_bound = seed % 10 == 0 and not row.tape and not row.profile  # numerical, and slow
    bound = area_sd_percent(camera, cards, ring[::3], plane.corner_sd_px, priors) if with_bound else np.nan
    return Outcome(100 * (m.area_net.value / true - 1), 100 * m.area_net.expanded / true, plane_u, bound)


@cache
def _ring(species: str, seed: int) -> Array:
    """A hide's rim of some 500 points, counter-clockwise; 50 of each species serve all scenes."""
    ring = whole_hide(np.random.default_rng(seed), species).ring_mm
    ring = ring[:: max(1, len(ring) // 500)]
    x, y = ring.T
    return ring if np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) > 0 else ring[::-1]


def _print_scale(row: Row, rng: np.random.Generator) -> tuple[float, float]:
    if row.print_off is not None:
        common, skew = row.print_off, 0.0
    elif row.measured:
        common, skew = rng.normal(0, S.plane.measured_ln_scale_u), rng.normal(0, S.plane.measured_skew_u)
    else:
        common, skew = rng.uniform(-0.02, 0.02), rng.uniform(-0.005, 0.005)
    return float((1 + common) * (1 + skew / 2)), float((1 + common) * (1 - skew / 2))


def _priors(row: Row, focal_px: float, k1: float, k2: float, cards: list, rng: np.random.Generator) -> Priors:  # type: ignore[type-arg]
    p, size = S.plane, SIZES[row.megapixels]
    exif_u = exif_ln_focal_u(27.0, p)
    typical = np.log(p.typical_focal_35mm / np.hypot(36, 24) * np.hypot(*size))
    exif = np.log(focal_px * row.exif_factor) + (rng.normal(0, exif_u) if row.exif_factor == 1.0 else 0.0)
    tapes: tuple[Tape, ...] = ()
    if row.tape:
        true = floor_to_floor(cards[0], cards[1])
        read = true + rng.normal(0, p.tape_u_mm + p.tape_u_share * true)
        tapes = (Tape(1, 2, float(read)),)
    made = Priors(
        ln_focal=Prior(float(exif if row.exif else typical), exif_u if row.exif else p.broad_ln_focal_u),
        k1=Prior(0.0, p.k1_u),
        k2=Prior(0.0, p.k2_u),
        ln_scale=Prior(0.0, p.measured_ln_scale_u if row.measured else p.unmeasured_ln_scale_u),
        skew=Prior(0.0, p.measured_skew_u if row.measured else p.unmeasured_skew_u),
        on_hide_mm=Prior(2.0, 1.0),
        mount_mm=p.paper_mm,
        tapes=tapes,
    )
    if not row.profile:
        return made
    u = np.array([0.003, 0.005, 0.005])
    mean = rng.normal([np.log(focal_px), k1, k2], u)
    return replace(
        made, ln_focal=Prior(float(mean[0]), 0.003), k1=Prior(float(mean[1]), 0.005), k2=Prior(float(mean[2]), 0.005)
    )


def table(scenes: int, processes: int) -> str:
    """Run every row and write the table, Markdown."""
    lines = [
        "| row | scenes | median \\|error\\| % | 95 % of errors within % | bias % | median U % | coverage % | plane u / bound |",
        "|---|---|---|---|---|---|---|---|",
    ]
    held, counted = 0, 0
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        for row in ROWS:
            found = [o for o in pool.map(scene, [(row, s) for s in range(scenes)], chunksize=10) if o is not None]
            error = np.array([o.error for o in found])
            inside = np.abs(error) <= [o.expanded for o in found]
            ratio = np.array([o.plane_u / o.bound_u for o in found])
            if row.counted:
                held, counted = held + int(inside.sum()), counted + len(found)
            lines.append(
                f"| {row.name} | {len(found)} | {np.median(np.abs(error)):.2f} | {np.quantile(np.abs(error), 0.95):.2f} |"
                f" {error.mean():+.2f} | {np.median([o.expanded for o in found]):.2f} | {100 * inside.mean():.1f} |"
                f" {np.nanmedian(ratio) if np.isfinite(ratio).any() else float('nan'):.2f} |"
            )
            print(lines[-1], file=sys.stderr, flush=True)
    lines.append(f"\nCoverage over all counted rows: {100 * held / counted:.1f} % of {counted} scenes.")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=int, default=400, help="scenes a row")
    parser.add_argument("--processes", type=int, default=2)
    arguments = parser.parse_args()
    print(table(arguments.scenes, arguments.processes))


if __name__ == "__main__":
    with recorded("accuracy"):
        main()
