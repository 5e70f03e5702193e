"""Rendered photos of one hide, joined: error of the area, overlap of the outline, marks found once; aim against figure.

    python -m tests.benchmarks.join_photos_study FOLDER [--sets 30] [--textures FOLDER] [--width 3200]

Renders what FOLDER lacks, 2 to 6 photos a set, lift up to 15 mm, every fourth set seen from 35 to 45 degrees, a lamp's
glare in every other photo. Scenes come from `tests/synthetic/`; nothing of the program makes truth.
"""

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from shapely.geometry import Polygon

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import rotation_2d
from hidescan.hide_map.model import HideMap, Inputs
from hidescan.join.joined import Look, look_at, map_joined
from hidescan.join.settings import JoinSettings
from hidescan.photo.reading import read_photo
from hidescan.pipeline import Pipeline
from hidescan.settings import Settings
from tests.benchmarks.join_study import scene
from tests.benchmarks.recorded import recorded
from tests.synthetic.scenes import Array, circle, rectangle
from tests.synthetic.scenes import Look as Paint
from tests.synthetic.view_pictures import Painted, painted, photo_from
from tests.synthetic.views import ViewsScene

S, J = Settings(), JoinSettings()
HIDES = [(150, 105, 70), (95, 62, 42), (176, 150, 118), (60, 48, 42), (140, 128, 110)]
FLOORS = [(150, 148, 140), (120, 104, 88), (90, 92, 96), (186, 180, 170)]


@dataclass(frozen=True, eq=False)
class Set:
    """One set of photos with its truth: the scene, and the marks by kind."""

    scene: ViewsScene
    marks: list[tuple[str, Array]]
    paths: list[Path]


def set_of(folder: Path, seed: int, textures: list[Path], size_px: tuple[int, int]) -> Set:
    """Render a set, or find it rendered."""
    made, rng = scene(1000 + seed, size_px=size_px, steep=seed % 4 == 3)
    marks = _marks(made.ring_mm, np.random.default_rng(seed))
    paths = [folder / f"set{seed:02d}_{k}.jpg" for k in range(len(made.cameras))]
    if all(path.exists() for path in paths):
        return Set(made, marks, paths)
    floor = None
    if textures:
        floor = cv2.cvtColor(np.asarray(cv2.imread(str(textures[seed % len(textures)]))), cv2.COLOR_BGR2RGB)
    hide = HIDES[seed % 5]
    look = Paint(floor=FLOORS[seed % 4], hide=hide, mottle=10.0)
    holes = tuple(ring for kind, ring in marks if kind == "hole")
    paint = painted(
        made, rng, look, holes_mm=holes, mm=0.6, floor=None if floor is None else np.asarray(floor, np.uint8)
    )
    for kind, ring in marks:
        if kind == "scratch":
            paint.canvas.fill(paint.leather, ring, tuple(min(255, int(1.5 * c)) for c in hide))
        elif kind == "stain":
            paint.leather[:] *= _soaked(paint.canvas.px(ring.mean(axis=0)[None])[0], ring, paint)
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 26
    for k, (camera, path) in enumerate(zip(made.cameras, paths, strict=True)):
        photo = photo_from(paint, camera, rng)
        if k % 2:
            photo = _with_glare(photo, rng)
        Image.fromarray(photo).save(path, quality=93, exif=exif)
    return Set(made, marks, paths)


def _soaked(middle: Array, ring_mm: Array, paint: Painted) -> NDArray[np.float32]:
    """What a stain leaves of the leather's light, cell by cell: its texture shows through, its border is soft."""
    radius = float(np.linalg.norm(ring_mm - ring_mm.mean(axis=0), axis=1).mean()) / paint.canvas.mm
    rows, columns = (np.arange(n, dtype=np.float32) for n in paint.leather.shape[:2])
    away = np.hypot(columns[None] - np.float32(middle[0]), rows[:, None] - np.float32(middle[1]))
    return np.asarray(1 - 0.4 / (1 + np.exp(np.minimum((away / radius - 1) * 12, 50.0))), np.float32)[..., None]


def _marks(ring_mm: Array, rng: np.random.Generator) -> list[tuple[str, Array]]:
    """Two holes, two stains and a scratch well inside the rim, apart from each other."""
    inner, found = Polygon(ring_mm).buffer(-60), list[tuple[str, Array]]()
    low, high = ring_mm.min(axis=0), ring_mm.max(axis=0)
    for kind in ("hole", "hole", "stain", "stain", "scratch"):
        for _ in range(200):
            x, y = rng.uniform(low, high)
            size = float(rng.uniform(*{"hole": (6, 15), "stain": (20, 45), "scratch": (80, 160)}[kind]))
            ring = (
                rectangle(size, 4.0, float(rng.uniform(0, 180)), (x, y))
                if kind == "scratch"
                else circle(size, 60, (x, y))
            )
            apart = all(Polygon(ring).distance(Polygon(other)) > 40 for _, other in found)
            if apart and inner.contains(Polygon(ring)):
                found.append((kind, ring))
                break
    return found


def _with_glare(photo: NDArray[np.uint8], rng: np.random.Generator) -> NDArray[np.uint8]:
    """A lamp's broad reflection somewhere in the middle of the photo."""
    h, w = photo.shape[:2]
    x, y = rng.uniform(0.25, 0.75, 2) * (w, h)
    columns, rows = np.arange(w, dtype=np.float32), np.arange(h, dtype=np.float32)
    size = 0.12 * w
    glare = np.exp(
        -((columns[None] - np.float32(x)) ** 2 + (rows[:, None] - np.float32(y)) ** 2) / np.float32(2 * size**2)
    )
    return np.clip(photo + 90.0 * glare[..., None], 0, 255).astype(np.uint8)


def given_of(made: Set) -> Inputs:
    """What is known of the hide: the print's scale and the leather's thickness."""
    return Inputs(card_scale=made.scene.cards[0].scale, thickness_mm=made.scene.thickness_mm)


def looks_of(made: Set) -> list[Look]:
    """What the photos give, each looked at alone; one that gives nothing is said."""
    looks = []
    for path in made.paths:
        look = look_at(Pipeline(read_photo(path, S.photo), S), given_of(made))
        if isinstance(look, Look):
            looks.append(look)
        else:
            print(f"{path.name}: {look}", flush=True)
    return looks


@dataclass(frozen=True)
class Outcome:
    """One set: errors of the net area, of the outline's alone, and U, percent; overlap; true marks found, found twice,
    and marks too many."""

    error: float
    outline: float
    expanded: float
    overlap: float
    marks: tuple[int, int, int]
    seconds: float


def outcome(made: Set, found: HideMap, seconds: float) -> Outcome:
    """Compare a map with the truth."""
    place = _placed(found, made.scene)
    true = Polygon(made.scene.ring_mm, [ring for kind, ring in made.marks if kind == "hole"])
    ours = Polygon(place(np.array(found.outline.hide_mm.coordinates[0]))).buffer(0)
    whole = Polygon(made.scene.ring_mm).buffer(0)
    marks = [Polygon(place(np.array(mark.hide_mm.coordinates[0]))).buffer(0) for mark in found.marks]
    hits = [sum(mark.intersects(Polygon(ring)) for mark in marks) for _, ring in made.marks]
    extra = sum(not any(mark.intersects(Polygon(ring)) for _, ring in made.marks) for mark in marks)
    net = found.measures.area_net
    return Outcome(
        100 * (net.value / true.area - 1),
        100 * (ours.area / whole.area - 1),
        100 * (net.expanded_uncertainty or np.nan) / true.area,
        ours.intersection(whole).area / ours.union(whole).area,
        (sum(n > 0 for n in hits), sum(n > 1 for n in hits), extra),
        seconds,
    )


def _placed(found: HideMap, scene: ViewsScene) -> Callable[[Array], Array]:
    """A function that takes points of the map's frame to the scene's, by the cards' places."""
    ours = np.array([card.center_mm for card in found.cards])
    theirs = np.array([next(c.centre for c in scene.cards if c.number == card.number) for card in found.cards])
    a, b = ours - ours.mean(axis=0), theirs - theirs.mean(axis=0)
    angle = float(np.rad2deg(np.arctan2(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]), np.sum(a * b))))
    if len(ours) == 1:
        card = next(c for c in scene.cards if c.number == found.cards[0].number)
        angle = card.angle_deg - found.cards[0].angle_deg
    return lambda points: np.asarray((points - ours.mean(axis=0)) @ rotation_2d(angle).T + theirs.mean(axis=0))


def table(done: list[Outcome], true_marks: int) -> str:
    """Aim against figure."""
    error, outline, expanded, overlap = (
        np.array([getattr(o, n) for o in done]) for n in ("error", "outline", "expanded", "overlap")
    )
    hits, twice, extra = np.sum([o.marks for o in done], axis=0)
    return "\n".join(
        [
            f"\n{len(done)} sets mapped\n| what | aim | figure |\n|---|---|---|",
            f"| net area, median and worst error | 0.2 %, 0.8 % | {np.median(abs(error)):.2f} %, {abs(error).max():.2f} % |",
            f"| the outline's alone | | {np.median(abs(outline)):.2f} %, {abs(outline).max():.2f} % |",
            f"| inside its interval | | {100 * np.mean(abs(error) <= expanded):.0f} % (median U {np.median(expanded):.2f} %) |",
            f"| IoU, worst and median | 0.99 | {overlap.min():.4f}, {np.median(overlap):.4f} |",
            f"| true marks found; found twice; marks too many | ; 0; | {hits} of {true_marks}; {twice}; {extra} |",
            f"| seconds a photo, median | | {np.median([o.seconds for o in done]):.2f} |",
        ]
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sets", type=int, default=30)
    parser.add_argument("--textures", type=Path)
    parser.add_argument("--width", type=int, default=3200)
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    textures = sorted(given.textures.iterdir()) if given.textures else []
    done, true_marks, seed = list[Outcome](), 0, -1
    while len(done) < given.sets and seed < 3 * given.sets:
        seed += 1
        try:
            made = set_of(given.folder, seed, textures, (given.width, given.width * 3 // 4))
        except RuntimeError:  # no cameras found that see all of the hide
            continue
        start = time.perf_counter()
        looks = looks_of(made)
        found = map_joined(tuple(looks), given_of(made), S, J) if len(looks) > 1 else NotFound("too-few", "", "")
        if not isinstance(found, HideMap):
            print(f"set {seed:02d}: {len(looks)} of {len(made.paths)} photos: {found}", flush=True)
            continue
        done.append(o := outcome(made, found, (time.perf_counter() - start) / len(made.paths)))
        true_marks += len(made.marks)
        print(
            f"set {seed:02d}: {len(looks)} of {len(made.paths)} photos, net {o.error:+.2f} % (U {o.expanded:.2f}), outline {o.outline:+.2f} %,"
            f" IoU {o.overlap:.4f}, lift up to {made.scene.lift_mm.max():.0f} mm, marks {o.marks} of {len(made.marks)},"
            f" {o.seconds:.1f} s a photo, {','.join(sorted({w.code for w in found.warnings}))}",
            flush=True,
        )
    print(table(done, true_marks))


if __name__ == "__main__":
    with recorded("join-photos"):
        main()
