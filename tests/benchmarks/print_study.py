"""What printed cards measure, from pixels: how far off the floor's area is, and whether its interval holds the truth.

    python -m tests.benchmarks.print_study [--photos 400] [--rows NAME...]

Every photo is drawn by `tests/synthetic/printed.py` from the PDF's own numbers: blur, noise, compression, ink spread to
0.2 mm, dirt, uneven light, a print scaled as far as its measured bars leave open. The area is that of a deer's outline
on the floor, its pixels projected by OpenCV; no rim, no thickness. The bound is the linearised one of the same
observations, at the noise that the program found: sd / bound compares the scatter of the errors with it.
"""

import argparse
import multiprocessing
import sys
from dataclasses import dataclass, replace

import numpy as np

from hidescan.cards.detection import find_cards
from hidescan.floor.parameters import OF_CAMERA, Prior
from hidescan.floor.priors import exif_ln_focal_u, focal_prior
from hidescan.floor.solution import Plane, solve_plane
from hidescan.photo.reading import Photo
from hidescan.settings import Settings
from tests.benchmarks.recorded import recorded
from tests.synthetic.corners import priors
from tests.synthetic.hides import whole_hide
from tests.synthetic.printed import Curl, Sheet, Shot, photographed_cards
from tests.synthetic.rims import camera_over, cards_beside
from tests.synthetic.scenes import Array, TrueCamera, TrueCard
from tests.synthetic.views import card_in_frame

S = Settings()
SIZE = (4000, 3000)


@dataclass(frozen=True)
class Row:
    """One row of the table."""

    name: str
    cards: int = 1
    exif: bool = True
    tilt_deg: tuple[float, float] = (10.0, 30.0)
    curl_mm: tuple[float, float] = (0.0, 0.5)
    hard: bool = False  # dirt, a leaf, a shadow's edge, sharpening
    edges: bool = True
    claims_mm: tuple[float, float] | None = None  # EXIF claims anything between, whatever the lens


ROWS = [
    Row("one card, EXIF"),
    Row("one card, no EXIF", exif=False),
    Row("one card, curl to 4 mm", curl_mm=(0.0, 4.0)),
    Row("one card, leaf, shadow, dirt", hard=True),
    Row("one card, nearly square on", tilt_deg=(0.0, 8.0)),
    Row("two cards", cards=2),
    Row("four cards", cards=4),
    *(
        Row(f"EXIF 3 to 65535 mm, {cards} card{'s' if cards > 1 else ''}", cards=cards, claims_mm=(3.0, 65535.0))
        for cards in (1, 2, 4)
    ),
    Row("one card, EXIF, corners only", edges=False),
    Row("one card, no EXIF, corners only", exif=False, edges=False),
    Row("two cards, corners only", cards=2, edges=False),
]


@dataclass(frozen=True)
class Outcome:
    """One photo: error and U of the area in percent, and whether the card's own edges were read."""

    error: float
    expanded: float
    by_edges: bool


def outcome(job: tuple[Row, int]) -> Outcome | None:
    """Make and measure one photo; None where no plane was found."""
    row, seed = job
    rng = np.random.default_rng([seed, *row.name.replace(", corners only", "").encode()])
    made = scene(row, seed, rng)
    if made is None:
        return None
    ring, camera, cards = made
    curls = [
        Curl(float(rng.uniform(*row.curl_mm)), float(rng.uniform(0, 360)), str(rng.choice(["trough", "edge"])))
        for _ in cards
    ]
    grey = photographed_cards(
        camera, [Sheet(c, curl) for c, curl in zip(cards, curls, strict=True)], shot(row, rng), rng
    )
    found = find_cards(grey, S.card).cards
    if not row.edges:
        found = tuple(replace(card, edges=None) for card in found)
    if not found:
        return None
    plane = solve_plane(found, camera.size_px, known(row, camera, rng), S.plane)
    if not isinstance(plane, Plane):
        print(row.name, seed, plane, file=sys.stderr)
        return None
    error, u = area_error(plane, camera, ring)
    return Outcome(error, 2 * u, all(card.edges is not None for card in found))


def scene(row: Row, seed: int, rng: np.random.Generator) -> tuple[Array, TrueCamera, list[TrueCard]] | None:
    """An outline (N, 2) mm, a camera over it, and cards beside it that the photo shows whole."""
    ring = whole_hide(np.random.default_rng(seed % 50), "deer").ring_mm
    ring = ring[:: max(1, len(ring) // 300)]
    k1 = float(rng.normal(0, 0.04))
    common, skew = rng.normal(0, S.plane.measured_ln_scale_u), rng.normal(0, S.plane.measured_skew_u)
    scale = float((1 + common) * (1 + skew / 2)), float((1 + common) * (1 - skew / 2))
    for _ in range(60):
        camera = camera_over(
            ring, float(rng.uniform(*row.tilt_deg)), rng, fill=float(rng.uniform(0.7, 0.9)),
            focal_35mm=float(rng.uniform(23, 29)), k1=k1, k2=float(rng.normal(0, 0.012)) - 0.2 * k1, size_px=SIZE,
        )  # fmt: skip
        cards = cards_beside(ring, row.cards, rng, scale)
        if all(card_in_frame(camera, card) for card in cards):
            return ring, camera, cards
    return None


def shot(row: Row, rng: np.random.Generator) -> Shot:
    """How one photo was taken and printed."""
    return Shot(
        blur_px=float(rng.uniform(0.5, 1.2)), noise=float(rng.uniform(1, 5)), jpeg=int(rng.integers(75, 97)),
        gamma=float(rng.uniform(1.8, 2.4)), sharpen=float(rng.uniform(0, 0.8)) if row.hard else 0.0,
        ink_mm=round(0.05 * int(rng.integers(0, 5)), 2), dirt=int(rng.integers(0, 12 if row.hard else 4)),
        light=(float(rng.uniform(-0.3, 0.3)), float(rng.uniform(-0.3, 0.3))),
        leaf=row.hard and bool(rng.random() < 0.5), shadow=row.hard and bool(rng.random() < 0.5),
    )  # fmt: skip


def known(row: Row, camera: TrueCamera, rng: np.random.Generator):  # type: ignore[no-untyped-def]
    """The priors as the program sets them from EXIF, rounded to a millimetre, or without."""
    made = priors(camera, exif=False, mount_mm=S.plane.paper_mm)
    if not row.exif:
        return made
    per_mm = float(np.hypot(*SIZE) / np.hypot(36, 24))
    if row.claims_mm is not None:
        claimed_mm = float(np.exp(rng.uniform(*np.log(row.claims_mm))))
        blank = np.broadcast_to(np.zeros(3, np.uint8), (SIZE[1], SIZE[0], 3))
        return replace(made, ln_focal=focal_prior(Photo(blank, "", "", None, claimed_mm, "", None), S.plane))
    focused = camera.focal_px * (1 + rng.normal(0, S.plane.exif_focus_u))
    claimed = float(round(focused / per_mm))
    return replace(made, ln_focal=Prior(float(np.log(claimed * per_mm)), exif_ln_focal_u(claimed, S.plane)))


def area_error(plane: Plane, camera: TrueCamera, ring_mm: Array) -> tuple[float, float]:
    """Error of the outline's area on the floor, and its standard uncertainty, percent."""

    def area(xy: Array) -> float:
        x, y = xy.T
        return float(abs(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)))

    px = camera.project(np.c_[ring_mm, np.zeros(len(ring_mm))])
    at, J = area(plane.camera.mm_from_px(px)), np.zeros(len(plane.covariance))
    for p in range(OF_CAMERA):
        step = np.zeros(len(J))
        step[p] = 0.1 * np.sqrt(plane.covariance[p, p])
        up, down = (area(plane.camera_after(s).mm_from_px(px)) for s in (step, -step))
        J[p] = (up - down) / (2 * step[p])
    true = area(ring_mm)
    return 100 * (at / true - 1), 100 * float(np.sqrt(J @ plane.covariance @ J)) / true


def table(rows: list[Row], photos: int, processes: int) -> str:
    """Run the rows and make the table, Markdown."""
    lines = [
        "| row | photos | median \\|error\\| % | 95 % within % | bias % | median U % | coverage % | worst error / U | sd / bound | by edges |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    held = judged = 0
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        for row in rows:
            found = [o for o in pool.map(outcome, [(row, s) for s in range(photos)], chunksize=5) if o is not None]
            error, expanded = np.array([o.error for o in found]), np.array([o.expanded for o in found])
            inside = np.abs(error) <= expanded
            if row.edges:
                held, judged = held + int(inside.sum()), judged + len(found)
            lines.append(
                f"| {row.name} | {len(found)} | {np.median(np.abs(error)):.3f} | {np.quantile(np.abs(error), 0.95):.2f} |"
                f" {error.mean():+.3f} | {np.median(expanded):.2f} | {100 * inside.mean():.1f} |"
                f" {np.max(np.abs(error) / expanded):.2f} | {np.std(error) / np.sqrt(np.mean(expanded**2)) * 2:.2f} | {100 * np.mean([o.by_edges for o in found]):.0f} % |"
            )
            print(lines[-1], file=sys.stderr, flush=True)
    lines.append(f"\nCoverage over all rows measured by edges: {100 * held / max(judged, 1):.1f} % of {judged} photos.")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--photos", type=int, default=400, help="photos a row")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--rows", nargs="*", help="only rows whose names begin so")
    given = parser.parse_args()
    rows = [row for row in ROWS if not given.rows or any(row.name.startswith(name) for name in given.rows)]
    print(table(rows, given.photos, given.processes))


if __name__ == "__main__":
    with recorded("print"):
        main()
