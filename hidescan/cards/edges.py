"""Where a card's printed edges run in a photo, to a fraction of a pixel.

Each edge is cut into stretches of about a centimetre. Profiles across a stretch are averaged along it, and a step
blurred by a Gaussian is fitted: its place, the grey levels on both sides, and the blur, which all edges of one
direction share. What is found is a distance across the edge; along it a straight edge tells nothing.

The first reading goes by the homography of the corners; a smooth correction fitted to it (lens and curl bend the
picture of the card) then tells the second where to look.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points
from hidescan.cards.pattern import MARKER_MM, PATTERN_MM, PrintedEdges
from hidescan.settings import CardSettings

Array = NDArray[np.float64]

_ROWS, _STEPS = 8, 13  # profiles averaged in a stretch, and samples in each
_U = np.linspace(-1.0, 1.0, _STEPS)
_Z = np.linspace(-5.0, 5.0, 1001)
_NORMAL = np.array([0.5 * (1 + math.erf(z / math.sqrt(2))) for z in _Z])


@dataclass(frozen=True, slots=True, eq=False)
class EdgePoints:
    """Stretches of printed edges as seen, sorted by the edge they belong to.

    Attributes
    ----------
    board_mm, outward
        (N, 2) middle of each stretch on the board, and the unit vector across it from black to white.
    px, across
        (N, 2) a point on it in the photo, and the unit vector across it, black to white: along it the point is free.
    line
        (N,) index of its printed edge: stretches of one edge share some of their error.
    """

    board_mm: Points
    outward: Points
    px: Points
    across: Points
    line: NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class _Warp:
    """Board to photo: a homography (3, 3), and a polynomial of the board's coordinates added to it, (K, 2) px."""

    homography: Array
    correction: Array

    def px(self, board_mm: Points) -> Points:
        x, y, w = self.homography @ np.vstack([board_mm.T, np.ones(len(board_mm))])
        return np.column_stack([x / w, y / w]) + _terms(board_mm, len(self.correction)) @ self.correction


@dataclass(frozen=True, slots=True, eq=False)
class _Stretches:
    """Ends of the stretches on the board; direction across, clear distance, length and index of each one's edge."""

    start_mm: Points
    end_mm: Points
    outward: Points
    clear_mm: Array
    whole_mm: Array
    line: NDArray[np.intp]


def seen_edges(
    grey: NDArray[np.uint8],
    printed: PrintedEdges,
    board_mm: Points,
    corners_px: Points,
    blur_px: float,
    settings: CardSettings,
) -> EdgePoints | None:
    """Printed edges as the photo shows them; None where too few are sharp and large enough.

    Parameters
    ----------
    grey
        (H, W) the photo, or the part of it in whose pixels the corners are given.
    printed
        The card's edges.
    board_mm, corners_px
        (K, 2) corners found, on the board and in the picture, K >= 4.
    blur_px
        Standard deviation of the edge spread, a start.
    """
    import cv2

    homography: Any  # None where there is none, which OpenCV's stubs do not say
    homography, _ = cv2.findHomography(board_mm, corners_px, 0)
    if homography is None or not np.isfinite(blur_px):
        return None
    warp = _Warp(np.asarray(homography, dtype=np.float64), np.zeros((1, 2)))
    px_per_mm = float(np.linalg.norm(np.ptp(corners_px, axis=0)) / np.linalg.norm(np.ptp(board_mm, axis=0)))
    parts = _stretches(printed, board_mm, px_per_mm, blur_px, settings)
    first = _read(grey, _long(parts), warp, np.full(2, blur_px), settings)
    if first is None or len(first[0].line) < settings.least_edges // 2:
        return None
    found, offset_px, blur = first
    smooth = _smooth(found.board_mm, found.across, offset_px)
    second = _read(grey, parts, _Warp(warp.homography, smooth), blur, settings)
    return None if second is None or len(second[0].line) < settings.least_edges else second[0]


def _stretches(
    printed: PrintedEdges, corners_mm: Points, px_per_mm: float, blur_px: float, settings: CardSettings
) -> _Stretches:
    """The edges near the corners seen, their ends cut off where other edges' blur reaches, in even stretches."""
    middle = (printed.start_mm + printed.end_mm) / 2
    near = np.linalg.norm(middle[:, None] - corners_mm[None], axis=2).min(axis=1) < settings.edge_near_corner_mm
    length = np.linalg.norm(printed.end_mm - printed.start_mm, axis=1)
    cut = (2.0 * blur_px + 1.0) / px_per_mm
    use = near & ((length - 2 * cut) * px_per_mm >= settings.least_stretch_px)
    edges = np.flatnonzero(use)
    count = np.clip(np.rint((length[edges] - 2 * cut) / settings.stretch_mm), 1, 4).astype(int)
    line = np.repeat(edges, count)
    place = np.concatenate([np.arange(n) for n in count]) if len(count) else np.zeros(0)
    many = np.repeat(count, count)
    start, way = printed.start_mm[line], (printed.end_mm - printed.start_mm)[line]
    low, span = (cut / length)[line], (1 - 2 * cut / length)[line]
    a, b = (low + span * k / many for k in (place, place + 1))
    return _Stretches(
        start + a[:, None] * way,
        start + b[:, None] * way,
        printed.outward[line],
        printed.clear_mm[line],
        length[line],
        line,
    )


def _long(parts: _Stretches) -> _Stretches:
    """The stretches of squares' and markers' sides: enough to see where the rest lies."""
    keep = parts.whole_mm >= MARKER_MM
    return _Stretches(*(getattr(parts, name)[keep] for name in parts.__slots__))


def _read(
    grey: NDArray[np.uint8], parts: _Stretches, warp: _Warp, blur_px: Array, settings: CardSettings
) -> tuple[EdgePoints, Array, Array] | None:
    """Every stretch read where the warp says that it is: what was found, how far off each was (px), the blur.

    The blur is that across edges along x and along y of the board, (2,) px: a camera that moved blurs one more.
    """
    import cv2

    if not len(parts.line):
        return None
    a, b = warp.px(parts.start_mm), warp.px(parts.end_mm)
    middle_mm = (parts.start_mm + parts.end_mm) / 2
    middle = warp.px(middle_mm)
    along = (b - a) / np.linalg.norm(b - a, axis=1, keepdims=True)
    across = np.column_stack([-along[:, 1], along[:, 0]])
    per_mm = np.sum(across * (warp.px(middle_mm + 0.5 * parts.outward) - middle), axis=1) / 0.5
    across = across * np.sign(per_mm)[:, None]
    reach = np.minimum(settings.edge_reach_px, 0.55 * parts.clear_mm * np.abs(per_mm))
    s = (np.arange(_ROWS) + 0.5) / _ROWS - 0.5
    base = middle[:, None] + s[None, :, None] * (b - a)[:, None]
    xy = base[:, :, None] + (reach[:, None] * _U)[:, None, :, None] * across[:, None, None]
    inside = ((xy > 1) & (xy < np.array(grey.shape[::-1]) - 2.0)).all(axis=(1, 2, 3))
    keep = inside & (reach > settings.least_reach_blurs * blur_px.max())
    if not keep.any():
        return None
    xy = np.ascontiguousarray(xy[keep], dtype=np.float32).reshape(-1, _STEPS, 2)
    height = 32000 // _ROWS * _ROWS  # remap takes pictures of fewer than 32768 rows
    profiles = np.concatenate(
        [
            cv2.remap(grey, xy[i : i + height, :, 0], xy[i : i + height, :, 1], cv2.INTER_LINEAR)
            for i in range(0, len(xy), height)
        ]
    )
    profile = profiles.reshape(-1, _ROWS, _STEPS).astype(np.float32).mean(axis=1).astype(np.float64)
    upright = np.abs(parts.outward[keep, 0]) > 0.5
    offset, good, blur_px = _steps(profile, reach[keep], upright, blur_px, settings)
    which = np.flatnonzero(keep)[good]
    return (
        EdgePoints(
            middle_mm[which],
            parts.outward[which],
            middle[which] + offset[good, None] * across[which],
            across[which],
            parts.line[which],
        ),
        offset[good],
        blur_px,
    )


def _steps(
    profile: Array, reach: Array, upright: NDArray[np.bool_], blur_px: Array, settings: CardSettings
) -> tuple[Array, NDArray[np.bool_], Array]:
    """Offset of the step in each profile (px), which of them are believed, and the blur that fits better, (2,) px."""
    low, high = profile[:, :3].mean(axis=1), profile[:, -3:].mean(axis=1)
    contrast = np.where(np.abs(high - low) > 1, high - low, 1.0)
    offset = reach * (1 - 2 * ((profile - low[:, None]) / contrast[:, None]).mean(axis=1))
    start = np.column_stack([np.clip(offset, -0.6 * reach, 0.6 * reach), low, contrast])
    fitted, misfit, widening = _fit_steps(profile, reach, start, blur_px[upright.astype(int)])
    offset, contrast = fitted[:, 0], fitted[:, 2]
    least = max(settings.least_edge_contrast, 0.5 * float(np.median(contrast)))
    good = (
        (contrast > least)
        & (contrast < 2.0 * np.median(contrast))
        & (np.abs(offset) < 0.8 * reach)
        & (misfit < settings.edge_misfit_share * contrast + settings.edge_misfit_grey)
    )
    wider = [np.clip(np.median(widening[m]), -0.5, 0.5) if (m := good & (upright == d)).any() else 0.0 for d in (0, 1)]
    return offset, good, blur_px * np.exp(wider)


def _fit_steps(profile: Array, reach: Array, start: Array, blur_px: Array) -> tuple[Array, Array, Array]:
    """Steps of known blur by Gauss-Newton: offset px, dark level and contrast of each, (N, 3).

    Returns
    -------
    Those, the rms misfit in grey levels, and by how much ln blur should grow to fit better, (N,) each.
    """
    t = reach[:, None] * _U
    p = start.copy()
    one_over = 1.0 / blur_px[:, None]
    for _ in range(3):
        z = np.clip((t - p[:, :1]) * one_over, -5, 5)
        step = np.interp(z, _Z, _NORMAL)
        slope = -p[:, 2:] * one_over * np.exp(-0.5 * z * z) / math.sqrt(2 * math.pi)
        residual = profile - p[:, 1:2] - p[:, 2:] * step
        columns = (slope, np.ones_like(step), step)
        normal = np.empty((len(p), 3, 3))
        for i in range(3):
            for k in range(i, 3):
                normal[:, i, k] = normal[:, k, i] = np.einsum("nt,nt->n", columns[i], columns[k])
        diagonal = np.einsum("nii->ni", normal)
        diagonal += 1e-6 * diagonal.max(axis=1, keepdims=True) + 1e-9
        right = np.stack([np.einsum("nt,nt->n", column, residual) for column in columns], axis=1)
        move = np.linalg.solve(normal, right[..., None])[..., 0]
        move[:, 0] = np.clip(move[:, 0], -reach / 2, reach / 2)
        p += move
        p[:, 0] = np.clip(p[:, 0], -reach, reach)
    by_blur = slope * z / one_over
    widening = np.einsum("nt,nt->n", by_blur, residual) / np.maximum(np.einsum("nt,nt->n", by_blur, by_blur), 1e-9)
    return p, np.sqrt(np.mean(residual**2, axis=1)), widening


def _terms(board_mm: Points, count: int) -> Array:
    """The first `count` of 1, x, y, x2, xy, y2, x3, ... of the board's coordinates, (N, count)."""
    x, y = (board_mm.T - np.array([[PATTERN_MM[0] / 2], [PATTERN_MM[1] / 2]])) / 100.0
    columns = [x ** (d - i) * y**i for d in range(4) for i in range(d + 1)]
    return np.column_stack(columns[:count])


def _smooth(board_mm: Points, across: Points, offset_px: Array) -> Array:
    """The smooth shift of the picture that explains the offsets best, outliers set aside: coefficients (K, 2) px."""
    count = 10 if len(board_mm) > 120 else 3
    terms = _terms(board_mm, count)
    design = np.hstack([terms * across[:, :1], terms * across[:, 1:]])
    weights = np.ones(len(offset_px))
    ridge = 1e-3 * np.eye(2 * count)
    solution: Array = np.zeros(2 * count)
    for _ in range(4):
        weighted = design * weights[:, None]
        solution = np.asarray(np.linalg.solve(weighted.T @ design + ridge, weighted.T @ offset_px), dtype=np.float64)
        left = np.abs(offset_px - design @ solution)
        weights = np.minimum(1.0, 2.0 * max(1.4826 * float(np.median(left)), 0.02) / np.maximum(left, 1e-9)) ** 2
    return np.column_stack([solution[:count], solution[count:]])
