"""Pieces where a person puts them: what is said there, and the program's own places for the rest."""

from dataclasses import replace

import numpy as np
import pytest
from shapely import union_all
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from hidescan.basics.errors import BadInput
from hidescan.pieces.file import Piece, PieceRules
from hidescan.placing.by_hand import HandSpot, broken_by, carried_spots, laid_by_hand, spots_of
from hidescan.placing.layout import place_pieces
from hidescan.placing.leather import Leather, leather_of, mark_polygon
from hidescan.placing.search import Effort
from hidescan.settings import Settings
from hidescan.settings.uses import PlaceSettings
from tests.placing.checker import own_outline
from tests.placing.hides import laid_out
from tests.samples import rectangle_map

SETTINGS = PlaceSettings()
DIGEST = "0" * 64
SQUARE = np.array([(0.0, 0.0), (60.0, 0.0), (60.0, 60.0), (0.0, 60.0)])


def square(label: str, **rules: object) -> Piece:
    return Piece(label, SQUARE, 90.0, PieceRules(**rules))  # type: ignore[arg-type]


def test_each_broken_rule_is_said_and_no_other() -> None:
    leather = leather_of("hide", laid_out(3, marks=6), Settings())
    pieces = (
        square("plain", margin_mm=0.0),
        square("neck", zones=("neck",)),
        square("thick", min_thickness_mm=1.55),
        square("wide", margin_mm=10.0),
        square("covers", may_cover=("stain", "brand", "scratch", "cut")),
    )
    stain = next(m for m in leather.marks if m.kind == "stain")
    on_stain = Polygon(stain.hide_mm.coordinates[0]).centroid.coords[0]
    clear = leather.net.buffer(-60.0).difference(_marks(leather).buffer(60.0)).representative_point()
    free = (clear.x, clear.y)

    def said(label: str, at: tuple[float, float], turned: float = 0.0) -> tuple[str, ...]:
        one = laid_by_hand(leather, DIGEST, pieces, (HandSpot(f"{label}-1", at, turned),)).placed[0]
        assert own_outline(next(p for p in pieces if p.id == label), one).hausdorff_distance(
            Polygon(one.hide_mm.coordinates[0])
        ) < 0.01  # fmt: skip
        return broken_by(leather, one, (one,), pieces, SETTINGS)

    assert said("plain", free) == ()
    assert said("plain", free, 12.0) == ("turned 12.0 degrees from the back line",)
    assert said("plain", free, 183.0) == ()  # a half turn is no turn
    assert said("plain", on_stain) == (f"over {stain.id}",)
    assert said("covers", on_stain) == ()
    assert said("plain", (5000.0, 0.0)) == ("over the rim or a hole",)
    butt = next(z.polygon for z in leather.zones if z.name == "butt").representative_point()
    assert any(words == "in the butt" for words in said("neck", (butt.x, butt.y)))
    belly = next(z.polygon for z in leather.zones if z.name == "belly").representative_point()
    assert any(words == "1.1 mm thick only, 1.55 mm asked for" for words in said("thick", (belly.x, belly.y)))
    x0, _, _, _ = leather.net.bounds
    near = next(
        (x, free[1])
        for x in np.arange(x0, free[0], 1.0).tolist()
        if 1.0 < leather.net.exterior.distance(_square_at(x, free[1])) < 9.0
        and leather.net.covers(_square_at(x, free[1]))
    )
    assert any(words == "within 10 mm of the rim or a hole" for words in said("wide", near))


def _square_at(x: float, y: float) -> Polygon:
    return Polygon(SQUARE - 30.0 + (x, y))


def _marks(leather: Leather) -> BaseGeometry:
    return union_all([mark_polygon(m) for m in leather.marks])


def test_pieces_over_one_another_are_named() -> None:
    leather = leather_of("hide", laid_out(3, marks=0), Settings())
    pieces = (square("a", count=2, margin_mm=4.0),)
    for apart, words in ((30.0, "over a-2"), (62.0, "nearer than 4 mm to a-2"), (65.0, None)):
        spots = (HandSpot("a-1", (0.0, 500.0), 0.0), HandSpot("a-2", (apart, 500.0), 0.0))
        placed = laid_by_hand(leather, DIGEST, pieces, spots).placed
        assert broken_by(leather, placed[0], placed, pieces, SETTINGS) == (() if words is None else (words,))


def test_the_rest_is_placed_round_what_a_person_put() -> None:
    leather = leather_of("hide", laid_out(5, marks=4), Settings())
    pieces = (square("a", count=3, pair=True),)
    clear = leather.net.buffer(-60.0).difference(_marks(leather).buffer(60.0)).representative_point()
    put = laid_by_hand(leather, DIGEST, pieces, (HandSpot("a-2-left", (clear.x, clear.y), 3.0),))
    made = place_pieces((leather,), (DIGEST,), pieces, SETTINGS, keep=put, effort=Effort(rounds=2))
    assert len(made.placed) == 6
    (kept,) = [p for p in made.placed if p.kept]
    assert (kept.id, kept.turned_deg) == ("a-2-left", 3.0) and kept.at_mm == put.placed[0].at_mm
    for one in made.placed:
        assert broken_by(leather, one, made.placed, pieces, SETTINGS) == ()
    again = laid_by_hand(leather, DIGEST, pieces, spots_of(made), made)
    assert again.placed == made.placed  # what a placing says is what is said of the same places put by hand


def test_what_has_not_moved_is_as_it_was_and_pairs_are_measured_anew() -> None:
    leather = leather_of("hide", laid_out(5, marks=4), Settings())
    pieces = (square("a", pair=True),)
    spots = (HandSpot("a-1-left", (-100.0, 600.0), 0.0), HandSpot("a-1-right", (100.0, 600.0), 0.0))
    first = laid_by_hand(leather, DIGEST, pieces, spots)
    assert [p.mate_apart_mm for p in first.placed] == [0.0, 0.0] and [p.mirrored for p in first.placed] == [False, True]
    second = laid_by_hand(leather, DIGEST, pieces, (spots[0], replace(spots[1], at_mm=(103.0, 604.0))), first)
    assert [p.mate_apart_mm for p in second.placed] == [5.0, 5.0]
    assert replace(second.placed[0], mate_apart_mm=0.0) == first.placed[0]


def test_what_is_no_piece_is_refused() -> None:
    leather = leather_of("hide", laid_out(5, marks=0), Settings())
    for ids in (("b-1",), ("a-2",), ("a-1", "a-1")):
        with pytest.raises(BadInput):
            laid_by_hand(leather, DIGEST, (square("a"),), tuple(HandSpot(i, (0.0, 500.0), 0.0) for i in ids))


def test_pieces_stay_where_they_lie_when_neck_and_tail_are_turned() -> None:
    """The frame turned by 180 degrees about (0, 500), seen by the same camera: x and y change sides, turns add 180."""
    old = rectangle_map()
    turned = tuple((-a, -b, c) for a, b, c in old.camera.rotation)
    new = rectangle_map(camera=replace(old.camera, rotation=turned, translation_mm=(0.0, -1000.0, 1500.0)))
    spots = (HandSpot("a-1", (120.0, 300.0), 5.0), HandSpot("a-2", (-80.0, 700.0), 0.0))
    there = carried_spots(spots, old, new)
    assert [s.at_mm for s in there] == [
        pytest.approx((-x, 1000.0 - y), abs=1e-6) for x, y in ((120.0, 300.0), (-80.0, 700.0))
    ]
    assert [s.turned_deg % 360.0 for s in there] == pytest.approx([185.0, 180.0])
    back = carried_spots(there, new, old)
    assert [s.at_mm for s in back] == [pytest.approx(s.at_mm, abs=1e-6) for s in spots]
    assert [s.turned_deg for s in back] == [5.0, 0.0]
