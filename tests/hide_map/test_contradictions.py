"""Maps that contradict themselves are refused when they are read, by every command; sound ones are not."""

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from hidescan.basics.errors import BadInput
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.marks.placement import region_of
from tests.samples import rectangle_map

Change = Callable[[dict[str, Any]], object]


def swapped(ring: list[Any], i: int, j: int) -> None:
    ring[i], ring[j] = ring[j], ring[i]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda p: p["measures"]["area_net"].update(value=700_000.0), r"area_net is 700000 mm2, but its outline has 599600"),
        (lambda p: p["measures"]["area_gross"].update(value=0.0), "area_gross is 0 mm2"),
        (lambda p: p["measures"]["area_usable"].update(value=601_000.0), "area_usable"),
        (lambda p: p["measures"]["length"].update(value=0.0), "length is 0 mm"),
        (lambda p: p["measures"]["width"].update(value=1e9), "width"),
        (lambda p: p["measures"]["perimeter"].update(value=9000.0), "perimeter"),
        (lambda p: p["marks"][0].update(area_mm2=4000.0), "hole-1.area_mm2 is 4000, but its rings have 400"),
        (lambda p: p["zones"][0].update(area_mm2=1.0), "butt.area_mm2"),
        (lambda p: swapped(p["zones"][0]["hide_mm"]["coordinates"][0], 1, 2), "zone butt"),
        (lambda p: swapped(p["marks"][0]["photo_px"]["coordinates"][0], 1, 2), "hole-1 crosses itself in the photo"),
        (lambda p: swapped(p["outline"]["photo_px"]["coordinates"][0], 1, 2), "outline.photo_px crosses itself"),
        (lambda p: p["outline"]["photo_px"]["coordinates"][0][1].__setitem__(0, 1e11), "far outside of its photo"),
        (lambda p: p["camera"].update(focal_px=1e-9), "camera"),
        (lambda p: p["camera"].update(mm_per_px=1e-9), "mm_per_px"),
        (lambda p: p["camera"].update(translation_mm=[0.0, 0.0, -1500.0]), "below the floor|does not see"),
        (lambda p: p["camera"].update(translation_mm=[1e9, 0.0, 1500.0]), "does not see"),
        (lambda p: p["camera"].update(rotation=[[1, 0, 0], [0, 1, 0], [0, 0, -1]]), "rotation is no rotation"),
        (lambda p: p["camera"].update(distortion=[1e9, 0.0]), "camera does not see"),
        (lambda p: p["camera"].update(principal_point_px=[1e9, 0.0]), "does not see|principal"),
        (lambda p: p["inputs"].update(thickness_mm=1e12), "thickness_mm"),
        (lambda p: p["inputs"].update(arrow=77), "arrow"),
    ],
)  # fmt: skip
def test_a_map_that_contradicts_itself_is_refused(change: Change, says: str) -> None:
    plain = json.loads(to_json(rectangle_map()))
    change(plain)
    with pytest.raises(BadInput, match=says) as caught:
        from_json(json.dumps(plain).encode(), "m.hide.json")
    assert "\n" not in str(caught.value)


def test_a_hide_a_hundred_metres_wide_is_none() -> None:
    """Its picture at the photo's scale would ask for hundreds of terabytes."""
    plain = json.loads(to_json(rectangle_map()))
    for holder in (plain["outline"], plain["marks"][0], plain["zones"][0]):
        rings = holder["hide_mm"]["coordinates"]
        rings[:] = [[[100 * x, 100 * y] for x, y in ring] for ring in rings]
    for name, entry in plain["measures"].items():
        entry["value"] *= 1e4 if name.startswith("area") else 100
    plain["camera"]["translation_mm"][2] = 150_000.0
    with pytest.raises(BadInput, match="m across"):
        from_json(json.dumps(plain).encode(), "m.hide.json")


def test_a_zone_that_crosses_itself_by_a_sliver_is_read_and_mended() -> None:
    """As rounding to nine digits may leave it."""
    plain = json.loads(to_json(rectangle_map()))
    ring = plain["zones"][0]["hide_mm"]["coordinates"][0]
    ring[2:2] = [[300.0, 500.0], [299.9999, 500.00001], [300.0, 499.9999]]
    found = from_json(json.dumps(plain).encode(), "m.hide.json")
    region = region_of(found.zones[0].hide_mm)
    assert region.is_valid and np.isclose(region.area, 600_000.0, rtol=1e-6)
