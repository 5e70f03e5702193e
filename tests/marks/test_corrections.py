import math

import pytest
from shapely import union_all
from shapely.geometry import Polygon, box

from hidescan.basics.errors import BadInput
from hidescan.marks.corrections import with_corrections
from hidescan.settings import Settings
from tests.marked import disc, mark, marked_map, some_marks
from tests.samples import rectangle_map

S = Settings()


def test_a_rejected_hole_is_leather_again() -> None:
    """600 x 1000 mm; a hole of 20 x 20 mm with its 5 mm margin takes 20 x 20 + 4 x 20 x 5 + pi 5^2."""
    kept = with_corrections(rectangle_map(), {"hole-1": "confirmed"}, S)
    assert kept.measures.area_net.value == pytest.approx(600_000 - 400)
    assert kept.measures.area_usable.value == pytest.approx(600_000 - (400 + 400 + 78.5), abs=1.0)
    gone = with_corrections(kept, {"hole-1": "rejected"}, S)
    assert gone.measures.area_net.value == pytest.approx(600_000)
    assert gone.measures.area_usable.value == pytest.approx(600_000)
    assert len(gone.outline.hide_mm.coordinates) == 1
    assert gone.marks[0].status == "rejected"


def test_another_kind_confirms_and_moves_the_figures() -> None:
    """A hole called a stain is leather, with the margin of a stain; a stain called a hole is an inner ring."""
    made = with_corrections(some_marks(), {"hole-1": "stain", "stain-3": "hole"}, S)
    by_id = {m.id: m for m in made.marks}
    assert (by_id["hole-1"].kind, by_id["hole-1"].status) == ("stain", "confirmed")
    assert (by_id["stain-3"].kind, by_id["stain-3"].status) == ("hole", "confirmed")
    assert len(made.outline.hide_mm.coordinates) == 2
    assert made.measures.area_net.value == pytest.approx(600_000 - by_id["stain-3"].area_mm2)


def test_usable_and_lost_sum_to_net_in_every_map() -> None:
    """The identity with Shapely, from the map's own rings: usable + union of the grown marks within net = net."""
    for words in ({}, {"hole-1": "rejected"}, {"stain-3": "wrinkle"}, {"brand-4": "scratch", "cut-2": "rejected"}):
        made = with_corrections(some_marks(), words, S)
        rings = made.outline.hide_mm.coordinates
        net = Polygon(rings[0], rings[1:])
        grown = [
            Polygon(m.hide_mm.coordinates[0]).buffer(5.0 if m.kind in ("hole", "cut") else 3.0)
            for m in made.marks
            if m.status != "rejected" and m.kind != "wrinkle"
        ]
        lost = union_all(grown).intersection(net).area
        assert net.area == pytest.approx(made.measures.area_net.value, abs=1.0)
        assert made.measures.area_usable.value + lost == pytest.approx(net.area, abs=1.0)


def test_the_outline_follows_a_hole_across_the_rim_and_back() -> None:
    """600 x 1000 mm with a slit of 60 x 6 mm from the rim inward; taken back, the outline is as it was measured."""
    before = some_marks()
    made = with_corrections(before, {"cut-2": "hole"}, S)
    left = box(-300, 0, 300, 1000).difference(box(240, 500, 300, 506))
    assert Polygon(made.outline.hide_mm.coordinates[0]).symmetric_difference(left).area < 1e-6
    hole = next(m for m in made.marks if m.id == "hole-1")
    assert made.measures.area_net.value == pytest.approx(left.area - hole.area_mm2)
    assert made.measures.area_gross.value == pytest.approx(left.area)
    back = with_corrections(made, {"cut-2": "rejected"}, S)
    assert back.outline == before.outline
    assert back.measures.area_net.value == pytest.approx(before.measures.area_net.value)


def test_holes_that_part_the_hide_are_refused() -> None:
    across = mark("cut-1", box(-310, 500, 310, 540), "cut")
    with pytest.raises(BadInput, match="part the hide in two"):
        with_corrections(marked_map(across), {"cut-1": "hole"}, S)


def test_zones_follow_when_a_hole_is_rejected() -> None:
    made = some_marks()
    shoulder = {zone.name: zone.area_mm2 for zone in made.zones}["shoulder"]
    gone = with_corrections(made, {"hole-1": "rejected"}, S)
    assert shoulder == pytest.approx(240_000 - made.marks[0].area_mm2)
    assert {zone.name: zone.area_mm2 for zone in gone.zones}["shoulder"] == pytest.approx(240_000)


def test_overlapping_holes_are_taken_off_once() -> None:
    """Two discs of r = 30 mm, 40 mm apart: both less the lens that they share (plane geometry)."""
    made = marked_map(mark("hole-1", disc(0, 500, 30), "hole"), mark("hole-2", disc(40, 500, 30), "hole"))
    lens = 2 * 30**2 * math.acos(40 / 60) - 40 / 2 * math.sqrt(4 * 30**2 - 40**2)
    assert 600_000 - made.measures.area_net.value == pytest.approx(2 * math.pi * 30**2 - lens, rel=2e-3)


def test_holes_that_touch_are_one_ring_and_two_marks() -> None:
    made = marked_map(mark("hole-1", disc(0, 500, 20), "hole"), mark("hole-2", box(10, 490, 60, 510), "hole"))
    assert len(made.outline.hide_mm.coordinates) == 2
    assert len(made.marks) == 2


def test_an_unknown_id_is_an_error() -> None:
    with pytest.raises(KeyError):
        with_corrections(rectangle_map(), {"hole-9": "confirmed"}, S)
