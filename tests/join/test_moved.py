import numpy as np
import pytest

from hidescan.join.bundle import Joint, solve_joint
from hidescan.join.moved import card_moves, moved_card
from hidescan.join.settings import BundleSettings
from hidescan.settings import PlaneSettings
from tests.synthetic.joined import views_of
from tests.synthetic.scenes import TrueCard, circle, look_at
from tests.synthetic.views import ViewsScene

B, P = BundleSettings(), PlaneSettings()
CARDS = [TrueCard(n, xy, 20.0 * n, 0.1) for n, xy in ((1, (-450, 350)), (2, (450, -350)), (3, (450, 350)), (4, (-450, -350)))]  # fmt: skip
CAMERAS = [look_at((0, 0), 1500, tilt, azimuth) for tilt, azimuth in ((10, 0), (25, 120), (25, 240))]
SCENE = ViewsScene(circle(300, 400), np.zeros(400), 2.0, CARDS, CAMERAS)


def joint(seed: int, moved: int = 0, photos: tuple[int, ...] = ()) -> Joint:
    angle = np.random.default_rng(seed).uniform(0, 2 * np.pi)
    by_mm = (5 * np.cos(angle), 5 * np.sin(angle))
    found = solve_joint(
        views_of(SCENE, np.random.default_rng(seed), moved=moved, by_mm=by_mm, photos=photos), B, P
    )  # fmt: skip
    assert isinstance(found, Joint)
    return found


@pytest.mark.parametrize("moved", [1, 2, 3, 4])
def test_a_card_that_went_5_mm_is_named(moved: int) -> None:
    refusal = moved_card(joint(moved, moved, (2,)), B)
    assert refusal is not None
    assert f"Card {moved} was" in refusal.reason
    assert "2.jpg" in refusal.reason


def test_how_far_it_went_is_measured() -> None:
    assert card_moves(joint(1, 3, (1,)))[0].way_mm == pytest.approx(5.0, abs=1.0)


def test_cards_that_lay_still_raise_no_alarm() -> None:
    assert [moved_card(joint(seed), B) for seed in range(8)] == [None] * 8


def test_of_two_cards_neither_can_be_told_to_be_the_one() -> None:
    cameras = [look_at((0, 0), 1900, tilt, azimuth) for tilt, azimuth in ((10, 0), (25, 240))]
    two = ViewsScene(SCENE.ring_mm, SCENE.lift_mm, 2.0, CARDS[:2], cameras)
    views = views_of(two, np.random.default_rng(0), sd_px=0.05, moved=1, by_mm=(8.0, -6.0), photos=(1,))
    found = solve_joint(views, B, P)
    assert isinstance(found, Joint)
    refusal = moved_card(found, B)
    assert refusal is not None
    assert "Card 1 or 2 was" in refusal.reason
