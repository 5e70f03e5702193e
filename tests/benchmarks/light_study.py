"""How well a backlit photo gives thickness, on made photos with truth.

    python -m tests.benchmarks.light_study [COUNT] [FIRST SEED]

Registration, thickness with eight readings (every second hide with a photo of the bare pane), thin spots, refusals.
"""

import sys
from collections.abc import Callable

import numpy as np
from shapely import contains_xy
from shapely.geometry import Point, Polygon

from hidescan.anatomy.lit_thickness import DensityField, lit_thickness
from hidescan.anatomy.thickness import gauged_thickness
from hidescan.anatomy.thin_spots import thin_spots
from hidescan.basics.errors import NotFound
from hidescan.light.reading import read_light
from hidescan.light.registration import registered
from hidescan.light.silhouette import backlit, silhouette
from hidescan.settings import LightSettings, Settings
from tests.benchmarks.recorded import recorded
from tests.synthetic.backlit import Array, LitScene, lit_hide, lit_scene
from tests.synthetic.lit_maps import map_of

LIGHT = LightSettings()


def main(count: int, first: int) -> None:
    off, lit, gauged, inside, hits, misses, false = [], [], [], [], 0, 0, 0
    for seed in range(first, first + count):
        rng = np.random.default_rng(seed)
        hide = lit_hide(rng, spots=3)
        scene = lit_scene(hide, rng)
        net = Polygon(hide.ring_mm, list(hide.holes_mm))
        off.append(_registration(scene, net))
        hide_map = map_of(hide)
        read = read_light(scene.rgb, hide_map, LIGHT, scene.empty if seed % 2 else None)
        if isinstance(read, NotFound):
            print(seed, read)
            continue
        field = DensityField(read.density, read.step_px, read.u, hide_map.camera_over_hide(), hide_map.upper_face_mm())
        at = _grid(net.buffer(-15), 25.0)
        at = at[np.isfinite(field.at(at))]
        where = at[rng.choice(len(at), 8, replace=False)]
        readings, u = hide.thickness_mm(where) + rng.normal(0, 0.06, 8), np.full(8, 0.08)
        by_light = lit_thickness((where, readings, u), net.area, field, Settings().thickness, LIGHT)
        assert by_light is not None
        true = hide.thickness_mm(at)
        mean, sd = by_light.predict(at)
        alone, _ = gauged_thickness(where, readings, u, net.area, Settings().thickness).predict(at)
        lit.append(mean / true - 1)
        gauged.append(alone / true - 1)
        inside.append(np.abs(mean - true) < 2 * sd)
        spots = thin_spots(read.density, read.u, LIGHT)
        camera = hide_map.camera_over_hide()
        rings = [camera.mm_from_px(spot.ring * read.step_px, hide_map.upper_face_mm()) for spot in spots]
        found = [Polygon(ring).buffer(0) for ring in rings if len(ring) > 2]
        met = [any(f.intersects(Point(x, y).buffer(0.5 * r)) for f in found) for x, y, r, _ in hide.spots]
        hits, misses = hits + sum(met), misses + len(met) - sum(met)
        false += sum(not any(f.intersects(Point(x, y).buffer(r)) for x, y, r, _ in hide.spots) for f in found)
    print(f"{count} hides from seed {first}")
    print(f"registration: 95 % of points within {np.quantile(np.concatenate(off), 0.95):.2f} mm")
    errors, others = np.concatenate(lit), np.concatenate(gauged)
    print(f"thickness: within 15 %: {100 * np.mean(np.abs(errors) < 0.15):.1f} %")
    print(f"rms {100 * _rms(errors):.1f} %, readings alone {100 * _rms(others):.1f} %")
    print(f"covered: {100 * np.mean(np.concatenate(inside)):.1f} %")
    print(f"thin spots: {hits} of {hits + misses} found, {false / count:.2f} false a hide")
    for name, shoot in REFUSED.items():
        codes = [_code(shoot, seed) for seed in range(first, first + max(4, count // 4))]
        print(f"{name}: " + ", ".join(f"{codes.count(code)} x {code}" for code in sorted(set(codes))))


def _registration(scene: LitScene, net: Polygon) -> Array:
    """Distance of each place from where it was laid, mm."""
    seen = backlit(scene.rgb, LIGHT)
    hide = silhouette(seen, LIGHT)
    assert not isinstance(hide, NotFound)
    laid = registered(scene.hide.ring_mm, hide.ring_px, LIGHT)
    if isinstance(laid, NotFound):
        print(laid)
        return np.array([])
    at = _grid(net, 40.0)
    mm_per_px = float(np.sqrt(net.area / Polygon(hide.ring_px).area))
    true = (scene.seen_px(at) + 0.5) * seen.scale - 0.5
    off = np.linalg.norm(laid.px_from_mm(at) - true, axis=1) * mm_per_px
    return np.asarray(off)


def _code(shoot: Callable[[np.random.Generator], LitScene], seed: int) -> str:
    scene = shoot(np.random.default_rng(seed))
    read = read_light(scene.rgb, map_of(scene.hide), LIGHT)
    return read.code if isinstance(read, NotFound) else "read"


REFUSED: dict[str, Callable[[np.random.Generator], LitScene]] = {
    "harness leather": lambda rng: lit_scene(lit_hide(rng, (5.0, 6.0)), rng, leather=(14.0, 2.0)),
    "overexposed": lambda rng: lit_scene(lit_hide(rng), rng, exposure=2.5),
    "room light": lambda rng: lit_scene(lit_hide(rng), rng, room_light=float(rng.uniform(0.15, 0.5))),
}


def _grid(area: Polygon, step: float) -> Array:
    x0, y0, x1, y1 = area.bounds
    at = np.stack(np.meshgrid(np.arange(x0, x1, step), np.arange(y0, y1, step)), axis=-1).reshape(-1, 2)
    return np.asarray(at[contains_xy(area, at[:, 0], at[:, 1])])


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


if __name__ == "__main__":
    with recorded("light"):
        main(*(int(word) for word in (sys.argv[1:] + ["40", "0"][len(sys.argv) - 1 :])))
