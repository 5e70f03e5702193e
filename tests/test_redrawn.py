"""The rim as a person drew it."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from hidescan.geometry import Points, signed_area
from hidescan.outline import Outline
from hidescan.problems import NotFound
from hidescan.redrawn import redrawn
from hidescan.settings import RedrawnSettings

SETTINGS = RedrawnSettings()
NONE = NotFound("no-hide", "No hide.", "")


def circle(points: int = 400, radius: float = 200.0) -> Points:
    turn = np.linspace(0, 2 * np.pi, points, endpoint=False)
    return 500.0 + radius * np.column_stack([np.cos(turn), np.sin(turn)])


def seen(ring: Points) -> Outline:
    n = len(ring)
    return Outline(ring, np.full(n, 0.5), np.full(n, 0.9), (), 0.95, ((n - 20, n + 20),), 0.001)


def bulge(ring: Points, at: int, half: int, out: float) -> Points:
    index = np.arange(at - half, at + half + 1)
    share = np.cos(np.linspace(-np.pi / 2, np.pi / 2, len(index))) ** 2
    return ring[index % len(ring)] + (ring[at % len(ring)] - 500.0) / 200.0 * out * share[:, None]


def test_nothing_drawn_changes_nothing() -> None:
    found = seen(circle())
    assert redrawn(found, (), SETTINGS) is found
    assert redrawn(NONE, (), SETTINGS) is NONE


@given(st.integers(0, 399), st.integers(1, 60), st.floats(-40, 40), st.booleans())
def test_a_stretch_changes_the_area_by_the_shoelace_difference(at: int, half: int, out: float, turned: bool) -> None:
    ring = circle()
    line = bulge(ring, at, half, out)
    drawn = redrawn(seen(ring), (line[::-1] if turned else line,), SETTINGS)
    assert isinstance(drawn, Outline)
    expected = ring.copy()
    expected[np.arange(at - half, at + half + 1) % len(ring)] = line
    assert np.isclose(signed_area(drawn.ring_px), signed_area(expected), rtol=1e-9)
    assert len(drawn.u_px) == len(drawn.confidence) == len(drawn.ring_px)


def test_a_stretch_is_sure_and_the_rest_is_as_it_was() -> None:
    ring = circle()
    drawn = redrawn(seen(ring), (bulge(ring, 0, 20, 15.0),), SETTINGS)
    assert isinstance(drawn, Outline)
    assert drawn.doubtful == ()  # the only doubtful stretch was drawn over
    by_hand = drawn.u_px == SETTINGS.hand_u_px
    assert np.linalg.norm(drawn.ring_px[by_hand] - (700, 500), axis=1).max() < 70
    assert (drawn.u_px[~by_hand] == 0.5).all()


def test_what_is_left_of_a_doubtful_stretch_stays_doubtful() -> None:
    ring = circle()
    drawn = redrawn(seen(ring), (bulge(ring, 15, 10, 5.0),), SETTINGS)
    assert isinstance(drawn, Outline)
    (start, stop) = drawn.doubtful[0]
    assert stop - start == 25


def test_stretches_are_laid_one_on_another() -> None:
    first = redrawn(seen(circle()), (bulge(circle(), 100, 30, 20.0),), SETTINGS)
    assert isinstance(first, Outline)
    at = int(np.argmax(first.ring_px[:, 1]))
    line = first.ring_px[np.arange(at - 5, at + 6) % len(first.ring_px)] + (0.0, 3.0)
    both = redrawn(seen(circle()), (bulge(circle(), 100, 30, 20.0), line), SETTINGS)
    again = redrawn(first, (line,), SETTINGS)
    assert isinstance(both, Outline) and isinstance(again, Outline)
    assert np.array_equal(both.ring_px, again.ring_px)


def test_a_whole_rim_stands_in_where_nothing_was_found() -> None:
    square = np.array([[0.0, 0.0], [0.0, 100.0], [100.0, 100.0], [100.0, 0.0], [0.0, 0.0]])
    for found in (NONE, seen(circle())):
        drawn = redrawn(found, (square,), SETTINGS)
        assert isinstance(drawn, Outline)
        assert np.isclose(signed_area(drawn.ring_px), 100.0**2)
        assert np.linalg.norm(np.diff(drawn.ring_px, axis=0), axis=1).max() <= SETTINGS.step_px
        assert drawn.confidence_whole == 1.0


def test_a_stretch_alone_is_no_hide() -> None:
    assert redrawn(NONE, (np.array([[0.0, 0.0], [50.0, 0.0]]),), SETTINGS) is NONE
