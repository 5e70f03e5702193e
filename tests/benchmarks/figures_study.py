"""Whether length, width, perimeter and usable area lie within their ±: made scenes, photos with truth, turned photos.

    python -m tests.benchmarks.figures_study made [--scenes 400]
    python -m tests.benchmarks.figures_study turned FOLDER [--long-side 1600] [--photos 4]

Made scenes have no pixels: hides of `tests/synthetic/hides.py` with a ragged rim that stands over the floor, cameras and
cards of OpenCV's, marks that are seen or missed at the rates of the settings, on one hide in five nearly all missed.
True lengths are between the tangents square to the true spine; the true perimeter is walked with a divider in steps of
a fifth of a millimetre; true usable area is Shapely's. Turned photos are the same picture turned by quarter turns and
made a fifth darker and lighter: each must agree with the first within both ± together.
"""

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from shapely import union_all
from shapely.geometry import Point, Polygon

from hidescan.anatomy.back_line import find_shape
from hidescan.basics.errors import NotFound
from hidescan.basics.uncertainty import root_sum_square
from hidescan.camera.relief import plan_view
from hidescan.figures.extent import with_extent
from hidescan.figures.measures import HeightPriors, HideRims, Rim, measure
from hidescan.figures.usable import usable_area
from hidescan.floor.parameters import Prior
from hidescan.floor.solution import Plane, solve_plane
from hidescan.hide_map.model import HideMap, Inputs, MarkEntry, MeasureEntry, PolygonGeometry
from hidescan.photo.reading import read_photo
from hidescan.pipeline import Pipeline
from hidescan.settings import Settings
from tests.benchmarks.recorded import recorded
from tests.synthetic.corners import priors, seen_card
from tests.synthetic.hides import SyntheticHide, whole_hide
from tests.synthetic.rims import camera_over, cards_beside, lift_field, seen_rim

S = Settings()
NAMES = ("length", "width", "perimeter", "usable")
OUTLINE_CONFIDENCE = 0.95
DIM_HIDES, DIM_RECALL = 0.2, 0.15


def walked(ring: np.ndarray, opening_mm: float) -> float:
    """The perimeter by a divider, along points a fifth of a millimetre apart."""
    closed = np.vstack([ring, ring[:1]])
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))]
    at = np.arange(0.0, along[-1], 0.2)
    fine = np.column_stack([np.interp(at, along, closed[:, 0]), np.interp(at, along, closed[:, 1])])
    i, steps = 0, 0
    while True:
        far = np.flatnonzero(np.linalg.norm(fine[i : i + 2000] - fine[i], axis=1) >= opening_mm)
        if not len(far):
            return float(steps * opening_mm + np.linalg.norm(fine[0] - fine[i]))
        i, steps = i + int(far[0]), steps + 1


def true_marks(hide: SyntheticHide, rng: np.random.Generator) -> list[tuple[str, Polygon, bool]]:
    """Kind, shape, and whether it is seen."""
    outline = Polygon(hide.ring_mm).buffer(0)
    x0, y0, x1, y1 = outline.bounds
    dim = rng.random() < DIM_HIDES
    found = []
    for rate in S.usable.rates:
        clear = (rate.recall - DIM_HIDES * DIM_RECALL) / (1 - DIM_HIDES)
        margin = 5.0 if rate.kind in ("hole", "cut") else 3.0
        for _ in range(rng.poisson(rate.per_m2 * outline.area / 1e6)):
            at = Point(rng.uniform(x0, x1), rng.uniform(y0, y1))
            while not outline.contains(at):
                at = Point(rng.uniform(x0, x1), rng.uniform(y0, y1))
            # log-normal sizes whose root mean square with the margin is that of the settings
            radius = np.sqrt(rate.missed_mm2 * np.exp(rng.normal(-0.36, 0.6)) / np.pi) - margin
            found.append((rate.kind, at.buffer(max(radius, 1.5)), bool(rng.random() < (DIM_RECALL if dim else clear))))
    return found


def entry(number: int, kind: str, shape: Polygon, confidence: float) -> MarkEntry:
    """A mark as the map would hold it."""
    ring = PolygonGeometry((tuple(map(tuple, np.array(shape.exterior.coords).tolist())),))
    return MarkEntry(f"{kind}-{number}", kind, ring, ring, shape.area, 0.0, 0.0, None, confidence, "found")  # type: ignore[arg-type]


def made_scene(seed: int) -> list[tuple[float, float]] | None:
    """Error and U of each figure in one scene, as shares of the truth; None where no plane was found."""
    rng = np.random.default_rng([21, seed])
    hide = whole_hide(rng, str(rng.choice(["goat", "deer", "calf", "cattle"])))
    ring = hide.ring_mm if Polygon(hide.ring_mm).exterior.is_ccw else hide.ring_mm[::-1]
    camera = camera_over(
        ring, float(rng.uniform(2, 32)), rng, fill=float(rng.uniform(0.75, 0.95)),
        focal_35mm=float(rng.uniform(23, 29)), k1=float(rng.normal(0, 0.02)), k2=0.0, size_px=(4000, 3000),
    )  # fmt: skip
    cards = cards_beside(ring, int(rng.integers(2, 5)), rng, (1.0, 1.0))
    seen = tuple(seen_card(camera, card, float(rng.uniform(0.06, 0.25)), rng) for card in cards)
    plane = solve_plane(seen, camera.size_px, priors(camera), S.plane)
    if not isinstance(plane, Plane):
        return None
    thickness = float(rng.uniform(1.0, 3.5))
    rim_px = seen_rim(camera, ring, thickness, lift_field(len(ring), float(rng.uniform(0, 8)), rng), 1.0, rng)
    heights = HeightPriors(Prior(thickness, 0.15 * thickness), Prior(S.measure.lift_mm, S.measure.lift_u_mm))
    plan_mm = plan_view(plane.camera, rim_px, heights.means)
    back = find_shape(plan_mm, S.shape).back_line
    along = back.neck_mm - back.tail_mm
    rims = HideRims(Rim(rim_px, np.full(len(rim_px), 1.0)))
    measured = measure(plane, rims, heights, along, S.measure, print_measured=True)
    m = with_extent(
        measured, plan_mm, along, angle_sd_deg=back.angle_sd_deg, confidence=OUTLINE_CONFIDENCE, open_area_u=0.0,
        settings=S.measure,
    )  # fmt: skip
    spine = hide.neck_mm - hide.tail_mm
    unit = spine / np.linalg.norm(spine)
    if (turned := plane_angle(plane, camera, unit, along)) > 45.0:  # across for along: told by its confidence
        m = replace(m, length=m.width, width=m.length) if turned > 70 else m
    sides = np.ptp(ring @ np.column_stack([unit, (-unit[1], unit[0])]), axis=0)
    truth = [float(sides[0]), float(sides[1]), walked(ring, S.measure.perimeter_step_mm)]
    found = [(s.value / t - 1, s.expanded / t) for s, t in zip((m.length, m.width, m.perimeter), truth, strict=True)]
    return [*found, usable_error(hide, m.area_net.u / m.area_net.value, rng)]


def plane_angle(plane: Plane, camera, unit, along) -> float:  # type: ignore[no-untyped-def]
    """Angle between the true and the found back line on the plane's floor, degrees, 0 to 90."""
    ends = plane.camera.mm_from_px(camera.project(np.array([[0.0, 0, 0], [100 * unit[0], 100 * unit[1], 0]])))
    true = ends[1] - ends[0]
    share = abs(true @ along) / (np.linalg.norm(true) * np.linalg.norm(along))
    return float(np.rad2deg(np.arccos(min(1.0, share))))


def usable_error(hide: SyntheticHide, net_u: float, rng: np.random.Generator) -> tuple[float, float]:
    """Error and U of usable area, as shares of the truth: marks seen, missed, mistaken, their outlines off."""
    outline, grown, entries = Polygon(hide.ring_mm).buffer(0), [], []
    common = rng.normal()
    for number, (kind, shape, is_seen) in enumerate(true_marks(hide, rng)):
        sharp = kind in ("hole", "cut")
        grown.append(shape.buffer(5.0 if sharp else 3.0))
        if is_seen:
            u = S.usable.edge_u_mm if sharp else S.usable.soft_edge_u_mm
            own = rng.normal() / np.sqrt(max(1.0, shape.length / S.usable.outline_correlation_mm))
            seen = shape.buffer(u * (S.usable.outline_common_share * common + own))
            entries.append(entry(number, kind, seen if not seen.is_empty else shape, float(rng.uniform(0.5, 1.0))))
    for n, one in enumerate(list(entries)):  # of what was found with p, 1 - p is none: as many again are mistaken
        trust = next(rate.trust for rate in S.usable.rates if rate.kind == one.kind)
        if rng.random() < 1 / max(one.confidence * trust, 0.2) - 1:
            at = Point(hide.ring_mm.mean(axis=0) + rng.uniform(-150, 150, 2))
            radius = float(np.sqrt(one.area_mm2 / np.pi))
            entries.append(entry(1000 + n, one.kind, at.buffer(radius), one.confidence))
    off = 1 + rng.normal(0, net_u)
    stated_net = outline.area * off
    holes = [Polygon(e.hide_mm.coordinates[0]) for e in entries if e.kind == "hole"]
    net = outline.difference(union_all(holes)) if holes else outline
    net = net if net.geom_type == "Polygon" else max(net.geoms, key=lambda part: part.area)
    from hidescan.basics.uncertainty import Measured

    stated = usable_area(
        net, entries, Measured(net.area, net_u * net.area), [("print scale", 100 * net_u)], S.usable
    ).area
    true = outline.difference(union_all(grown)).area if grown else outline.area
    return stated.value * stated_net / outline.area / true - 1, stated.expanded / true


def made(scenes: int) -> None:
    rows = [row for seed in range(scenes) if (row := made_scene(seed)) is not None]
    table = np.array(rows)
    print(f"{len(rows)} made scenes\n| figure | median error % | median U % | within U % |\n|---|---|---|---|")
    for k, name in enumerate(NAMES):
        error, u = np.abs(table[:, k, 0]), table[:, k, 1]
        print(f"| {name} | {100 * np.median(error):.2f} | {100 * np.median(u):.2f} | {100 * np.mean(error <= u):.1f} |")


def turned(folder: Path, long_side: int, most: int) -> None:
    agree: dict[str, list[bool]] = {name: [] for name in ("area_net", "area_usable", "length", "width", "perimeter")}
    photos = sorted(p for p in folder.glob("*.jpg") if p.with_suffix(".truth.json").exists())[:most]
    for path in photos:
        photo = read_photo(path, S.photo)
        scale = long_side / max(photo.size_px)
        small = cv2.resize(photo.rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        first: HideMap | None = None
        for turns, light in ((0, 1.0), (1, 1.0), (2, 1.0), (3, 1.0), (0, 0.8), (0, 1.2)):
            rgb = np.ascontiguousarray(np.rot90(np.clip(small * light, 0, 255).astype(np.uint8), turns))
            found = Pipeline(replace(photo, rgb=rgb), S).hide_map(Inputs(card_scale=(1.0, 1.0)))
            if isinstance(found, NotFound):
                print(f"{path.name} {90 * turns} deg, light {light}: {found.reason}", flush=True)
                continue
            first = first or found
            line = []
            for name, kept in agree.items():
                a, b = (getattr(m.measures, name) for m in (first, found))
                assert isinstance(a, MeasureEntry) and isinstance(b, MeasureEntry)
                off, u = (
                    abs(a.value - b.value),
                    root_sum_square(a.expanded_uncertainty or 0, b.expanded_uncertainty or 0),
                )
                if found is not first:
                    kept.append(off <= u)
                line.append(f"{name} {100 * (b.value / a.value - 1):+.2f} of {100 * u / a.value:.2f}")
            print(f"{path.name} {90 * turns} deg, light {light}: {', '.join(line)} %", flush=True)
    for name, kept in agree.items():
        print(f"{name}: {sum(kept)} of {len(kept)} agree")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("what", choices=["made", "turned"])
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--scenes", type=int, default=400)
    parser.add_argument("--long-side", type=int, default=1600)
    parser.add_argument("--photos", type=int, default=4)
    arguments = parser.parse_args()
    if arguments.what == "made":
        made(arguments.scenes)
    else:
        turned(arguments.folder, arguments.long_side, arguments.photos)


if __name__ == "__main__":
    # figures.md is kept by hand from both.
    with recorded("-".join(["figures", *sys.argv[1:2]])):
        main()
