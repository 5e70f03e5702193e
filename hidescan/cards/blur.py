"""How blurred a photo is, whatever it shows: for photos in which no card can be read."""

import numpy as np
from numpy.typing import NDArray

_FIRST_PX, _MORE_PX = 1.0, 3.0
_SHARE = 0.001  # of the pixels: the photo's strongest edges
_LEAST_GREY_PER_PX = 1.0


def edge_blur_px(grey: NDArray[np.uint8]) -> float:
    """Standard deviation of the spread of a photo's strongest edges, px; NaN where it has none.

    A step blurred by s has a slope of 1 / s; blurred once more by m, of 1 / sqrt(s^2 + m^2). The ratio of the two
    slopes, where the first is greatest, gives s (Zhuo and Sim 2011). Their median over the strongest edges is taken:
    what is sharp anywhere in the photo decides.

    Parameters
    ----------
    grey
        (H, W) uint8.
    """
    slopes = [_slope(grey, blur) for blur in (_FIRST_PX, _MORE_PX)]
    least = float(np.quantile(slopes[0], 1 - _SHARE))
    strong = slopes[0] >= max(least, _LEAST_GREY_PER_PX)
    if not strong.any():
        return float("nan")
    ratio2 = np.square(slopes[0][strong] / np.maximum(slopes[1][strong], 1e-6))
    spread2 = (_MORE_PX**2 - ratio2 * _FIRST_PX**2) / np.maximum(ratio2 - 1, 1e-6)
    return float(np.sqrt(max(float(np.median(spread2)), 0.0)))


def _slope(grey: NDArray[np.uint8], blur_px: float) -> NDArray[np.float32]:
    import cv2

    soft = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), blur_px)
    dx, dy = (cv2.Sobel(soft, cv2.CV_32F, *way, ksize=1) / 2 for way in ((1, 0), (0, 1)))
    return np.asarray(cv2.magnitude(dx, dy), dtype=np.float32)
