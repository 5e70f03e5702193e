"""Outlines on real photographs, beside a general salient-object network and GrabCut.

``python -m tests.benchmarks.real_photos_study PHOTOS --salient MASKS``

PHOTOS holds the photos that calibration/region/real_outlines.json names (clothing-dataset, A. Grigorev and contributors
2020, CC0 1.0); those of its validation people are looked at. MASKS holds what calibration/region/label_photos.py wrote.
GrabCut is OpenCV's, seeded with the photo's border (Rother, Kolmogorov, Blake 2004).
"""

import argparse
import json
import time
from dataclasses import dataclass
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

import hidescan
from hidescan.basics.errors import NotFound
from hidescan.settings import OutlineSettings
from tests.benchmarks.outline_study import grabcut_ring
from tests.benchmarks.recorded import recorded

RIGHT = 0.965
AT_FRAME = OutlineSettings().most_on_frame
DOUBT_BELOW = OutlineSettings().whole_doubt_below
REGION = Path(__file__).parents[2] / "calibration" / "region"
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Seen:
    """One photo: IoU of each method (0 where it refuses), and what hidescan says of itself."""

    name: str
    by: str
    at_frame: float
    refused: str | None
    confidence: float
    holes: int
    ours: float
    salient: float
    grabcut: float
    seconds: float


def filled(rings: list[Any], shape: tuple[int, ...]) -> Mask:
    mask = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.rint(np.asarray(ring, dtype=float).reshape(-1, 2)).astype(np.int32) for ring in rings], 1)
    return mask > 0


def iou(first: Mask, second: Mask) -> float:
    return float((first & second).sum() / max((first | second).sum(), 1))


def of_mask(path: Path, shape: tuple[int, ...]) -> Mask:
    """The largest part of a soft mask, with what it encloses."""
    soft = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    if soft is None:
        return np.zeros(shape[:2], bool)
    soft = cv2.resize(soft, shape[1::-1], interpolation=cv2.INTER_LINEAR)
    contours, _ = cv2.findContours((soft > 127).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return filled([max(contours, key=cv2.contourArea)], shape) if contours else np.zeros(shape[:2], bool)


def look(job: tuple[dict[str, Any], Path, Path | None]) -> Seen:
    record, photos, masks = job
    cv2.setNumThreads(1)
    rgb = np.ascontiguousarray(np.asarray(cv2.imread(str(photos / record["name"])))[..., ::-1])
    truth = filled(record["rings"], rgb.shape)
    start = time.perf_counter()
    found = hidescan.find_outline(rgb)
    seconds = time.perf_counter() - start
    cut = grabcut_ring(rgb)
    soft = masks / f"{Path(record['name']).stem}.png" if masks else Path("none")
    others = (
        iou(of_mask(soft, rgb.shape), truth),
        0.0 if cut is None else iou(filled([cut], rgb.shape), truth),
        seconds,
    )
    if isinstance(found, NotFound):
        return Seen(record["name"], record["by"], record["at_frame"], found.code, 0.0, 0, 0.0, *others)
    ours = iou(filled([found.ring_px], rgb.shape), truth)
    return Seen(
        record["name"], record["by"], record["at_frame"], None, found.confidence_whole, len(found.holes), ours, *others
    )


def table(seen: list[Seen]) -> str:
    whole = [s for s in seen if s.at_frame <= AT_FRAME]
    cut = [s for s in seen if s.at_frame > AT_FRAME]
    lines = [f"{len(seen)} photos of {len({s.name.split('_')[0] for s in seen})} people, none trained on; {len(whole)} show the thing whole, {len(cut)} cut by the frame.", ""]  # fmt: skip
    lines += ["| whole thing in the frame | hidescan | salient network | GrabCut |", "|---|---|---|---|"]
    columns = [np.array([getattr(s, method) for s in whole]) for method in ("ours", "salient", "grabcut")]
    for title, figure in (
        (f"IoU >= {RIGHT}", lambda v: f"{np.mean(v >= RIGHT):.3f} ({int((v >= RIGHT).sum())})"),
        ("IoU, median", lambda v: f"{np.median(v):.4f}"),
        ("IoU, tenth percentile", lambda v: f"{np.percentile(v, 10):.3f}"),
    ):
        lines.append(f"| {title} | " + " | ".join(figure(v) for v in columns) + " |")
    right = columns[0] >= RIGHT
    doubted = np.array([s.refused is not None or s.confidence < DOUBT_BELOW for s in whole])
    lines += [
        "",
        f"- wrong in silence: {int((~right & ~doubted).sum())} of {len(whole)}; doubted though right: {int((right & doubted).sum())} of {int(right.sum())}",
        f"- refused though whole: {sum(s.refused is not None for s in whole)} of {len(whole)} ({sum(s.refused == 'cut-by-frame' for s in whole)} as cut by the frame)",
        f"- cut by the frame: {sum(s.refused == 'cut-by-frame' for s in cut)} of {len(cut)} refused as such, {sum(s.refused is not None or s.confidence < DOUBT_BELOW for s in cut)} refused or doubted",
        f"- called through holes: {sum(s.holes for s in whole) / max(len(whole), 1):.2f} a photo",
        f"- seconds a photo, one thread: median {np.median([s.seconds for s in seen]):.2f}",
        "",
        "Confidence of the whole (no scale) against the share with an IoU of at least 0.975:",
        "",
        "| stated | true | photos |",
        "|---|---|---|",
    ]
    stated = np.array([s.confidence for s in whole if s.refused is None])
    true = np.array([s.ours >= 0.975 for s in whole if s.refused is None])
    for low, high in pairwise((0.0, 0.2, 0.4, 0.6, 0.8, 1.01)):
        of = (stated >= low) & (stated < high)
        if of.any():
            lines.append(f"| {stated[of].mean():.2f} | {true[of].mean():.2f} | {int(of.sum())} |")
    worst = sorted(whole, key=lambda s: s.ours)[:10]
    lines += ["", "Ten worst: " + ", ".join(f"{s.name} {s.ours:.3f}{' ' + s.refused if s.refused else ''} ({s.confidence:.2f})" for s in worst) + "."]  # fmt: skip
    by = {b: sum(s.by == b for s in whole) for b in sorted({s.by for s in whole})}
    lines += ["", "Where the truth comes from: " + ", ".join(f"{b} {n}" for b, n in by.items()) + ". What the salient network drew is truth only where it is right by eye, so its share of right ones is its own choice of photos; where it failed, the truth is mostly an outline of ours that is right by eye, or drawn by hand."]  # fmt: skip
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photos", type=Path)
    parser.add_argument("--salient", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    a = parser.parse_args()
    records = json.loads((REGION / "real_outlines.json").read_text())["photos"]
    jobs = [(r, a.photos, a.salient) for r in records if r["split"] == "validation"]
    with get_context("spawn").Pool(a.jobs) as pool:
        seen = pool.map(look, jobs, chunksize=4)
    print(table(seen))


if __name__ == "__main__":
    with recorded("real-photos"):
        main()
