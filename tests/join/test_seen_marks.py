import numpy as np
import pytest

from hidescan.hide_map.model import MarkKind
from hidescan.join.seen_marks import SeenMark, merged_marks
from hidescan.join.settings import MarkSettings
from tests.camera.test_relief import camera_of
from tests.synthetic.scenes import circle, look_at

CAMERAS = tuple(camera_of(look_at((0, 0), 1500, 20, azimuth)) for azimuth in (0, 180))
SIZES = ((4000, 3000), (4000, 3000))
S = MarkSettings()


def mark(photo: int, x_mm: float, confidence: float = 0.9, mm_per_px: float = 0.5, kind: MarkKind = "hole") -> SeenMark:
    return SeenMark(kind, photo, circle(10, 60, (x_mm, 0.0)), 0.3, mm_per_px, confidence)


def merged(*seen: SeenMark) -> tuple[SeenMark, ...]:
    return merged_marks(list(seen), CAMERAS, SIZES, S)


@pytest.mark.parametrize("kind", ["hole", "cut", "brand", "stain", "scratch", "wrinkle"])
def test_one_mark_seen_twice_is_one_mark_drawn_by_the_nearer_view(kind: MarkKind) -> None:
    near = mark(1, 0.5, mm_per_px=0.4, kind=kind)
    (one,) = merged(mark(0, 0.0, kind=kind), near)
    np.testing.assert_array_equal(one.ring_mm, near.ring_mm)
    assert (one.kind, one.photo) == (kind, 1)
    assert one.confidence == pytest.approx(0.9)


def test_two_marks_stay_two() -> None:
    assert len(merged(mark(0, 0.0), mark(0, 60.0), mark(1, 60.5))) == 2


def test_a_photo_that_shows_the_place_and_no_mark_counts_against_it() -> None:
    (kept,) = merged(mark(0, 0.0))
    assert kept.confidence == pytest.approx((0.9 + S.unfound) / 2)
    assert merged(mark(0, 0.0, 0.55)) == ()


def test_a_photo_that_does_not_show_the_place_says_nothing() -> None:
    (kept,) = merged(mark(0, 5000.0))
    assert kept.confidence == pytest.approx(0.9)


def test_one_place_taken_for_two_kinds_is_of_the_surer_one() -> None:
    (one,) = merged(mark(0, 0.0, 0.5, kind="scratch"), mark(1, 1.0, 0.8, kind="brand"))
    assert (one.kind, one.photo) == ("brand", 1)


def test_a_scratch_across_a_stain_stays_beside_it() -> None:
    stain = SeenMark("stain", 0, circle(60, 60, (0.0, 0.0)), 0.3, 0.5, 0.9)
    assert {m.kind for m in merged(stain, mark(0, 0.0, kind="scratch"), mark(1, 0.0, kind="scratch"))} == {
        "stain",
        "scratch",
    }


def test_a_mark_in_two_pieces_where_it_is_seen_best_stays_in_two() -> None:
    """The coarser photo saw one, from one piece to the other."""
    long = SeenMark("scratch", 1, np.array([[-15.0, -3], [35, -3], [35, 3], [-15, 3]]), 0.3, 0.6, 0.8)
    pieces = merged(mark(0, -5.0, kind="scratch"), mark(0, 25.0, kind="scratch"), long)
    assert [m.photo for m in pieces] == [0, 0]
