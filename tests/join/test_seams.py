"""Two photos of a ring with a narrow nick, each from its own side, as strips across a base that cuts the nick off."""

import numpy as np
import pytest
from shapely.geometry import LineString, Polygon

from hidescan.basics.geometry import resample
from hidescan.join.region_vote import SeenRim
from hidescan.join.seams import Drawn, along, drawn, filled
from hidescan.join.settings import RimSettings
from hidescan.join.strip import Base, Strip, base_of, strip_of
from tests.camera.test_relief import camera_of
from tests.synthetic.scenes import Array, circle, look_at

S = RimSettings()
RADIUS = 300.0
CAMERAS = [look_at((x, 0), 1500, 15, azimuth) for x, azimuth in ((-100, 90), (100, 270))]


def nicked(depth_mm: float, seed: int = 0) -> Array:
    """A circle with a nick 6 mm wide at its right end, as one photo sees it."""
    plain = Polygon(circle(RADIUS, 2000))
    nick = LineString([(RADIUS + 20, 0), (RADIUS - depth_mm, 0)]).buffer(3.0)
    ring = np.array(plain.difference(nick).exterior.coords)[:-1]
    return resample(ring[::-1], 1.5) + np.random.default_rng(seed).normal(0, 0.05, 2)


def strips(depths_mm: tuple[float, float], unsure: float = 0.0) -> tuple[Base, list[Strip]]:
    """The base cuts the nick off; the second photo is less sure by `unsure` on its left half."""
    base, made = base_of(resample(circle(RADIUS, 2000), S.point_mm), 3), []
    for k, (camera, depth) in enumerate(zip(map(camera_of, CAMERAS), depths_mm, strict=True)):
        ring = nicked(depth, k)
        confidence = np.where((ring[:, 0] < 0) == (k == 1), 0.97 - unsure, 0.97)
        rim = SeenRim(camera.px_from_mm(ring), np.full(len(ring), 0.5), confidence)
        z, usable = np.zeros(len(base.ring_mm)), np.ones(len(ring), dtype=np.bool_)
        made.append(strip_of(camera, rim, usable, base, z, z, S))
    return base, made


def rim(depths_mm: tuple[float, float], unsure: float = 0.0) -> Drawn:
    base, made = strips(depths_mm, unsure)
    return drawn(base, made, [np.zeros(len(base.ring_mm))] * 2, S)


def test_a_nick_is_as_deep_as_one_photo_saw_it() -> None:
    found = Polygon(rim((30.0, 22.0)).ring_mm)
    assert found.is_valid
    deep = [found.symmetric_difference(Polygon(nicked(depth, k))).area for k, depth in enumerate((30.0, 22.0))]
    assert min(deep) < 0.2 * 6.0 * 8.0 + 0.1 * 2 * np.pi * RADIUS
    assert abs(deep[0] - deep[1]) > 0.5 * 6.0 * 8.0


def test_photos_change_once_each_way_and_away_from_the_nick() -> None:
    found = rim((30.0, 22.0), unsure=0.3)
    changes = np.flatnonzero(found.photo != np.roll(found.photo, 1))
    assert len(changes) == 2
    assert set(found.photo) == {0, 1}
    nick = np.linalg.norm(found.ring_mm[changes] - (RADIUS, 0), axis=1)
    assert nick.min() > S.fade_mm
    away = np.linalg.norm(found.ring_mm, axis=1) - RADIUS
    assert np.abs(away[np.abs(found.ring_mm[:, 1]) > 30]).max() < 0.3


def test_equally_sure_photos_do_not_take_turns() -> None:
    assert len(set(rim((25.0, 25.0)).photo)) == 1


def test_a_stretch_that_one_photo_misses_is_drawn_by_the_other() -> None:
    base, made = strips((20.0, 20.0))
    camera = camera_of(CAMERAS[0])
    ring = nicked(20.0, 0)
    part = SeenRim(camera.px_from_mm(ring), np.full(len(ring), 0.4), np.full(len(ring), 0.97))
    z = np.zeros(len(base.ring_mm))
    made[0] = strip_of(camera, part, ring[:, 0] < 100, base, z, z, S)
    found = drawn(base, made, [z, z], S)
    assert set(found.photo[found.ring_mm[:, 0] > 110]) == {1}
    assert Polygon(found.ring_mm).symmetric_difference(Polygon(nicked(20.0, 1))).area < 0.15 * 2 * np.pi * RADIUS


def test_gaps_are_filled_by_the_line_between_their_ends() -> None:
    np.testing.assert_allclose(filled(np.array([1.0, np.nan, np.nan, 4.0, np.nan])), [1, 2, 3, 4, 2.5])
    np.testing.assert_array_equal(filled(np.full(3, np.nan)), np.zeros(3))


def test_values_at_nodes_are_carried_round_the_ring() -> None:
    """Two nodes over eight points: their middles lie at points 1.5 and 5.5."""
    values = along(np.array([0.0, 4.0]), 8)
    assert values[1] + values[2] == pytest.approx(1.0)
    np.testing.assert_allclose(values[5:7], [3.5, 3.5])
