"""A backlit photo laid on its map, on made photos whose geometry and thickness are known."""

from functools import cache

import numpy as np
import pytest
from shapely import contains_xy
from shapely.geometry import Point, Polygon

from hidescan.anatomy.lit_thickness import DensityField, lit_thickness
from hidescan.anatomy.thickness import gauged_thickness
from hidescan.anatomy.thin_spots import thin_spots
from hidescan.basics.errors import NotFound
from hidescan.light.reading import LightReading, read_light
from hidescan.light.registration import registered
from hidescan.light.silhouette import backlit, silhouette
from hidescan.settings import LightSettings, Settings
from tests.synthetic.backlit import Array, LitScene, lit_hide, lit_scene
from tests.synthetic.lit_maps import map_of

LIGHT = LightSettings()


@cache
def scene(seed: int) -> LitScene:
    rng = np.random.default_rng(seed)
    return lit_scene(lit_hide(rng, spots=3), rng, long_side_px=1400)


@cache
def read(seed: int, with_empty: bool) -> LightReading:
    shot = scene(seed)
    made = read_light(shot.rgb, map_of(shot.hide), LIGHT, shot.empty if with_empty else None)
    assert not isinstance(made, NotFound), made
    return made


def inner_points(shot: LitScene, step_mm: float = 30.0) -> Array:
    net = Polygon(shot.hide.ring_mm, list(shot.hide.holes_mm)).buffer(-20)
    x0, y0, x1, y1 = net.bounds
    at = np.stack(np.meshgrid(np.arange(x0, x1, step_mm), np.arange(y0, y1, step_mm)), axis=-1).reshape(-1, 2)
    return np.asarray(at[contains_xy(net, at[:, 0], at[:, 1])])


def field(seed: int, with_empty: bool) -> DensityField:
    hide_map, made = map_of(scene(seed).hide), read(seed, with_empty)
    return DensityField(made.density, made.step_px, made.u, hide_map.camera_over_hide(), hide_map.upper_face_mm())


@pytest.mark.parametrize("seed", [1, 2])
def test_places_of_the_hide_are_found_in_the_photo(seed: int) -> None:
    shot = scene(seed)
    seen = backlit(shot.rgb, LIGHT)
    hide = silhouette(seen, LIGHT)
    assert not isinstance(hide, NotFound)
    laid = registered(shot.hide.ring_mm, hide.ring_px, LIGHT)
    assert not isinstance(laid, NotFound)
    assert laid.mirrored == shot.mirrored
    at = inner_points(shot)
    mm_per_px = np.sqrt(Polygon(shot.hide.ring_mm).area / Polygon(hide.ring_px).area)
    off = np.linalg.norm(laid.px_from_mm(at) - ((shot.seen_px(at) + 0.5) * seen.scale - 0.5), axis=1) * mm_per_px
    assert np.quantile(off, 0.95) < 5.0


@pytest.mark.parametrize(("seed", "with_empty"), [(1, True), (2, False)])
def test_thickness_from_light_and_eight_readings(seed: int, with_empty: bool) -> None:
    shot, rng = scene(seed), np.random.default_rng(seed)
    light = field(seed, with_empty)
    at = inner_points(shot)
    at = at[np.isfinite(light.at(at))]
    where = at[rng.choice(len(at), 8, replace=False)]
    readings = where, shot.hide.thickness_mm(where) + rng.normal(0, 0.05, 8), np.full(8, 0.08)
    area, settings = Polygon(shot.hide.ring_mm).area, Settings().thickness
    lit = lit_thickness(readings, area, light, settings, LIGHT)
    assert lit is not None
    assert lit.label == "from light and gauge readings"
    true = shot.hide.thickness_mm(at)
    mean, u = lit.predict(at)
    alone, _ = gauged_thickness(*readings, area, settings).predict(at)
    assert np.mean(np.abs(mean / true - 1) < 0.15) > 0.95
    assert np.mean(np.abs(mean - true) < 2 * u) > 0.85
    assert np.mean((mean / true - 1) ** 2) < 0.5 * np.mean((alone / true - 1) ** 2)


def test_with_fewer_than_three_readings_there_is_no_thickness_from_light() -> None:
    at = inner_points(scene(1))
    readings = at[:2], np.array([1.5, 1.6]), np.full(2, 0.08)
    assert lit_thickness(readings, 1e6, field(1, True), Settings().thickness, LIGHT) is None


def test_where_light_says_nothing_the_readings_alone_remain() -> None:
    at = inner_points(scene(1))
    light = field(1, True)
    known = at[np.isfinite(light.at(at))][:8]
    readings = known, scene(1).hide.thickness_mm(known), np.full(8, 0.08)
    lit = lit_thickness(readings, 1e6, light, Settings().thickness, LIGHT)
    assert lit is not None
    far = np.array([[1e4, 1e4]])
    assert np.isnan(light.at(far)).all()
    assert lit.predict(far)[0] == pytest.approx(gauged_thickness(*readings, 1e6, Settings().thickness).predict(far)[0])


@pytest.mark.parametrize("seed", [1, 2])
def test_thin_spots_are_proposed_and_no_others(seed: int) -> None:
    shot, made = scene(seed), read(seed, True)
    hide_map = map_of(shot.hide)
    spots = thin_spots(made.density, made.u, LIGHT)
    camera = hide_map.camera_over_hide()
    found = [Polygon(camera.mm_from_px(s.ring * made.step_px, hide_map.upper_face_mm())).buffer(0) for s in spots]
    for x, y, radius, _ in shot.hide.spots:
        assert any(f.intersects(Point(x, y).buffer(0.5 * radius)) for f in found)
    assert all(any(f.intersects(Point(x, y).buffer(r)) for x, y, r, _ in shot.hide.spots) for f in found)


@pytest.mark.parametrize(
    ("code", "shoot"),
    [
        (
            "too-little-light",
            lambda rng: lit_scene(lit_hide(rng, (5.0, 6.0)), rng, long_side_px=1000, leather=(14.0, 2.0)),
        ),
        ("overexposed", lambda rng: lit_scene(lit_hide(rng), rng, long_side_px=1000, exposure=2.5)),
        ("room-light", lambda rng: lit_scene(lit_hide(rng), rng, long_side_px=1000, room_light=0.4)),
    ],
)
def test_light_that_says_nothing_is_refused_with_its_cause(code: str, shoot: object) -> None:
    shot = shoot(np.random.default_rng(3))  # type: ignore[operator]
    made = read_light(shot.rgb, map_of(shot.hide), LIGHT)
    assert isinstance(made, NotFound)
    assert made.code == code


def test_another_hide_is_refused() -> None:
    made = read_light(scene(1).rgb, map_of(scene(2).hide), LIGHT)
    assert isinstance(made, NotFound)
    assert made.code == "outlines-disagree"


def test_an_empty_photo_of_another_pane_is_refused() -> None:
    shot = scene(1)
    made = read_light(shot.rgb, map_of(shot.hide), LIGHT, scene(2).empty)
    assert isinstance(made, NotFound)
    assert made.code == "empty-differs"


def test_a_picture_without_a_hide_is_refused() -> None:
    made = read_light(np.full((400, 600, 3), 200, np.uint8), map_of(scene(1).hide), LIGHT)
    assert isinstance(made, NotFound)
    assert made.code == "no-silhouette"
