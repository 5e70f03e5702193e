from dataclasses import replace
from io import BytesIO

import numpy as np
from PIL import Image

from hidescan.hide_map.model import DoubtfulStretch, LineGeometry
from hidescan.pictures.overlay import map_picture, zones_picture
from hidescan.settings import DrawSettings
from tests.samples import rectangle_map

GREY = np.full((3000, 4000, 3), 128, np.uint8)
SCALE = 1600 / 4000  # picture px to a photo px


def drawn(**changes: object) -> np.ndarray:
    data = map_picture(GREY, rectangle_map(**changes), "ft", DrawSettings())
    return np.asarray(Image.open(BytesIO(data)).convert("RGB")).astype(int)


def near(picture: np.ndarray, colour: tuple[int, int, int], x: float, y: float, reach: int = 6) -> bool:
    part = picture[int(y) - reach : int(y) + reach + 1, int(x) - reach : int(x) + reach + 1]
    return bool((np.abs(part - colour).max(axis=2) < 30).any())


def test_outline_and_arrow_lie_where_the_map_says() -> None:
    picture = drawn()
    assert max(picture.shape) == 1600
    for x, y in ((100, 600), (700, 600), (400, 100), (400, 1100)):  # the sample's outline in the photo
        assert near(picture, (255, 214, 64), x * SCALE, y * SCALE)
    assert near(picture, (64, 224, 255), 400 * SCALE, 600 * SCALE)  # half way from tail to neck
    assert not near(picture, (255, 214, 64), 500 * SCALE, 400 * SCALE)


def test_the_surround_is_darker_than_the_hide() -> None:
    picture = drawn()
    assert picture[720, 1200].mean() < 128 - 20
    assert abs(picture[240, 120].mean() - 128) < 3


def test_a_doubtful_stretch_is_drawn_in_another_colour() -> None:
    stretch = DoubtfulStretch(LineGeometry(((100.0, 300.0), (100.0, 900.0))), 300.0, 0.3)
    outline = replace(rectangle_map().outline, doubtful=(stretch,))
    assert near(drawn(outline=outline), (255, 96, 64), 100 * SCALE, 600 * SCALE, reach=30)


def test_without_back_line_there_is_no_arrow() -> None:
    picture = drawn(back_line=replace(rectangle_map().back_line, source="none"), marks=())
    assert not near(picture, (64, 224, 255), 400 * SCALE, 600 * SCALE)


def test_the_same_map_gives_the_same_picture() -> None:
    a, b = (map_picture(GREY, rectangle_map(), "ft", DrawSettings()) for _ in range(2))
    assert a == b


def test_the_zones_picture_tints_each_zone_and_names_it() -> None:
    data = zones_picture(GREY, rectangle_map(), "metric", DrawSettings())
    picture = np.asarray(Image.open(BytesIO(data)).convert("RGB")).astype(int)
    camera = rectangle_map().camera_over_hide()
    x, y = camera.px_from_mm(np.array([[100.0, 300.0]]))[0] * SCALE
    assert np.ptp(picture[int(y), int(x)]) > 20  # no longer grey
    assert np.ptp(picture[1120, 1520]) == 0
