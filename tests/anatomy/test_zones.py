"""Zones: they tile the hide, move with their lines, and give the butt its known share."""

import dataclasses

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon, box

from hidescan.anatomy.zones import lay_zones, sampling_point, zone_at, zone_shares
from hidescan.basics.errors import NotFound
from hidescan.settings import SamplingSettings, ZoneLines
from tests.synthetic.hides import SyntheticHide, any_form

LINES = ZoneLines()
Points = NDArray[np.float64]


def in_hide_frame(hide: SyntheticHide) -> tuple[Polygon, Points]:
    """Outline and back line with the tail at the origin and the neck up."""
    unit = (hide.neck_mm - hide.tail_mm) / np.linalg.norm(hide.neck_mm - hide.tail_mm)
    turn = np.array([[unit[1], -unit[0]], unit])
    return Polygon((hide.ring_mm - hide.tail_mm) @ turn.T).buffer(0), (hide.curve_mm - hide.tail_mm) @ turn.T


def straight(length: float) -> Points:
    return np.column_stack([np.zeros(41), np.linspace(0.0, length, 41)])


@pytest.mark.parametrize("form", ["whole", "side", "shoulder", "belly", "bend"])
def test_zones_tile_the_outline(form: str) -> None:
    outline, curve = in_hide_frame(any_form(np.random.default_rng(6), form, "cattle"))
    zones = lay_zones(outline, form, curve, LINES)
    assert sum(zone.area_mm2 for zone in zones) == pytest.approx(outline.area, rel=1e-9)
    assert sum(zone_shares(zones).values()) == pytest.approx(1.0, rel=1e-12)
    assert outline.symmetric_difference(shapely.union_all([zone.polygon for zone in zones])).area < 1e-6 * outline.area
    assert all(zone.polygon.is_valid for zone in zones)


def test_a_fore_shank_beside_the_neck_is_no_neck() -> None:
    """A side: trunk 500 mm wide and 1720 long, neck 280 mm wide beyond it; a leg 200 mm wide runs forward beside it."""
    trunk, neck = box(0, 0, 500, 1720), box(0, 1720, 280, 2000)
    leg = box(400, 1500, 600, 1950)
    zones = {
        zone.name: zone for zone in lay_zones(shapely.union_all([trunk, neck, leg]), "side", straight(2000.0), LINES)
    }
    assert zones["neck"].polygon.symmetric_difference(neck).area < 1e-6
    assert zones["shank"].polygon.intersection(box(400, 1720, 600, 1950)).area == pytest.approx(200 * 230)
    assert sum(zone.area_mm2 for zone in zones.values()) == pytest.approx(
        500 * 1720 + 280 * 280 + 100 * 220 + 200 * 230
    )


@pytest.mark.parametrize("form", ["whole", "side"])
def test_neck_hangs_together(form: str) -> None:
    for seed in range(12):
        outline, curve = in_hide_frame(any_form(np.random.default_rng(seed), form, "cattle"))
        laid = lay_zones(outline, form, curve, LINES)
        zones = {zone.name: zone.polygon for zone in laid}
        assert sum(zone.area_mm2 for zone in laid) == pytest.approx(outline.area, rel=1e-9)
        assert len(getattr(zones.get("neck"), "geoms", [1])) == 1


def test_butt_of_a_good_cattle_hide_is_about_half() -> None:
    # A good cattle hide has half its area or more in the core (trade glossary, 'Stellung der Haut'); the usual split
    # is 45-55 % butt, 20-25 % shoulder and neck, 20-30 % bellies (from memory).
    shares = []
    rng = np.random.default_rng(7)
    for _ in range(30):
        outline, curve = in_hide_frame(any_form(rng, "whole", "cattle"))
        share = zone_shares(lay_zones(outline, "whole", curve, LINES))
        if share.get("shank", 0.0) < 0.06:  # well built and trimmed; the generator also draws long-legged ones
            shares.append(share)
    assert len(shares) >= 6
    butt = np.median([share["butt"] for share in shares])
    front = np.median([share["neck"] + share["shoulder"] for share in shares])
    below = np.median([sum(share.get(name, 0.0) for name in ("belly", "flank", "shank")) for share in shares])
    assert 0.45 < butt < 0.55
    assert 0.2 < front < 0.27
    assert 0.2 < below < 0.3


def test_shares_of_a_rectangle_by_hand() -> None:
    # 1000 wide, 2000 long: the butt is a share of the width up to a share of the length, and so on.
    zones = zone_shares(lay_zones(box(-500, 0, 500, 2000), "whole", straight(2000.0), LINES))
    assert zones["butt"] == pytest.approx(LINES.belly * LINES.shoulder)
    assert zones["shoulder"] == pytest.approx(LINES.belly * (LINES.neck - LINES.shoulder))
    assert zones["neck"] == pytest.approx(1 - LINES.neck)
    assert zones["flank"] == pytest.approx((1 - LINES.belly) * LINES.flank)
    assert zones["belly"] == pytest.approx((1 - LINES.belly) * (LINES.neck - LINES.flank))
    assert "shank" not in zones


def test_a_side_has_the_shares_of_its_whole() -> None:
    whole = zone_shares(lay_zones(box(-500, 0, 500, 2000), "whole", straight(2000.0), LINES))
    for half in (box(-500, 0, 0, 2000), box(0, 0, 500, 2000)):
        assert zone_shares(lay_zones(half, "side", straight(2000.0), LINES)) == pytest.approx(whole)


def test_moved_lines_move_the_zones() -> None:
    outline = box(-500, 0, 500, 2000)
    moved = dataclasses.replace(LINES, shoulder=0.5)
    shares = zone_shares(lay_zones(outline, "whole", straight(2000.0), moved))
    assert shares["butt"] == pytest.approx(LINES.belly * 0.5)


def test_a_curved_back_carries_the_lines() -> None:
    curve = straight(2000.0)
    curve[:, 0] = 60.0 * np.sin(np.pi * curve[:, 1] / 2000.0)
    rim = np.vstack([curve + [500.0, 0.0], (curve - [500.0, 0.0])[::-1]])
    shares = zone_shares(lay_zones(Polygon(rim), "whole", curve, LINES))
    assert shares["butt"] == pytest.approx(LINES.belly * LINES.shoulder, rel=1e-6)


def test_pieces_and_bends_are_one_zone() -> None:
    assert [zone.name for zone in lay_zones(box(0, 0, 9, 9), "piece", None, LINES)] == ["piece"]
    assert [zone.name for zone in lay_zones(box(0, 0, 9, 9), "whole", None, LINES)] == ["piece"]
    assert [zone.name for zone in lay_zones(box(0, 0, 9, 9), "bend", straight(9.0), LINES)] == ["butt"]


def test_zone_at_a_point() -> None:
    zones = lay_zones(box(-500, 0, 500, 2000), "whole", straight(2000.0), LINES)
    assert zone_at(zones, np.array([0.0, 500.0])) == "butt"
    assert zone_at(zones, np.array([-450.0, 500.0])) == "flank"
    assert zone_at(zones, np.array([0.0, 2100.0])) == "neck"


def test_sampling_point_on_rectangles() -> None:
    # ISO 2418, figure for whole hides and sides, from memory: A at a third of the back line from the tail, the square
    # between 50 mm and half the way to the rim.
    settings = SamplingSettings()
    whole = sampling_point(box(-500, 0, 500, 1800), "whole", straight(1800.0), settings)
    assert not isinstance(whole, NotFound)
    np.testing.assert_allclose(whole, [(50 + 250) / 2, 600.0], atol=25.0)
    left = sampling_point(box(-500, 0, 0, 1800), "side", straight(1800.0), settings)
    assert not isinstance(left, NotFound)
    np.testing.assert_allclose(left, [-(50 + 250) / 2, 600.0], atol=25.0)


def test_no_sampling_point_on_a_piece_or_a_strip() -> None:
    for outline, form in ((box(0, 0, 400, 400), "piece"), (box(-60, 0, 60, 1800), "whole")):
        assert isinstance(sampling_point(outline, form, straight(1800.0), SamplingSettings()), NotFound)
