import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box

from hidescan.shelf.figures import left_mm, rectangles
from hidescan.shelf.settings import FitSettings

FIT = FitSettings()
CELLS = 2 * FIT.cell_mm


def widest(found: tuple[tuple[float, float], ...], length: float) -> float:
    return next((wide for long, wide in found if long >= length), 0.0)


def test_a_rectangle_fits_itself_and_no_more() -> None:
    found = rectangles(box(-250, 0, 250, 900), FIT)
    assert len(found) == 1
    assert 900 - CELLS <= found[0][0] <= 900
    assert 500 - CELLS <= found[0][1] <= 500


def test_the_largest_rectangle_in_an_ellipse() -> None:
    """An axis-parallel rectangle of length 2 b sin(t) inscribed in an ellipse is 2 a cos(t) wide (geometry)."""
    ellipse = Polygon([(300 * np.cos(t), 600 * np.sin(t)) for t in np.linspace(0, 2 * np.pi, 2000)])
    found = rectangles(ellipse, FIT)
    for t in (0.3, 0.8, 1.3):
        assert widest(found, 1200 * np.sin(t) - CELLS) >= 600 * np.cos(t) - CELLS
        assert widest(found, 1200 * np.sin(t)) <= 600 * np.cos(t)


def test_a_hole_in_the_middle_leaves_the_two_sides() -> None:
    hide = box(-300, 0, 300, 1000).difference(Point(0, 500).buffer(20))
    found = rectangles(hide, FIT)
    assert widest(found, 960) == pytest.approx(280, abs=CELLS)
    assert widest(found, 400) == pytest.approx(600, abs=CELLS)


def test_nothing_fits_in_nothing() -> None:
    assert rectangles(box(0, 0, 4, 4), FIT) == ()
    assert rectangles(left_mm(box(0, 0, 10, 10), [box(-1, -1, 11, 11)]), FIT) == ()


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.3, 1.0), st.floats(0.0, 0.6)), min_size=7, max_size=16),
    st.floats(0, 3),
    st.floats(0, 120),
)
def test_what_is_promised_truly_fits(spokes: list[tuple[float, float]], shift: float, length: float) -> None:
    """On random star-shaped outlines: the promised rectangle is found by a plain search over places with Shapely."""
    angles = np.linspace(0, 2 * np.pi, len(spokes), endpoint=False) + 0.3 * np.array([jitter for _, jitter in spokes])
    radii = np.array([radius for radius, _ in spokes])
    hide = Polygon(np.column_stack([80 * radii * np.cos(angles) + shift, 90 * radii * np.sin(angles)])).buffer(0)
    found = rectangles(hide, FIT)
    lengths, widths = [long for long, _ in found], [wide for _, wide in found]
    assert lengths == sorted(set(lengths))
    assert widths == sorted(set(widths), reverse=True)
    wide = widest(found, length)
    x0, y0, x1, y1 = hide.bounds
    x, y = np.meshgrid(np.arange(x0, x1 - wide + 2, 2.0), np.arange(y0, y1 - length + 2, 2.0))
    roomier = hide.buffer(1.5)  # places are tried 2 mm apart
    shapely.prepare(roomier)
    assert wide == 0 or shapely.contains(roomier, shapely.box(x, y, x + wide, y + length)).any()
