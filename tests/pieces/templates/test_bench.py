"""Templates on benches as a phone sees them: cards that leave the picture, joints of a table, a template at a sheet."""

import numpy as np
import pytest
from numpy.typing import NDArray

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points, rotation_2d
from hidescan.hide_map.model import Inputs
from hidescan.mapping.floor import Floor
from hidescan.photo.reading import Photo
from hidescan.pieces.templates.edge import edge_of
from hidescan.pieces.templates.finding import Found, LeftOut, find_templates, left_out_lines
from hidescan.pieces.templates.on_floor import Thing, sheets_mm
from hidescan.pipeline import Pipeline
from hidescan.settings import Settings
from hidescan.settings.uses import TemplateSettings
from tests.synthetic.cards_on_table import THICKNESS_MM, aligned, farthest, nearest, table
from tests.synthetic.scenes import TrueCard, look_at, picture
from tests.synthetic.workbench import Bench, bench

SETTINGS = Settings()


def floor_of(rgb: NDArray[np.uint8]) -> Floor:
    photo = Photo(rgb, "bench.jpg", "0" * 64, None, 27.0, "", None)
    floor = Pipeline(photo, SETTINGS).floor(Inputs(card_scale=(1.0, 1.0)))
    assert isinstance(floor, Floor), floor
    return floor


def found_in(rgb: NDArray[np.uint8], thickness_mm: float) -> tuple[Found | NotFound, Floor]:
    floor = floor_of(rgb)
    return find_templates(
        rgb, floor.plane, sheets_mm(floor), thickness_mm, TemplateSettings(), SETTINGS.measure, print_measured=True
    ), floor


def test_a_card_that_leaves_the_picture_hides_no_template_and_cuts_none() -> None:
    rng = np.random.default_rng(1)
    rgb, drawn = table(rng, "white on wood", tilt_deg=float(rng.uniform(2, 28)), cards=2, size_px=(2000, 1500))
    found, _ = found_in(rgb, THICKNESS_MM)
    assert isinstance(found, Found) and len(found.templates) == 4
    for t in found.templates:
        true = nearest(t.ring_mm, drawn)
        assert farthest(aligned(t.ring_mm, true.ring), true.ring) < 0.5


def test_joints_of_a_table_are_no_part_of_a_template() -> None:
    rgb, drawn, card = bench(np.random.default_rng(5), Bench("pine", "grey", tilt_deg=8.0, size_px=(2800, 2100)))
    found, floor = found_in(rgb, 0.5)
    assert isinstance(found, Found) and len(found.templates) == len(drawn)
    place = floor.plane.places[0]
    turn = rotation_2d(card.angle_deg - place.angle_deg).T
    for t in found.templates:
        ring: Points = (t.ring_mm - place.centre_mm) @ turn + card.centre
        true = nearest(ring, drawn)
        assert farthest(aligned(ring, true.ring), true.ring) < 0.7


def test_a_template_at_a_sheet_is_said_and_not_returned() -> None:
    rgb, drawn, _ = bench(
        np.random.default_rng(3), Bench("walnut", "white", gap_mm=1.0, tilt_deg=10.0, size_px=(1600, 1200))
    )
    found, _ = found_in(rgb, 0.5)
    assert isinstance(found, Found)
    assert [left.why for left in found.left_out] == [LeftOut.AT_A_SHEET] and len(found.templates) == len(drawn) - 1
    assert any("finger's width" in line for line in left_out_lines(found.left_out))


@pytest.mark.parametrize(("grey", "clear"), [(141, (0.0, 3.0)), (200, (6.0, 40.0))])
def test_how_far_an_edge_stands_out_is_told_in_deviations_of_the_floor(grey: int, clear: tuple[float, float]) -> None:
    """Floor of grey 132 and standard deviation 8, in three channels alike: 9 levels are one deviation, 68 are eight."""
    rng = np.random.default_rng(6)
    rgb = np.full((400, 400, 3), 132.0) + rng.normal(0, 8, (400, 400, 1)) + rng.normal(0, 2, (400, 400, 3))
    rgb[100:300, 120:280] = grey + rng.normal(0, 2, (200, 160, 3))
    mask = np.zeros((200, 200), np.bool_)
    mask[50:150, 60:140] = True
    thing = Thing(mask, np.zeros_like(mask), (60, 50, 80, 100), touches=False)
    edge = edge_of(np.clip(np.rint(rgb), 0, 255).astype(np.uint8), thing, 0.5, 0.5, TemplateSettings())
    assert edge is not None and clear[0] < edge.clear < clear[1]


def test_one_marker_tells_where_a_sheet_lies() -> None:
    """A card of which the picture shows a corner: too little to measure by, enough to know its sheet."""
    camera = look_at((0.0, 0.0), 900.0, 12.0, 40.0, size_px=(1200, 900))
    second = TrueCard(2, (400.0, 330.0), 25.0)
    rgb = picture(camera, [TrueCard(1, (-150.0, -60.0), 10.0), second], [], np.random.default_rng(2))
    floor = floor_of(rgb)
    assert [place.number for place in floor.plane.places] == [1]
    sheets = sheets_mm(floor)
    assert len(sheets) >= 2
    place = floor.plane.places[0]
    middle = (sheets[1].mean(axis=0) - place.centre_mm) @ rotation_2d(10.0 - place.angle_deg).T + (-150.0, -60.0)
    assert middle == pytest.approx(second.centre, abs=3.0)
