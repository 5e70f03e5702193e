"""`hidescan.find_outline`: a picture without a card in, its outline out."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from shapely.geometry import Polygon

import hidescan
from hidescan.basics.errors import BadInput, NotFound
from tests.synthetic.painted import RING, SIZE, picture


def iou(first: Polygon, second: Polygon) -> float:
    return float(first.intersection(second).area / first.union(second).area)


def test_pixels_in_outline_out() -> None:
    found = hidescan.find_outline(picture([RING]))
    assert not isinstance(found, NotFound)
    assert found.ring_px.shape == (len(found.ring_px), 2)
    assert iou(Polygon(found.ring_px), Polygon(RING)) > 0.985
    assert 0.0 <= found.confidence_whole <= 1.0
    assert all(start < stop for start, stop in found.doubtful)
    assert isinstance(found.holes, tuple)


@pytest.mark.parametrize("as_text", [True, False])
def test_a_file_gives_what_its_pixels_give(tmp_path: Path, as_text: bool) -> None:
    rgb = picture([RING])
    path = tmp_path / "hide.png"
    cv2.imwrite(str(path), np.ascontiguousarray(rgb[..., ::-1]))
    from_file = hidescan.find_outline(str(path) if as_text else path)
    from_pixels = hidescan.find_outline(rgb)
    assert not isinstance(from_file, NotFound) and not isinstance(from_pixels, NotFound)
    np.testing.assert_allclose(from_file.ring_px, from_pixels.ring_px, atol=0.01)


def test_a_file_too_small_to_measure_from_has_an_outline(tmp_path: Path) -> None:
    small = np.asarray(cv2.resize(picture([RING]), (533, 400), interpolation=cv2.INTER_AREA), dtype=np.uint8)
    cv2.imwrite(str(tmp_path / "sent.png"), np.ascontiguousarray(small[..., ::-1]))
    found = hidescan.find_outline(tmp_path / "sent.png")
    assert not isinstance(found, NotFound)
    assert iou(Polygon(found.ring_px), Polygon((RING + 0.5) / 3 - 0.5)) > 0.975


def test_an_empty_floor_is_refused_with_a_code() -> None:
    refused = hidescan.find_outline(picture([]))
    assert isinstance(refused, NotFound)
    assert not refused and refused.code == "no-hide" and refused.advice


@pytest.mark.parametrize(
    "pixels",
    [np.zeros(SIZE[::-1], np.uint8), np.zeros((*SIZE[::-1], 4), np.uint8), np.zeros((*SIZE[::-1], 3)), np.zeros((9, 9, 3), np.uint8)],
)  # fmt: skip
def test_what_is_no_upright_rgb_picture_is_refused(pixels: np.ndarray) -> None:
    with pytest.raises(BadInput, match="shape"):
        hidescan.find_outline(pixels)


def test_a_missing_file_is_bad_input(tmp_path: Path) -> None:
    with pytest.raises(BadInput):
        hidescan.find_outline(tmp_path / "none.jpg")
