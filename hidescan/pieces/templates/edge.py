"""The edge of a template at full resolution, from its outline in the reduced copy.

On both sides of the edge the picture's mean colour is known; between them the edge runs where it is half-way from one
to the other. Which way through the colours one goes is Fisher's linear discriminant (Fisher 1936): a table's streaks
and joints are ways in which the floor alone varies, and count for little.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics import opencv
from hidescan.basics.geometry import Points, counter_clockwise, outward_normals, resample
from hidescan.outline.coarse import filled, largest
from hidescan.pieces.templates.corners import as_cut
from hidescan.pieces.templates.on_floor import Thing
from hidescan.settings.uses import EdgeLook, TemplateSettings

Image = NDArray[np.uint8]
Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Edge:
    """A template's edge.

    Attributes
    ----------
    ring_px
        In the photo, (N, 2), dense.
    step
        Grey levels by which the template differs from the floor, at the worst twentieth of its edge.
    clear
        The same in standard deviations of what floor and template vary by themselves.
    shadow
        Share of the template that a shadow on the floor looks like: 1 where the two look alike.
    """

    ring_px: Points
    step: float
    clear: float
    shadow: float


@dataclass(frozen=True, slots=True, eq=False)
class _Shares:
    """Share of the template in each pixel, as seen and as known beyond the strip; and the figures of its `Edge`."""

    raw: Floats
    share: Floats
    step: Floats
    clear: Floats
    shadow: Floats


def edge_of(rgb: Image, thing: Thing, scale: float, mm_per_px: float, settings: TemplateSettings) -> Edge | None:
    """The template's edge, first in a copy of half the size; None where it hardly differs from the floor.

    Parameters
    ----------
    scale
        Of the copy in which the thing was found, copy px per photo px.
    mm_per_px
        Of the photo, at the thing.
    """
    from skimage.measure import find_contours

    pad = (settings.first_look.strip_mm + 2 * settings.side_mm) / mm_per_px + 2 / scale
    x, y, bw, bh = (v / scale for v in thing.box)
    x0, y0 = max(0, 2 * int((x - pad) / 2)), max(0, 2 * int((y - pad) / 2))
    x1, y1 = min(rgb.shape[1], int(x + bw + pad)), min(rgb.shape[0], int(y + bh + pad))
    part = rgb[y0:y1, x0:x1]
    half = opencv.reduced(part, ((x1 - x0) // 2, (y1 - y0) // 2))
    first, then = settings.first_look, settings.second_look
    inside, others = (_at(m, scale * 2, (x0 / 2, y0 / 2), half.shape[:2]) for m in (thing.mask, thing.others))
    within = filled(largest(_shares(half, inside, others, 2 * mm_per_px, first, settings).share > 0.5))
    inside, others = (_at(m, 0.5, (0.0, 0.0), part.shape[:2]) for m in (within, others > 0))
    if not inside.any():
        return None
    found = _shares(part, inside, others, mm_per_px, then, settings)
    contours = find_contours(found.share, 0.5)  # type: ignore[no-untyped-call]
    if not contours:
        return None
    ring = max(contours, key=len)[:-1, ::-1]
    ring = resample(ring, settings.corners.step_px)
    column, row = np.rint(ring).astype(int).T
    blur_px = _blur_px(found.share, ring)
    weights = _trust(found.raw, ring, blur_px, settings)
    cut = as_cut(ring, weights, blur_px, settings.smooth_mm / mm_per_px, settings.corners)
    step, clear = (float(np.percentile(values[row, column], 5)) for values in (found.step, found.clear))
    return Edge(cut + (x0, y0), step, clear, float(np.median(found.shadow[row, column])))


def _trust(raw: Floats, ring: Points, blur_px: float, settings: TemplateSettings) -> NDArray[np.float64]:
    """How far each point of an edge is to be trusted, 0 to 1: less where the floor beside it is not as it is around."""
    from scipy.ndimage import map_coordinates

    normal = outward_normals(ring) * (1 if counter_clockwise(ring) is ring else -1)
    off = np.zeros(len(ring))
    for side, expected in ((1, 0.0), (-1, 1.0)):
        at = np.array([ring + side * blurs * blur_px * normal for blurs in (2.5, 3.5, 4.5)])
        shares = map_coordinates(raw, (at[..., 1], at[..., 0]), order=1, mode="nearest")
        off += (shares.mean(axis=0) - expected) ** 2
    trust: NDArray[np.float64] = 1 / (1 + off / settings.trust_share**2) ** 2
    return trust


def _shares(
    part: Image, inside: Image, others: Image, mm_per_px: float, look: EdgeLook, settings: TemplateSettings
) -> _Shares:
    """How much of each pixel is template, within a strip along the edge as it is known so far."""
    import cv2

    depth = cv2.distanceTransform(inside, cv2.DIST_L2, 5) - cv2.distanceTransform(1 - inside, cv2.DIST_L2, 5)
    # A strap's middle is template, however narrow it is.
    strip = min(max(look.strip_mm / mm_per_px, settings.strip_px), 0.6 * float(depth.max()))
    side = settings.side_mm / mm_per_px
    clear = cv2.distanceTransform(1 - others, cv2.DIST_L2, 5) > strip
    colours = part.astype(np.float32)
    on, off = depth > strip, (depth < -strip) & clear
    template, floor = (_local_mean(colours, where, side) for where in (on, off))
    step = np.asarray(template - floor, dtype=np.float32)
    spread = _covariance(colours[on] - template[on]) + _covariance(colours[off] - floor[off])
    spread += settings.noise_levels**2 * np.eye(3) + look.colour_noise_levels**2 * (np.eye(3) - 1 / 3)
    shade = settings.shade * (colours[off].mean(axis=0) if off.any() else np.zeros(3))
    across = np.asarray(step @ _inverse(spread + np.outer(shade, shade)), dtype=np.float32)
    apart = np.maximum(_dot(across, step), np.float32(1e-6))
    part_of = np.clip(_dot(np.asarray(colours - floor), across) / apart, -0.5, 1.5)
    raw = np.asarray(cv2.GaussianBlur(part_of, (0, 0), settings.smooth_px), dtype=np.float32)
    share: Floats = raw.copy()
    share[on], share[depth < -strip] = 1.0, 0.0
    contrast = np.sqrt(_dot(np.asarray(step @ _inverse(spread), dtype=np.float32), step))
    shadow: Floats = np.asarray(-settings.shadow * _dot(floor, across) / apart, dtype=np.float32)
    return _Shares(raw, share, np.sqrt(_dot(step, step)), contrast, shadow)


def _inverse(matrix: NDArray[np.float64]) -> Floats:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float32)


def _dot(one: Floats, other: Floats) -> Floats:
    """Scalar product of two pictures' colours, (H, W)."""
    return np.asarray(np.einsum("ijk,ijk->ij", one, other), dtype=np.float32)


def _covariance(colours: Floats) -> NDArray[np.float64]:
    """Of colours about nought, (N, 3)."""
    return np.asarray(colours.T @ colours, dtype=np.float64) / max(len(colours), 1)


def _blur_px(share: Floats, ring: Points) -> float:
    """Standard deviation of the blur across the edge: a step of one has the slope 1 / (sqrt(2 pi) sd) half-way."""
    import cv2

    slopes = [cv2.Sobel(share, cv2.CV_32F, dx, dy, ksize=3, scale=1 / 8) for dx, dy in ((1, 0), (0, 1))]
    x, y = np.rint(ring).astype(int).T
    steep = np.hypot(slopes[0][y, x], slopes[1][y, x])
    return float(1 / (np.sqrt(2 * np.pi) * max(float(np.median(steep)), 0.05)))


def _at(mask: NDArray[np.bool_], scale: float, start: tuple[float, float], shape: tuple[int, ...]) -> Image:
    """A mask at another size, 0 or 1, with smooth edges: `scale` of its px per px made, from `start` in px made."""
    import cv2

    # Pixel centres: px p lies at mask px (p + 1/2) scale - 1/2.
    at_x, at_y = (
        ((np.arange(n) + first + 0.5) * scale - 0.5).astype(np.float32)
        for n, first in zip(shape[1::-1], start, strict=True)
    )
    grid_x, grid_y = np.meshgrid(at_x, at_y)
    soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 1.0)
    return (cv2.remap(soft, grid_x, grid_y, cv2.INTER_LINEAR) > 0.5).astype(np.uint8)


def _local_mean(part: Floats, where: NDArray[np.bool_], reach_px: float) -> Floats:
    """Mean colour near each pixel of those that count; far from all of them the mean of all."""
    import cv2

    side = 2 * round(reach_px) + 1
    weight = where.astype(np.float32)
    sums = [part * weight[..., None], weight]
    for _ in range(2):
        sums = [cv2.blur(one, (side, side)).astype(np.float32) for one in sums]
    overall = part[where].mean(axis=0) if where.any() else np.zeros(3, np.float32)
    mean: Floats = (sums[0] + 1e-3 * overall) / (sums[1] + 1e-3)[..., None]
    return mean
