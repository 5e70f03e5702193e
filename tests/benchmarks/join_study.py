"""Several photos of one hide: error of the area, height of the rim, moved hides and cards, seams; aim against figure.

    python -m tests.benchmarks.join_study [--sets 400] [--processes 2]      no pixels: corners and rims with noise

Scenes come from `tests/synthetic/views.py`; nothing of the program makes truth. With pixels: `join_photos_study`.
"""

import argparse
import multiprocessing
from dataclasses import dataclass, replace

import cv2
import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.geometry import Polygon

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import rotation_2d
from hidescan.figures.measures import HeightPriors
from hidescan.floor.parameters import Prior
from hidescan.join.bundle import Joint, solve_joint
from hidescan.join.figures import joined_measures
from hidescan.join.moved import moved_card, moved_hide
from hidescan.join.region_vote import SeenRim, joined_cover, missing_stretches
from hidescan.join.rims import JoinedRim, joined_rim
from hidescan.join.settings import JoinSettings
from hidescan.settings import Settings
from tests.benchmarks.recorded import recorded
from tests.synthetic.hides import whole_hide
from tests.synthetic.joined import views_of
from tests.synthetic.rims import lift_field
from tests.synthetic.scenes import Array
from tests.synthetic.views import ViewsScene, cameras_round, cards_round

S, J = Settings(), JoinSettings()


def scene(
    seed: int, *, size_px: tuple[int, int] = (4000, 3000), steep: bool = False
) -> tuple[ViewsScene, np.random.Generator]:
    """A hide among 3 to 6 cards, seen by 2 to 6 cameras; each shows 70 to 125 % of its reach."""
    rng = np.random.default_rng(seed)
    ring = whole_hide(rng, str(rng.choice(["goat", "deer", "calf", "cattle"]))).ring_mm
    ring = ring[:: max(1, len(ring) // 500)]
    count, off = int(rng.integers(2, 7)), rng.normal(0, [S.plane.measured_ln_scale_u, S.plane.measured_skew_u])
    scale = float((1 + off[0]) * (1 + off[1] / 2)), float((1 + off[0]) * (1 - off[1] / 2))
    cards = cards_round(ring, int(rng.integers(3, 7)), rng, scale)
    cameras = cameras_round(
        ring, cards, count, rng, share=float(rng.uniform(0.7, 1.25)), tilt=(35, 45) if steep else (5, 40),
        k1=float(rng.normal(0, 0.03)), size_px=size_px,
    )  # fmt: skip
    lift = lift_field(len(ring), 15.0 if steep else float(rng.uniform(0, 15)), rng)
    return ViewsScene(ring, lift, float(rng.uniform(1.0, 3.5)), cards, cameras), rng


@dataclass(frozen=True)
class Outcome:
    """One set: errors and U in percent, errors of the lift (mm) where two photos see it, and what was said of moves."""

    photos: int
    error: float
    expanded: float
    overlap: float
    heights: tuple[float, ...]
    seam_mm: float
    found: tuple[bool, ...]  # a still set refused; then, where tried, a moved card found and a moved hide found


def joined(
    scene: ViewsScene, rng: np.random.Generator, *, card: int = 0, hide_in: int = -1, by_mm: Array, photos: list[int]
) -> tuple[Joint, JoinedRim] | NotFound:
    """Join a scene without pixels; card `card` in `photos`, or the hide in one photo, lies off its place by `by_mm`."""
    sd_px = float(rng.uniform(0.06, 0.25))
    views = views_of(scene, rng, sd_px=sd_px, moved=card, by_mm=(float(by_mm[0]), float(by_mm[1])), photos=photos)
    joint = solve_joint(views, J.bundle, S.plane)
    if not isinstance(joint, Joint):
        return joint
    if (refusal := moved_card(joint, J.bundle)) is not None:
        return refusal
    rims = []
    for k in range(len(scene.cameras)):
        seen = replace(scene, ring_mm=scene.ring_mm + by_mm) if k == hide_in else scene
        px, inside = seen.rim_seen(k, 0.5, rng)
        rims.append(SeenRim(px, np.full(len(px), 0.5), np.where(inside, 0.97, 0.0)))
    cover = joined_cover(tuple(joint.camera(k) for k in range(len(rims))), joint.sizes_px, tuple(rims), J.cover)
    if missing_stretches(cover, J.cover):
        return NotFound("partly-unseen", "", "")
    given = Prior(scene.thickness_mm * (1 + 0.15 * rng.normal()), 0.15 * scene.thickness_mm)
    leather = HeightPriors(given, Prior(S.measure.lift_mm, S.measure.lift_u_mm))
    rim = joined_rim(joint, cover, tuple(rims), leather, J, S.measure)
    refusal = moved_hide(joint, rim, J.rim)
    return (joint, rim) if refusal is None else refusal


def in_scene(scene: ViewsScene, joint: Joint, floor_mm: Array) -> Array:
    """Points of the joint's floor in the scene's: its first card tells."""
    number = joint.bundle.adjustments[0].cards[0].number
    card = next(card for card in scene.cards if card.number == number)
    return np.asarray(floor_mm @ rotation_2d(card.angle_deg).T + card.centre)


def heights_seen_twice(scene: ViewsScene, joint: Joint, rim: JoinedRim) -> list[float]:
    """Errors of the lift at nodes where two photos' parallax across the rim is at least 0.3."""
    g = np.where(np.isfinite(rim.nodes.offset_mm), rim.nodes.per_height, np.nan)
    seen = np.isfinite(g).sum(axis=0) >= 2
    apart = np.zeros(g.shape[1])
    apart[seen] = np.nanmax(g[:, seen], axis=0) - np.nanmin(g[:, seen], axis=0)
    m = g.shape[1]
    lift = rim.solution.unknowns[m : 2 * m] + rim.mean_lift_mm
    nearest = cKDTree(scene.ring_mm).query(in_scene(scene, joint, rim.nodes.ring_mm))[1]
    return [float(e) for e in (lift - scene.lift_mm[nearest])[apart >= 0.3]]


def seam_mm(scene: ViewsScene, joint: Joint, rim: JoinedRim) -> float:
    """The greatest step where another photo takes over: the error against the true rim, 10 mm before and after."""
    ring, n = in_scene(scene, joint, rim.ring_mm), len(rim.ring_mm)
    true = Polygon(scene.ring_mm).buffer(0)
    points = shapely.points(ring)
    error = shapely.distance(true.exterior, points) * np.where(shapely.contains(true, points), -1.0, 1.0)
    at = np.flatnonzero(rim.photo != np.roll(rim.photo, 1))
    before, after = (np.median(error[(at[:, None] + side) % n], axis=1) for side in (np.arange(-5, 0), np.arange(5)))
    return float(np.max(np.abs(after - before), initial=0.0))


def corners_set(job: tuple[int, bool]) -> Outcome | None:
    """One set without pixels: still, with a moved card, with a moved hide."""
    cv2.setNumThreads(1)
    seed, steep = job
    try:
        made, rng = scene(seed, steep=steep)
    except RuntimeError:  # no cameras found
        return None
    found = joined(made, rng, by_mm=np.zeros(2), photos=[])
    said = [isinstance(found, NotFound)]
    if seed % 3 == 0:
        said += _moved(made, rng)
    if isinstance(found, NotFound):
        return Outcome(len(made.cameras), np.nan, np.nan, np.nan, (), np.nan, tuple(said))
    joint, rim = found
    m = joined_measures(rim, (), np.array([1.0, 0.0]), S.measure, print_measured=True, open_area_u=0.0)
    true = Polygon(made.ring_mm).buffer(0)
    ours = Polygon(in_scene(made, joint, rim.ring_mm)).buffer(0)
    return Outcome(
        len(made.cameras),
        100 * (m.area_net.value / true.area - 1),
        100 * m.area_net.expanded / true.area,
        ours.intersection(true).area / ours.union(true).area,
        tuple(heights_seen_twice(made, joint, rim)),
        seam_mm(made, joint, rim),
        tuple(said),
    )


def _moved(made: ViewsScene, rng: np.random.Generator) -> list[bool]:
    """Whether a card that went 5 mm between two photos, and a hide that did, are refused."""
    shown = [{card.number for card in made.cards_seen(k)} for k in range(len(made.cameras))]
    twice = [card.number for card in made.cards if sum(card.number in s for s in shown) > 1]
    number, angle = int(rng.choice(twice)), rng.uniform(0, 2 * np.pi)
    by = np.array([np.cos(angle), np.sin(angle)]) * 5.0
    later = [k for k, s in enumerate(shown) if number in s][1:]
    card = joined(made, rng, card=number, by_mm=by, photos=later)
    hide = joined(made, rng, hide_in=int(rng.integers(len(made.cameras))), by_mm=by, photos=[])
    return [isinstance(card, NotFound), isinstance(hide, NotFound)]


def corners(sets: int, processes: int) -> None:
    """Print the table of the sets without pixels."""
    for steep in (False, True):
        count = sets if not steep else sets // 4
        with multiprocessing.get_context("spawn").Pool(processes) as pool:
            found = [o for o in pool.map(corners_set, [(s, steep) for s in range(count)], chunksize=4) if o is not None]
        mapped = [o for o in found if not np.isnan(o.error)]
        error, expanded = (np.array([getattr(o, name) for o in mapped]) for name in ("error", "expanded"))
        heights = np.abs([e for o in mapped for e in o.heights])
        still, card, hide = (100 * np.mean([o.found[i] for o in found if len(o.found) > i]) for i in range(3))
        name = "tilt 35-45 degrees, lift up to 15 mm" if steep else "tilt 5-40 degrees, lift up to 0-15 mm"
        print(f"\n{name}: {len(found)} sets, {len(mapped)} mapped\n| what | aim | figure |\n|---|---|---|")
        print(f"| area, median error | 0.2 % | {np.median(np.abs(error)):.3f} % |")
        print(f"| area, worst | 0.8 % | {np.abs(error).max():.2f} % |")
        print(f"| area, bias | | {error.mean():+.3f} % |")
        print(f"| coverage of the interval | 92-98 % | {100 * np.mean(np.abs(error) <= expanded):.1f} % (median U {np.median(expanded):.2f} %) |")  # fmt: skip
        print(f"| lift, parallax >= 0.3: within 1.5 mm | 95 % | {100 * np.mean(heights <= 1.5):.1f} % (sd {heights.std():.2f} mm of {len(heights)}) |")  # fmt: skip
        print(f"| IoU, worst | 0.99 | {min(o.overlap for o in mapped):.4f} |")
        print(f"| seam, 95 % and worst | 1 mm | {np.quantile([o.seam_mm for o in mapped], 0.95):.2f}, {max(o.seam_mm for o in mapped):.2f} mm |")  # fmt: skip
        print(f"| still sets refused | 2 % | {still:.1f} % |")
        print(f"| card moved 5 mm found | 95 % | {card:.1f} % |")
        print(f"| hide moved 5 mm found | 95 % | {hide:.1f} % |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sets", type=int, default=400)
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    corners(given.sets, given.processes)


if __name__ == "__main__":
    with recorded("join"):
        main()
