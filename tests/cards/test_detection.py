import time

import cv2
import numpy as np
import pytest

from hidescan.basics.opencv import grey_of, points
from hidescan.cards import detection as cards_room
from hidescan.cards import pattern
from hidescan.cards.detection import Card, find_cards, is_inverted
from hidescan.cards.pattern import paper_corners_mm
from hidescan.settings import CardSettings
from tests.synthetic.scenes import Look, TrueCamera, TrueCard, look_at, picture, rectangle

SETTINGS = CardSettings()
HIDE = [rectangle(300, 200)]


def seen(camera: TrueCamera, cards: list[TrueCard], seed: int = 0, look: Look | None = None) -> np.ndarray:
    return grey_of(picture(camera, cards, HIDE, np.random.default_rng(seed), look))


def errors_px(found: Card, camera: TrueCamera, true: list[TrueCard]) -> np.ndarray:
    (card,) = (c for c in true if c.number == found.number)
    return found.corners_px - camera.project(card.floor(found.board_mm))


def test_opencv_puts_corner_centres_at_integers() -> None:
    """OpenCV's own board picture: square k of 100 px ends at pixel edge 100 k, that is at coordinate 100 k - 0.5.

    OpenCV before 5.0 gave half a pixel more; the program relies on 5.0's.
    """
    size = (100 * pattern.COLUMNS, 100 * pattern.ROWS)
    image = cv2.copyMakeBorder(pattern.board(3).generateImage(size), 50, 50, 50, 50, cv2.BORDER_CONSTANT, value=255)
    (found,) = find_cards(np.asarray(image, dtype=np.uint8), SETTINGS).cards
    expected = found.board_mm / pattern.SQUARE_MM * 100 + 50 - 0.5
    assert found.number == 3
    assert np.abs(found.corners_px - expected).max() < 0.05


@pytest.mark.parametrize("angle", [0, 73, 180, 251])
@pytest.mark.parametrize("number", [0, 9])
def test_every_corner_at_any_rotation(angle: float, number: int) -> None:
    camera = look_at((0, 0), 900, 20, 40, size_px=(1600, 1200))
    true = [TrueCard(number, (30, -20), angle)]
    (found,) = find_cards(seen(camera, true), SETTINGS).cards
    off = errors_px(found, camera, true)
    assert len(off) == 12
    assert np.sqrt((off**2).mean()) < 0.1
    assert np.abs(off.mean(axis=0)).max() < 0.05


def test_several_cards_come_by_number() -> None:
    camera = look_at((0, 0), 1500, 15, 200, size_px=(2400, 1800))
    true = [TrueCard(7, (-400, 300), 20), TrueCard(2, (400, -300), 100), TrueCard(4, (400, 300), 310)]
    assert [c.number for c in find_cards(seen(camera, true), SETTINGS).cards] == [2, 4, 7]


def test_a_far_card_is_found() -> None:
    """At 0.5 px a mm a marker is 17 px across."""
    camera = look_at((0, 0), 3600, 10, 0, size_px=(2400, 1800))
    true = [TrueCard(5, (1200, 800), 20)]
    (found,) = find_cards(seen(camera, true, look=Look(blur_px=0.5)), SETTINGS).cards
    assert len(found.corners_px) == 12


def test_no_card() -> None:
    assert find_cards(seen(look_at((0, 0), 900, 10, 0, size_px=(1200, 900)), []), SETTINGS).cards == ()


def test_part_of_a_card_gives_the_corners_that_are_seen() -> None:
    camera = look_at((0, 0), 900, 0, 90, size_px=(1600, 1200))
    covered = seen(camera, [TrueCard(1, (0, 0), 0)])
    low = camera.project(np.array([[-40.0, 130, 0], [200, -130, 0]]))
    x, y = sorted(low[:, 0]), sorted(low[:, 1])
    covered[int(y[0]) : int(y[1]), int(x[0]) : int(x[1])] = 120
    found = find_cards(covered, SETTINGS).cards
    assert found == () or 6 <= len(found[0].corners_px) < 12


def test_another_dictionary_is_no_card() -> None:
    other = cv2.aruco.CharucoBoard((4, 5), 45, 34, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250))
    image = cv2.copyMakeBorder(other.generateImage((720, 900)), 60, 60, 60, 60, cv2.BORDER_CONSTANT, value=255)
    assert find_cards(np.asarray(image, dtype=np.uint8), SETTINGS).cards == ()


def test_a_print_with_tones_exchanged_is_recognised() -> None:
    camera = look_at((0, 0), 900, 10, 0, size_px=(1600, 1200))
    grey = seen(camera, [TrueCard(1, (0, 0), 0)])
    assert not is_inverted(grey, SETTINGS)
    assert find_cards(255 - grey, SETTINGS).cards == ()
    assert is_inverted(255 - grey, SETTINGS)


def test_two_cards_of_one_number_are_left_out() -> None:
    camera = look_at((0, 0), 1300, 0, 90, size_px=(2000, 1500))
    grey = seen(camera, [TrueCard(3, (-330, 0), 0), TrueCard(3, (330, 0), 20), TrueCard(6, (0, 300), 90)])
    search = find_cards(grey, SETTINGS)
    assert [c.number for c in search.cards] == [6]
    assert search.doubled == (3,)


def test_blur_is_measured_on_the_edges() -> None:
    """A Gaussian blur added to the picture adds to the edge spread in squares."""
    camera = look_at((0, 0), 800, 5, 0, size_px=(1600, 1200))
    sharp, soft = (
        find_cards(seen(camera, [TrueCard(1, (0, 0), 10)], look=Look(blur_px=blur)), SETTINGS).cards[0]
        for blur in (0.6, 2.0)
    )
    assert sharp.sharpness.contrast == pytest.approx(215, rel=0.1)  # the scene's ink is 20, its paper 235
    assert sharp.sharpness.white_level == pytest.approx(235, rel=0.05)
    assert soft.sharpness.blur_px**2 - sharp.sharpness.blur_px**2 == pytest.approx(2.0**2 - 0.6**2, rel=0.25)


def test_the_sheet_covers_both_papers_about_the_pattern() -> None:
    corners = paper_corners_mm()
    np.testing.assert_allclose(np.ptp(corners, axis=0), (215.9, 297.0))
    np.testing.assert_allclose(corners.mean(axis=0), (90.0, 112.5))


def test_points_of_any_opencv_shape_but_pairs_only() -> None:
    assert points(np.zeros((4, 1, 2), np.float32)).shape == (4, 2)
    with pytest.raises(ValueError, match="pairs"):
        points(np.zeros((4, 3)))


def test_noise_does_not_make_measuring_a_card_slow() -> None:
    """A card's corners are looked for in a small part of the picture, which must not cost more than finding the card.

    Thousands of specks were tried as markers there: 40 times as long as the search of the whole picture.
    """
    rng = np.random.default_rng(5)
    camera = look_at((0, 0), 700, 10, 0, size_px=(1200, 900))
    clean = seen(camera, [TrueCard(1, (20, -10), 10)])
    grey = np.clip(clean + rng.normal(0, 120, clean.shape), 0, 255).astype(np.uint8)
    took = []
    for work in (lambda: cards_room._markers(grey, None), lambda: find_cards(grey, SETTINGS)):
        start = time.process_time()
        work()
        took.append(time.process_time() - start)
    assert took[1] < 8 * took[0]
