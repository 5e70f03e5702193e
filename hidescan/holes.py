"""Through holes: the fine network's second word, contoured inside the rim.

Through a hole one sees the floor, shaded by the leather round it, and a sickle of the leather's own thickness; a stain
or a dark patch of hair shows neither. The network was taught the difference on invented scenes (calibration/region/).
"""

from dataclasses import dataclass

import numpy as np

from hidescan.geometry import Points, signed_area
from hidescan.rim import Detail
from hidescan.settings import OutlineSettings


@dataclass(frozen=True, slots=True, eq=False)
class Hole:
    """A through hole: its ring (M, 2) in photo px and how sure it is, 0..1."""

    ring_px: Points
    confidence: float


def find_holes(detail: Detail, ring_px: Points, mm_per_px: float | None, settings: OutlineSettings) -> tuple[Hole, ...]:
    """Holes inside the rim, largest first.

    Parameters
    ----------
    ring_px
        The rim, (N, 2).
    mm_per_px
        Scale in the middle of the hide; None where unknown, then a size in pixels stands for the least size.
    """
    import cv2
    from skimage.measure import find_contours

    pixel = float(np.mean(detail.grid.step_px))
    inside = np.zeros(detail.hole.shape, dtype=np.uint8)
    cv2.fillPoly(inside, [np.rint(detail.grid.from_photo(ring_px)).astype(np.int32)], 1)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(((detail.hole > 0.5) & (inside > 0)).astype(np.uint8))
    least_px = settings.least_hole_px * pixel if mm_per_px is None else settings.least_hole_mm / mm_per_px
    found = []
    for label in range(1, count):
        x, y, w, h, _ = (int(v) for v in stats[label])
        box = (slice(max(y - 2, 0), y + h + 2), slice(max(x - 2, 0), x + w + 2))
        this = labels[box] == label
        confidence = float(detail.hole[box][this].max())
        if max(w, h) * pixel < least_px or confidence < settings.least_hole_confidence:
            continue
        near = cv2.dilate(this.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
        field = np.pad(np.where(near, detail.hole[box], 0.0), 1)
        contours = find_contours(field, 0.5)
        best = max(contours, key=lambda c: abs(signed_area(c)))
        if len(best) < 4:
            continue
        corner = np.array([box[1].start, box[0].start]) - 1.0
        found.append(Hole(detail.grid.to_photo(np.ascontiguousarray(best[:-1, ::-1]) + corner), confidence))
    return tuple(sorted(found, key=lambda hole: -abs(signed_area(hole.ring_px))))
