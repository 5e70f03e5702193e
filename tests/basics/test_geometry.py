import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from skimage.measure import regionprops

from hidescan.basics.geometry import (
    counter_clockwise,
    outward_normals,
    perimeter,
    resample,
    rotation_2d,
    signed_area,
    without_crossings,
)
from tests.synthetic.scenes import Array, circle, rectangle

MM2_PER_FT2 = 92903.04  # the international foot is 0.3048 m exactly, so 1 ft2 = 9.290304 dm2


def star(seed: int, count: int = 40) -> Array:
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0, 2 * np.pi, count))
    return np.c_[np.cos(t), np.sin(t)] * rng.uniform(200, 600, (count, 1))


@given(st.integers(0, 10_000), st.floats(-180, 180), st.integers(0, 39), st.floats(0.1, 10))
def test_area_knows_no_turn_start_or_direction_and_scales_with_the_square(
    seed: int, turn_deg: float, start: int, scale: float
) -> None:
    ring = star(seed)
    area = abs(signed_area(ring))
    moved = np.roll(ring @ rotation_2d(turn_deg).T + (3000, -2000), start, axis=0)
    assert abs(signed_area(moved)) == pytest.approx(area, rel=1e-9)
    assert signed_area(moved[::-1]) == pytest.approx(-signed_area(moved), rel=1e-9)
    assert abs(signed_area(scale * ring)) == pytest.approx(scale**2 * area, rel=1e-9)


@given(st.integers(0, 10_000))
def test_area_and_perimeter_agree_with_geos(seed: int) -> None:
    """Reference: GEOS through Shapely."""
    ring = star(seed)
    polygon = shapely.Polygon(ring)
    assert signed_area(counter_clockwise(ring)) == pytest.approx(polygon.area, rel=1e-9)
    assert perimeter(ring) == pytest.approx(polygon.exterior.length, rel=1e-12)


def test_areas_of_plain_shapes() -> None:
    """1000 x 600 mm = 60 dm2 = 6.4583 ft2; a circle of r = 500 mm = 78.5398 dm2 = 8.4540 ft2 (plane geometry)."""
    assert signed_area(rectangle(1000, 600, 37)) / MM2_PER_FT2 == pytest.approx(6.4583, abs=1e-4)
    assert signed_area(circle(500, 20_000)) / MM2_PER_FT2 == pytest.approx(8.4540, abs=1e-4)


def test_moments_agree_with_skimage() -> None:
    """Reference: scikit-image regionprops, orientation of a turned rectangle drawn as a mask."""
    import cv2

    mask = np.zeros((900, 900), np.uint8)
    cv2.fillPoly(mask, [np.rint(rectangle(600, 250, 30) + 450).astype(np.int32)], 1)
    (region,) = regionprops(mask)
    assert region.area == pytest.approx(signed_area(rectangle(600, 250, 30)), rel=0.01)
    assert np.rad2deg(region.orientation) % 180 == pytest.approx(60.0, abs=0.3)  # from the row axis


def test_normals_of_a_circle_point_out() -> None:
    ring = circle(100, 360)
    np.testing.assert_allclose(outward_normals(ring), ring / 100, atol=1e-3)


def test_a_ring_that_doubles_back_has_a_zero_normal_there() -> None:
    spike = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.5, 1.0], [0.5, 2.0], [0.5, 1.0], [0.0, 1.0]])
    assert (outward_normals(spike)[4] == 0).all()


def test_resampling_keeps_the_length_between_points() -> None:
    ring = resample(rectangle(100, 50), 5.0)
    gaps = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    assert len(ring) == 60
    np.testing.assert_allclose(gaps, 5.0, rtol=0.01)


def test_a_ring_without_length_is_refused() -> None:
    with pytest.raises(ValueError, match="without length"):
        resample(np.zeros((4, 2)), 1.0)


def test_a_crossing_ring_loses_its_tiny_loop_only() -> None:
    """A square with a loop of half a square unit at a corner."""
    ring = np.array([[0, 0], [100, 0], [100, 100], [1, 100], [0, 99.0], [1, 99], [0, 100]], float)
    simple = without_crossings(ring)
    assert shapely.Polygon(simple).is_valid
    assert signed_area(simple) == pytest.approx(10_000, abs=1.5)
    bow = np.array([[0, 0], [30, 20], [30, 25], [30, 0], [0, 30]], float)  # two triangles, and a line there and back
    assert signed_area(without_crossings(bow)) == pytest.approx(30 * 18 / 2)
    plain = rectangle(10, 20)
    np.testing.assert_array_equal(without_crossings(plain), plain)
    assert signed_area(without_crossings(plain[::-1])) > 0
