"""Plain painted photos of hides: truth is geometry, paint is OpenCV's."""

import cv2
import numpy as np
from numpy.typing import NDArray

SIZE = (1600, 1200)


def hide_ring(centre: tuple[float, float], size: float) -> NDArray[np.float64]:
    """A lobed closed curve, photo px: nothing of the code under test."""
    a = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    r = size * (1 + 0.22 * np.cos(4 * a + 0.4) + 0.05 * np.cos(3 * a))
    return np.column_stack([centre[0] + 1.25 * r * np.cos(a), centre[1] + r * np.sin(a)])


def picture(rings: list[NDArray[np.float64]], holes: tuple[NDArray[np.float64], ...] = ()) -> NDArray[np.uint8]:
    """Tan hides on a grey floor, both mottled, antialiased by drawing four times larger."""
    rng = np.random.default_rng(1)
    w, h = SIZE
    mask = np.zeros((h * 4, w * 4), np.uint8)
    for r in rings:
        cv2.fillPoly(mask, [np.rint((r + 0.5) * 4 - 0.5).astype(np.int32)], 255)
    for r in holes:
        cv2.fillPoly(mask, [np.rint((r + 0.5) * 4 - 0.5).astype(np.int32)], 0)
    cover = cv2.resize(mask, SIZE, interpolation=cv2.INTER_AREA)[..., None] / 255.0
    noise = [cv2.GaussianBlur(rng.normal(size=(h, w)), (0, 0), s) * s for s in (2.0, 40.0)]
    shade = (1 + 0.05 * noise[0] + 0.08 * noise[1])[..., None]
    near = cv2.GaussianBlur(np.asarray(cover[..., 0], dtype=np.float64), (0, 0), 6.0)[..., None]
    floor = np.array([135.0, 138.0, 140.0]) * (2 - shade) * (1 - 0.5 * near)
    leather = np.array([190.0, 145.0, 90.0]) * shade
    return np.asarray(np.clip(leather * cover + floor * (1 - cover), 0, 255).round(), dtype=np.uint8)


RING = hide_ring((800, 600), 380)
