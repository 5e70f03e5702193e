"""OpenCV 5 gives points as (N, 2) from some calls and (N, 1, 2) from others; here they become (N, 2), checked.

A silent mix is dangerous: ``(N, 2) - (N, 1, 2)`` broadcasts to (N, N, 2) without an error.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hidescan.basics.geometry import Points

Pixels = NDArray[np.uint8]


def points(array: ArrayLike) -> Points:
    """Points from any OpenCV call as (N, 2) float64.

    Raises
    ------
    ValueError
        If the array does not hold pairs.
    """
    given = np.asarray(array, dtype=np.float64)
    if given.shape[-1] != 2:
        raise ValueError(f"Expected points as pairs, got an array of shape {given.shape}.")
    return given.reshape(-1, 2)


def reduced(picture: Pixels, size: tuple[int, int]) -> Pixels:
    """A picture, (H, W) or (H, W, 3), averaged down to (width, height).

    Halved while it can be, which OpenCV does ten times faster than any other average; an odd last row or column is left
    out then. What remains, under a half, is averaged by areas.
    """
    import cv2

    while picture.shape[1] >= 2 * size[0] and picture.shape[0] >= 2 * size[1]:
        half = (picture.shape[1] // 2, picture.shape[0] // 2)
        even = picture[: 2 * half[1], : 2 * half[0]]
        picture = np.asarray(cv2.resize(even, half, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    if picture.shape[1::-1] == size:
        return picture
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def parts(mask: Pixels) -> tuple[NDArray[np.int32], NDArray[np.intp]]:
    """Connected parts of a mask (H, W), through edges and corners of pixels.

    OpenCV's own statistics visit the ground too: six times the time of the labelling where little is marked.

    Returns
    -------
    Labels (H, W), 0 on the ground; and x, y, width, height, area of each label, (K, 5), zeros for the ground.
    """
    import cv2

    count, labels = cv2.connectedComponents(mask)
    stats = np.zeros((count, 5), dtype=np.intp)
    if count > 1:
        xy = np.asarray(cv2.findNonZero(mask)).reshape(-1, 2)
        label = labels[xy[:, 1], xy[:, 0]]
        stats[:, 4] = np.bincount(label, minlength=count)
        starts = np.cumsum(stats[:-1, 4])
        sorted_xy = xy[np.argsort(label, kind="stable")]
        low, high = np.minimum.reduceat(sorted_xy, starts), np.maximum.reduceat(sorted_xy, starts)
        stats[1:, :2], stats[1:, 2:4] = low, high - low + 1
    return np.asarray(labels, dtype=np.int32), stats


def grey_of(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Grey picture (H, W) of an RGB one (ITU-R BT.601 luma, OpenCV's RGB2GRAY)."""
    import cv2

    return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
