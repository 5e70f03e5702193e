"""Through holes: the fine network's second word, checked against the floor's colour, contoured inside the rim.

Through a hole one sees the floor, shaded by the leather round it, and a sickle of the leather's own thickness; a stain
or a dark patch of hair shows neither. The network was taught the difference on invented scenes (calibration/region/);
a logistic regression adds the shape of the gap and whether its colour is the floor's or the leather's.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points, signed_area
from hidescan.basics.opencv import parts
from hidescan.outline.contour import Detail
from hidescan.settings import OutlineSettings


@dataclass(frozen=True, slots=True, eq=False)
class Hole:
    """A through hole: its ring (M, 2) in photo px and how sure it is, 0..1."""

    ring_px: Points
    confidence: float


@dataclass(frozen=True, slots=True, eq=False)
class Gap:
    """A candidate: its ring in photo px and `hole_measures`."""

    ring_px: Points
    measures: NDArray[np.float64]


def find_holes(detail: Detail, ring_px: Points, mm_per_px: float | None, settings: OutlineSettings) -> tuple[Hole, ...]:
    """Holes inside the rim, largest first.

    Parameters
    ----------
    ring_px
        The rim, (N, 2).
    mm_per_px
        Scale in the middle of the hide; None where unknown, then a size in pixels stands for the least size.
    """
    weights = np.array(settings.hole_weights)
    found = []
    for gap in find_gaps(detail, ring_px, mm_per_px, settings):
        confidence = float(1.0 / (1.0 + np.exp(-(weights[0] + weights[1:] @ gap.measures))))
        if confidence >= settings.least_hole_confidence:
            found.append(Hole(gap.ring_px, confidence))
    return tuple(sorted(found, key=lambda hole: -abs(signed_area(hole.ring_px))))


def find_gaps(detail: Detail, ring_px: Points, mm_per_px: float | None, settings: OutlineSettings) -> list[Gap]:
    """Every gap inside the rim that the network takes for a hole, with its measures."""
    import cv2
    from skimage.measure import find_contours

    pixel = float(np.mean(detail.grid.step_px))
    inside = np.zeros(detail.hole.shape, dtype=np.uint8)
    cv2.fillPoly(inside, [np.rint(detail.grid.from_photo(ring_px)).astype(np.int32)], 1)
    labels, stats = parts(((detail.hole > 0.5) & (inside > 0)).astype(np.uint8))
    least_px = settings.least_hole_px * pixel if mm_per_px is None else settings.least_hole_mm / mm_per_px
    gaps = []
    tones = _tones(detail, inside) if len(stats) > 1 else None
    for label, (x, y, w, h, area) in enumerate(stats.tolist()):
        if not area or max(w, h) * pixel < least_px or tones is None:
            continue
        box = (slice(max(y - 2, 0), y + h + 2), slice(max(x - 2, 0), x + w + 2))
        this = labels[box] == label
        near = cv2.dilate(this.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
        alone = np.pad(np.where(near, detail.hole[box], 0.0), 1)
        contours = find_contours(alone, 0.5)  # type: ignore[no-untyped-call]
        best = max(contours, key=lambda c: abs(signed_area(c)))
        if len(best) < 5:
            continue
        local = np.ascontiguousarray(best[:-1, ::-1])
        corner = np.array([box[1].start, box[0].start]) - 1.0
        measures = hole_measures(detail, tones, this, box, local)
        gaps.append(Gap(detail.grid.to_photo(local + corner), measures))
    return gaps


Tones = NDArray[np.float64]
_BINS = 48


def _tones(detail: Detail, inside: NDArray[np.uint8]) -> Tones:
    """For each colour free of lightness the log ratio of its shares in floor and leather, by every fourth pixel."""
    import cv2

    index = _tone_index(detail.lab[::2, ::2])
    hide, hole, within = detail.hide[::2, ::2], detail.hole[::2, ::2], inside[::2, ::2]

    def spread(mask: NDArray[np.bool_]) -> NDArray[np.float64]:
        counts = np.bincount(index[mask], minlength=_BINS * _BINS).reshape(_BINS, _BINS).astype(np.float64)
        smooth = cv2.GaussianBlur(counts / max(counts.sum(), 1.0), (0, 0), 1.0)
        return np.asarray(smooth + 1e-4, dtype=np.float64)

    floor = spread((hide < 0.05) & (within == 0))
    leather = spread((hide > 0.9) & (hole < 0.1))
    return np.asarray(np.log(floor / leather).ravel(), dtype=np.float64)


def _tone_index(lab: NDArray[np.uint8]) -> NDArray[np.int32]:
    """The bin of each colour (..., 3): CIELAB's a and b as they would be at one lightness."""
    light = np.maximum(lab[..., 0].astype(np.float32), np.float32(24.0))
    row, column = (
        np.clip((lab[..., k] - np.float32(128.0)) * (np.float32(60.0) / light) + _BINS / 2, 0, _BINS - 1)
        for k in (1, 2)
    )
    return np.asarray(row.astype(np.int32) * _BINS + column.astype(np.int32), dtype=np.int32)


def hole_measures(
    detail: Detail, tones: Tones, this: NDArray[np.bool_], box: tuple[slice, slice], ring: Points
) -> NDArray[np.float64]:
    """What tells a hole from a mark.

    1. log odds of the network's mean probability within;
    2. solidity: area over that of the convex hull, less one; a brand's strokes are far from convex;
    3. mean log ratio of floor and leather at its colours;
    4. logarithm of its length over its width.
    """
    import cv2

    p = float(np.clip(detail.hole[box][this].mean(), 0.01, 0.99))
    points = ring.astype(np.float32)
    hull = float(cv2.contourArea(cv2.convexHull(points)))
    solidity = abs(signed_area(ring)) / max(hull, 1e-6)
    _, (a, b), _ = cv2.minAreaRect(points)
    core = cv2.erode(this.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    core = core if core.sum() >= 4 else this
    lab = detail.lab[box][core]
    trust = np.minimum(lab[:, 0] / 50.0, 1.0)  # the colour of what is nearly black says nothing
    tone = float((tones[_tone_index(lab)] * trust).mean())
    slender = float(np.log((max(a, b) + 1.0) / (min(a, b) + 1.0)))
    return np.array([np.log(p / (1.0 - p)), solidity - 1.0, tone, slender])
