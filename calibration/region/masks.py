"""Rasters of a scene's shapes in any window of the photo, at any scale: the truth and the stencils for painting."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from shapes import PHOTO_PX, Hide, Line, Ring, Scene, apply

LAYERS = (
    "first", "others", "holes", "cuts", "stains", "brands", "signs", "scratches", "wrinkles", "paper", "ink", "shadow",
    "things",
)  # fmt: skip
SUPER = 3
"""Each mask is drawn this many times larger and averaged. "signs" are the hulls of the brands' lines."""
_SHIFT = 5


def window_map(x0: float, y0: float, scale: float) -> NDArray[np.float64]:
    """Photo pixels (of PHOTO_PX) to pixels of a window whose corner is (x0, y0), enlarged by scale; centres at integers."""
    return np.array([[scale, 0, -scale * x0], [0, scale, -scale * y0], [0, 0, 1.0]])


def coverage(rings: list[Ring], size: tuple[int, int]) -> NDArray[np.uint8]:
    """Area coverage 0..255 of filled rings (pixels of the window), without the half-pixel growth of fillPoly.

    fillPoly paints the pixels on the boundary too; the mean of the mask with and without them is unbiased.
    """
    w, h = size
    out = np.zeros((h, w), np.uint8)
    rings = [r for r in rings if (r.max(0) > -1).all() and (r.min(0) < size).all()]
    if not rings:
        return out
    # only the box around the rings is enlarged
    x0, y0 = np.clip(np.floor(np.min([r.min(0) for r in rings], axis=0)).astype(int) - 1, 0, None)
    x1, y1 = np.clip(np.ceil(np.max([r.max(0) for r in rings], axis=0)).astype(int) + 2, None, size)
    rings = [r - (x0, y0) for r in rings]
    big = np.zeros(((y1 - y0) * SUPER, (x1 - x0) * SUPER), np.uint8)
    pts = [
        np.round(np.clip((r + 0.5) * SUPER - 0.5, -30000, 30000) * (1 << _SHIFT)).astype(np.int32).reshape(-1, 1, 2)
        for r in rings
    ]
    for p in pts:
        cv2.fillPoly(big, [p], 254, shift=_SHIFT)
    cv2.polylines(big, pts, True, 127, 1, shift=_SHIFT)
    out[y0:y1, x0:x1] = cv2.resize(big, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA)
    return out


def _add(layer: NDArray[np.uint8], ring: Ring, size: tuple[int, int]) -> None:
    np.maximum(layer, coverage([ring], size), out=layer)


def _fixed(points: Ring) -> NDArray[np.int32]:
    """Points as OpenCV's fixed-point numbers, (N, 1, 2)."""
    return np.round(np.clip(points, -30000, 30000) * (1 << _SHIFT)).astype(np.int32).reshape(-1, 1, 2)


def _draw_lines(layer: NDArray[np.uint8], lines: tuple[Line, ...], full: NDArray[np.float64]) -> None:
    """Lines as wide as they look halfway along; fainter where that is under a pixel."""
    for line, width in lines:
        middle = line[len(line) // 2]
        a, b = apply(full, np.array([middle, middle + (width, 0)]))
        thick = float(np.hypot(*(b - a)))
        level = 255 if thick >= 1 else int(255 * thick)
        cv2.polylines(layer, [_fixed(apply(full, line))], False, level, max(1, round(thick)), cv2.LINE_AA, _SHIFT)


def plain(rings: list[Ring], size: tuple[int, int]) -> NDArray[np.uint8]:
    """Filled rings, anti-aliased by OpenCV: good enough for what is no truth."""
    out = np.zeros(size[::-1], np.uint8)
    for r in rings:
        cv2.fillPoly(out, [_fixed(r)], 255, lineType=cv2.LINE_AA, shift=_SHIFT)
    return out


def card_picture(rng: np.random.Generator) -> NDArray[np.uint8]:
    """A sheet of 210 x 297 mm at 1 px per mm with a chequered board; the codes in its squares are random bits."""
    page = np.full((297, 210), 255, np.uint8)
    top, left, q, m = 36, 15, 45, 34
    for row in range(5):
        for column in range(4):
            y, x = top + row * q, left + column * q
            if (row + column) % 2 == 0:
                page[y : y + q, x : x + q] = 0
            else:
                bits = np.zeros((7, 7), np.uint8)
                bits[1:6, 1:6] = rng.integers(0, 2, (5, 5)) * 255
                o = (q - m) // 2
                page[y + o : y + o + m, x + o : x + o + m] = cv2.resize(bits, (m, m), interpolation=cv2.INTER_NEAREST)
    if rng.random() < 0.7:
        cv2.line(page, (30, 280), (180, 280), 0, 1)
        cv2.line(page, (203, 40), (203, 240), 0, 1)
    return page


def draw(
    scene: Scene, window: NDArray[np.float64], size: tuple[int, int], rng: np.random.Generator
) -> NDArray[np.uint8]:
    """All layers (len(LAYERS), height, width), 0..255, of one window."""
    full = window @ scene.homography

    def px(r: Ring) -> Ring:
        return apply(full, r)

    def of(hides: tuple[Hide, ...]) -> NDArray[np.uint8]:
        return coverage([px(h.ring) for h in hides], size)

    w, h = size
    out = np.zeros((len(LAYERS), h, w), np.uint8)
    out[0] = of(scene.hides[:1])
    if len(scene.hides) > 1:
        out[1] = of(scene.hides[1:])
    layer = {name: out[i] for i, name in enumerate(LAYERS)}
    for hide in scene.hides:
        for ring in hide.holes:
            _add(layer["holes"], px(ring), size)
        for sign in hide.brands:
            _draw_lines(layer["brands"], sign, full)
            if not all(np.isfinite(px(line)).all() for line, _ in sign):
                continue
            hull = cv2.convexHull(np.concatenate([px(line) for line, _ in sign]).astype(np.float32))[:, 0]
            cv2.fillConvexPoly(layer["signs"], _fixed(hull), 255, shift=_SHIFT)
            _draw_lines(layer["signs"], sign, full)
        _draw_lines(layer["scratches"], hide.scratches, full)
        for group in hide.wrinkles:
            _draw_lines(layer["wrinkles"], group, full)
    layer["cuts"][:] = plain([px(r) for hide in scene.hides for r in hide.cuts], size)
    layer["stains"][:] = plain([px(r) for hide in scene.hides for r in hide.stains], size)
    for quad in (*scene.cards, *scene.papers):
        corners = px(quad)
        lo, hi = np.floor(corners.min(0)).astype(int) - 1, np.ceil(corners.max(0)).astype(int) + 2
        lo, hi = np.clip(lo, 0, size), np.clip(hi, 0, size)
        if (hi <= lo).any() or np.abs(corners).max() > 20000:
            continue
        box = (slice(lo[1], hi[1]), slice(lo[0], hi[0]))
        alpha = plain([corners - lo], (int(hi[0] - lo[0]), int(hi[1] - lo[1])))
        layer["paper"][box] = np.maximum(layer["paper"][box], alpha)
        if any(quad is c for c in scene.cards):
            page = card_picture(rng)
            shrink = np.sqrt(max(1e-6, cv2.contourArea(corners.astype(np.float32)) / page.size))
            if shrink < 0.9:
                page = cv2.GaussianBlur(page, (0, 0), 0.4 / shrink)
            source = np.array([[0, 0], [209, 0], [209, 296], [0, 296]], np.float32)
            m = cv2.getPerspectiveTransform(source, (corners - lo).astype(np.float32))
            ink = 255 - cv2.warpPerspective(page, m, alpha.shape[::-1], flags=cv2.INTER_LINEAR, borderValue=255)
            layer["ink"][box] = np.where(alpha > 0, ink, layer["ink"][box])
    layer["shadow"][:] = plain([px(r) for r in scene.shadows], size)
    layer["things"][:] = plain([px(r) for r in scene.things], size)
    return out


def fine_window(scene: Scene, size: int, rng: np.random.Generator) -> tuple[NDArray[np.float64], float]:
    """A window at 0.7 to 2.6 mm per px near the rim, a hole, a mark or anywhere; and its enlargement of the photo."""
    inverse = np.linalg.inv(scene.homography)
    where = rng.random()
    target = None
    if scene.hides:
        hide = scene.hides[int(rng.integers(len(scene.hides)))]
        marks = (
            (0.4, [hide.ring[rng.integers(len(hide.ring))]]),
            (0.57, [h.mean(0) for h in hide.holes]),
            (0.67, [c.mean(0) for c in hide.cuts]),
            (0.81, [sign[0][0].mean(0) for sign in hide.brands]),
            (0.93, [s.mean(0) for s in hide.stains]),
            (0.95, [line.mean(0) for line, _ in hide.scratches]),
        )
        target = next((of[int(rng.integers(len(of)))] for share, of in marks if where < share and of), None)
    w, h = PHOTO_PX
    at = rng.uniform((0, 0), (w, h)) if target is None else apply(scene.homography, target[None])[0]
    at = np.clip(at, (8, 8), (w - 8, h - 8))
    a, b = apply(inverse, np.array([at, at + (1, 0)]))
    coarse_mm = max(float(np.hypot(*(b - a))), 1e-3)
    mm = float(np.exp(rng.uniform(np.log(0.7), np.log(2.6))))
    scale = float(np.clip(coarse_mm / mm, 1.5, 6.4))
    half = size / scale / 2
    corner = at - half + rng.uniform(-0.35, 0.35, 2) * size / scale
    corner = np.clip(corner, 0, np.maximum(np.array([w, h]) - 2 * half, 0))
    return window_map(float(corner[0]), float(corner[1]), scale), scale
