"""How sure an outline is: along the rim, and as a whole.

Both are logistic regressions on plain measures, fitted on made, rendered and real photos (calibration/region/).
"""

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import outward_normals, signed_area
from hidescan.outline.coarse import Region
from hidescan.outline.contour import Detail, RimLine, sample
from hidescan.settings import OutlineSettings

Array = NDArray[np.float64]


def spread(rim: RimLine, settings: OutlineSettings) -> Array:
    """Standard uncertainty of each rim point along its normal, photo px.

    Seen from inside to outside, the probability along the normal is one minus the distribution function of where the
    rim is; its standard deviation, scaled to the errors on held-out scenes, is the uncertainty.
    """
    falling = np.minimum.accumulate(np.clip(rim.profile, 0.0, 1.0), axis=1)
    mass = -np.diff(falling, axis=1)
    middle = (rim.offsets_px[1:] + rim.offsets_px[:-1]) / 2
    lost = np.clip(1.0 - mass.sum(axis=1), 0.0, 1.0)
    variance = (mass * middle**2).sum(axis=1) + lost * float(rim.offsets_px[-1]) ** 2
    floor = settings.u_floor * float(rim.offsets_px[1] - rim.offsets_px[0])
    return np.asarray(np.hypot(settings.u_scale * np.sqrt(variance), floor))


def rim_measures(rim: RimLine, region: Region, detail: Detail, near_px: float) -> Array:
    """What speaks for and against each rim point, (N, 7).

    1. log odds of the fine probability's fall within `near_px` of the rim;
    2. distance of the coarse probability from one half at the rim;
    3. the fall of the coarse probability across the rim;
    4. the same of the network's first word, before colours;
    5. a sheet or thing lying there;
    6. logarithm of the difference of colour between the two sides;
    7. the share of the change of colour across the strip that happens at the rim.
    """
    import cv2

    falling = np.clip(rim.profile, 0.0, 1.0)
    offsets = rim.offsets_px
    at = [int(np.argmin(np.abs(offsets - d))) for d in (-near_px, near_px)]
    within = np.clip(falling[:, at[0]] - falling[:, at[1]], 0.02, 0.98)
    normals = outward_normals(rim.ring_px)
    step = float(np.mean(region.grid.step_px))

    def coarse(field: NDArray[np.float32], away_px: float) -> Array:
        return sample(field, region.grid.from_photo(rim.ring_px + normals * away_px))

    lab = np.asarray(cv2.GaussianBlur(detail.lab.astype(np.float32), (0, 0), 1.0), dtype=np.float32)
    pixel = float(np.mean(detail.grid.step_px))
    steps = np.arange(-9, 10, 2) * pixel
    where = detail.grid.from_photo((rim.ring_px[:, None] + normals[:, None] * steps[:, None]).reshape(-1, 2))
    strip = sample(lab, where).reshape(len(normals), -1, 3)
    sides = np.linalg.norm(strip[:, :4].mean(axis=1) - strip[:, -4:].mean(axis=1), axis=1)
    change = np.linalg.norm(np.diff(strip, axis=1), axis=2)
    at_rim = change[:, 3:6].sum(axis=1) / np.maximum(change.sum(axis=1), 1e-6)
    return np.column_stack([
        np.log(within / (1.0 - within)),
        np.abs(coarse(region.probability, 0.0) - 0.5),
        coarse(region.probability, -2 * step) - coarse(region.probability, 2 * step),
        coarse(region.first_word, -2 * step) - coarse(region.first_word, 2 * step),
        coarse(region.cover, 0.0),
        np.log(sides + 1.0),
        at_rim,
    ])  # fmt: skip


def rim_confidence(measures: Array, settings: OutlineSettings) -> Array:
    """Probability that each point of the rim is near the truth, (N,)."""
    weights = np.array(settings.rim_weights)
    return np.asarray(
        1.0 / (1.0 + np.exp(-(weights[0] + smoothed(measures, settings.confidence_window) @ weights[1:])))
    )


def smoothed(measures: Array, window: int) -> Array:
    """Means over a window along the closed ring, (N, K)."""
    n = len(measures)
    window = min(window, n)
    wrapped = np.concatenate([measures[n - window :], measures, measures[:window]])
    sums = np.cumsum(np.concatenate([np.zeros((1, measures.shape[1])), wrapped]), axis=0)
    first = np.arange(n) + window - window // 2
    return np.asarray((sums[first + window] - sums[first]) / window)


def open_area_u(region: Region, rim: RimLine) -> float:
    """Standard uncertainty of the area from patches that may be hide or floor, as a share of the hide's area.

    Each connected patch away from the rim on which the network has no firm word is either all hide or all floor; with
    the mean probability p and the area A its variance is p (1 - p) A^2 (a two-point distribution).
    """
    import cv2

    first, away, area = _away_from_rim(region, rim)
    count, labels = cv2.connectedComponents(((np.minimum(first, 1.0 - first) > 0.05) & (away > 0)).astype(np.uint8))
    areas = np.bincount(labels.ravel(), minlength=count)[1:].astype(float)
    p = np.bincount(labels.ravel(), first.ravel(), minlength=count)[1:] / np.maximum(areas, 1.0)
    return float(np.sqrt(np.sum(p * (1.0 - p) * areas**2)) / area)


def _away_from_rim(region: Region, rim: RimLine) -> tuple[NDArray[np.float32], NDArray[np.uint8], float]:
    """The network's first word, 1 where it is not within 4 px of the rim, and the hide's area, all on the grid."""
    import cv2

    first = region.first_word
    ring = region.grid.from_photo(rim.ring_px)
    away = np.ones(first.shape, dtype=np.uint8)
    cv2.polylines(away, [np.rint(ring * 16).astype(np.int32)], True, 0, 9, shift=4)
    return first, away, max(float(abs(signed_area(ring))), 1.0)


def whole_measures(region: Region, detail: Detail, rim: RimLine, rim_confidences: Array) -> Array:
    """What speaks for and against the whole, (5,).

    1. log odds of the mean confidence of the rim;
    2. logarithm of the share of the rim that is more likely wrong than right;
    3. logarithm of the share of the hide's area that the coarse network left open away from the rim, before colours;
    4. logarithm of how far the outline differs from the coarse network's (one less IoU);
    5. logarithm of the hide that the coarse network sees elsewhere, as a share of the hide.
    """
    import cv2

    first, away, area = _away_from_rim(region, rim)
    open_share = float((np.minimum(first, 1.0 - first) * away).sum()) / area
    mean = float(np.clip(rim_confidences.mean(), 0.01, 0.999))
    inside = np.zeros(detail.coarse.shape, dtype=np.uint8)
    cv2.fillPoly(inside, [np.rint(detail.grid.from_photo(rim.ring_px)).astype(np.int32)], 1)
    fine, coarse = inside > 0, detail.coarse > 0.5
    agreement = float((fine & coarse).sum()) / max(float((fine | coarse).sum()), 1.0)
    elsewhere = float(first[~region.mask].sum()) / max(float(first[region.mask].sum()), 1.0)
    return np.array([
        np.log(mean / (1.0 - mean)),
        np.log(float((rim_confidences < 0.5).mean()) + 0.01),
        np.log(open_share + 1e-3),
        np.log(1.003 - agreement),
        np.log(elsewhere + 0.01),
    ])  # fmt: skip


def whole_confidence(
    region: Region, detail: Detail, rim: RimLine, rim_confidences: Array, settings: OutlineSettings, *, scaled: bool
) -> float:
    """Probability that the whole is right: IoU with the visible silhouette >= 0.985, >= 0.975 where not `scaled`."""
    weights = np.array(settings.whole_weights if scaled else settings.whole_weights_unscaled)
    measures = whole_measures(region, detail, rim, rim_confidences)
    return float(1.0 / (1.0 + np.exp(-(weights[0] + weights[1:] @ measures))))
