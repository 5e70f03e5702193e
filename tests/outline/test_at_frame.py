"""Refusals at the photo's frame, on plain painted scenes whose truth is geometry."""

import re

import numpy as np
import pytest
from shapely.geometry import Polygon

from hidescan.basics.errors import NotFound
from hidescan.outline.finding import Hint, Outline, find_outline
from hidescan.settings import OutlineSettings
from tests.synthetic.painted import RING, SIZE, hide_ring, picture

SETTINGS = OutlineSettings()
# As far over each edge as the ring goes: (centre, the edge's name, where the cut lies along it).
CUTS = [
    ((250.0, 600.0), "left-hand (west)", 0),
    ((1350.0, 600.0), "right-hand (east)", SIZE[0] - 1),
    ((800.0, 180.0), "top (north)", 0),
    ((800.0, 1020.0), "bottom (south)", SIZE[1] - 1),
]


@pytest.mark.parametrize(("centre", "side", "edge"), CUTS)
def test_the_refusal_names_the_side_and_a_pixel_on_it(centre: tuple[float, float], side: str, edge: int) -> None:
    refused = find_outline(picture([hide_ring(centre, 380)]), None, [], SETTINGS)
    assert isinstance(refused, NotFound) and refused.code == "cut-by-frame"
    assert side in refused.reason
    x, y = place(refused)
    across = x if "hand" in side else y
    assert abs(across - edge) < 6
    # the pixel lies where the ring leaves the photo, by geometry
    ring = hide_ring(centre, 380)
    assert Polygon(ring).buffer(12).contains(Polygon([(x, y), (x + 0.1, y), (x, y + 0.1)]))


def place(refused: NotFound) -> tuple[int, int]:
    found = re.search(r"pixel (\d+),(\d+)", refused.reason)
    assert found is not None
    return int(found[1]), int(found[2])


def test_a_tap_where_it_was_refused_overrules() -> None:
    rgb = picture([hide_ring((310, 600), 380)])
    refused = find_outline(rgb, None, [], SETTINGS)
    assert isinstance(refused, NotFound)
    _, y = place(refused)
    reach = SETTINGS.frame_tap_reach * max(SIZE)
    ring = hide_ring((310, 600), 380)
    beyond = ring[ring[:, 0] < 0]
    ends = np.arange(beyond[:, 1].min(), beyond[:, 1].max(), reach)
    hints = tuple(Hint((3.0, float(at)), True) for at in (y, *ends))
    found = find_outline(rgb, None, [], SETTINGS, hints)
    assert isinstance(found, Outline)


def test_a_hide_whole_in_the_photo_is_not_refused() -> None:
    assert isinstance(find_outline(picture([RING]), None, [], SETTINGS), Outline)


def test_a_small_photo_is_outlined_as_well() -> None:
    """A third of the size, as messengers send: the fine network's pixels stay as fine as it was taught."""
    import cv2

    small = cv2.resize(picture([RING]), None, fx=1 / 3, fy=1 / 3, interpolation=cv2.INTER_AREA)
    found = find_outline(np.asarray(small, dtype=np.uint8), None, [], SETTINGS)
    assert isinstance(found, Outline)
    true, got = Polygon((RING + 0.5) / 3 - 0.5), Polygon(found.ring_px)
    assert true.intersection(got).area / true.union(got).area > 0.985
