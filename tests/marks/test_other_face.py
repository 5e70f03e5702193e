from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import Polygon

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points, rotation_2d
from hidescan.hide_map.model import Face, HideMap, PolygonGeometry
from hidescan.marks.other_face import Laid, laid_on
from hidescan.settings import Settings
from tests.samples import rectangle_map
from tests.synthetic.hides import SyntheticHide, any_form

S = Settings().other_face


def map_of(ring: Points, face: Face = "unknown") -> HideMap:
    base = rectangle_map(marks=())
    closed = tuple((float(x), float(y)) for x, y in np.vstack([ring, ring[:1]]))
    made = replace(base, outline=replace(base.outline, hide_mm=PolygonGeometry((closed,))))
    return replace(made, inputs=replace(made.inputs, face=face))


def in_hide_frame(hide: SyntheticHide) -> Points:
    along = hide.neck_mm - hide.tail_mm
    return (hide.ring_mm - hide.tail_mm) @ rotation_2d(np.rad2deg(np.arctan2(along[1], along[0])) - 90)


def laid_out_again(ring: Points, rng: np.random.Generator, off_mm: float) -> Points:
    """The same leather pushed about smoothly, `off_mm` rms in each direction."""
    moved = ring.copy()
    for _ in range(6):
        wave = rng.normal(0, 7.5, 2) / np.ptp(ring, axis=0).max()
        moved += off_mm / 6**0.5 * 2**0.5 * np.sin(ring @ wave + rng.uniform(0, 6.3))[:, None] * rng.normal(0, 1, 2)
    return moved


@pytest.mark.parametrize("seed", range(5))
def test_a_hide_turned_over_is_found_where_it_lies(seed: int) -> None:
    """Mirrored, turned, moved, its rim some millimetres off: each point comes back to within about that."""
    rng = np.random.default_rng(seed)
    ring = in_hide_frame(any_form(rng, "whole", ("deer", "goat", "sheep", "calf", "cattle")[seed]))
    flesh = (laid_out_again(ring, rng, 3.0) * (-1, 1)) @ rotation_2d(rng.normal(0, 2)).T + rng.normal(0, 15, 2)
    if seed % 2:
        flesh = -flesh + (0.0, 1000.0)  # its neck taken for its tail
    laid = laid_on(map_of(ring), map_of(flesh), S)
    assert isinstance(laid, Laid)
    assert laid.mirrored
    assert np.sqrt(np.mean(np.sum((laid.on_this(flesh) - ring) ** 2, axis=1))) < 9.0
    assert laid.shared > 0.96


def test_another_hide_is_refused_with_figures() -> None:
    """Brought to the same area, so that size alone does not tell."""
    one, other = (in_hide_frame(any_form(np.random.default_rng(seed), "whole", "deer")) for seed in (1, 2))
    other = other * float(np.sqrt(Polygon(one).area / Polygon(other).area))
    refused = laid_on(map_of(one), map_of(other), S)
    assert isinstance(refused, NotFound)
    assert "% of their area" in str(refused) and "mm apart" in str(refused)


def test_two_photos_of_one_face_are_not_mirrored() -> None:
    ring = in_hide_frame(any_form(np.random.default_rng(3), "whole", "goat"))
    laid = laid_on(map_of(ring, face="grain"), map_of(ring + 5.0, face="grain"), S)
    assert isinstance(laid, Laid)
    assert not laid.mirrored
    assert np.abs(laid.on_this(ring + 5.0) - ring).max() < 0.5


@pytest.mark.parametrize("seed", range(5))
def test_another_photo_of_the_same_face_is_not_mirrored_though_no_face_is_named(seed: int) -> None:
    rng = np.random.default_rng(seed)
    ring = in_hide_frame(any_form(rng, "whole", ("deer", "goat", "sheep", "calf", "cattle")[seed]))
    again = laid_out_again(ring, rng, 3.0) @ rotation_2d(rng.normal(0, 2)).T + rng.normal(0, 15, 2)
    laid = laid_on(map_of(ring), map_of(again), S)
    assert isinstance(laid, Laid)
    assert not laid.mirrored
    assert np.sqrt(np.mean(np.sum((laid.on_this(again) - ring) ** 2, axis=1))) < 9.0


def test_an_outline_that_fits_both_ways_round_is_asked_about() -> None:
    square = np.array([(-300.0, 0.0), (300.0, 0.0), (300.0, 1000.0), (-300.0, 1000.0)])
    asked = laid_on(map_of(square), map_of(square), S)
    assert isinstance(asked, NotFound)
    assert "fit both ways round" in str(asked) and "--face" in str(asked)


def test_without_a_back_line_every_turn_is_tried() -> None:
    ring = in_hide_frame(any_form(np.random.default_rng(4), "whole", "deer"))
    piece = map_of((ring * (-1, 1)) @ rotation_2d(137.0).T)
    piece = replace(piece, back_line=replace(piece.back_line, source="none"))
    laid = laid_on(map_of(ring), piece, S)
    assert isinstance(laid, Laid)
    assert laid.shared > 0.99
