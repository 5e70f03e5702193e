"""Where the neck is, by a card's arrow or a pixel; and why it is not known."""

import numpy as np
import pytest

from hidescan.basics.errors import NotFound
from hidescan.camera.model import Camera
from hidescan.camera.relief import Heights
from hidescan.cards.detection import CardSearch
from hidescan.figures.measures import Measures
from hidescan.floor.solution import CardPlace, Plane, solve_plane
from hidescan.hide_map.model import Inputs, PhotoInfo
from hidescan.mapping.plan import Plan, neck_given
from hidescan.mapping.refusals import no_card
from hidescan.outline.finding import Outline
from hidescan.settings import CardSettings, PlaneSettings
from tests.synthetic.corners import priors, seen_card
from tests.synthetic.scenes import Array, TrueCard, circle, look_at

VIEW = look_at((0, 0), 1600, 25, 60)
CARDS = (TrueCard(1, (-450, 300), 20), TrueCard(2, (450, -300), 140))
RING = circle(300, 60)


def no_measures(_: Array) -> Measures:
    raise NotImplementedError


def plan(camera: Camera | None = None) -> Plan:
    """A round hide between two cards; floor frame: that of the larger card in the picture."""
    rng = np.random.default_rng(0)
    plane = solve_plane(
        tuple(seen_card(VIEW, card, 0.05, rng) for card in CARDS), VIEW.size_px, priors(VIEW), PlaneSettings()
    )
    assert isinstance(plane, Plane)
    px = VIEW.project(np.c_[RING, np.zeros(60)])
    flat = Outline(px, np.full(60, 0.5), np.ones(60), (), 1.0, (), 0.0)
    photo = PhotoInfo("a.jpg", "0" * 64, *VIEW.size_px, None, None)
    ring_mm = plane.camera.mm_from_px(px)
    return Plan(
        photo, camera or plane.camera, flat, (), ring_mm, plane.places, Heights(0.0, 0.0), no_measures, plane.doubts
    )


def scene_deg(laid: Plan, along: Array) -> float:
    """A direction of the floor frame in the scene, degrees, by where card 1 lies in both."""
    card: CardPlace = next(place for place in laid.places if place.number == 1)
    return float(np.rad2deg(np.arctan2(along[1], along[0])) - card.angle_deg + CARDS[0].angle_deg) % 360.0


@pytest.mark.parametrize("card", CARDS)
def test_a_cards_arrow_points_off_the_top_of_its_page(card: TrueCard) -> None:
    """A page turned by a degrees has its top at 90 + a (counter-clockwise)."""
    laid = plan()
    toward = neck_given(Inputs(arrow=card.number), laid)
    assert isinstance(toward, np.ndarray)
    along = toward - laid.ring_mm.mean(axis=0)
    assert scene_deg(laid, along) == pytest.approx((90.0 + card.angle_deg) % 360.0, abs=0.2)
    assert np.linalg.norm(along) > 2 * 300  # beyond the hide


def test_a_pixel_counts_before_an_arrow_and_nothing_given_is_nothing() -> None:
    laid = plan()
    x, y = VIEW.project(np.array([[100.0, 250.0, 0.0]]))[0].tolist()
    toward = neck_given(Inputs(neck_px=(x, y), arrow=1), laid)
    assert isinstance(toward, np.ndarray)
    assert np.allclose(laid.camera.px_from_mm(toward[None])[0], (x, y), atol=1e-3)
    assert neck_given(Inputs(), laid) is None


def test_a_card_that_is_not_there_and_a_pixel_above_the_horizon_are_refused() -> None:
    missing = neck_given(Inputs(arrow=7), plan())
    assert isinstance(missing, NotFound) and missing.code == "no-arrow" and "Card 7" in missing.reason
    up, ahead = np.cos(np.deg2rad(80)), np.sin(np.deg2rad(80))  # the phone held up: the upper half shows no floor
    turned = np.array([[1.0, 0.0, 0.0], [0.0, -up, -ahead], [0.0, ahead, -up]])
    level = Camera(1000.0, 0.0, 0.0, np.array([600.0, 450.0]), turned, -turned @ np.array([0.0, -1500.0, 1500.0]))
    off = neck_given(Inputs(neck_px=(600.0, 0.0)), plan(level))
    assert isinstance(off, NotFound) and off.code == "neck-off-floor"


def test_a_photo_without_a_card_is_told_what_is_wrong_with_it() -> None:
    grey = np.full((300, 400), 128, np.uint8)
    assert no_card(grey, CardSearch((), (), ()), CardSettings()).code == "no-card"
    doubled = no_card(grey, CardSearch((), (3, 4), ()), CardSettings())
    assert doubled.code == "card-doubled" and "3, 4" in doubled.reason
