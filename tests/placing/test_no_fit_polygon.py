"""Free positions from convolutions, against Shapely's predicates and pyclipper's sum over all pairs of edges."""

import numpy as np
import pyclipper
import pytest
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import Point, Polygon

from hidescan.placing.no_fit_polygon import Paths, common, inner_fit, minus, no_fit

Ints = NDArray[np.int64]


def star(rng: np.random.Generator, corners: int, radius: float, hollow: float) -> Ints:
    """A simple ring with hollows, counter-clockwise, micrometres."""
    while True:
        at = np.sort(rng.uniform(0, 2 * np.pi, corners))
        ring = np.column_stack([np.cos(at), np.sin(at)]) * (radius * rng.uniform(1 - hollow, 1, corners))[:, None]
        ints = np.rint(ring * 1000).astype(np.int64)
        if Polygon(ints).is_valid and Polygon(ints).exterior.is_ccw and Polygon(ints).area > 1e6:
            return ints


def region(paths: Paths) -> shapely.Geometry:
    outer = [Polygon(path) for path in paths if pyclipper.Orientation(path)]
    holes = [Polygon(path) for path in paths if not pyclipper.Orientation(path)]
    return shapely.union_all(outer).difference(shapely.union_all(holes))


@pytest.mark.parametrize("seed", range(12))
def test_no_fit_is_where_two_polygons_meet(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for _ in range(4):
        a, b = star(rng, int(rng.integers(3, 16)), 100, 0.7), star(rng, int(rng.integers(3, 16)), 60, 0.7)
        meet = region(no_fit(a, b))
        for x, y in rng.uniform(-170_000, 170_000, (30, 2)):
            assert meet.contains(Point(x, y)) == Polygon(a).intersects(affinity.translate(Polygon(b), x, y))


# pyclipper.MinkowskiSum sweeps one outline along the other (all pairs of edges); its inside is filled by hand.
@pytest.mark.parametrize("seed", range(6))
def test_no_fit_agrees_with_the_sum_over_all_edges(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    a, b = star(rng, 12, 100, 0.6), star(rng, 9, 60, 0.6)
    clipper = pyclipper.Pyclipper()
    clipper.AddPaths(pyclipper.MinkowskiSum((-b).tolist(), a.tolist(), True), pyclipper.PT_SUBJECT, True)
    clipper.AddPath((a - b[0]).tolist(), pyclipper.PT_SUBJECT, True)
    clipper.AddPath((a[0] - b).tolist(), pyclipper.PT_SUBJECT, True)
    swept = region(clipper.Execute(pyclipper.CT_UNION, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO))
    assert region(no_fit(a, b)).symmetric_difference(swept).area < 1e-5 * swept.area


@pytest.mark.parametrize("seed", range(8))
def test_inner_fit_is_where_a_polygon_lies_inside(seed: int) -> None:
    rng = np.random.default_rng(200 + seed)
    a, b = star(rng, int(rng.integers(6, 30)), 200, 0.5), star(rng, int(rng.integers(3, 10)), 60, 0.7)
    paths = inner_fit(a, b)
    inside = region(paths) if paths else Polygon()
    for x, y in rng.uniform(-150_000, 150_000, (60, 2)):
        assert inside.contains(Point(x, y)) == Polygon(a).contains(affinity.translate(Polygon(b), x, y))


# Closed form: rectangles W x H and w x h meet over (W + w) x (H + h), and fit over (W - w) x (H - h).
def test_rectangles_with_parallel_edges() -> None:
    big, small = (np.array([[0, 0], [w, 0], [w, h], [0, h]], dtype=np.int64) for w, h in ((100, 50), (30, 20)))
    assert region(no_fit(big, small)).equals(shapely.box(-30, -20, 100, 50))
    assert region(inner_fit(big, small)).equals(shapely.box(0, 0, 70, 30))


def test_a_pocket_is_a_free_place() -> None:
    """A square fits into the square pocket of a C, which no convex hull would show."""
    pocket = np.array([[0, 0], [90, 0], [90, 30], [30, 30], [30, 60], [90, 60], [90, 90], [0, 90]], dtype=np.int64)
    square = np.array([[0, 0], [20, 0], [20, 20], [0, 20]], dtype=np.int64)
    free = minus([[[0, 0], [90, 0], [90, 90], [0, 90]]], [no_fit(pocket, square)])
    assert region(free).equals(shapely.box(30, 30, 90, 40))
    assert region(common(free, [[[50, 0], [90, 0], [90, 90], [50, 90]]])).equals(shapely.box(50, 30, 90, 40))


def test_paths_without_an_area_on_the_grid_are_nowhere() -> None:
    """A sliver of a drawing, narrower than a micrometre, is a line here, which the library refuses."""
    line, square = [[0, 0], [9, 0], [4, 0]], [[0, 0], [900, 0], [900, 900], [0, 900]]
    assert minus([line], [[square]]) == [] and common([square], [line]) == []
    assert len(minus([square], [[line]])) == 1
    sliver = np.array(line)
    assert len(no_fit(np.array(square), sliver)) <= 1 and no_fit(sliver, sliver) == []
