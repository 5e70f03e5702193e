"""The rim as a person drew it."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points, signed_area
from hidescan.camera.relief import plan_view
from hidescan.hide_map.model import Inputs
from hidescan.mapping import plan
from hidescan.mapping.building import photo_info
from hidescan.mapping.rim import HideInPhoto, RimInputs, hide_in_photo
from hidescan.outline.by_hand import redrawn
from hidescan.outline.finding import Outline
from hidescan.photo.reading import read_photo
from hidescan.pipeline import Pipeline
from hidescan.settings import RedrawnSettings, Settings

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


def test_a_rim_drawn_above_the_horizon_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """No floor is seen there, so it has no place in the plan: once a traceback."""
    settings = Settings()
    photo = read_photo(Path(__file__).parents[2] / "sample_images" / "deer_on_tile.jpg", settings.photo)
    floor = Pipeline(photo, settings).floor(Inputs())
    assert not isinstance(floor, NotFound)
    up, ahead = np.cos(np.deg2rad(80)), np.sin(np.deg2rad(80))  # the phone held up: half the picture is no floor
    turned = np.array([[1.0, 0.0, 0.0], [0.0, -up, -ahead], [0.0, ahead, -up]])
    level = replace(floor.plane.camera, rotation=turned, translation_mm=-turned @ np.array([0.0, -1500.0, 1500.0]))
    xs, ys = np.meshgrid(np.linspace(0, photo.width_px, 9), np.linspace(0, photo.height_px, 9))
    grid = np.column_stack([xs.ravel(), ys.ravel()])
    sky = grid[np.isnan(level.mm_from_px(grid)).any(axis=1)]
    assert 0 < len(sky) < len(grid)
    rim = tuple((float(x), float(y)) for x, y in (*sky[:1], *sky[:1] + (40.0, 0.0), *sky[:1] + (40.0, 40.0), *sky[:1]))
    hide = hide_in_photo(photo, floor, NONE, RimInputs(rim_px=(rim,)), settings)
    assert isinstance(hide, HideInPhoto)
    monkeypatch.setattr(plan, "plan_view", lambda camera, ring_px, heights: plan_view(level, ring_px, heights))
    made = plan.plan_of_photo(photo_info(photo), hide, settings)
    assert isinstance(made, NotFound)
    assert made.code == "rim-off-floor"
