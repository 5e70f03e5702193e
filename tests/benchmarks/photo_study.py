"""The whole program on photos with truth: what `hidescan map` makes of each, beside what is true.

    python -m tests.benchmarks.photo_study FOLDER [-o OUT]

FOLDER holds photos with NAME.truth.json beside them (see sample_images/). Each photo is mapped by the installed program
in its own process, so that the time is the whole process's; Pillow's decode of the same file is timed in the same run.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from shapely import distance, make_valid
from shapely import points as shapely_points
from shapely.geometry import Polygon

from tests.benchmarks.recorded import recorded

HIDESCAN = Path(sys.executable).with_name("hidescan")


def polygon(points: Any) -> Polygon:
    """The largest valid polygon of a ring."""
    shape = make_valid(Polygon(np.asarray(points, dtype=float)))
    parts = [g for g in getattr(shape, "geoms", [shape]) if g.geom_type == "Polygon"]
    return max(parts, key=lambda g: float(g.area))


def outline_figures(found: Polygon, true: Polygon, mm_per_px: float) -> tuple[float, float, float]:
    """IoU, and mean and 95th percentile of the rims' distance to each other in mm."""
    iou = found.intersection(true).area / found.union(true).area
    off = np.concatenate(
        [
            distance(shapely_points([a.exterior.interpolate(s).coords[0] for s in np.arange(0, a.exterior.length, 8.0)]), b.exterior)
            for a, b in ((found, true), (true, found))
        ]
    )  # fmt: skip
    return iou, float(off.mean()) * mm_per_px, float(np.quantile(off, 0.95)) * mm_per_px


def back_line_error(made: dict[str, Any], truth: dict[str, Any]) -> tuple[float, bool]:
    """Angle between the found and the true back line on the floor, degrees, and whether the neck end is right."""
    c = truth["camera"]
    R, t = np.array(c["R"]), np.array(c["t"])
    ends = []
    for px in (made["back_line"]["tail_px"], made["back_line"]["neck_px"]):
        d = (np.array(px) - (c["cx"], c["cy"])) / c["f_px"]
        n = d.copy()
        for _ in range(30):
            r2 = float(n @ n)
            n = d / (1 + c["k1"] * r2 + c["k2"] * r2**2)
        ray = np.array([*n, 1.0]) @ R
        centre = -R.T @ t
        ends.append(centre[:2] - ray[:2] * centre[2] / ray[2])
    along = ends[1] - ends[0]
    off = np.rad2deg(np.arctan2(along[1], along[0])) - truth["axis_angle_deg"]
    off = (off + 180) % 360 - 180
    return float(abs((off + 90) % 180 - 90)), bool(abs(off) < 90)


def decode_seconds(photo: Path) -> float:
    """Best of three of Pillow's decode."""
    best = np.inf
    for _ in range(3):
        start = time.perf_counter()
        with Image.open(photo) as image:
            image.load()
        best = min(best, time.perf_counter() - start)
    return float(best)


def map_photo(photo: Path, truth: dict[str, Any], out: Path) -> tuple[int, str, float, float]:
    """Run the program: exit code, what it said, seconds, peak memory MB."""
    command = [
        str(HIDESCAN), "map", str(photo), "-o", str(out), "--card-scale", "1,1",
        "--thickness", f"{truth['thickness_mm']}mm", "--fresh", "--force",
    ]  # fmt: skip
    start = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    stdout, stderr = child.stdout, child.stderr
    said = (stdout.read() if stdout else "") + (stderr.read() if stderr else "")
    _, status, usage = os.wait4(child.pid, 0)
    return os.waitstatus_to_exitcode(status), said, time.perf_counter() - start, usage.ru_maxrss / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("-o", "--out", type=Path)
    arguments = parser.parse_args()
    out = arguments.out or Path(tempfile.mkdtemp())
    print(
        "| photo | cards | tilt | lift | area error % | U % | IoU | rim mean / p95 mm | back line deg | neck | s | x decode | MB | warnings |"
    )
    print("|---|---|---|---|---|---|---|---|---|---|---|---|---|---|")
    several: list[tuple[float, float]] = []
    alone: list[tuple[float, float]] = []
    ious, angles, necks = [], [], []
    for path in sorted(arguments.folder.glob("*.truth.json")):
        photo = path.with_name(path.name.replace(".truth.json", ".jpg"))
        truth = json.loads(path.read_text())
        decode = decode_seconds(photo)
        code, said, seconds, megabytes = map_photo(photo, truth, out)
        name = photo.stem
        if code != 0 or truth["expect"] != "ok":
            as_expected = "as expected" if (code == 2) == (truth["expect"] != "ok") else f"EXPECTED {truth['expect']}"
            print(f"| {name} | {truth['n_cards']} | refused, {as_expected}: {said.strip().splitlines()[-1]} |")
            continue
        made = json.loads((out / f"{name}.hide.json").read_text())
        area = made["measures"]["area_net"]
        error = 100 * (area["value"] / truth["net_area_mm2"] - 1)
        expanded = 100 * area["expanded_uncertainty"] / area["value"]
        mm_per_px = made["camera"]["mm_per_px"]
        iou, mean, p95 = outline_figures(
            polygon(made["outline"]["photo_px"]["coordinates"][0]), polygon(truth["silhouette_px"]), mm_per_px
        )
        angle, neck = back_line_error(made, truth)
        (alone if truth["n_cards"] == 1 else several).append((error, expanded))
        ious.append(iou)
        if truth["hide_kind"] != "side":
            angles.append(angle)
        necks.append(neck)
        warnings = " ".join(w["code"] for w in made["warnings"])
        print(
            f"| {name} | {truth['n_cards']} | {truth['camera']['tilt_deg']} | {truth['max_lift_mm']:.1f} | {error:+.2f} |"
            f" {expanded:.2f} | {iou:.4f} | {mean:.2f} / {p95:.2f} | {angle:.1f} | {'right' if neck else 'WRONG'}"
            f" {made['back_line']['end_confidence']:.2f} | {seconds:.2f} | {seconds / decode:.0f} | {megabytes:.0f} | {warnings} |",
            flush=True,
        )
    for name, group in (("two or more cards", several), ("one card", alone)):
        if group:
            errors = np.abs([e for e, _ in group])
            inside = np.mean([abs(e) <= u for e, u in group])
            print(
                f"\n{name}: {len(group)} photos, median |area error| {np.median(errors):.2f} %, worst {errors.max():.2f} %,"
                f" median U {np.median([u for _, u in group]):.2f} %, inside ± {100 * inside:.0f} %"
            )
    if ious:
        print(f"IoU median {np.median(ious):.4f}, worst {min(ious):.4f}")
        print(
            f"back line: median {np.median(angles):.1f}, worst {max(angles):.1f} deg; neck right {sum(necks)} of {len(necks)}"
        )


if __name__ == "__main__":
    with recorded("photo"):
        main()
