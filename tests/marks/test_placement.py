"""Marks: their place and size from rings of known geometry."""

import math
from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import LineString, MultiPolygon, Polygon, box

from hidescan.anatomy.zones import Zone
from hidescan.basics.geometry import Points
from hidescan.camera.model import Camera
from hidescan.camera.relief import Heights, plan_view
from hidescan.hide_map.model import MultiPolygonGeometry, PolygonGeometry
from hidescan.marks.placement import (
    NEAR_MM,
    FoundMark,
    Surroundings,
    entries,
    found_marks,
    mark_entry,
    number_of,
    on_hide,
    placed,
    region_of,
    sides,
    surroundings_of,
)
from hidescan.outline.defects import Fault
from hidescan.outline.holes import Hole
from tests.samples import rectangle_map

HIDE = box(-300, -400, 300, 400)
# Straight down from 1 m with 1000 px: one pixel is one mm on the floor, x to the right and y up from the middle.
CAMERA = Camera(1000.0, 0.0, 0.0, np.array([500.0, 500.0]), np.diag([1.0, -1.0, -1.0]), np.array([0.0, 0.0, 1000.0]))
ON_FLOOR = Heights(0.0, 0.0)


def ring_px(x: float, y: float, width: float, height: float) -> Points:
    """A rectangle by its middle on the floor in mm."""
    w, h = width / 2, height / 2
    mm = np.array([[x - w, y - h], [x + w, y - h], [x + w, y + h], [x - w, y + h]])
    return mm * (1.0, -1.0) + 500.0


def test_a_mark_on_the_leather_is_seen_at_its_height() -> None:
    """At 10 mm the camera is 990 mm away: everything is 1 % nearer to the middle than on the floor."""
    ((_, ring),) = placed(CAMERA, [FoundMark("stain", ring_px(100, 200, 20, 20), 0.9)], HIDE, Heights(10.0, 0.0))
    assert ring.mean(axis=0) == pytest.approx([99.0, 198.0])


@pytest.mark.parametrize("kind", ["hole", "cut"])
def test_an_edge_is_brought_to_the_plan_as_the_rim_is(kind: str) -> None:
    """The wall of a hole in 10 mm leather, seen from one side: not both of its edges are seen at the upper face."""
    ring, thick = ring_px(200, 0, 20, 20), Heights(10.0, 0.0)
    ((_, found),) = placed(CAMERA, [FoundMark(kind, ring, 0.9)], HIDE, thick)  # type: ignore[arg-type]
    as_rim, at_face = plan_view(CAMERA, ring, thick, hole=True), CAMERA.mm_from_px(ring, 10.0)
    assert Polygon(found).symmetric_difference(Polygon(as_rim)).area < 1e-6
    assert Polygon(found).symmetric_difference(Polygon(at_face)).area > 1.0


def test_marks_come_from_the_neck_down_with_their_numbers() -> None:
    found = [FoundMark("stain", ring_px(0, y, 20, 20), 0.9) for y in (-200, 300, 50)]
    marks = entries(placed(CAMERA, found, HIDE, ON_FLOOR), Surroundings(HIDE, None, ()), first=4)
    assert [mark.id for mark in marks] == ["stain-4", "stain-5", "stain-6"]
    middles = [np.mean(mark.hide_mm.coordinates[0][:-1], axis=0)[1] for mark in marks]
    assert middles == pytest.approx([300.0, 50.0, -200.0])
    assert all(mark.hide_mm.coordinates[0][0] == mark.hide_mm.coordinates[0][-1] for mark in marks)  # RFC 7946, 3.1.6
    assert all(len(mark.photo_px.coordinates[0]) == 5 and mark.status == "found" for mark in marks)


@pytest.mark.parametrize(
    ("x", "kind", "kept"),
    [
        (280, "hole", True), (290, "hole", False), (310, "hole", False),  # a hole lies within, and clear of, the rim
        (290, "stain", True), (310, "stain", True), (312, "stain", True), (313.5, "stain", False),  # 2 and 3.5 mm off it
    ],
)  # fmt: skip
def test_what_may_lie_at_the_rim(x: float, kind: str, kept: bool) -> None:
    found = FoundMark(kind, ring_px(x, 0, 20, 20), 0.9)  # type: ignore[arg-type]
    assert len(placed(CAMERA, [found], HIDE, ON_FLOOR)) == kept


def test_of_holes_that_touch_the_first_is_kept() -> None:
    found = [FoundMark("hole", ring_px(x, 0, 20, 20), 0.9) for x in (0, 15, 60)]
    kept = placed(CAMERA, found, HIDE, ON_FLOOR)
    assert sorted(float(ring[:, 0].mean()) for _, ring in kept) == pytest.approx([0.0, 60.0])
    stains = [FoundMark("stain", mark.ring_px, 0.9) for mark in found]
    assert len(placed(CAMERA, stains, HIDE, ON_FLOOR)) == 3  # only holes are rings of the outline


def test_a_mark_is_on_the_hide_up_to_the_width_of_the_rim() -> None:
    assert on_hide(box(300 + NEAR_MM - 0.1, 0, 330, 9), HIDE)
    assert not on_hide(box(300 + NEAR_MM + 0.1, 0, 330, 9), HIDE)


def test_an_entry_tells_size_zone_and_distances() -> None:
    halves = (Zone("left", box(-300, -400, 0, 400)), Zone("right", box(0, -400, 300, 400)))
    around = Surroundings(HIDE, LineString([(0, -400), (0, 400)]), halves)
    ring = np.array([[100.0, 0.0], [130.0, 0.0], [130.0, 10.0], [100.0, 10.0]])
    made = mark_entry("brand-3", "brand", ring, ring + 7.0, around, confidence=0.7, status="added")
    assert (made.id, made.kind, made.zone, made.confidence, made.status) == ("brand-3", "brand", "right", 0.7, "added")
    assert (made.area_mm2, made.length_mm, made.width_mm) == pytest.approx((300.0, 30.0, 10.0))
    assert (made.from_back_line_mm, made.from_rim_mm) == pytest.approx((100.0, 170.0))
    assert made.photo_px.coordinates[0][0] == (107.0, 7.0)
    alone = mark_entry("brand-3", "brand", ring, ring, Surroundings(HIDE, None, ()), confidence=0.7, status="added")
    assert (alone.zone, alone.from_back_line_mm) == (None, None)


def test_a_slender_mark_has_the_sides_of_its_ribbon() -> None:
    """length x width = area and 2 (length + width) = perimeter: an L of 50 + 48 mm, 2 mm wide, is 98 x 2 mm."""
    corner = Polygon([(0, 0), (50, 0), (50, 50), (48, 50), (48, 2), (0, 2)])
    for kind in ("cut", "scratch", "wrinkle"):
        assert sides(corner, kind) == pytest.approx((98.0, 2.0))
    assert sides(corner, "stain") == pytest.approx((50.0, 50.0))
    disc = Polygon([(math.cos(t), math.sin(t)) for t in np.linspace(0, 2 * math.pi, 400, endpoint=False)])
    assert sides(disc, "cut") == pytest.approx((2.0, 2.0), abs=0.01)  # no ribbon is as round: the box round it


def test_holes_and_faults_become_marks() -> None:
    ring = ring_px(0, 0, 9, 9)
    hole, fault = Hole(ring, 0.8), Fault("cut", ring + 50, 0.6)
    assert [(m.kind, m.confidence, m.ring_px[0, 0]) for m in found_marks([hole], [fault])] == [
        ("hole", 0.8, ring[0, 0]), ("cut", 0.6, ring[0, 0] + 50),
    ]  # fmt: skip


def test_the_number_of_a_mark_is_at_the_end_of_its_id() -> None:
    (mark,) = rectangle_map().marks
    numbers = {"hole-12": 12, "a1-b": 0, "hole": 0, "7-3": 3}
    assert {name: number_of(replace(mark, id=name)) for name in numbers} == numbers


def test_surroundings_are_the_maps_own() -> None:
    around = surroundings_of(rectangle_map())
    assert around.outer.area == 600_000.0
    assert around.back_line is not None and around.back_line.length == 1000.0
    assert [(zone.name, zone.polygon.area) for zone in around.zones] == [("butt", 600_000.0)]
    line = rectangle_map().back_line
    assert surroundings_of(rectangle_map(back_line=replace(line, source="none"))).back_line is None


def test_a_region_of_several_parts_keeps_their_holes() -> None:
    outer, hole = tuple(box(0, 0, 10, 10).exterior.coords), tuple(box(2, 2, 4, 4).exterior.coords)
    away = tuple(box(20, 0, 25, 5).exterior.coords)
    assert region_of(PolygonGeometry((outer, hole))).area == 100.0 - 4.0
    region = region_of(MultiPolygonGeometry(((outer, hole), (away,))))
    assert isinstance(region, MultiPolygon)
    assert region.area == 100.0 - 4.0 + 25.0
