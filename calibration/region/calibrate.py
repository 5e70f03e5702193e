"""Fits what `settings.OutlineSettings` says of doubt, on made photos: ``python calibrate.py FOLDER`` (see made.py).

Prints the values to put there: u_scale, rim_weights, doubt_below, whole_weights, hole_weights. Logistic regressions by
maximum likelihood with a weak ridge.
"""

from __future__ import annotations

import json
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import minimize

from hidescan.outline.coarse import find_region, first_look
from hidescan.outline.confidence import rim_measures, smoothed, spread, whole_measures
from hidescan.outline.contour import Detail, look_closer, trace
from hidescan.outline.defects import FAULTS, find_candidates
from hidescan.outline.holes import find_gaps, find_holes
from hidescan.settings import FaultSettings, OutlineSettings

Array = NDArray[np.float64]


def project(homography: Array, xy: Array) -> Array:
    h = np.c_[xy, np.ones(len(xy))] @ homography.T
    return h[:, :2] / h[:, 2:3]


def logistic(x: Array, y: NDArray[np.bool_], weight: Array | None = None, ridge: float = 1e-3) -> Array:
    """Constant and weights by maximum likelihood; x is scaled inside."""
    mean, sd = x.mean(0), x.std(0) + 1e-9
    z = np.c_[np.ones(len(x)), (x - mean) / sd]
    sign = np.where(y, 1.0, -1.0)
    w = np.ones(len(x)) if weight is None else weight

    def loss(b: Array) -> float:
        return float((w * np.logaddexp(0, -sign * (z @ b))).sum() / w.sum() + ridge * (b[1:] ** 2).sum())

    b = minimize(loss, np.zeros(z.shape[1])).x
    return np.r_[b[0] - (b[1:] * mean / sd).sum(), b[1:] / sd]


def probability(weights: Array, x: Array) -> Array:
    return np.asarray(1 / (1 + np.exp(-(weights[0] + x @ weights[1:]))))


def collect_faults(
    truth: dict[str, Any], detail: Detail, ring_px: Array, mm: float,
    faults: dict[str, list[tuple[Array, bool]]], missed: dict[str, list[bool]],
) -> None:  # fmt: skip
    """Add a photo's candidates, right or wrong, and its marks, seen or not; what hardly shows counts neither way."""
    h = np.array(truth["homography_px_from_mm"])
    marks = [
        (m["kind"], shapely.Polygon(project(h, np.array(m["polygon_mm"]))).buffer(1), m["shows"])
        for m in truth["marks"]
    ]
    marks = [(kind, g, shows) for kind, g, shows in marks if g.geom_type == "Polygon"]
    hit = [False] * len(marks)
    holes = [hole.ring_px for hole in find_holes(detail, ring_px, mm, OutlineSettings())]
    for candidate in find_candidates(detail, ring_px, holes, mm, FaultSettings()):
        area = shapely.Polygon(candidate.ring_px).buffer(0)
        over = [
            i for i, (kind, g, _) in enumerate(marks)
            if kind == candidate.kind and area.intersection(g).area > 0.3 * min(area.area, g.area) and area.area < 12 * g.area
        ]  # fmt: skip
        if over and not any(marks[i][2] for i in over):
            continue
        for i in over:
            hit[i] = True
        faults[candidate.kind].append((candidate.measures, bool(over)))
    for (kind, g, shows), found in zip(marks, hit, strict=True):
        x0, y0, x1, y1 = g.bounds
        if shows and np.hypot(x1 - x0, y1 - y0) * mm > 40:
            missed[kind].append(found)


def report_faults(faults: dict[str, list[tuple[Array, bool]]], missed: dict[str, list[bool]]) -> None:
    """Weights for `settings.FaultSettings`, and what they would do."""
    for kind in FAULTS:
        x, y = np.array([m for m, _ in faults[kind]]), np.array([ok for _, ok in faults[kind]])
        print(
            f"{kind}: {len(y)} candidates, {int(y.sum())} right; {np.mean(missed[kind] or [0]):.2f} of {len(missed[kind])} marks from 40 mm have one"
        )
        if 5 < y.sum() < len(y) - 5:
            weights = logistic(x, y, ridge=1e-2)
            p = probability(weights, x)
            print("  weights", tuple(weights.round(3).tolist()))
            for t in (0.3, 0.5, 0.7):
                print(f"  from {t}: recall of candidates {np.mean(p[y] >= t):.2f}, precision {np.mean(y[p >= t]):.2f}")
            edges = np.linspace(0, 1, 6)
            bins = [(p >= a) & (p < b + (b == 1)) for a, b in pairwise(edges)]
            print(
                "  said | true:",
                ", ".join(f"{p[k].mean():.2f} | {y[k].mean():.2f} ({int(k.sum())})" for k in bins if k.any()),
            )


def main(folder: Path) -> None:
    """Fit everything and print it."""
    settings = OutlineSettings()
    parts, iou, rim_x, near, ratio, photo_of, hole_x, hole_y = [], [], [], [], [], [], [], []
    faults: dict[str, list[tuple[Array, bool]]] = {kind: [] for kind in FAULTS}
    missed: dict[str, list[bool]] = {kind: [] for kind in FAULTS}
    for index, path in enumerate(sorted(folder.glob("*.truth.json"))):
        truth = json.loads(path.read_text())
        rgb = cv2.cvtColor(cv2.imread(str(path).replace(".truth.json", ".jpg")), cv2.COLOR_BGR2RGB)
        h = np.array(truth["homography_px_from_mm"])
        quads = [project(h, np.array(q)) for q in truth["cards_mm"]]
        rim_line = shapely.LinearRing(truth["silhouette_px"])
        if any(rim_line.intersects(shapely.Polygon(q)) for q in quads):
            continue  # a card over the rim hides the truth
        region = find_region(first_look(rgb, settings), quads, settings, (), None)
        if not region:
            print(path.name, region.code)
            continue
        detail = look_closer(rgb, region, settings, ())
        rim = trace(detail, region, settings, ())
        if rim is None:
            continue
        silhouette = np.array(truth["silhouette_px"])
        true, got = shapely.Polygon(silhouette).buffer(0), shapely.Polygon(rim.ring_px).buffer(0)
        iou.append(true.intersection(got).area / true.union(got).area)
        parts.append((region, detail, rim))
        inverse = np.linalg.inv(h)
        off_mm = shapely.distance(
            shapely.points(project(inverse, rim.ring_px)), shapely.LinearRing(project(inverse, silhouette))
        )
        off_px = shapely.distance(shapely.points(rim.ring_px), shapely.LinearRing(silhouette))
        middle = rim.ring_px.mean(0)
        mm = float(np.hypot(*np.diff(project(inverse, np.array([middle, middle + (1, 0)])), axis=0)[0]))
        rim_x.append(rim_measures(rim, region, detail, settings.near_mm / mm))
        near.append(off_mm <= 5)
        ratio.append(off_px / (spread(rim, settings) / settings.u_scale))
        photo_of.append(np.full(len(off_mm), index))
        holes = [shapely.Polygon(project(h, np.array(r))).buffer(0) for r in truth["holes_mm"]]
        for gap in find_gaps(detail, rim.ring_px, mm, settings):
            area = shapely.Polygon(gap.ring_px).buffer(0)
            hole_x.append(gap.measures)
            hole_y.append(any(area.intersection(t).area > 0.3 * min(area.area, t.area) for t in holes))
        collect_faults(truth, detail, rim.ring_px, mm, faults, missed)
    report_faults(faults, missed)
    values = np.array(iou)
    print(
        f"{len(values)} photos: IoU median {np.median(values):.4f}, p10 {np.percentile(values, 10):.4f}, >= 0.985 {np.mean(values >= 0.985):.2f}"
    )
    near_all = np.concatenate(near)
    print("u_scale", round(float(np.median(np.concatenate(ratio)[near_all]) / 0.6745), 3))
    x = np.concatenate([smoothed(m, settings.confidence_window) for m in rim_x])
    weights = logistic(x, near_all)
    print("rim_weights", weights.round(3).tolist())
    p = probability(weights, x)
    ends = np.cumsum([len(n) for n in near])
    whole_x = np.array(
        [
            whole_measures(region, detail, rim, q)
            for (region, detail, rim), q in zip(parts, np.split(p, ends[:-1]), strict=True)
        ]
    )
    good = np.concatenate([np.full(len(n), v >= 0.985) for n, v in zip(near, iou, strict=True)])
    for t in (0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95):
        print(
            f"  below {t}: holds {np.mean(p[~near_all] < t):.2f} of what is off, {np.mean(p[good] < t):.3f} of the rim of good photos"
        )
    weights = logistic(whole_x, values >= 0.985, ridge=1e-2)
    print("whole_weights", weights.round(3).tolist())
    p = probability(weights, whole_x)
    for t in (0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9):
        print(
            f"  below {t}: {np.mean(p[values < 0.985] < t):.2f} of the wrong ones, {np.mean(p[values >= 0.985] < t):.2f} of the good ones"
        )
    weights = logistic(np.array(hole_x), np.array(hole_y))
    print("hole_weights", weights.round(3).tolist(), "gaps", len(hole_y), "holes", int(np.sum(hole_y)))
    p = probability(weights, np.array(hole_x))
    for t in (0.3, 0.5, 0.7, 0.8):
        print(
            f"  from {t}: recall of gaps {np.mean(p[np.array(hole_y)] >= t):.2f}, precision {np.mean(np.array(hole_y)[p >= t]):.2f}"
        )


if __name__ == "__main__":
    main(Path(sys.argv[1]))
