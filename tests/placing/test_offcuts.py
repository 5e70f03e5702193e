"""Offcuts as maps: they keep grain, place and marks, and every later step reads them."""

from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import Polygon

from hidescan.exports.layers import layers
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.hide_map.model import OFFCUT
from hidescan.placing.leather import leather_of
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
            assert mark.id in {known.id for known in m.marks}


def test_pieces_can_be_placed_on_an_offcut_along_its_parents_grain() -> None:
    m = laid_out(21, marks=0)
    made = place({"hide": m}, uppers(1), rounds=0)
    region = offcut_regions(leather_of("hide", m, Settings()), made.placed, OffcutSettings())[0]
    offcut = offcut_map(m, region, "hide", Settings())
    patch = replace(uppers(1)[2], rules=replace(uppers(1)[2].rules, turn_deg=0.0))
    again = place({"rest": offcut}, (patch,), rounds=0)
    assert len(again.placed) == 2
    assert all(p.angle_deg == 0.0 for p in again.placed)


def test_nothing_placed_leaves_no_offcuts() -> None:
    assert offcut_regions(leather_of("hide", laid_out(22), Settings()), (), OffcutSettings()) == ()
