"""Shade: CIEDE2000 against published pairs, and the card's white and black taking the light out."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.color import rgb2lab

from hidescan.basics.errors import NotFound
from hidescan.cards.pattern import PATTERN_MM, board
from hidescan.hide_map.model import HideMap, PolygonGeometry
from hidescan.shelf.settings import ShadeSettings
from hidescan.shelf.shade import difference, measured_shade
from tests.samples import rectangle_map

# Sharma, Wu and Dalal 2005, "The CIEDE2000 color-difference formula: implementation notes, supplementary test data, and
# mathematical observations", Color Research and Application 30:21-30, table 1 (from memory; a wrong digit would not agree).
SHARMA = """
50 2.6772 -79.7751 50 0 -82.7485 2.0425
50 3.1571 -77.2803 50 0 -82.7485 2.8615
50 2.8361 -74.0200 50 0 -82.7485 3.4412
50 -1.3802 -84.2814 50 0 -82.7485 1.0000
50 -1.1848 -84.8006 50 0 -82.7485 1.0000
50 -0.9009 -85.5211 50 0 -82.7485 1.0000
50 0 0 50 -1 2 2.3669
50 -1 2 50 0 0 2.3669
50 2.4900 -0.0010 50 -2.4900 0.0009 7.1792
50 2.4900 -0.0010 50 -2.4900 0.0010 7.1792
50 2.4900 -0.0010 50 -2.4900 0.0011 7.2195
50 2.4900 -0.0010 50 -2.4900 0.0012 7.2195
50 -0.0010 2.4900 50 0.0009 -2.4900 4.8045
50 -0.0010 2.4900 50 0.0010 -2.4900 4.8045
50 -0.0010 2.4900 50 0.0011 -2.4900 4.7461
50 2.5 0 50 0 -2.5 4.3065
50 2.5 0 73 25 -18 27.1492
50 2.5 0 61 -5 29 22.8977
50 2.5 0 56 -27 -3 31.9030
50 2.5 0 58 24 15 19.4535
50 2.5 0 50 3.1736 0.5854 1.0000
50 2.5 0 50 3.2972 0 1.0000
50 2.5 0 50 1.8634 0.5757 1.0000
50 2.5 0 50 3.2592 0.3350 1.0000
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
63.0109 -31.0961 -5.8663 62.8187 -29.7946 -4.0864 1.2630
61.2901 3.7196 -5.3901 61.4292 2.2480 -4.9620 1.8731
35.0831 -44.1164 3.7933 35.0232 -40.0716 1.5901 1.8645
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
36.4612 47.8580 18.3852 36.2715 50.5065 21.2231 1.4146
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
90.9257 -0.5406 -0.9208 88.6381 -0.8985 -0.7239 1.5381
6.7747 -0.2908 -2.4247 5.8714 -0.0985 -2.2286 0.6377
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""
PAIRS = [tuple(float(part) for part in line.split()) for line in SHARMA.split("\n") if line]

LEATHER = np.array([0.30, 0.18, 0.10])  # linear reflectance
SETTINGS = ShadeSettings()


@pytest.mark.parametrize("pair", PAIRS)
def test_the_difference_is_ciede2000(pair: tuple[float, ...]) -> None:
    assert len(PAIRS) == 34
    assert difference((pair[0], pair[1], pair[2]), np.array([pair[3:6]]))[0] == pytest.approx(pair[6], abs=5e-5)


def scene(light: NDArray[np.float64], noise: float = 0.0) -> tuple[NDArray[np.uint8], HideMap]:
    """A square of leather and a card on a grey floor under a light, seen from straight above at 0.5 mm a pixel."""
    linear = np.full((1200, 1200, 3), 0.2)
    linear[100:1101, 100:701] = LEATHER
    linear[500:540, 300:340] = 0.9  # a hole that shows the sky
    drawn = board(1).generateImage((round(PATTERN_MM[0] / 0.5), round(PATTERN_MM[1] / 0.5)))
    card = np.where(drawn > 127, SETTINGS.white_reflectance, SETTINGS.black_reflectance)
    linear[400:850, 800:1160] = card[..., None]
    seen = np.clip(linear * light, 0, 1)
    srgb = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055) * 255
    rgb = np.random.default_rng(5).normal(srgb, noise) if noise else srgb
    made = rectangle_map()
    # px = f / z * mm + principal point: 0.5 mm a pixel with x right, and y of the hide frame up
    camera = replace(
        made.camera,
        focal_px=3000.0,
        translation_mm=(0.0, 0.0, 1500.0),
        principal_point_px=(400.0, 1100.0),
        mm_per_px=0.5,
    )
    at = ((979.5 - 400) * 0.5, (1100 - 624.5) * 0.5)
    hole = ((300.0, 500.0), (340.0, 500.0), (340.0, 540.0), (300.0, 540.0), (300.0, 500.0))
    hide_map = replace(
        made,
        camera=camera,
        cards=(replace(made.cards[0], center_mm=at, angle_deg=0.0),),
        marks=(replace(made.marks[0], photo_px=PolygonGeometry((hole,))),),
    )
    blurred = cv2.GaussianBlur(np.clip(np.rint(rgb), 0, 255).astype(np.uint8), (0, 0), 1.0)
    return np.asarray(blurred, dtype=np.uint8), hide_map


def true_lab() -> NDArray[np.float64]:
    srgb = np.where(LEATHER <= 0.0031308, 12.92 * LEATHER, 1.055 * LEATHER ** (1 / 2.4) - 0.055)
    return np.asarray(rgb2lab(srgb[None, None])[0, 0])


@pytest.mark.parametrize("light", [(1.0, 1.0, 1.0), (0.9, 0.6, 0.4), (0.3, 0.35, 0.5)])
def test_the_light_is_taken_out(light: tuple[float, float, float]) -> None:
    """A lamp's yellow, a blue shade: the leather's own colour comes out within half of what an eye sees side by side."""
    shade = measured_shade(*scene(np.array(light)), SETTINGS)
    assert not isinstance(shade, NotFound)
    assert difference(shade, true_lab()[None])[0] < 0.5


def test_noise_hardly_matters() -> None:
    shade = measured_shade(*scene(np.array([0.9, 0.6, 0.4]), noise=6.0), SETTINGS)
    assert not isinstance(shade, NotFound)
    assert difference(shade, true_lab()[None])[0] < 0.7


def test_cards_that_are_too_small_or_too_dark_are_not_read() -> None:
    rgb, hide_map = scene(np.array([1.0, 1.0, 1.0]))
    far = replace(hide_map, camera=replace(hide_map.camera, mm_per_px=4.0))
    assert isinstance(measured_shade(rgb, far, SETTINGS), NotFound)
    assert isinstance(measured_shade(np.full_like(rgb, 20), hide_map, SETTINGS), NotFound)
