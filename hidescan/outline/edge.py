"""The rim drawn to the edge at the photo's full resolution.

The fine network sees about a pixel a millimetre and leaves the rim within two or three photo pixels of the edge, often
all to one side. Here the strip along it is unrolled at full resolution, and the best closed path through it is found by
dynamic programming: strong change of colour across, near to where the network left the rim, no jumps (active contours
by dynamic programming: Amini, Weymouth, Jain 1990). Where nothing changes, the network's word stands.
"""

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points, outward_normals, signed_area
from hidescan.settings import SnapSettings

Array = NDArray[np.float64]

# The rim is solved in so many stretches at a time, each with this much more at both ends.
_STRETCHES, _FORGOTTEN_ROWS = 12, 150


def snapped(
    rgb: NDArray[np.uint8], ring_px: Points, u_px: Array, fine_px: float, settings: SnapSettings
) -> tuple[Points, Array]:
    """The ring on the edge, and its uncertainty.

    Parameters
    ----------
    rgb
        The upright photo, (H, W, 3).
    ring_px
        (N, 2), evenly dense, either direction.
    u_px
        (N,), its standard uncertainty along the normal.
    fine_px
        Photo pixels to one pixel that the fine network saw.

    Returns
    -------
    The moved ring (N, 2), point by point, and u (N,): small where the edge is strong, else the network's.
    """
    ring = ring_px if signed_area(ring_px) >= 0 else ring_px[::-1]
    normals = outward_normals(_smoothed(ring, 3))
    reach = settings.reach_fine_px * fine_px
    offsets = np.arange(-reach, reach + 1e-9, settings.step_px)
    change = _change_across(rgb, ring, normals, offsets, settings)
    near = 0.5 * (offsets / (settings.trust_fine_px * fine_px)) ** 2
    path = _best_closed_path(near - np.log(change + settings.noise_level), settings.bend_cost)
    at = np.arange(len(ring))
    strength = change[at, path]
    moved = ring + _smoothed(_between_samples(change, path, offsets, settings.step_px), 2)[:, None] * normals
    weight = strength / (strength + settings.clear_level)
    u = u_px if ring is ring_px else u_px[::-1]
    u = np.hypot(settings.clear_u_px, (1.0 - weight) * u)
    return (moved, u) if ring is ring_px else (moved[::-1], u[::-1])


def _change_across(
    rgb: NDArray[np.uint8], ring: Points, normals: Points, offsets: Array, settings: SnapSettings
) -> Array:
    """Distance in CIELAB between the two sides of each place in the strip, (N, len(offsets))."""
    import cv2

    half = round(settings.sides_px / settings.step_px)
    wide = np.concatenate(
        [
            offsets[0] - settings.step_px * np.arange(half, 0, -1),
            offsets,
            offsets[-1] + settings.step_px * np.arange(1, half + 1),
        ]
    )
    xy = ring[:, None] + wide[None, :, None] * normals[:, None]
    low = np.maximum(np.floor(xy.min(axis=(0, 1))).astype(int) - 2, 0)
    high = np.minimum(np.ceil(xy.max(axis=(0, 1))).astype(int) + 3, rgb.shape[1::-1])
    part = rgb[low[1] : high[1], low[0] : high[0]]
    where = (xy - low).astype(np.float32)
    strip = cv2.remap(part, where[..., 0], where[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    lab = cv2.cvtColor(strip, cv2.COLOR_RGB2LAB).astype(np.float32)
    lab = np.asarray(cv2.GaussianBlur(lab, (0, 0), sigmaX=settings.blur_px / settings.step_px, sigmaY=1.0), np.float32)
    return np.asarray(np.linalg.norm(lab[:, 2 * half :] - lab[:, : -2 * half], axis=2), dtype=np.float64)


def _best_closed_path(cost: Array, bend_cost: float) -> NDArray[np.intp]:
    """Column of the cheapest path down the rows, one column a step at most, that ends where it began, (N,).

    A path has forgotten after some hundred rows where it was made to start. So the round is cut into stretches that are
    solved side by side, each with so much of its neighbours before and after it, and their middles are put together.
    Where two do not meet, the rows are gone round in one stretch, once and a third.
    """
    n = len(cost)
    for stretches, beyond in ((_STRETCHES, _FORGOTTEN_ROWS), (1, n // 6)):
        length = -(-n // stretches)
        starts = np.arange(stretches) * length
        rows = (starts + np.arange(-beyond, length + beyond)[:, None]) % n
        path = _best_paths(cost[rows], bend_cost)[beyond : beyond + length].T.ravel()[:n]
        if np.abs(np.diff(path, append=path[0])).max() <= 1:
            break
    return path


def _best_paths(costs: Array, bend_cost: float) -> NDArray[np.intp]:
    """Columns of the cheapest paths down several stretches: costs (rows, stretches, width), paths (rows, stretches)."""
    count, stretches, width = costs.shape
    total = costs[0]
    came = np.zeros(costs.shape, dtype=np.int8)
    padded = np.full((stretches, width + 2), np.inf)
    for i in range(1, count):
        padded[:, 1:-1] = total
        left, right = padded[:, :-2] + bend_cost, padded[:, 2:] + bend_cost
        best = np.minimum(np.minimum(total, left), right)
        came[i] = np.where(best == total, 0, np.where(best == left, -1, 1))
        total = best + costs[i]
    path = np.zeros((count, stretches), dtype=np.intp)
    at, each = np.argmin(total, axis=1), np.arange(stretches)
    for i in range(count - 1, -1, -1):
        path[i] = at
        at = at + came[i, each, at]
    return path


def _between_samples(change: Array, path: NDArray[np.intp], offsets: Array, step_px: float) -> Array:
    """Offset of the strongest change between samples: the vertex of a parabola through three, (N,)."""
    at, last = np.arange(len(path)), change.shape[1] - 1
    before, here, after = (change[at, np.clip(path + k, 0, last)] for k in (-1, 0, 1))
    curve = before - 2 * here + after
    inner = (curve < 0) & (path > 0) & (path < last)
    vertex = np.where(inner, 0.5 * (before - after) / np.where(inner, curve, -1.0), 0.0)
    return np.asarray(offsets[path] + step_px * np.clip(vertex, -0.5, 0.5))


def _smoothed(values: Array, half: int) -> Array:
    """Running mean over 2 half + 1 values of a closed sequence, along the first axis."""
    return np.asarray(np.mean([np.roll(values, k, axis=0) for k in range(-half, half + 1)], axis=0))
