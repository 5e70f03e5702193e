import numpy as np
import pytest

from hidescan.join.same_holes import SeenHole, merged_holes
from hidescan.join.settings import HoleSettings
from tests.synthetic.scenes import circle, look_at
from tests.test_heights import camera_of

CAMERAS = tuple(camera_of(look_at((0, 0), 1500, 20, azimuth)) for azimuth in (0, 180))
SIZES = ((4000, 3000), (4000, 3000))
S = HoleSettings()


def hole(x_mm: float, confidence: float = 0.9, mm_per_px: float = 0.5) -> SeenHole:
    return SeenHole(circle(10, 60, (x_mm, 0.0)), 0.3, mm_per_px, confidence)


def test_one_hole_seen_twice_is_one_mark_drawn_by_the_nearer_view() -> None:
    near = hole(0.5, mm_per_px=0.4)
    (one,) = merged_holes([[hole(0.0)], [near]], CAMERAS, SIZES, S)
    np.testing.assert_array_equal(one.ring_mm, near.ring_mm)
    assert one.confidence == pytest.approx(0.9)


def test_two_holes_stay_two() -> None:
    assert len(merged_holes([[hole(0.0), hole(60.0)], [hole(60.5)]], CAMERAS, SIZES, S)) == 2


def test_a_photo_that_shows_the_place_and_no_hole_counts_against_it() -> None:
    (kept,) = merged_holes([[hole(0.0)], []], CAMERAS, SIZES, S)
    assert kept.confidence == pytest.approx((0.9 + S.unfound) / 2)
    assert merged_holes([[hole(0.0, 0.55)], []], CAMERAS, SIZES, S) == ()


def test_a_photo_that_does_not_show_the_place_says_nothing() -> None:
    (kept,) = merged_holes([[hole(5000.0)], []], CAMERAS, SIZES, S)
    assert kept.confidence == pytest.approx(0.9)
