from io import BytesIO

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from shapely.geometry import LineString, Point, Polygon

from hidescan.basics.vocabulary import MARKS
from hidescan.hide_map.model import MarkKind
from hidescan.pictures.crops import mark_crop
from hidescan.pictures.numbered_marks import marks_picture, place_numbers
from hidescan.pictures.strokes import mark_style
from hidescan.settings import MarksPictureSettings
from tests.marked import bare_map, disc, mark, marked_map, some_marks

RADIUS = 20.0
SIZE = (900, 1100)
GREY = np.full((3000, 4000, 3), 128, np.uint8)


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 25))
def test_numbers_cover_no_mark_no_number_and_no_line(seed: int, count: int) -> None:
    """Checked with Shapely, on marks thrown anywhere, also on each other."""
    rng = np.random.default_rng(seed)
    shapes = [
        Point(rng.uniform(60, SIZE[0] - 60), rng.uniform(60, SIZE[1] - 60)).buffer(float(np.exp(rng.uniform(1.0, 4.2))))
        for _ in range(count)
    ]
    spots = place_numbers([np.array(s.exterior.coords) for s in shapes], count, SIZE, RADIUS)
    assert len(spots) == count
    discs = [Point(spot.at).buffer(RADIUS) for spot in spots]
    lines = [LineString([spot.at, spot.foot]) for spot in spots]
    for k, (one, line) in enumerate(zip(discs, lines, strict=True)):
        assert RADIUS <= spots[k].at[0] <= SIZE[0] - RADIUS and RADIUS <= spots[k].at[1] <= SIZE[1] - RADIUS
        assert not any(one.buffer(-1).intersects(shape) for shape in shapes)
        assert not any(one.intersects(other) for other in discs[:k])
        assert not any(one.intersects(other) for other in lines[:k])
        assert line.distance(shapes[k].exterior) < 1.5


def test_leader_lines_do_not_cross_where_there_is_room() -> None:
    rng = np.random.default_rng(5)
    shapes = [Point(100 + 170 * (k % 5), 150 + 200 * (k // 5)).buffer(rng.uniform(5, 40)) for k in range(20)]
    spots = place_numbers([np.array(s.exterior.coords) for s in shapes], 20, SIZE, RADIUS)
    lines = [LineString([spot.at, spot.foot]) for spot in spots]
    assert not any(a.crosses(b) for k, a in enumerate(lines) for b in lines[:k])
    assert not any(line.crosses(shape) for k, line in enumerate(lines) for j, shape in enumerate(shapes) if j != k)


def test_more_marks_than_room_still_get_a_number_each() -> None:
    everywhere = [Polygon([(0, 0), (900, 0), (900, 1100), (0, 1100)])] * 30
    assert len(place_numbers([np.array(s.exterior.coords) for s in everywhere], 30, SIZE, RADIUS)) == 30


def picture_of(hide_map: object) -> np.ndarray:
    data = marks_picture(GREY, hide_map, "metric", MarksPictureSettings())  # type: ignore[arg-type]
    return np.asarray(Image.open(BytesIO(data)).convert("RGB")).astype(int)


def test_the_picture_shows_each_mark_where_it_lies_on_a_hide_with_the_neck_up() -> None:
    """The hide of 600 x 1000 mm fills 900 px from neck to tail; the stain lies 300 mm from the tail, 150 mm left."""
    picture = picture_of(some_marks())
    hide = np.abs(picture - 128).max(axis=2) < 4
    rows, columns = np.flatnonzero(hide.sum(axis=1) > 270), np.flatnonzero(hide.sum(axis=0) > 450)
    top, left, scale = rows[0], columns[0], len(rows) / 1000
    assert scale == pytest.approx(0.9, abs=0.01)
    x, y = left + scale * (300 - 150 - 40), top + scale * 700  # its left edge
    near = picture[int(y) - 40 : int(y) + 40, int(x) - 4 : int(x) + 5]
    assert (np.abs(near - mark_style("stain").colour).max(axis=2) < 30).any()


def test_a_rejected_mark_is_not_drawn_and_a_clean_hide_says_so() -> None:
    gone = marked_map(mark("stain-1", disc(0, 500, 60), "stain", status="rejected"))
    assert (picture_of(gone) == picture_of(bare_map())).all()
    assert not (picture_of(some_marks()).shape == picture_of(bare_map()).shape)


def test_the_same_map_gives_the_same_picture() -> None:
    a, b = (marks_picture(GREY, some_marks(), "ft", MarksPictureSettings()) for _ in range(2))
    assert a == b


def test_every_kind_has_a_line_of_its_own_without_colour() -> None:
    """Only holes and cuts share the solid line; a cut's is wider."""
    styles = [mark_style(kind) for kind in MARKS.names]
    assert len({(style.dashes, style.width) for style in styles}) == len(styles)


@pytest.fixture(scope="module")
def squares() -> np.ndarray:
    """A photo of squares of 10 mm on the hide's upper face, painted through the sample's camera."""
    z = bare_map().upper_face_mm()
    x = (np.arange(4000) - 1999.5) * (1500 - z) / 3000
    y = (1499.5 - np.arange(3000)) * (1500 - z) / 3000
    dark = (np.floor(x / 10)[None, :] + np.floor(y / 10)[:, None]) % 2 == 0
    return np.dstack([np.where(dark, 60, 190).astype(np.uint8)] * 3)


@pytest.mark.parametrize(("kind", "radius", "bar_mm"), [("stain", 40.0, 50), ("hole", 4.0, 10), ("brand", 90.0, 100)])
def test_a_crop_is_true_to_scale(kind: MarkKind, radius: float, bar_mm: int, squares: np.ndarray) -> None:
    """As many squares of 10 mm as the crop's side says, and a bar of its length."""
    made = marked_map(mark(f"{kind}-1", disc(50, 500, radius), kind))
    crop = mark_crop(squares, made, made.marks[0], 400)
    side_mm = max(1.6 * 2 * radius, 24.0)
    row = crop[37, :, 0].astype(int) > 125
    steps = int(np.abs(np.diff(row.astype(int))).sum())
    assert abs(steps - side_mm / 10) <= 1.01
    white = (crop[378] == 255).all(axis=1)  # the bar
    assert white.sum() == pytest.approx(bar_mm / side_mm * 400, abs=4)
