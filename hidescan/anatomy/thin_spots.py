"""Thin spots seen against the light."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from hidescan.anatomy.transmission import thickness_of
from hidescan.basics.geometry import Points
from hidescan.basics.opencv import parts, points
from hidescan.settings import LightSettings

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class ThinSpot:
    """A place thinner than its surroundings: its ring (N, 2), column and row in squares of the density.

    `share` is its thickness over that of its surroundings, `confidence` the probability that it is such a place.
    """

    ring: Points
    share: float
    confidence: float


def relative_thickness(density: Array, settings: LightSettings) -> Array:
    """Thickness over the hide's median at densities (R, C), by the law as the settings take it; NaN stays NaN.

    Without gauge readings the scale of the law is not known, but it drops out of a ratio.
    """
    thickness = thickness_of(np.nan_to_num(density), np.array(settings.law_prior))
    relative = thickness / max(float(np.nanmedian(np.where(np.isfinite(density), thickness, np.nan))), 1e-9)
    return np.where(np.isfinite(density), relative, np.nan)


def thin_spots(density: Array, u: float, settings: LightSettings) -> tuple[ThinSpot, ...]:
    """Spots at least `thin_width_mm` wide and `thin_share` thinner than their surroundings.

    Parameters
    ----------
    density
        (R, C) optical density on squares of about `settings.step_mm`; NaN where it is not known.
    u
        Its standard uncertainty.
    """
    step_mm, relative = settings.step_mm, relative_thickness(density, settings)
    known = np.isfinite(relative)
    around = _surroundings(relative, known, round(settings.surround_mm / step_mm / 2))
    ratio = np.where(known, relative / np.maximum(around, 1e-6), 1.0)
    thin = (ratio < 1.0 - settings.found_share * settings.thin_share).astype(np.uint8)
    found = []
    labels, stats = parts(thin)
    for label in range(1, len(stats)):
        spot = labels == label
        # Its width: twice the farthest from its edge; its depth: the middle of what lies well inside.
        from_edge = cv2.distanceTransform(spot.astype(np.uint8), cv2.DIST_L2, 5)
        width_mm = 2.0 * float(from_edge.max()) * step_mm
        depth = 1.0 - float(np.quantile(ratio[spot], 0.25))
        if width_mm < settings.found_width_share * settings.thin_width_mm or depth < settings.thin_share:
            continue
        noise = max(u / 2.0, settings.leather_share_u)
        confidence = 1.0 / (1.0 + float(np.exp(-(depth - settings.thin_share) / noise - 1.0)))
        found.append(ThinSpot(_ring(spot), 1.0 - depth, min(confidence, 0.99)))
    return tuple(found)


def _surroundings(relative: Array, known: NDArray[np.bool_], reach: int) -> Array:
    """The median of what is known within `reach` squares, from a coarse copy: thin spots are in the minority there."""
    step = max(1, reach // 5)
    rows = range(0, relative.shape[0], step)
    columns = range(0, relative.shape[1], step)
    values = np.where(known, relative, np.nan)
    coarse = np.full((len(rows), len(columns)), np.nan)
    for i, r in enumerate(rows):
        for j, c in enumerate(columns):
            part = values[max(0, r - reach) : r + reach + 1, max(0, c - reach) : c + reach + 1]
            part = part[np.isfinite(part)]
            if len(part):
                coarse[i, j] = np.quantile(part, 0.6)
    filled = np.where(np.isfinite(coarse), coarse, np.nanmedian(coarse) if np.isfinite(coarse).any() else 1.0)
    xs, ys = np.meshgrid(np.arange(relative.shape[1]), np.arange(relative.shape[0]))
    at = (xs / step).astype(np.float32), (ys / step).astype(np.float32)
    fine = cv2.remap(filled.astype(np.float32), *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(fine, dtype=np.float64)


def _ring(spot: NDArray[np.bool_]) -> Points:
    contours, _ = cv2.findContours(spot.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outer = points(max(contours, key=len))
    if len(outer) < 3:
        x, y = outer.mean(axis=0)
        return np.array([[x - 0.5, y - 0.5], [x + 0.5, y - 0.5], [x + 0.5, y + 0.5], [x - 0.5, y + 0.5]])
    middle = outer.mean(axis=0)
    away = outer - middle
    length = np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-9)
    return np.asarray(middle + away * (1.0 + 0.5 / length))  # contours run through the middles of the outermost squares
