"""Printed edges in photos whose every pixel follows from the PDF's own numbers (`tests/synthetic/printed.py`)."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from hidescan.cards.blur import edge_blur_px
from hidescan.cards.detection import Card, find_cards
from hidescan.cards.edges import EdgePoints
from hidescan.cards.pattern import PATTERN_MM, board, printed_edges
from hidescan.settings import CardSettings
from tests.synthetic.printed import Curl, Sheet, Shot, black_rectangles_mm, board_seen, photographed_cards
from tests.synthetic.scenes import Array, TrueCard, look_at

SETTINGS = CardSettings()
CAMERA = look_at((0, 0), 650, 20, 70, focal_35mm=26, k1=-0.04, k2=0.01, size_px=(1600, 1200))
CARD = TrueCard(1, (60, -40), 25)


@cache
def seen(shot: Shot = Shot(), curl: Curl = Curl(), number: int = 1) -> tuple[Card, Sheet]:  # noqa: B008
    sheet = Sheet(replace(CARD, number=number), curl)
    grey = photographed_cards(CAMERA, [sheet], shot, np.random.default_rng(3))
    (card,) = find_cards(grey, SETTINGS).cards
    return card, sheet


def edges_of(card: Card) -> EdgePoints:
    assert card.edges is not None
    return card.edges


def off_mm(card: Card, sheet: Sheet) -> Array:
    """How far outward (from black to white) each point was seen from where its edge is drawn."""
    edges = edges_of(card)
    return np.asarray(np.sum((board_seen(CAMERA, sheet, edges.px) - edges.board_mm) * edges.outward, axis=1))


@pytest.mark.parametrize("number", [0, 1, 9])
def test_every_printed_edge_is_one_of_opencv_s_board_picture(number: int) -> None:
    """Reference: OpenCV's own picture of the board, black on one side of each edge and white on the other."""
    picture = board(number).generateImage((1800, 2250), marginSize=0)
    picture = np.pad(picture, 50, constant_values=255)
    edges = printed_edges(number)
    for share in (0.1, 0.5, 0.9):
        at = edges.start_mm + share * (edges.end_mm - edges.start_mm)
        for way, tone in ((-1.0, 0), (1.0, 255)):
            x, y = np.rint((at + way * edges.outward) * 10 + 49.5).astype(int).T
            assert (picture[y, x] == tone).all()
    length = np.linalg.norm(edges.end_mm - edges.start_mm, axis=1)
    squares = length == 45.0
    assert squares.sum() == 40
    assert len(np.unique(np.c_[edges.start_mm, edges.end_mm].round(3), axis=0)) == len(length)
    # Nothing else is printed within the clear distance, on either side.
    middle = (edges.start_mm + edges.end_mm) / 2
    for way, tone in ((-1.0, 0), (1.0, 255)):
        x, y = np.rint((middle + 0.9 * way * edges.clear_mm[:, None] * edges.outward) * 10 + 49.5).astype(int).T
        assert (picture[np.clip(y, 0, 2349), np.clip(x, 0, 1899)] == tone).all()


def test_the_edges_are_those_of_the_pdf() -> None:
    """Reference: PDFium's rectangles. Each edge along x lies on the top or bottom of one of them, along y on a side."""
    boxes, edges = black_rectangles_mm(1), printed_edges(1)
    for i, upright in ((1, False), (0, True)):
        mine = (np.abs(edges.outward[:, 0]) > 0.5) == upright
        lines = np.concatenate([boxes[:, i], boxes[:, i + 2]])
        assert np.abs(edges.start_mm[mine, i][:, None] - lines).min(axis=1).max() < 1e-3
    assert boxes[:, :2].min() == pytest.approx(0, abs=1e-3)
    np.testing.assert_allclose(boxes[:, 2:].max(axis=0), PATTERN_MM, atol=1e-3)


def test_edges_are_seen_where_they_are() -> None:
    """In linear light a step keeps its place under blur: what is left is noise and compression."""
    card, sheet = seen(Shot(gamma=1.0))
    off = off_mm(card, sheet)
    assert len(off) > 400
    assert abs(off.mean()) < 0.01
    px_per_mm = 1.4
    assert px_per_mm * off.std() < 0.04


@pytest.mark.parametrize("ink_mm", [0.1, 0.2])
def test_grown_ink_moves_all_edges_outward_alike(ink_mm: float) -> None:
    (plain, sheet), (grown, _) = seen(Shot()), seen(Shot(ink_mm=ink_mm))
    assert off_mm(grown, sheet).mean() - off_mm(plain, sheet).mean() == pytest.approx(ink_mm, abs=0.015)
    assert off_mm(grown, sheet).std() < 0.03


def test_a_phone_s_tone_curve_makes_black_look_smaller_on_all_sides_alike() -> None:
    card, sheet = seen(Shot(gamma=2.2))
    off, edges = off_mm(card, sheet), edges_of(card)
    assert off.mean() < -0.1
    for axis in (0, 1):
        up, down = (off[way * edges.outward[:, axis] > 0.5].mean() for way in (1, -1))
        assert up == pytest.approx(down, abs=0.012)


def test_what_lies_over_a_card_spoils_few_points() -> None:
    card, sheet = seen(Shot(leaf=True, dirt=10, shadow=True))
    off = off_mm(card, sheet)
    assert len(off) > 200
    assert np.mean(np.abs(off - np.median(off)) < 0.08) > 0.9


def test_a_curled_sheet_s_edges_are_found_on_the_curl() -> None:
    card, sheet = seen(Shot(gamma=1.0), Curl(4.0, 30.0))
    assert len(edges_of(card).line) > 400
    assert off_mm(card, sheet).std() < 0.03


def test_points_are_free_along_their_edge_and_sorted_by_it() -> None:
    edges = edges_of(seen()[0])
    np.testing.assert_allclose(np.linalg.norm(edges.across, axis=1), 1)
    assert (np.diff(edges.line) >= 0).all()
    white = board_seen(CAMERA, Sheet(CARD), edges.px + 2 * edges.across) - edges.board_mm
    assert (np.sum(white * edges.outward, axis=1) > 0).all()


def test_a_card_too_far_for_its_edges_is_measured_by_its_corners() -> None:
    far = look_at((0, 0), 1900, 5, 70, size_px=(1600, 1200))
    (card,) = find_cards(
        photographed_cards(far, [Sheet(CARD)], Shot(blur_px=1.2), np.random.default_rng(0)), SETTINGS
    ).cards
    assert card.edges is None
    assert len(card.corners_px) >= 6


def test_a_card_that_hangs_out_of_the_picture_gives_the_edges_that_are_in_it() -> None:
    aside = replace(CARD, centre=(330.0, 120.0))
    grey = photographed_cards(CAMERA, [Sheet(aside)], Shot(), np.random.default_rng(0))
    found = find_cards(grey, SETTINGS).cards
    if found and found[0].edges is not None:
        x, y = found[0].edges.px.T
        assert (x > 0).all() and (y > 0).all() and (x < 1600).all() and (y < 1200).all()


@pytest.mark.parametrize("blur_px", [0.7, 2.0, 4.0])
def test_blur_is_told_without_a_card(blur_px: float) -> None:
    """A Gaussian's standard deviation, with the pixel's own twelfth and what the tone curve adds."""
    grey = photographed_cards(CAMERA, [Sheet(CARD)], Shot(blur_px=blur_px), np.random.default_rng(0))
    assert edge_blur_px(grey) == pytest.approx(np.hypot(blur_px, 0.29), rel=0.15, abs=0.2)


def test_a_photo_without_edges_has_no_blur() -> None:
    assert np.isnan(edge_blur_px(np.full((300, 400), 128, np.uint8)))
