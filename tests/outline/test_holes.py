"""Through holes: found where the floor shows, not where the leather is dark."""

import numpy as np
from shapely.geometry import Point, Polygon

from hidescan.outline.finding import Outline, find_outline
from hidescan.settings import OutlineSettings
from tests.synthetic.painted import RING, picture

SETTINGS = OutlineSettings()


def ellipse(x: float, y: float, a: float, b: float) -> np.ndarray:
    t = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    return np.column_stack([x + a * np.cos(t), y + b * np.sin(t)])


HOLES = (ellipse(700, 500, 26, 20), ellipse(950, 650, 14, 11))


def test_holes_are_found_where_the_floor_shows() -> None:
    outline = find_outline(picture([RING], HOLES), None, [], SETTINGS)
    assert isinstance(outline, Outline)
    for ring in HOLES:
        true = Polygon(ring)
        best = max((Polygon(h.ring_px).buffer(0) for h in outline.holes), key=lambda p: p.intersection(true).area)
        assert best.intersection(true).area / best.union(true).area > 0.6
    assert len(outline.holes) == len(HOLES)


def test_a_whole_hide_has_no_holes() -> None:
    outline = find_outline(picture([RING]), None, [], SETTINGS)
    assert isinstance(outline, Outline) and outline.holes == ()


def test_a_hole_lies_inside_the_rim_and_is_sure_to_some_degree() -> None:
    outline = find_outline(picture([RING], HOLES), None, [], SETTINGS)
    assert isinstance(outline, Outline)
    hide = Polygon(outline.ring_px)
    for hole in outline.holes:
        assert hide.contains(Point(hole.ring_px.mean(axis=0)))
        assert SETTINGS.least_hole_confidence <= hole.confidence <= 1
