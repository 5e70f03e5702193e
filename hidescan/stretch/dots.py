"""Inked dots and crosses on a hide, found in the photo brought to true scale.

Small spots that differ from the leather round them stand out in the top-hat and bottom-hat transforms (Serra 1982,
Image Analysis and Mathematical Morphology; Soille 2003, 4.5): the closing or opening over more than a spot's width
less the picture. What is found may be a scar or a pore as well; only what lies at the same place on two maps counts.
"""

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from hidescan.basics.geometry import Points
from hidescan.basics.opencv import parts
from hidescan.exports.rectified import Raster, raster_of, straight_down
from hidescan.hide_map.model import HideMap
from hidescan.settings.uses import DotSettings


def find_dots(rgb: NDArray[np.uint8], hide_map: HideMap, settings: DotSettings) -> Points:
    """Dots and crosses on a mapped hide.

    Parameters
    ----------
    rgb
        The map's photo, (H, W, 3).

    Returns
    -------
    Their middles in the hide frame, (K, 2) mm, the strongest first.
    """
    raster = raster_of(hide_map, px_per_m=min(settings.px_per_m, round(1000 / hide_map.camera.mm_per_px)))
    return _spots(straight_down(rgb, hide_map, raster), _leather(hide_map, raster, settings), raster, settings)


def _leather(hide_map: HideMap, raster: Raster, settings: DotSettings) -> NDArray[np.uint8]:
    """Where the leather is, away from the rim: 1, else 0. Holes stay in: ink may be taken for one; both move alike."""
    import cv2

    mask = np.zeros((raster.height_px, raster.width_px), np.uint8)
    inner = Polygon(hide_map.outline.hide_mm.coordinates[0]).buffer(-settings.rim_mm)
    for part in shapely.get_parts(inner):
        cv2.fillPoly(mask, [np.rint(raster.px(np.array(part.exterior.coords))).astype(np.int32)], 1)
    return mask


def _spots(view: NDArray[np.uint8], leather: NDArray[np.uint8], raster: Raster, settings: DotSettings) -> Points:
    """Middles of compact spots darker or lighter than the leather round them, mm."""
    import cv2

    side = 2 * round(0.6 * settings.most_mm / raster.mm_per_px) + 1
    box = cv2.getStructuringElement(cv2.MORPH_RECT, (side, side))
    smooth = cv2.GaussianBlur(view, (0, 0), 0.3 / raster.mm_per_px + 0.5)
    found: list[tuple[float, float, float]] = []
    for hat in (cv2.MORPH_BLACKHAT, cv2.MORPH_TOPHAT):
        # Any ink differs from leather in one channel at least.
        contrast = cv2.morphologyEx(smooth, hat, box).max(axis=2)
        on = contrast[leather > 0]
        if not len(on):
            continue
        middle = float(np.median(on))
        grain = 1.4826 * float(np.median(np.abs(on - middle)))
        limit = max(settings.least_contrast, middle + settings.least_sigma * grain)
        ink = ((contrast > limit) & (leather > 0)).astype(np.uint8)
        labels, stats = parts(ink)
        for label, (x, y, w, h, area) in enumerate(stats[1:].tolist(), start=1):
            long, short = max(w, h) * raster.mm_per_px, min(w, h) * raster.mm_per_px
            compact = short >= settings.least_round * long and area >= settings.least_filled * w * h
            if not (settings.least_mm <= long <= settings.most_mm and compact):
                continue
            weight = np.where(labels[y : y + h, x : x + w] == label, contrast[y : y + h, x : x + w], 0).astype(float)
            rows, columns = np.mgrid[y : y + h, x : x + w]
            total = weight.sum()
            found.append((total / area, float((weight * columns).sum() / total), float((weight * rows).sum() / total)))
    strongest = np.array(sorted(found, reverse=True)[: settings.most]).reshape(-1, 3)
    return strongest[:, 1:] * (1.0, -1.0) * raster.mm_per_px + (raster.left_mm, raster.top_mm)
