"""Length, width and perimeter: their rules against values from outside, and what their ± holds."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hidescan.basics.geometry import divider_perimeter, rotation_2d
from hidescan.basics.uncertainty import Measured
from hidescan.figures.extent import extents, with_extent
from hidescan.figures.measures import Measures
from hidescan.settings import MeasureSettings
from tests.synthetic.scenes import Array, circle, rectangle

S = MeasureSettings()
ALONG = np.array([0.0, 1.0])


def koch(side: float, order: int) -> Array:
    """Von Koch's snowflake, its sides turned outward `order` times."""
    ring = side * np.array([0, 1, 0.5 - 0.75**0.5 * 1j])
    for _ in range(order):
        step = (np.roll(ring, -1) - ring) / 3
        ring = np.column_stack([ring, ring + step, ring + step * (1 + np.exp(1j * np.pi / 3)), ring + 2 * step]).ravel()
    return np.column_stack([ring.real, ring.imag])


def test_a_divider_walks_a_circle_as_archimedes_did() -> None:
    """Measurement of a Circle, proposition 3: the inscribed 96-gon is longer than 3 10/71 diameters, shorter than pi."""
    walked = divider_perimeter(circle(500.0, 20_000), 1000 * np.sin(np.pi / 96))
    assert 3 + 10 / 71 < walked / 1000 < np.pi


@pytest.mark.parametrize("coarser", [0, 1, 2, 3])
def test_a_ragged_rim_has_the_length_of_its_step(coarser: int) -> None:
    """Mandelbrot 1967, Science 156:636-638: a Koch curve walked in steps of 3^-n is (4/3)^n long; dimension log 4/log 3."""
    order = 5
    step = 729.0 / 3 ** (order - coarser)
    assert divider_perimeter(koch(729.0, order), step * (1 - 1e-9)) == pytest.approx(
        3 * 729.0 * (4 / 3) ** (order - coarser), rel=1e-3
    )


def test_what_is_finer_than_the_step_hardly_counts() -> None:
    fine = circle(500.0, 8000)
    rough = fine * (1 + 0.002 * np.where(np.arange(8000) % 2, 1, -1))[:, None]
    assert np.linalg.norm(np.roll(rough, -1, axis=0) - rough, axis=1).sum() > 4 * 2 * np.pi * 500
    assert divider_perimeter(rough, 20.0) == pytest.approx(2 * np.pi * 500, rel=0.01)


def test_mean_extent_over_all_directions_is_the_perimeter_over_pi() -> None:
    """Cauchy's formula for convex bodies (1841, from memory); 1000 x 600 mm: 3200 / pi."""
    turns = np.arange(0.0, 180.0, 0.5)
    sides = [extents(rectangle(1000, 600), rotation_2d(turn) @ ALONG)[0] for turn in turns]
    assert np.mean(sides) == pytest.approx(3200 / np.pi, rel=1e-4)


def test_extents_are_feret_diameters() -> None:
    """ISO 9276-6:2008, from memory: of a square the greatest is its diagonal, the least its side."""
    sides = [extents(rectangle(500, 500), rotation_2d(turn) @ ALONG)[0] for turn in range(0, 180, 5)]
    assert (max(sides), min(sides)) == (pytest.approx(500 * 2**0.5), pytest.approx(500.0))


def stated(sd_deg: float | None, confidence: float = 1.0, open_area_u: float = 0.0, u: float = 0.0) -> Measures:
    ring = rectangle(600, 1000)
    length, width, perimeter = (Measured(value, u) for value in (1000.0, 600.0, 3200.0))
    bare = Measures(Measured(6e5, u), Measured(6e5, u), length, width, perimeter, ())
    return with_extent(
        bare, ring, ALONG, angle_sd_deg=sd_deg, confidence=confidence, open_area_u=open_area_u, settings=S
    )


def test_an_axis_that_is_unsure_makes_length_and_width_unsure() -> None:
    """A rectangle of a x b turned by d is a cos d + b sin d long, whichever way it is turned."""
    m, sure = stated(2.0), stated(None)
    d = np.deg2rad(2.0)
    for turned, straight, a, b in ((m.length, sure.length, 1000, 600), (m.width, sure.width, 600, 1000)):
        by_axis = a * np.cos(d) + b * np.sin(d) - a
        assert turned.u == pytest.approx(np.hypot(straight.u, by_axis))
    assert m.perimeter == sure.perimeter


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 0.1), st.floats(0, 20))
def test_a_surer_outline_is_never_less_sure_of_its_sides(a: float, b: float, open_u: float, u: float) -> None:
    worse, better = (stated(1.0, confidence, open_u, u) for confidence in sorted((a, b)))
    for name in ("length", "width", "perimeter"):
        assert getattr(better, name).u <= getattr(worse, name).u + 1e-12
        assert getattr(better, name).u >= u
        assert getattr(better, name).value == getattr(worse, name).value
