"""Faults on the hide: cuts from the rim, brands, stains, scratches, wrinkles.

The fine network says for each pixel how probable each kind is; it was taught on invented scenes beside patches of hair,
stripes, mottling, folds, shadows and glare that are none (calibration/region/). Pixels become candidates here, and a
logistic regression for each kind says how sure a candidate is. Through holes are found in `holes`.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points
from hidescan.basics.opencv import parts
from hidescan.outline.contour import FAULTS, Detail, FaultKind
from hidescan.settings import FaultSettings, KindSettings

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Fault:
    """A fault: its kind, its ring (M, 2) in photo px and how sure it is, 0..1."""

    kind: FaultKind
    ring_px: Points
    confidence: float


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """What may be a fault, and `fault_measures`."""

    kind: FaultKind
    ring_px: Points
    measures: NDArray[np.float64]


def find_faults(
    detail: Detail, ring_px: Points, holes: Iterable[Points], mm_per_px: float, settings: FaultSettings
) -> tuple[Fault, ...]:
    """Faults of the hide within its rim `ring_px` (N, 2), beside its through holes; `mm_per_px` in its middle."""
    found = []
    for candidate in find_candidates(detail, ring_px, holes, mm_per_px, settings):
        of_kind: KindSettings = getattr(settings, candidate.kind)
        weights = np.array(of_kind.weights)
        confidence = float(1.0 / (1.0 + np.exp(-(weights[0] + weights[1:] @ candidate.measures))))
        if confidence >= of_kind.least_confidence:
            found.append(Fault(candidate.kind, candidate.ring_px, confidence))
    return tuple(found)


def find_candidates(
    detail: Detail, ring_px: Points, holes: Iterable[Points], mm_per_px: float, settings: FaultSettings
) -> list[Candidate]:
    """Everything that the network takes for a fault, with its measures."""
    import cv2

    mm = mm_per_px * float(np.mean(detail.grid.step_px))
    inside = np.zeros(detail.hide.shape, dtype=np.uint8)
    cv2.fillPoly(inside, [np.rint(detail.grid.from_photo(ring_px)).astype(np.int32)], 1)
    leather = inside.copy()
    for hole in holes:
        cv2.fillPoly(leather, [np.rint(detail.grid.from_photo(hole)).astype(np.int32)], 0)
    near = cv2.dilate(inside, np.ones((2 * settings.rim_px + 1,) * 2, np.uint8)) > 0
    lab = np.asarray(cv2.GaussianBlur(detail.lab, (0, 0), 1.0), dtype=np.uint8)
    found = []
    for kind, p in zip(FAULTS, detail.faults, strict=True):
        of_kind: KindSettings = getattr(settings, kind)
        here = near if kind == "cut" else leather > 0
        mask = ((p > of_kind.level) & here).astype(np.uint8)
        if not mask.any():
            continue
        if (gap := round(of_kind.gap_mm / mm)) > 0:
            brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * (gap // 2) + 1,) * 2)
            mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, brush)
        labels, stats = parts(mask)
        for label, (x, y, w, h, area) in enumerate(stats.tolist()):
            if not area or np.hypot(w, h) * mm < of_kind.least_mm:
                continue
            r = settings.surround_px
            box = (slice(max(y - r, 0), y + h + r), slice(max(x - r, 0), x + w + r))
            this = labels[box] == label
            ring = _ring(this, hull=kind == "brand")
            _, (a, b), _ = cv2.minAreaRect(ring.astype(np.float32))
            if max(a, b) * mm < of_kind.least_mm:
                continue
            measures = fault_measures(this, p[box], lab[box], leather[box] > 0, max(a, b) * mm)
            corner = np.array([box[1].start, box[0].start])
            found.append(Candidate(kind, detail.grid.to_photo(ring + corner), measures))
    return found


def _ring(this: Mask, *, hull: bool) -> Points:
    """Outer ring of a part (M, 2), on the window's grid; a brand is taken as the hull of its strokes."""
    import cv2
    from skimage.measure import find_contours

    soft = cv2.GaussianBlur(np.pad(this, 2).astype(np.float32), (0, 0), 0.7)
    best = max(find_contours(soft, 0.35), key=len)  # type: ignore[no-untyped-call]
    ring = np.ascontiguousarray(best[:-1, ::-1]) - 2.0
    return cv2.convexHull(ring.astype(np.float32))[:, 0].astype(np.float64) if hull else ring


def fault_measures(
    this: Mask, p: NDArray[np.float32], lab: NDArray[np.uint8], leather: Mask, length_mm: float
) -> NDArray[np.float64]:
    """What tells a fault from what looks like one, (7,).

    1. log odds of the network's mean probability within;
    2. the same of its ninth decile;
    3. solidity: area over that of the convex hull, less one; patches of hair are ragged;
    4. logarithm of its length in mm;
    5. the share of its surroundings that is not leather: shadows run on beyond the rim;
    6. difference in lightness from the leather round it, tens of grey levels, its size;
    7. the same in colour, the larger of CIELAB's a and b.
    """
    import cv2

    within = np.clip(p[this], 0.01, 0.99)
    odds = [float(np.log(v / (1.0 - v))) for v in (within.mean(), np.quantile(within, 0.9))]
    points = np.argwhere(this).astype(np.float32)
    hull = float(cv2.contourArea(cv2.convexHull(points))) + len(points) ** 0.5
    close = cv2.dilate(this.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    wide = cv2.dilate(this.astype(np.uint8), np.ones((15, 15), np.uint8)) > 0
    around = wide & ~close
    beside = around & leather
    change = np.zeros(3)
    if beside.any():
        change = np.abs(np.median(lab[this], axis=0).astype(float) - np.median(lab[beside], axis=0)) / 10.0
    off = 1.0 - float(beside.sum()) / max(1, int(around.sum()))
    return np.array([*odds, len(points) / hull - 1.0, np.log(length_mm), off, change[0], max(change[1:])])
