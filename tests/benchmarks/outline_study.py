"""Region, rim and holes over a folder of photos with truth, beside two general baselines.

``python -m tests.benchmarks.outline_study FOLDER [--taps] [--no-baselines]``

Each NAME.jpg needs a NAME.truth.json with `silhouette_px` (the visible rim), holes (`holes_mm`) and either `camera`
(f_px, cx, cy, k1, k2, R, t) or `homography_px_from_mm`; cards as `cards` (center_mm, angle_deg) or `cards_mm`. Photos
made by calibration/region/made.py qualify. Baselines: OpenCV's GrabCut seeded with the photo's border as floor, and
scikit-image's watershed of the gradient from the border and the middle. With --taps a simulated person taps the middle
of the largest wrong region, up to six times, wherever IoU < 0.985.
"""

import argparse
import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from hidescan.camera.model import Camera
from hidescan.outline.finding import Hint, Outline, find_outline
from hidescan.settings import OutlineSettings
from tests.benchmarks.recorded import recorded

Array = NDArray[np.float64]
GOOD = 0.985


@dataclass(frozen=True, eq=False)
class FlatCamera:
    """A plane seen through a homography, for photos whose truth has no camera."""

    px_from_floor: Array

    def px_from_mm(self, xy: Array) -> Array:
        return _through(self.px_from_floor, xy)

    def mm_from_px(self, px: Array) -> Array:
        return _through(np.asarray(np.linalg.inv(self.px_from_floor), dtype=np.float64), px)

    def mm_per_px(self, px: Array) -> Array:
        dx = self.mm_from_px(px + (0.5, 0)) - self.mm_from_px(px - (0.5, 0))
        dy = self.mm_from_px(px + (0, 0.5)) - self.mm_from_px(px - (0, 0.5))
        return np.asarray(np.sqrt(np.abs(dx[:, 0] * dy[:, 1] - dx[:, 1] * dy[:, 0])))


def _through(h: Array, xy: Array) -> Array:
    q = np.c_[xy, np.ones(len(xy))] @ h.T
    return np.asarray(q[:, :2] / q[:, 2:])


@dataclass(frozen=True, eq=False)
class Truth:
    camera: Any
    silhouette_px: Array
    holes_px: list[Array]
    cards_px: list[Array]
    expect: str
    inside_px: tuple[float, float]


def read_truth(path: Path) -> Truth:
    t = json.loads(path.read_text())
    if "camera" in t:
        c = t["camera"]
        camera: Any = Camera(
            c["f_px"], c["k1"], c["k2"], np.array([c["cx"], c["cy"]]), np.array(c["R"]), np.array(c["t"])
        )
    else:
        camera = FlatCamera(np.array(t["homography_px_from_mm"]))
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (105.0, 148.5)
    cards = [np.array(q) for q in t.get("cards_mm", [])]
    for card in t.get("cards", []):
        a = np.deg2rad(card["angle_deg"])
        turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        cards.append(corners @ turn.T + card["center_mm"])
    silhouette = np.array(t["silhouette_px"])
    point = shapely.Polygon(silhouette).buffer(0).representative_point()
    return Truth(
        camera, silhouette, [camera.px_from_mm(np.array(h)) for h in t["holes_mm"]],
        [camera.px_from_mm(q) for q in cards], t.get("expect", "ok"), (point.x, point.y),
    )  # fmt: skip


def polygon(ring: Array) -> shapely.Polygon:
    shape = shapely.Polygon(ring).buffer(0)
    return max(shape.geoms, key=lambda g: g.area) if hasattr(shape, "geoms") else shape


def iou(a: Any, b: Any) -> float:
    return float(a.intersection(b).area / max(a.union(b).area, 1e-9))


def dense(ring: Array, step: float) -> Array:
    line = shapely.LinearRing(ring)
    return shapely.get_coordinates(shapely.line_interpolate_point(line, np.arange(0, line.length, step)))


def rim_distance_mm(truth: Truth, ring: Array) -> Array:
    """Distances both ways, sampled every 2 px."""
    got, true = (truth.camera.mm_from_px(dense(r, 2.0)) for r in (ring, truth.silhouette_px))
    to_true = shapely.distance(shapely.points(got), shapely.LinearRing(true))
    to_got = shapely.distance(shapely.points(true), shapely.LinearRing(got))
    return np.r_[to_true, to_got]


def size_mm(truth: Truth, ring: Array) -> float:
    box = shapely.get_coordinates(shapely.Polygon(truth.camera.mm_from_px(ring)).minimum_rotated_rectangle)
    return float(np.hypot(*np.diff(box[:3], axis=0).T).max())


def match_holes(truth: Truth, outline: Outline, least_mm: float = 8.0) -> tuple[int, int, list[tuple[float, float]]]:
    """(true, found, [(size, IoU)] of the matched) from a longer side of 8 mm on."""
    true = [(polygon(h), size_mm(truth, h)) for h in truth.holes_px]
    found = [(polygon(h.ring_px), size_mm(truth, h.ring_px)) for h in outline.holes]
    pairs = sorted(((iou(t, f), i, j) for i, (t, _) in enumerate(true) for j, (f, _) in enumerate(found)), reverse=True)
    taken_t: dict[int, tuple[int, float]] = {}
    for value, i, j in pairs:
        overlap = true[i][0].intersection(found[j][0]).area > 0.3 * min(true[i][0].area, found[j][0].area)
        if overlap and i not in taken_t and j not in {k for k, _ in taken_t.values()}:
            taken_t[i] = (j, value)
    matched = [(true[i][1], v) for i, (_, v) in taken_t.items() if true[i][1] >= least_mm]
    small = {j for i, (j, _) in taken_t.items() if true[i][1] < least_mm}
    counted = [
        j
        for j, (_, s) in enumerate(found)
        if j not in small and (s >= least_mm or j in {k for k, _ in taken_t.values()})
    ]
    return sum(s >= least_mm for _, s in true), len(counted), matched


def grabcut_ring(rgb: NDArray[np.uint8]) -> Array | None:
    """OpenCV's GrabCut at 800 px, the photo's border (3 %) as floor, five rounds."""
    k = 800 / max(rgb.shape[:2])
    small = cv2.resize(rgb, None, fx=k, fy=k, interpolation=cv2.INTER_AREA)
    h, w = small.shape[:2]
    m = round(0.03 * max(h, w))
    seeds = np.full((h, w), cv2.GC_PR_FGD, np.uint8)
    seeds[:m], seeds[-m:], seeds[:, :m], seeds[:, -m:] = (cv2.GC_BGD,) * 4
    cv2.setRNGSeed(1)
    cv2.grabCut(small, seeds, (0, 0, 0, 0), np.zeros((1, 65)), np.zeros((1, 65)), 5, cv2.GC_INIT_WITH_MASK)
    return _ring_of(np.isin(seeds, (1, 3)), k)


def watershed_ring(rgb: NDArray[np.uint8]) -> Array | None:
    """scikit-image's watershed of the Sobel gradient (of CIELAB), markers: the border and the middle of the photo."""
    from skimage.color import rgb2lab
    from skimage.filters import sobel
    from skimage.segmentation import watershed

    k = 800 / max(rgb.shape[:2])
    small = cv2.GaussianBlur(cv2.resize(rgb, None, fx=k, fy=k, interpolation=cv2.INTER_AREA), (0, 0), 2.0)
    lab = rgb2lab(small)
    gradient = sum(sobel(lab[..., c]) for c in range(3))
    h, w = gradient.shape
    markers = np.zeros((h, w), np.int32)
    m = round(0.03 * max(h, w))
    markers[:m], markers[-m:], markers[:, :m], markers[:, -m:] = 1, 1, 1, 1
    markers[h * 2 // 5 : h * 3 // 5, w * 2 // 5 : w * 3 // 5] = 2
    return _ring_of(watershed(gradient, markers) == 2, k)


def _ring_of(mask: NDArray[np.bool_], k: float) -> Array | None:
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    best = max(contours, key=cv2.contourArea).reshape(-1, 2).astype(np.float64)
    return (best + 0.5) / k - 0.5 if len(best) >= 4 else None


def next_tap(truth: Truth, ring: Array, shape: tuple[int, ...]) -> Hint:
    """The middle (deepest point) of the largest wrong region, at a quarter of the photo's size."""
    k = 0.25
    masks = []
    for r in (truth.silhouette_px, ring):
        m = np.zeros((int(shape[0] * k), int(shape[1] * k)), np.uint8)
        cv2.fillPoly(m, [np.rint((r + 0.5) * k - 0.5).astype(np.int32)], 1)
        masks.append(m)
    wrong = (masks[0] != masks[1]).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(wrong, connectivity=4)
    largest = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
    depth = cv2.distanceTransform((np.pad(labels == largest, 1)).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    y, x = np.unravel_index(int(depth.argmax()), depth.shape)
    return Hint(((x + 0.5) / k - 0.5, (y + 0.5) / k - 0.5), bool(masks[0][y, x]))


def tapped(
    rgb: NDArray[np.uint8], truth: Truth, first: Outline | None, settings: OutlineSettings
) -> tuple[int, float, float]:
    """(taps, IoU reached, seconds of the slowest re-solve)."""
    hints: tuple[Hint, ...] = ()
    outline, slowest, value = first, 0.0, 0.0
    for count in range(7):
        if outline is not None:
            value = iou(polygon(outline.ring_px), polygon(truth.silhouette_px))
            if value >= GOOD or count == 6:
                return count, value, slowest
            hints += (next_tap(truth, outline.ring_px, rgb.shape),)
        else:
            hints += (Hint(truth.inside_px, True),)
        start = time.perf_counter()
        got = find_outline(rgb, truth.camera, truth.cards_px, settings, hints)
        slowest = max(slowest, time.perf_counter() - start)
        outline = got if isinstance(got, Outline) else None
    return 6, value, slowest


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--taps", action="store_true")
    parser.add_argument("--no-baselines", action="store_true")
    a = parser.parse_args()
    cv2.setNumThreads(2)
    settings = OutlineSettings()
    rows: list[dict[str, float]] = []
    base: dict[str, list[tuple[float, float, float, float]]] = {"grabcut": [], "watershed": []}
    matched: list[tuple[float, float]] = []
    for path in sorted(a.folder.glob("*.truth.json")):
        name = path.name.removesuffix(".truth.json")
        truth = read_truth(path)
        rgb = np.ascontiguousarray(np.asarray(cv2.imread(str(path.with_name(name + ".jpg"))))[..., ::-1])
        start = time.perf_counter()
        got = find_outline(rgb, truth.camera, truth.cards_px, settings)
        seconds = time.perf_counter() - start
        if truth.expect in ("cropped", "two-hides"):
            print(f"{name:24s} expected {truth.expect}: {got.code if not isinstance(got, Outline) else 'NOT REFUSED'}")
            if truth.expect == "cropped":
                continue
            got = find_outline(rgb, truth.camera, truth.cards_px, settings, hide_at=truth.inside_px)
        true = polygon(truth.silhouette_px)
        row: dict[str, float] = {"iou": 0.0, "mean": np.nan, "p95": np.nan, "warned": 1.0, "seconds": seconds}
        text = f"{name:24s} {'refused ' + got.code if not isinstance(got, Outline) else ''}"
        if isinstance(got, Outline):
            d = rim_distance_mm(truth, got.ring_px)
            off = shapely.distance(
                shapely.points(truth.camera.mm_from_px(got.ring_px)),
                shapely.LinearRing(truth.camera.mm_from_px(truth.silhouette_px)),
            )
            low = np.zeros(len(off), bool)
            for first, stop in got.doubtful:
                low[np.arange(first, stop) % len(low)] = True
            n_true, n_found, hits = match_holes(truth, got)
            matched += hits
            row |= {
                "iou": iou(polygon(got.ring_px), true), "mean": float(d.mean()), "p95": float(np.percentile(d, 95)),
                "warned": float(got.confidence_whole < settings.whole_doubt_below), "off": float((off > 5).sum()),
                "caught": float((low & (off > 5)).sum()), "low": float(low.mean()),
                "true": n_true, "found": n_found, "hit": len(hits),
            }  # fmt: skip
            text += (
                f"IoU {row['iou']:.4f} rim {row['mean']:.2f} / {row['p95']:.2f} mm, whole {got.confidence_whole:.2f}"
                f"{' WARNED' if row['warned'] else ''}, off > 5 mm {np.mean(off > 5):.3f} (shown "
                f"{row['caught'] / max(row['off'], 1):.2f}), shown {row['low']:.3f}, holes {len(hits)}/{n_true} of {n_found}"
            )
        text += f", {seconds:.2f} s"
        for kind, method in (("grabcut", grabcut_ring), ("watershed", watershed_ring)):
            if a.no_baselines:
                continue
            start = time.perf_counter()
            ring = method(rgb)
            took = time.perf_counter() - start
            d = rim_distance_mm(truth, ring) if ring is not None else np.array([np.nan])
            value = iou(polygon(ring), true) if ring is not None else 0.0
            base[kind].append((value, float(d.mean()), float(np.percentile(d, 95)), took))
            text += f" | {kind} {value:.4f}"
        if a.taps and row["iou"] < GOOD:
            count, value, slowest = tapped(rgb, truth, got if isinstance(got, Outline) else None, settings)
            row |= {"taps": count, "tapped": value}
            text += f" | {count} taps -> {value:.4f} (slowest {slowest:.2f} s)"
        rows.append(row)
        print(text, flush=True)
    summary(rows, matched, base)


def summary(rows: list[dict[str, float]], matched: list[tuple[float, float]], base: dict[str, Any]) -> None:
    def column(key: str) -> Array:
        return np.array([r[key] for r in rows if key in r])

    value, warned = column("iou"), column("warned")
    good = value >= GOOD
    print(
        f"\n{len(rows)} photos. IoU median {np.median(value):.4f}, worst {value.min():.4f}, >= 0.985: {good.mean():.2f}, >= 0.98: {(value >= 0.98).mean():.2f}"
    )
    print(
        f"warned: {int(warned[~good].sum())} of {int((~good).sum())} wrong ones, {int(warned[good].sum())} of {int(good.sum())} good ones"
    )
    mean, p95 = column("mean"), column("p95")
    print(
        f"rim: mean distance median {np.nanmedian(mean):.2f} mm, <= 1.5 on {np.mean(mean <= 1.5):.2f}; p95 <= 4 mm on {np.mean(p95 <= 4):.2f}"
    )
    low_good = np.array([r["low"] for r in rows if "low" in r and r["iou"] >= GOOD])
    print(
        f"doubtful stretches: hold {column('caught').sum() / max(column('off').sum(), 1):.2f} of what is off by > 5 mm; on good photos {low_good.mean():.3f} of the rim, most {low_good.max():.3f}"
    )
    n = column("true").sum(), column("found").sum(), column("hit").sum()
    all_iou, large = [v for _, v in matched], [v for s, v in matched if s >= 20]
    print(
        f"holes >= 8 mm: recall {n[2] / max(n[0], 1):.3f}, precision {n[2] / max(n[1], 1):.3f} ({int(n[0])} true, {int(n[1])} found); IoU {np.mean(all_iou):.2f}, from 20 mm {np.mean(large):.2f}"
    )
    print(f"seconds: median {np.median(column('seconds')):.2f}, most {column('seconds').max():.2f}")
    if "taps" in {k for r in rows for k in r}:
        print(
            f"taps: {(column('tapped') >= GOOD).sum()} of {len(column('tapped'))} reached 0.985; median taps {np.median(column('taps')):.0f}"
        )
    for kind, figures in base.items():
        if figures:
            f = np.array(figures)
            print(
                f"{kind}: IoU median {np.median(f[:, 0]):.4f}, worst {f[:, 0].min():.4f}, >= 0.985: {np.mean(f[:, 0] >= GOOD):.2f}; rim mean median {np.nanmedian(f[:, 1]):.2f} mm; seconds {np.median(f[:, 3]):.2f}"
            )


if __name__ == "__main__":
    with recorded("outline"):
        main()
