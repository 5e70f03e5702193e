"""The outline as a whole, on plain painted scenes whose truth is geometry."""

import numpy as np
import pytest
from shapely.geometry import Point, Polygon

from hidescan.outline.finding import Hint, Outline, find_outline, stretches
from hidescan.settings import OutlineSettings
from tests.synthetic.painted import RING, SIZE, hide_ring, picture

SETTINGS = OutlineSettings()


@pytest.fixture(scope="module")
def found() -> Outline:
    outline = find_outline(picture([RING]), None, [], SETTINGS)
    assert isinstance(outline, Outline)
    return outline


def test_the_rim_is_where_it_was_drawn(found: Outline) -> None:
    true, got = Polygon(RING), Polygon(found.ring_px)
    assert true.intersection(got).area / true.union(got).area > 0.99
    off = np.array([true.exterior.distance(Point(p)) for p in found.ring_px])
    assert off.mean() < 1.0


def test_the_uncertainty_covers_the_error(found: Outline) -> None:
    off = np.array([Polygon(RING).exterior.distance(Point(p)) for p in found.ring_px])
    assert np.mean(off < 3 * found.u_px) > 0.9
    assert (found.u_px > 0).all()


def test_ring_and_its_figures_go_together(found: Outline) -> None:
    n = len(found.ring_px)
    assert found.u_px.shape == found.confidence.shape == (n,)
    steps = np.linalg.norm(np.roll(found.ring_px, -1, axis=0) - found.ring_px, axis=1)
    assert steps.max() < 2 * SETTINGS.ring_step_px
    assert ((found.confidence >= 0) & (found.confidence <= 1)).all()


def test_a_portrait_photo_gives_the_same_hide() -> None:
    upright = np.ascontiguousarray(np.rot90(picture([RING])))
    outline = find_outline(upright, None, [], SETTINGS)
    assert isinstance(outline, Outline)
    turned = np.column_stack([RING[:, 1], SIZE[0] - 1 - RING[:, 0]])  # rot90 anticlockwise: (x, y) -> (y, w - 1 - x)
    true, got = Polygon(turned), Polygon(outline.ring_px)
    assert true.intersection(got).area / true.union(got).area > 0.99


def test_an_empty_floor_is_no_hide() -> None:
    refused = find_outline(picture([]), None, [], SETTINGS)
    assert not refused
    assert not isinstance(refused, Outline) and refused.code == "no-hide"


def test_a_hide_that_leaves_the_frame_is_refused() -> None:
    refused = find_outline(picture([hide_ring((250, 600), 380)]), None, [], SETTINGS)
    assert not isinstance(refused, Outline) and refused.code == "cut-by-frame"


def test_two_hides_are_counted_and_one_can_be_pointed_at() -> None:
    left, right = hide_ring((400, 600), 230), hide_ring((1180, 600), 230)
    photo = picture([left, right])
    refused = find_outline(photo, None, [], SETTINGS)
    assert not isinstance(refused, Outline) and refused.code == "several-hides" and "2 hides" in refused.reason
    outline = find_outline(photo, None, [], SETTINGS, hide_at=(1180.0, 600.0))
    assert isinstance(outline, Outline)
    assert Polygon(right).buffer(20).contains(Polygon(outline.ring_px))


@pytest.mark.parametrize(
    "tap", [(800.0, 600.0, False), (1500.0, 600.0, True), (800.0, 250.0, False), (150.0, 150.0, True)]
)
def test_taps_are_honoured_exactly_even_absurd_ones(tap: tuple[float, float, bool]) -> None:
    outline = find_outline(picture([RING]), None, [], SETTINGS, hints=(Hint((tap[0], tap[1]), tap[2]),))
    assert isinstance(outline, Outline)
    assert Polygon(outline.ring_px).buffer(0).contains(Point(tap[:2])) == tap[2]


def test_same_photo_same_outline(found: Outline) -> None:
    again = find_outline(picture([RING]), None, [], SETTINGS)
    assert isinstance(again, Outline)
    np.testing.assert_array_equal(again.ring_px, found.ring_px)


@pytest.mark.parametrize(
    ("low", "expected"),
    [("0110", ((1, 3),)), ("1001", ((3, 5),)), ("1111", ((0, 4),)), ("0000", ()), ("1010", ())],
)
def test_stretches_wrap_round_the_ring(low: str, expected: tuple[tuple[int, int], ...]) -> None:
    assert stretches(np.array([c == "1" for c in low]), 2) == expected
