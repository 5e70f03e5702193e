"""The rim line: contour of a soft field, without the bias of a mask; cuts opened."""

import numpy as np
from shapely.geometry import Polygon

from hidescan.outline.coarse import Grid, Region
from hidescan.outline.contour import FAULTS, Detail, sample, trace
from hidescan.settings import OutlineSettings

SETTINGS = OutlineSettings()


def soft_disc(radius: float, n: int = 240) -> np.ndarray:
    y, x = np.mgrid[:n, :n] - (n - 1) / 2
    return np.clip(radius - np.hypot(x, y) + 0.5, 0, 1).astype(np.float32)


def traced(field: np.ndarray, step: float = 2.0) -> np.ndarray:
    grid = Grid((0.0, 0.0), (step, step))
    zeros = np.zeros_like(field)
    none = np.zeros((len(FAULTS), *field.shape), np.float32)
    detail = Detail(field, zeros, none, field, np.zeros((*field.shape, 3), np.uint8), grid)
    region = Region(field, field > 0.5, zeros, grid, (), field)
    rim = trace(detail, region, SETTINGS, ())
    assert rim is not None
    return rim.ring_px


def test_area_and_perimeter_of_a_disc() -> None:
    """Against the circle's formulas: area pi r^2, perimeter 2 pi r (elementary geometry)."""
    ring = Polygon(traced(soft_disc(100.3)))
    assert abs(ring.area / (np.pi * 200.6**2) - 1) < 1e-3
    assert abs(ring.length / (2 * np.pi * 200.6) - 1) < 5e-3


def test_specks_and_enclosed_doubt_do_not_change_the_rim() -> None:
    plain = soft_disc(80)
    noisy = plain.copy()
    noisy[118:124, 118:124] = 0.2
    noisy[5:9, 5:9] = 0.9
    assert abs(Polygon(traced(noisy)).area / Polygon(traced(plain)).area - 1) < 1e-6


def test_sample_is_bilinear() -> None:
    field = np.arange(12, dtype=np.float32).reshape(3, 4)
    np.testing.assert_allclose(sample(field, np.array([[1.5, 1.0], [0.0, 0.5]])), [5.5, 2.0], atol=1e-5)
