"""Offcuts as maps: they keep grain, place and marks, and every later step reads them."""

from dataclasses import replace

import numpy as np
import pytest
from shapely import union_all
from shapely.affinity import translate
from shapely.geometry import LineString, Polygon

from hidescan.exports.layers import layers
from hidescan.hide_map.identity import with_identity
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.hide_map.model import OFFCUT, HideMap
from hidescan.pieces.file import Piece, PieceRules
from hidescan.placing.by_hand import HandSpot, laid_by_hand
from hidescan.placing.file import Placing
from hidescan.placing.leather import Leather, leather_of
from hidescan.placing.offcuts import offcut_map, offcut_regions
from hidescan.settings import Settings
from hidescan.settings.uses import OffcutSettings
from tests.placing.hides import laid_out, uppers
from tests.placing.test_layout import place


def test_offcuts_are_what_is_left_and_open_as_maps() -> None:
    m = laid_out(20, marks=6)
    made = place({"hide": m}, uppers(1), rounds=0)
    leather, settings = leather_of("hide", m, Settings()), OffcutSettings()
    regions = offcut_regions(leather, made.placed, settings)
    assert regions
    taken = [Polygon(p.hide_mm.coordinates[0]) for p in made.placed]
    left = leather.net.area - sum(t.area for t in taken)
    assert 0.7 * left < sum(r.area for r in regions) <= left
    for region in regions:
        assert region.area >= settings.least_area_mm2
        assert all(region.intersection(t).area < 1e-6 for t in taken)
        offcut = from_json(to_json(offcut_map(m, region, "hide", Settings())), "offcut")
        drawn = layers(offcut).net_mm
        assert drawn.area == pytest.approx(region.area, rel=1e-6)
        assert offcut.back_line.source == "parent" and offcut.form.name == "piece"
        assert offcut.back_line.tail_mm == (0.0, 0.0) and offcut.back_line.neck_mm[0] == 0.0
        assert [w.code for w in offcut.warnings][-1] == OFFCUT
        # U of the area in proportion, as the parent's scale errors are shared
        net, parent = offcut.measures.area_net, m.measures.area_net
        assert net.expanded_uncertainty is not None and parent.expanded_uncertainty is not None
        assert net.expanded_uncertainty / net.value == pytest.approx(
            parent.expanded_uncertainty / parent.value, rel=1e-3
        )
        # The same place of leather is the same place of the photo: the frame moved with the camera.
        shift = (
            np.array(region.exterior.coords)[0]
            - np.array(Polygon(offcut.outline.hide_mm.coordinates[0]).exterior.coords)[0]
        )
        here = np.array([[10.0, 20.0]])
        assert np.allclose(
            offcut.camera_over_hide().px_from_mm(here), m.camera_over_hide().px_from_mm(here + shift), atol=1e-3
        )
        for mark in offcut.marks:
            assert mark.id in {known.id for known in m.marks} or (mark.kind, mark.status) == ("hole", "added")


def test_pieces_can_be_placed_on_an_offcut_along_its_parents_grain() -> None:
    m = laid_out(21, marks=0)
    made = place({"hide": m}, uppers(1), rounds=0)
    region = offcut_regions(leather_of("hide", m, Settings()), made.placed, OffcutSettings())[0]
    offcut = offcut_map(m, region, "hide", Settings())
    patch = replace(uppers(1)[2], rules=replace(uppers(1)[2].rules, turn_deg=0.0))
    again = place({"rest": offcut}, (patch,), rounds=0)
    assert len(again.placed) == 2
    assert all(p.angle_deg == 0.0 for p in again.placed)


def _block(count: int = 1, side: float = 200.0) -> tuple[Piece, ...]:
    ring = np.array([(0.0, 0.0), (side, 0.0), (side, side), (0.0, side)])
    return (Piece("block", ring, 90.0, PieceRules(count=count)),)


def _laid_inside(m: HideMap, count: int = 1) -> tuple[Leather, Placing, tuple[Polygon, ...]]:
    """Blocks laid by hand well inside a hide, so that what is left goes all round them."""
    leather = leather_of("hide", m, Settings())
    length = m.back_line.neck_mm[1]
    spots = tuple(
        HandSpot(f"block-{n + 1}", (0.0, length * share), 0.0)
        for n, share in enumerate(np.linspace(0.4, 0.7, count).tolist())
    )
    made = laid_by_hand(leather, "0" * 64, _block(count, 150.0), spots)
    return leather, made, offcut_regions(leather, made.placed, OffcutSettings())


def test_pieces_cut_from_the_inside_of_an_offcut_are_gone_from_it() -> None:
    """The net area is the region's, voids and all, by Shapely; new pieces lie on no leather that is gone."""
    m = laid_out(23, marks=6)
    _, made, regions = _laid_inside(m, 2)
    taken = union_all([Polygon(p.hide_mm.coordinates[0]) for p in made.placed])
    region = regions[0]
    assert len(region.interiors) >= 2
    offcut = from_json(to_json(offcut_map(m, region, "hide", Settings())), "offcut")
    net = Polygon(offcut.outline.hide_mm.coordinates[0], offcut.outline.hide_mm.coordinates[1:])
    assert net.area == pytest.approx(region.area, rel=1e-7)
    assert offcut.measures.area_net.value == pytest.approx(region.area, rel=1e-7)
    shift = np.array(region.exterior.coords).min(axis=0) - np.array(net.exterior.coords).min(axis=0)
    again = place({"rest": offcut}, _block(4, 120.0), rounds=0)
    assert again.placed
    for piece in again.placed:
        assert translate(Polygon(piece.hide_mm.coordinates[0]), *shift).intersection(taken).area < 1.0


@pytest.mark.parametrize("gauged", [False, True])
def test_the_zones_of_an_offcut_tile_it(gauged: bool) -> None:
    m = laid_out(24, marks=6, gauged=gauged)
    _, _, regions = _laid_inside(m, 2)
    for region in regions:
        offcut = offcut_map(m, region, "hide", Settings())
        net = Polygon(offcut.outline.hide_mm.coordinates[0], offcut.outline.hide_mm.coordinates[1:])
        zones = [shape.geometry for shape in layers(offcut).by_name["zones"]]
        assert sum(zone.area for zone in zones) == pytest.approx(net.area, rel=1e-7)
        assert union_all(zones).symmetric_difference(net).area < 1e-6 * net.area
        assert [z.area_mm2 for z in offcut.zones] == pytest.approx([zone.area for zone in zones])


def test_marks_on_an_offcut_are_measured_from_its_own_rim_and_line() -> None:
    found = 0
    for seed in range(25, 29):
        m = laid_out(seed, marks=8)
        _, _, regions = _laid_inside(m, 2)
        for region in regions:
            offcut = offcut_map(m, region, "hide", Settings())
            rim = Polygon(offcut.outline.hide_mm.coordinates[0])
            line = LineString([offcut.back_line.tail_mm, offcut.back_line.neck_mm])
            for mark in offcut.marks:
                shape = Polygon(mark.hide_mm.coordinates[0])
                assert mark.from_rim_mm == pytest.approx(shape.distance(rim.exterior), abs=1e-6)
                assert mark.from_back_line_mm == pytest.approx(shape.distance(line), abs=1e-6)
                assert shape.distance(rim) == 0.0
                found += 1
    assert found > 20


def test_an_offcut_is_a_hide_of_its_own_and_names_its_parent() -> None:
    m = with_identity(laid_out(20, marks=6))
    made = place({"hide": m}, uppers(1), rounds=0)
    regions = offcut_regions(leather_of("hide", m, Settings()), made.placed, OffcutSettings())
    offcuts = [from_json(to_json(offcut_map(m, region, "hide", Settings())), "offcut") for region in regions]
    assert len({m.hide_id, *(o.hide_id for o in offcuts)}) == 1 + len(regions)
    assert {o.parent_id for o in offcuts} == {m.hide_id}
    assert offcuts[0] == from_json(to_json(offcut_map(m, regions[0], "hide", Settings())), "offcut")  # the same again


def test_nothing_placed_leaves_no_offcuts() -> None:
    assert offcut_regions(leather_of("hide", laid_out(22), Settings()), (), OffcutSettings()) == ()
