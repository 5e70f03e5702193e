import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import union_all
from shapely.geometry import Polygon, box

from hidescan.figures.clear import clear_leather, largest_circle, largest_rectangle
from hidescan.settings import ClearSettings, UsableSettings
from tests.exported import invented_map
from tests.marked import bare_map, disc, mark, marked_map

C = ClearSettings()


def largest_by_trying_all(cells: np.ndarray) -> int:
    """Largest area of a rectangle of clear cells not wider than high, every one tried."""
    rows, columns = cells.shape
    best = 0
    for y0 in range(rows):
        for y1 in range(y0 + 1, rows + 1):
            for x0 in range(columns):
                for x1 in range(x0 + 1, min(columns, x0 + y1 - y0) + 1):
                    if cells[y0:y1, x0:x1].all():
                        best = max(best, (y1 - y0) * (x1 - x0))
    return best


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_the_rectangle_against_trying_all(seed: int) -> None:
    """On hides made of cells of 100 mm the largest rectangle runs along the cells' lines."""
    rng = np.random.default_rng(seed)
    cells = rng.random((6, 5)) < 0.75
    cells[2, 2] = True
    clear = union_all([box(100 * x, 100 * y, 100 * x + 100, 100 * y + 100) for y, x in np.argwhere(cells)])
    found = largest_rectangle(clear, C)
    assert found is not None
    assert found.length_mm >= found.width_mm
    assert clear.buffer(1e-6).contains(box(found.x0, found.y0, found.x1, found.y1))
    assert found.length_mm * found.width_mm == pytest.approx(1e4 * largest_by_trying_all(cells), rel=0.002)


def test_pieces_of_known_hides() -> None:
    """A hide of 600 x 1000 mm; a hole in its middle leaves the longer half, and the circle beside it."""
    whole = clear_leather(bare_map(), UsableSettings())
    rectangle, circle = largest_rectangle(whole, C), largest_circle(whole, C)
    assert rectangle is not None and circle is not None
    assert (rectangle.width_mm, rectangle.length_mm) == pytest.approx((600, 1000), abs=0.2)
    assert circle.diameter_mm == pytest.approx(600, abs=1.0)
    holed = clear_leather(marked_map(mark("hole-1", disc(0, 900, 20), "hole")), UsableSettings())
    rectangle = largest_rectangle(holed, C)
    assert rectangle is not None
    assert (rectangle.width_mm, rectangle.length_mm) == pytest.approx((600, 875), abs=0.5)  # 20 mm and its margin of 5


def test_the_circle_in_a_triangle_has_euclids_radius() -> None:
    """Euclid, Elements IV.4: radius = area over half the perimeter; a 3-4-5 triangle of 300 mm has 100."""
    circle = largest_circle(Polygon([(0, 0), (300, 0), (0, 400)]), C)
    assert circle is not None
    assert circle.diameter_mm == pytest.approx(200.0, abs=1.0)


def test_a_hide_wider_than_long_gets_a_square() -> None:
    found = largest_rectangle(box(0, 0, 900, 400), C)
    assert found is not None
    assert (found.width_mm, found.length_mm) == pytest.approx((400, 400), abs=0.2)


def test_nothing_clear() -> None:
    assert largest_rectangle(Polygon(), C) is None
    assert largest_circle(Polygon(), C) is None


def test_on_hides_it_stays_inside_loses_little_and_is_quick() -> None:
    for seed in range(2):
        clear = clear_leather(invented_map(seed), UsableSettings())
        start = time.perf_counter()
        found, circle = largest_rectangle(clear, C), largest_circle(clear, C)
        took = time.perf_counter() - start
        assert found is not None and circle is not None
        assert clear.buffer(1e-6).contains(box(found.x0, found.y0, found.x1, found.y1))
        assert clear.buffer(0.1).contains(disc(*circle.centre_mm, circle.diameter_mm / 2))
        finer = largest_rectangle(clear, ClearSettings(cells=400))
        assert finer is not None
        assert found.length_mm * found.width_mm >= 0.985 * finer.length_mm * finer.width_mm
        assert took < 0.5  # some ten times what it takes
