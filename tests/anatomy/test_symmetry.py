"""Moments and mirror axes against closed forms, a reference library, and shapes whose axis is known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from skimage.draw import polygon2mask
from skimage.measure import label, regionprops

from hidescan.anatomy.symmetry import (
    Mirror,
    from_axis_frame,
    mirror_axes,
    mirror_fit,
    moments,
    to_axis_frame,
    unit_outline,
)
from hidescan.basics.geometry import rotation_2d
from hidescan.settings import SymmetrySettings

SETTINGS = SymmetrySettings()
Points = NDArray[np.float64]


def ellipse(a: float, b: float, count: int = 4000) -> Points:
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.column_stack([a * np.cos(turn), b * np.sin(turn)])


def kite() -> Points:
    """Mirror axis along +y, and no other."""
    return np.array([[0.0, -900.0], [350.0, 300.0], [0.0, 500.0], [-350.0, 300.0]])


def fitted(ring: Points) -> list[Mirror]:
    outline = unit_outline(ring, SETTINGS)
    return [mirror_fit(outline, *start, SETTINGS) for start in mirror_axes(outline, SETTINGS)]


def off_axis(angle_deg: float, truth_deg: float) -> float:
    return abs((angle_deg - truth_deg + 90) % 180 - 90)


def test_moments_of_a_rectangle() -> None:
    # Closed form: second moments per area of a x b are a^2 / 12 and b^2 / 12.
    ring = np.array([[-3.0, 1.0], [5.0, 1.0], [5.0, 4.0], [-3.0, 4.0]])
    area, centre, second = moments(ring)
    assert area == pytest.approx(24.0)
    assert centre == pytest.approx([1.0, 2.5])
    np.testing.assert_allclose(second, [[64 / 12, 0], [0, 9 / 12]], atol=1e-12)


def test_moments_of_an_ellipse() -> None:
    # Closed form: a^2 / 4 and b^2 / 4, area pi a b.
    area, centre, second = moments(ellipse(700.0, 400.0) + [1000.0, -2000.0])
    assert area == pytest.approx(np.pi * 700 * 400, rel=1e-5)
    assert centre == pytest.approx([1000.0, -2000.0])
    np.testing.assert_allclose(second, [[700**2 / 4, 0], [0, 400**2 / 4]], rtol=1e-5, atol=1e-4)


def test_moments_do_not_depend_on_the_direction_of_the_ring() -> None:
    area, centre, second = moments(kite())
    other_area, other_centre, other_second = moments(kite()[::-1])
    assert other_area == pytest.approx(area, rel=1e-12)
    np.testing.assert_allclose(other_centre, centre, rtol=1e-12, atol=1e-9)
    np.testing.assert_allclose(other_second, second, rtol=1e-12, atol=1e-6)


def test_long_axis_agrees_with_scikit_image() -> None:
    # skimage.measure.regionprops: `orientation` is the angle between the row axis and the major axis.
    ring = ellipse(180.0, 90.0) @ rotation_2d(27.0).T + [250.0, 250.0]
    mask = polygon2mask((500, 500), ring[:, ::-1])  # row = y, column = x
    region = regionprops(label(mask))[0]
    expected_deg = 90.0 - np.rad2deg(region.orientation)
    assert off_axis(unit_outline(ring, SETTINGS).long_axis_deg, expected_deg) < 0.1
    area, _, second = moments(ring)
    assert area == pytest.approx(region.area, rel=2e-3)
    assert 4 * np.sqrt(np.linalg.eigvalsh(second)[1]) == pytest.approx(region.axis_major_length, rel=2e-3)


@pytest.mark.parametrize("turn_deg", [0.0, 17.0, 61.3, 90.0, 154.0])
def test_axis_of_a_kite(turn_deg: float) -> None:
    best = max(fitted(kite() @ rotation_2d(turn_deg).T), key=lambda mirror: mirror.agreement)
    assert off_axis(best.angle_deg, 90.0 + turn_deg) < 0.05
    assert best.overlap > 0.97
    assert abs(best.offset) < 1e-3


def test_a_rectangle_has_two_axes() -> None:
    rectangle = np.array([[0.0, 0.0], [1400.0, 0.0], [1400.0, 900.0], [0.0, 900.0]])
    angles = [mirror.angle_deg for mirror in fitted(rectangle) if mirror.agreement > 0.8]
    assert len(angles) == 2
    assert min(off_axis(angle, 0.0) for angle in angles) < 0.05
    assert min(off_axis(angle, 90.0) for angle in angles) < 0.05


def test_an_ellipse_laid_along_an_arc_shows_its_sag() -> None:
    # Laid square to a parabola that rises 20 mm over 1600 mm of length.
    x, y = ellipse(400.0, 800.0).T
    slope = -40.0 * y / 800**2
    secant = np.hypot(1.0, slope)
    ring = np.column_stack([20.0 * (1 - (y / 800) ** 2) + x / secant, y - x * slope / secant])
    along = min(fitted(ring), key=lambda mirror: off_axis(mirror.angle_deg, 90.0))
    assert off_axis(along.angle_deg, 90.0) < 0.2
    # The direction of an axis is either way; the sag changes sign with it. The prior for straight pulls a little.
    assert abs(along.sag) * unit_outline(ring, SETTINGS).scale_mm == pytest.approx(20.0, abs=4.0)


@given(st.floats(-360, 360), st.integers(0, 2**32 - 1))
def test_axis_frame_round_trip(angle_deg: float, seed: int) -> None:
    points = np.random.default_rng(seed).normal(size=(5, 2))
    np.testing.assert_allclose(from_axis_frame(to_axis_frame(points, angle_deg), angle_deg), points, atol=1e-12)
    along = np.array([[np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))]])
    np.testing.assert_allclose(to_axis_frame(along, angle_deg), [[0.0, 1.0]], atol=1e-12)
