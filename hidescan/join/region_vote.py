"""One region on the floor from what every photo sees of it, and where no photo sees on.

Each photo votes on each cell of the floor that it shows: for hide inside its rim, for floor outside, firmly from
`firm_mm` on; its vote weighs by how near and square-on it sees the place (pixels to the mm2) and how sure it is of its
rim there and of its region as a whole, and fades towards its own border. Where the vote turns is the first guess.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points, counter_clockwise, resample, signed_area
from hidescan.camera.model import Camera
from hidescan.join.settings import CoverSettings

Array = NDArray[np.float64]

_COARSE = 4  # cells to a node at which a photo's view is worked out


@dataclass(frozen=True, slots=True, eq=False)
class SeenRim:
    """One photo's word on the rim.

    Attributes
    ----------
    ring_px
        (N, 2), closed; where the photo's frame cuts the hide it runs along the frame.
    u_px
        (N,) standard uncertainty across it.
    confidence
        (N,) that it is near the truth.
    whole
        Probability that the photo's region is right as a whole.
    """

    ring_px: Points
    u_px: Array
    confidence: Array
    whole: float = 1.0

    def inside_frame(self, size_px: tuple[int, int], border_share: float) -> NDArray[np.bool_]:
        """Which points stay clear of the photo's border, (N,)."""
        border = border_share * max(size_px)
        far = np.array(size_px) - 1.0
        return np.asarray(((self.ring_px > border) & (self.ring_px < far - border)).all(axis=1))


@dataclass(frozen=True, slots=True, eq=False)
class Cover:
    """The joined region: its ring (N, 2) floor mm, counter-clockwise, and which points no photo sees beyond, (N,)."""

    ring_mm: Points
    missing: NDArray[np.bool_]


def joined_cover(
    cameras: tuple[Camera, ...],
    sizes_px: tuple[tuple[int, int], ...],
    rims: tuple[SeenRim, ...],
    settings: CoverSettings,
) -> Cover:
    """Let the photos vote.

    Parameters
    ----------
    cameras, sizes_px, rims
        One for each photo, cameras over one floor.
    """
    from skimage.measure import find_contours

    floors = [camera.mm_from_px(rim.ring_px) for camera, rim in zip(cameras, rims, strict=True)]
    low, high = (getattr(np.vstack(floors), kind)(axis=0) for kind in ("min", "max"))
    cell = max(settings.cell_mm, float((high - low).max()) / settings.most_cells)
    margin = 2 * settings.firm_mm
    shape = tuple(_COARSE * (int((high[i] - low[i] + 2 * margin) / cell / _COARSE) + 2) for i in (1, 0))
    corner = low - margin
    votes, weights = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    for camera, size, rim, floor in zip(cameras, sizes_px, rims, floors, strict=True):
        weight = _view_weight(camera, size, corner, cell, shape, settings)
        depth, nearest = _depth((floor - corner) / cell, shape)
        firm = np.clip(depth * np.float32(cell / settings.firm_mm), -1.0, 1.0)
        weight *= np.maximum(rim.whole * rim.confidence.astype(np.float32)[nearest], np.float32(0.05)) ** 2
        votes += weight * firm
        weights += weight
    seen = weights > 0
    field = np.where(seen, votes / np.maximum(weights, 1e-12), -1.0)
    contours = find_contours(_one_piece(field), 0.0)  # type: ignore[no-untyped-call]
    best = max(contours, key=lambda ring: abs(signed_area(ring)))
    ring = counter_clockwise(np.ascontiguousarray(best[:-1, ::-1]))
    ring = resample(ring, settings.cell_mm / cell)
    return Cover(ring * cell + corner, _beside_unseen(ring, seen))


def missing_stretches(cover: Cover, settings: CoverSettings) -> list[Points]:
    """The stretches of the ring beyond which no photo sees, the longest first, (n, 2) floor mm each."""
    from hidescan.outline.finding import stretches

    n = len(cover.ring_mm)
    runs = [cover.ring_mm[np.arange(a, b) % n] for a, b in stretches(cover.missing, 2)]
    lengths = [float(np.linalg.norm(np.diff(run, axis=0), axis=1).sum()) for run in runs]
    return [runs[i] for i in np.argsort(lengths)[::-1] if lengths[i] >= settings.least_missing_mm]


def _view_weight(
    camera: Camera,
    size_px: tuple[int, int],
    corner: Points,
    cell: float,
    shape: tuple[int, ...],
    settings: CoverSettings,
) -> NDArray[np.float32]:
    """Pixels to the mm2 where the photo shows a cell, fading in from its border; 0 where it does not, (H, W)."""
    import cv2

    rows, columns = (np.arange(n // _COARSE) * _COARSE + (_COARSE - 1) / 2 for n in shape)
    x, y = np.meshgrid(columns * cell + corner[0], rows * cell + corner[1])
    px = camera.px_from_mm(np.column_stack([x.ravel(), y.ravel()]))
    inside = np.nan_to_num(np.minimum(px, np.array(size_px) - 1.0 - px).min(axis=1), nan=-1.0)
    border, fade = settings.border_share * max(size_px), settings.fade_share * max(size_px)
    weight = np.clip((inside - border) / fade, 0.0, 1.0)
    shown = weight > 0
    weight[shown] /= camera.mm_per_px(px[shown]) ** 2
    weight[~np.isfinite(weight)] = 0.0
    coarse = weight.reshape(len(rows), len(columns)).astype(np.float32)
    return np.asarray(cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_LINEAR), dtype=np.float32)


def _depth(ring: Points, shape: tuple[int, ...]) -> tuple[NDArray[np.float32], NDArray[np.intp]]:
    """Depth of each cell inside a ring (outside: negative), in cells, and the ring's point nearest to it, (H, W)."""
    import cv2

    inside = np.zeros(shape, np.uint8)
    cv2.fillPoly(inside, [np.rint(ring * 16).astype(np.int32)], 1, shift=4)
    dense = np.rint(ring).astype(int)
    dense = np.clip(dense, 0, (shape[1] - 1, shape[0] - 1))
    index = np.full(shape, -1, dtype=np.intp)
    index[dense[:, 1], dense[:, 0]] = np.arange(len(ring))
    line = np.where(index >= 0, 0, 1).astype(np.uint8)
    distance, labels = cv2.distanceTransformWithLabels(line, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    of_label = np.zeros(int(labels.max()) + 1, dtype=np.intp)
    of_label[labels[line == 0]] = index[line == 0]
    depth = np.where(inside > 0, distance, -distance).astype(np.float32)
    return depth, of_label[labels]


def _one_piece(field: Array) -> Array:
    """The field with only its largest positive piece left, and nothing enclosed in it."""
    from hidescan.outline.coarse import filled, largest

    mask = filled(largest(field > 0))
    field = np.where(mask, np.maximum(field, 1e-3), np.minimum(field, -1e-3))
    return np.pad(field[1:-1, 1:-1], 1, constant_values=-1.0)


def _beside_unseen(ring: Points, seen: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Ring points with a cell that no photo shows within two cells, (N,)."""
    import cv2

    near = cv2.dilate((~seen).astype(np.uint8), np.ones((5, 5), np.uint8))
    at = np.clip(np.rint(ring).astype(int), 0, (seen.shape[1] - 1, seen.shape[0] - 1))
    return np.asarray(near[at[:, 1], at[:, 0]] > 0)
