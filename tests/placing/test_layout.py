"""Placing: rules kept on random hides, pairs, several hides, fixed pieces, what does not fit, repeatability."""

import json
from dataclasses import replace

import numpy as np
import pytest
from shapely import hausdorff_distance, union_all
from shapely.geometry import Polygon

from hidescan.basics.errors import BadInput
from hidescan.hide_map.model import HideMap, MarkEntry, PolygonGeometry
from hidescan.pieces.file import Piece, PieceRules
from hidescan.placing import file as placing_file
from hidescan.placing.by_hand import HandSpot, laid_by_hand
from hidescan.placing.file import Placing, whole_sets
from hidescan.placing.items import items_of
from hidescan.placing.layout import place_pieces
from hidescan.placing.leather import leather_of
from hidescan.placing.offcuts import offcut_regions, with_offcuts
from hidescan.placing.rules import broken_rules
from hidescan.placing.search import Effort, search
from hidescan.placing.shapes import Pose, outline_at, solid
from hidescan.placing.table import Table
from hidescan.settings import Settings
from hidescan.settings.uses import OffcutSettings, PlaceSettings
from tests.placing.checker import faults
from tests.placing.hides import laid_out, random_piece, uppers

SETTINGS = PlaceSettings()
MARKS_MM = {"hole": 5.0, "cut": 5.0, "stain": 3.0, "brand": 3.0, "scratch": 3.0}


def place(
    maps: dict[str, HideMap],
    pieces: tuple[Piece, ...],
    *,
    seed: int = 1,
    rounds: int = 4,
    fill: bool = False,
    keep: Placing | None = None,
) -> Placing:
    leathers = tuple(leather_of(name, m, Settings()) for name, m in maps.items())
    hashes = ("0" * 64,) * len(maps)
    return place_pieces(leathers, hashes, pieces, SETTINGS, fill=fill, keep=keep, effort=Effort(seed, rounds))


def random_pieces(rng: np.random.Generator) -> tuple[Piece, ...]:
    rules = (
        PieceRules(count=2, pair=True, turn_deg=float(rng.choice([0, 3, 5]))),
        PieceRules(count=3, zones=("butt", "shoulder"), margin_mm=float(rng.choice([0, 1, 5]))),
        PieceRules(count=2, turn_deg=None, min_thickness_mm=1.3),
        PieceRules(count=3, may_cover=("stain", "scratch"), turn_deg=20.0),
    )
    return tuple(random_piece(rng, f"p{n}", rule) for n, rule in enumerate(rules))


@pytest.mark.parametrize("seed", range(5))
def test_rules_are_kept_on_random_hides(seed: int) -> None:
    rng = np.random.default_rng(seed)
    maps = {"hide": laid_out(seed, marks=6)}
    made = place(maps, random_pieces(rng), fill=seed == 0, rounds=5 if seed else 1)
    assert made.placed
    assert faults(made, maps, random_pieces(np.random.default_rng(seed)), marks_mm=MARKS_MM) == []
    hide = made.hides[0]
    used = sum(Polygon(p.hide_mm.coordinates[0]).area for p in made.placed)
    assert hide.used_mm2 == pytest.approx(used)
    # Pieces without margin may touch a hair deep (`slack_mm`): what two cover counts once.
    covered = union_all([Polygon(p.hide_mm.coordinates[0]) for p in made.placed]).area
    assert made.yield_share == pytest.approx(covered / hide.usable_mm2)


def test_the_check_sees_what_is_wrong() -> None:
    """A piece moved onto its neighbour, over the rim, onto a mark or turned is told."""
    m = laid_out(3, marks=4)
    leather, pieces = leather_of("hide", m, Settings()), uppers(1)
    made = place({"hide": m}, pieces)
    first, second = made.placed[:2]

    def moved(dx: float, dy: float) -> tuple[str, ...]:
        ring = tuple((x + dx, y + dy) for x, y in first.hide_mm.coordinates[0])
        at = (first.at_mm[0] + dx, first.at_mm[1] + dy)
        one = replace(first, hide_mm=replace(first.hide_mm, coordinates=(ring,)), at_mm=at)
        return broken_rules(leather, [one], made.placed[1:], pieces, SETTINGS)

    assert moved(0, 0) == ()
    assert any(
        second.id in words for words in moved(second.at_mm[0] - first.at_mm[0], second.at_mm[1] - first.at_mm[1] + 20)
    )
    assert any("rim" in words for words in moved(5000, 0))
    turned = replace(first, angle_deg=7.0)
    assert any("7.0 degrees" in words for words in broken_rules(leather, [turned], (), pieces, SETTINGS))


@pytest.mark.parametrize("margin_mm", [0.0, 1.0, 5.0])
def test_a_piece_as_the_search_sees_it_is_no_smaller_than_its_slack(margin_mm: float) -> None:
    """Sharp corners too: cut off by an inner parallel line they once let a piece come 0.1 mm too near."""
    rng = np.random.default_rng(8)
    for n in range(25):
        piece = random_piece(rng, f"p{n}", PieceRules(margin_mm=margin_mm))
        for pose in (Pose(0.0, False), Pose(5.0, True)):
            seen = Polygon(solid(piece, pose, SETTINGS).ring / 1000.0)
            own = outline_at(piece, pose, np.zeros(2)).buffer(margin_mm / 2)
            assert seen.buffer(0.022, 32).covers(own)


def test_pairs_lie_mirrored_where_there_is_room() -> None:
    made = place({"hide": laid_out(4, marks=0)}, uppers(1, thick_parts=("toe",)), rounds=0)
    assert len(made.placed) == 6
    for piece in made.placed:
        assert piece.mate_apart_mm is not None and piece.mate_apart_mm < 0.01
        assert piece.mirrored == (piece.side == "right")
    vamps = [p for p in made.placed if p.piece == "vamp"]
    assert vamps[0].spot_thickness_mm == pytest.approx(vamps[1].spot_thickness_mm)


def test_the_same_rounds_and_seed_repeat_it() -> None:
    maps, pieces = {"hide": laid_out(5, species="goat")}, uppers(2)
    first, again = (placing_file.to_json(place(maps, pieces, rounds=7)) for _ in range(2))
    assert first == again
    assert placing_file.to_json(placing_file.from_json(first, "x")) == first
    for change, says in (
        ({"version": 99}, "version 99"),
        ({"format": "other"}, "not a placing"),
        ({"pieces": 3}, "pieces"),
    ):
        with pytest.raises(BadInput, match=f"x: .*{says}"):
            placing_file.from_json(json.dumps(json.loads(first) | change).encode(), "x")
    with pytest.raises(BadInput, match="not JSON"):
        placing_file.from_json(b"[" * 9999, "x")


@pytest.mark.parametrize("seed", range(3))
def test_a_piece_with_hollows_lies_any_way_round(seed: int) -> None:
    """An L whose arms are parallel to those of its neighbours: paths of the convolution run back over themselves."""
    ell = np.array([(0, 0), (200, 0), (200, 60), (60, 60), (60, 200), (0, 200)], float)
    maps, pieces = {"hide": laid_out(seed, marks=3)}, (Piece("ell", ell, 90.0, PieceRules(count=6, turn_deg=None)),)
    made = place(maps, pieces)
    assert len(made.placed) == 6 and faults(made, maps, pieces, marks_mm=MARKS_MM) == []


def test_each_of_two_neighbours_keeps_its_own_margin() -> None:
    """The gap is at least the wider margin, by Shapely on the written outlines."""
    ring = np.array([(0, 0), (90, 0), (90, 130), (0, 130)], float)
    pieces = (
        Piece("wide", ring, 90.0, PieceRules(count=8, margin_mm=12.0)),
        Piece("close", ring * 0.8, 90.0, PieceRules(count=12, margin_mm=0.0)),
    )
    made = place({"hide": laid_out(14, marks=3, species="goat")}, pieces)
    margin = {"wide": 12.0, "close": 0.0}
    shapes = [(p.piece, Polygon(p.hide_mm.coordinates[0])) for p in made.placed]
    near = 0
    for n, (one, a) in enumerate(shapes):
        for other, b in shapes[n + 1 :]:
            need = max(margin[one], margin[other])
            assert a.distance(b) >= need - SETTINGS.tolerance_mm
            near += one != other and a.distance(b) < need + 1.0
    assert near > 0  # unlike neighbours do lie side by side


def test_what_is_known_of_a_piece_that_is_gone_is_not_taken_for_anothers() -> None:
    """A table is asked about pieces that live for one question only; each answer is that of a new table."""
    leather = leather_of("hide", laid_out(10, marks=2), Settings())
    table = Table((leather,), SETTINGS)
    sides = (40.0, 300.0, 900.0, 120.0, 2000.0, 60.0) * 3
    for side in sides:
        ring = np.array([(0, 0), (side, 0), (side, side), (0, side)], float)
        asked = table.free(Piece("p", ring, 90.0, PieceRules()), Pose(0.0, False), 0)
        alone = Table((leather,), SETTINGS).free(Piece("p", ring, 90.0, PieceRules()), Pose(0.0, False), 0)
        assert asked == alone


def test_no_reason_names_a_turn_that_is_allowed() -> None:
    """What is said to be missing is truly missed: a turn beyond the allowed, leather too thin, a zone left."""
    rng = np.random.default_rng(5)
    said = 0
    for seed in (30,):
        maps = {"hide": laid_out(seed, marks=4, species="goat")}
        pieces = tuple(
            replace(
                random_piece(rng, f"p{n}", PieceRules(count=6, turn_deg=float(turn))),
                ring_mm=4.0 * random_piece(rng, "x", PieceRules()).ring_mm,
            )
            for n, turn in enumerate((0, 5, 20))
        )
        for missed in place(maps, pieces, rounds=0).missed:
            if missed.nearest is not None:
                said += 1
                assert missed.nearest.lacking > 0 or missed.nearest.rule == "may_cover"
    assert said > 5


def test_filling_places_whole_sets_only() -> None:
    pieces = (
        Piece("large", np.array([(0, 0), (220, 0), (220, 160), (0, 160)], float), 90.0, PieceRules(pair=True)),
        Piece("small", np.array([(0, 0), (60, 0), (60, 60), (0, 60)], float), 90.0, PieceRules(count=3)),
    )
    for seed in (15, 16):
        maps = {"hide": laid_out(seed, marks=4, species="goat")}
        made = place(maps, pieces, fill=True, rounds=2)
        large, small = (sum(p.piece == name for p in made.placed) for name in ("large", "small"))
        assert large >= 4 and (large // 2, large % 2) == (small // 3, 0) and small % 3 == 0
        assert whole_sets(made.pieces) == large // 2 and [kind.asked for kind in made.pieces] == [large, small]
        assert faults(made, maps, pieces, marks_mm=MARKS_MM) == [] and made.missed == ()


def test_where_no_whole_set_fits_filling_says_what_is_missing() -> None:
    made = place(
        {"hide": laid_out(10, marks=0)},
        (*uppers(1), Piece("panel", 3000 * np.eye(3)[:, :2], 90.0, PieceRules())),
        fill=True,
        rounds=0,
    )
    assert whole_sets(made.pieces) == 0 and [m.piece for m in made.missed] == ["panel"] and len(made.placed) == 6


def test_leather_that_pieces_cover_is_usable_leather() -> None:
    """A piece that may lie over stains: the yield stays a share, what is wasted is not less than nothing."""
    m = laid_out(17, marks=0)
    x0, y0, x1, y1 = Polygon(m.outline.hide_mm.coordinates[0]).bounds
    ring = ((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0))
    stained = replace(
        m,
        marks=(
            MarkEntry(
                "stain-1",
                "stain",
                PolygonGeometry((ring,)),
                PolygonGeometry((ring,)),
                1.0,
                1.0,
                1.0,
                None,
                1.0,
                "confirmed",
            ),
        ),
    )
    made = place({"hide": stained}, uppers(2, may_cover=("stain",)), rounds=0)
    assert len(made.placed) == 12
    covered = union_all([Polygon(p.hide_mm.coordinates[0]) for p in made.placed]).area
    assert 0.0 < made.yield_share <= 1.0 and made.hides[0].usable_mm2 == pytest.approx(covered)


def test_pieces_offcuts_and_scraps_tile_the_hide() -> None:
    for seed in (18, 19):
        m = laid_out(seed, marks=5)
        leather = leather_of("hide", m, Settings())
        made, offcuts = with_offcuts(place({"hide": m}, uppers(2), rounds=0), leather, Settings(), OffcutSettings())
        pieces = union_all([Polygon(p.hide_mm.coordinates[0]) for p in made.placed])
        regions = offcut_regions(leather, made.placed, OffcutSettings())
        net = Polygon(m.outline.hide_mm.coordinates[0], m.outline.hide_mm.coordinates[1:])
        scraps = net.difference(union_all([pieces, *regions]))
        assert pieces.area + sum(r.area for r in regions) + scraps.area == pytest.approx(net.area, rel=1e-9)
        hide = made.hides[0]
        assert hide.offcuts_mm2 == pytest.approx(sum(o.measures.area_net.value for o in offcuts.values()), rel=1e-6)
        assert hide.offcuts_mm2 is not None and hide.offcuts_usable_mm2 is not None
        assert hide.used_mm2 + hide.offcuts_mm2 <= hide.net_mm2 and hide.offcuts_usable_mm2 <= hide.offcuts_mm2
        assert set(hide.offcuts) == set(offcuts)


def test_more_rounds_are_never_worse() -> None:
    maps, pieces = {"hide": laid_out(6, species="goat")}, uppers(4)
    some = [place(maps, pieces, rounds=n).used_mm2 for n in (0, 4, 12)]
    assert some == sorted(some)


def test_kept_pieces_stay_and_the_rest_goes_round_them() -> None:
    maps, pieces = {"hide": laid_out(7)}, uppers(1)
    made = place(maps, pieces)
    kept = replace(made, placed=tuple(replace(p, kept=p.piece == "vamp") for p in made.placed))
    again = place(maps, pieces, keep=kept, seed=9)
    before = {p.id: p.hide_mm for p in made.placed if p.piece == "vamp"}
    for p in again.placed:
        assert p.kept == (p.id in before)
        assert not p.kept or hausdorff_distance(*(Polygon(g.coordinates[0]) for g in (p.hide_mm, before[p.id]))) < 0.002
    assert faults(again, maps, pieces, marks_mm=MARKS_MM) == []
    with pytest.raises(BadInput, match="there is no piece vamp-1-left"):
        place(maps, pieces[1:], keep=kept)


def test_several_hides_take_what_one_cannot() -> None:
    maps = {"first": laid_out(8, species="goat"), "second": laid_out(9, species="goat")}
    pieces = uppers(5)
    both = place(maps, pieces)
    first = leather_of("first", maps["first"], Settings())
    alone = search((first,), items_of(pieces), {}, SETTINGS, Effort(rounds=4, seconds=None), back=1.0)
    assert len(both.placed) > len(alone.spots) > 0
    assert {p.hide for p in both.placed} == {"first", "second"}
    assert faults(both, maps, pieces, marks_mm=MARKS_MM) == []


def cramped(seed: int, *, thinner_mm: float = 0.0) -> HideMap:
    """A hide of which marks leave one side of the back line: room for one of a large pair."""
    m = laid_out(seed, marks=0, species="goat")
    _, y0, x1, y1 = Polygon(m.outline.hide_mm.coordinates[0]).bounds
    side = ((10.0, y0), (x1, y0), (x1, y1), (10.0, y1), (10.0, y0))
    mark = PolygonGeometry((side if seed % 2 else tuple((-x, y) for x, y in side[::-1]),))
    spoilt = MarkEntry("stain-1", "stain", mark, mark, 1.0, 1.0, 1.0, None, 1.0, "confirmed")
    zones = tuple(replace(z, thickness_mm=z.thickness_mm - thinner_mm) for z in m.zones)
    return replace(m, marks=(spoilt,), zones=zones)


def large(m: HideMap) -> tuple[Piece, ...]:
    x0, _, x1, _ = Polygon(m.outline.hide_mm.coordinates[0]).bounds
    half, long = 0.3 * (x1 - x0), 0.45 * m.back_line.neck_mm[1]
    shape = np.array([(0.0, 0.0), (half, 0.0), (half, long), (0.0, 1.2 * long)])
    return (Piece("panel", shape, 90.0, PieceRules(pair=True)),)


def test_a_pair_comes_from_two_hides_at_places_that_are_alike() -> None:
    maps = {"first": cramped(20), "second": cramped(21)}
    pieces = large(maps["first"])
    assert all(place({name: m}, pieces, rounds=3).placed == () for name, m in maps.items())
    made = place(maps, pieces)
    assert {(p.side, p.hide) for p in made.placed} in (
        {("left", "first"), ("right", "second")},
        {("left", "second"), ("right", "first")},
    )
    assert faults(made, maps, pieces, marks_mm=MARKS_MM) == []
    for p in made.placed:
        assert p.mate_apart_mm is not None and p.mate_apart_mm <= SETTINGS.mate_mm
    assert "panel-1: left from" in made.warnings[-1] and "mirrored places" in made.warnings[-1]


def test_a_pair_is_not_parted_between_hides_that_are_unlike() -> None:
    maps = {"first": cramped(20), "second": cramped(21, thinner_mm=0.5)}
    made = place(maps, large(maps["first"]))
    assert made.placed == () and {m.piece for m in made.missed} == {"panel"}


def test_the_mate_of_a_kept_piece_lies_at_its_mirrored_place() -> None:
    maps, pieces = {"hide": laid_out(4, marks=0)}, uppers(1)
    made = place(maps, pieces, rounds=0)
    (left,) = [p for p in made.placed if p.id == "vamp-1-left"]
    leather = leather_of("hide", maps["hide"], Settings())
    put = laid_by_hand(leather, "0" * 64, pieces, (HandSpot(left.id, (left.at_mm[0], left.at_mm[1] + 7.0), 2.0),))
    (right,) = [p for p in place(maps, pieces, keep=put).placed if p.id == "vamp-1-right"]
    assert right.mate_apart_mm is not None and right.mate_apart_mm < 0.01 and right.turned_deg == -2.0


def test_what_does_not_fit_is_named_with_what_it_lacks() -> None:
    maps = {"hide": laid_out(10, marks=0)}
    big = Piece("panel", np.array([(0, 0), (900, 0), (900, 900), (0, 900)], float), 90.0, PieceRules())
    thick = replace(uppers(1)[0], id="sole", rules=PieceRules(min_thickness_mm=1.75, pair=False))
    zoned = replace(uppers(1)[0], id="sock", rules=PieceRules(zones=("neck",), margin_mm=60.0, count=2))
    made = place(maps, (big, thick, zoned))
    missed = {m.piece: m for m in made.missed}
    assert missed["sole"].nearest is not None and missed["sole"].nearest.rule == "min_thickness_mm"
    assert missed["sole"].nearest.lacking == pytest.approx(0.05, abs=0.02)  # the neck has 1.7 mm
    assert "mm too thin" in missed["sole"].reason
    assert missed["sock"].nearest is not None and missed["sock"].nearest.rule == "zones"
    panel = missed["panel"].nearest
    assert panel is not None and panel.rule == "room" and 60 < panel.lacking < 400


def test_a_hide_without_a_back_line_takes_only_pieces_without_grain() -> None:
    m = laid_out(11, marks=0)
    bare = replace(m, back_line=replace(m.back_line, source="none"))
    with pytest.raises(BadInput, match="has no back line"):
        place({"hide": bare}, uppers(1))
    made = place({"hide": bare}, uppers(1, turn_deg=None), rounds=0)
    assert made.placed and all(p.tape_mm is None for p in made.placed)


# The sides of a triangle: tape distances from tail and neck give each end back (law of cosines).
def test_tape_distances_find_the_ends() -> None:
    m = laid_out(12)
    made = place({"hide": m}, uppers(1), rounds=0)
    length = m.back_line.neck_mm[1]
    for piece in made.placed:
        assert piece.tape_mm is not None
        for (x, y), (tail, neck) in zip(piece.ends_mm, piece.tape_mm, strict=True):
            along = (tail**2 - neck**2 + length**2) / (2 * length)
            assert along == pytest.approx(y, abs=1e-6)
            assert np.sqrt(max(tail**2 - along**2, 0)) == pytest.approx(abs(x), abs=1e-4)
            assert (
                Polygon(piece.hide_mm.coordinates[0]).exterior.distance(Polygon([(x, y), (x + 1e-6, y), (x, y + 1e-6)]))
                < 1e-5
            )


def test_thickness_where_it_was_gauged() -> None:
    """On gauged leather no point of a piece is thinner than asked, by the map's own interpolation."""
    m = laid_out(13, marks=2, gauged=True)
    pieces = tuple(replace(p, rules=replace(p.rules, min_thickness_mm=1.2)) for p in uppers(1))
    leather = leather_of("hide", m, Settings())
    made = place({"hide": m}, pieces, rounds=0)
    assert made.placed
    for piece in made.placed:
        outline = Polygon(piece.hide_mm.coordinates[0])
        mean, _ = leather.thickness.predict(np.array(outline.exterior.segmentize(3.0).coords))
        assert mean.min() > 1.2 - 0.01
        assert piece.least_thickness_mm >= 1.2 - 0.01
