"""How well back line, neck end, form and zones are found: a table.

Run from the project's root:  python -m tests.benchmarks.shape_study [--count 320] [--truth FOLDER]
Generated outlines use seeds [11, i], which nothing was fitted to. FOLDER may hold NAME.truth.json files of photographs
with `hide_kind`, `outline_mm`, `neck_point_mm`, `tail_point_mm` and `axis_angle_deg`.
"""

import argparse
import json
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from hidescan.anatomy.back_line import Shape, find_shape
from hidescan.basics.geometry import rotation_2d
from hidescan.settings import ShapeSettings
from tests.benchmarks.recorded import recorded
from tests.synthetic.hides import any_form

Points = NDArray[np.float64]
SETTINGS = ShapeSettings()
SPECIES = ("deer", "goat", "calf", "cattle")


@dataclass(frozen=True, slots=True)
class Case:
    """One outline: what it is, what was found."""

    name: str
    form: str
    limb_cut: bool
    found_form: str
    off_deg: float
    neck_right: bool
    confidence: float
    sd_deg: float
    invariance_deg: float
    milliseconds: float


def direction_deg(tail: Points, neck: Points) -> float:
    return float(np.rad2deg(np.arctan2(*(neck - tail)[::-1])))


def apart(a_deg: float, b_deg: float, period: float) -> float:
    return abs((a_deg - b_deg + period / 2) % period - period / 2)


def study(name: str, form: str, ring: Points, axis_deg: float, limb_cut: bool, seed: int) -> Case:
    """Find the shape, and again on the outline turned and mirrored."""
    started = time.perf_counter()
    shape: Shape = find_shape(ring, SETTINGS)
    took = time.perf_counter() - started
    back = shape.back_line
    got = direction_deg(back.tail_mm, back.neck_mm)
    rng = np.random.default_rng(seed)
    turn = rotation_2d(rng.uniform(-180, 180))
    flip = np.array([-1.0, 1.0])
    again = find_shape(np.roll((ring * flip) @ turn.T, int(rng.integers(len(ring))), axis=0), SETTINGS).back_line
    moved = direction_deg((back.tail_mm * flip) @ turn.T, (back.neck_mm * flip) @ turn.T)
    return Case(
        name,
        form,
        limb_cut,
        shape.form.name,
        apart(got, axis_deg, 180.0),
        apart(got, axis_deg, 360.0) < 90,
        back.end_confidence,
        back.angle_sd_deg,
        apart(direction_deg(again.tail_mm, again.neck_mm), moved, 360.0),
        1e3 * took,
    )


def generated(job: tuple[int, str]) -> Case:
    seed, form = job
    hide = any_form(np.random.default_rng([11, seed]), form, SPECIES[seed % 4])
    return study(f"{hide.species} {seed}", form, hide.ring_mm, hide.axis_angle_deg, hide.limb_cut, seed)


def with_truth(path: Path) -> Case:
    truth = json.loads(path.read_text())
    form = "side" if truth["hide_kind"] == "side" else "whole"
    return study(truth["name"], form, np.array(truth["outline_mm"]), truth["axis_angle_deg"], False, 0)


def calibration_error(confidence: NDArray[np.float64], right: NDArray[np.bool_]) -> float:
    """Expected calibration error over five bins from 0.5 to 1 (Guo et al. 2017, ICML, equation 3)."""
    place = np.clip(((confidence - 0.5) * 10).astype(int), 0, 4)
    error = 0.0
    for k in np.unique(place):
        mine = place == k
        error += float(mine.mean() * abs(right[mine].mean() - confidence[mine].mean()))
    return error


def row(title: str, cases: list[Case]) -> str:
    off = np.array([case.off_deg for case in cases])
    right = np.array([case.neck_right for case in cases])
    confidence = np.array([case.confidence for case in cases])
    form = np.mean([case.found_form == case.form for case in cases])
    inside = np.mean([case.off_deg < 2 * case.sd_deg for case in cases])
    turned = np.array([case.invariance_deg for case in cases])
    spent = np.median([case.milliseconds for case in cases])
    angles = f"{np.median(off):5.2f} {np.percentile(off, 95):5.2f} {off.max():6.2f}"
    angles += f" {np.mean(off > 4):6.1%} {np.mean(off > 2):6.1%}"
    neck = f"{right.mean():6.1%} {confidence.mean():5.2f} {calibration_error(confidence, right):5.3f}"
    moved = f"{np.mean(turned > 0.5):6.1%} {np.median(turned):6.3f}"
    return f"{title:24s} {len(cases):4d} | {angles} | {inside:6.1%} | {neck} | {form:6.1%} | {moved} | {spent:5.1f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=320, help="outlines of each of whole, side and piece")
    parser.add_argument("--truth", type=Path, help="folder of NAME.truth.json")
    parser.add_argument("--workers", type=int, default=1)
    args = parser.parse_args()
    print(
        "outlines                   n | off, deg: median, 95 %, max, >4, >2  | in 2sd | neck right, said, calibration "
        "| form | turned+mirrored: >0.5 deg, median | ms"
    )
    with ProcessPoolExecutor(args.workers) as pool:
        for form in ("whole", "side"):
            cases = list(pool.map(generated, [(k, form) for k in range(args.count)], chunksize=8))
            print(row(f"generated {form}", cases))
            for species in SPECIES:
                print(row(f"  {species}", [case for case in cases if case.name.startswith(species)]))
            print(row("  one limb cut off", [case for case in cases if case.limb_cut]))
        pieces = list(pool.map(generated, [(k, "piece") for k in range(args.count)], chunksize=8))
    forms = [case.found_form for case in pieces]
    print(f"generated piece          {len(pieces):4d} | form right {np.mean(np.array(forms) == 'piece'):.1%}")
    if args.truth:
        cases = [with_truth(path) for path in sorted(args.truth.glob("*.truth.json"))]
        for case in cases:
            print(
                f"  {case.name:28s} off {case.off_deg:5.2f} deg, neck right {case.neck_right}, "
                f"said {case.confidence:.2f}, form {case.found_form}"
            )
        for form in ("whole", "side"):
            print(row(f"photographs, {form}", [case for case in cases if case.form == form]))


if __name__ == "__main__":
    with recorded("shape"):
        main()
