"""Writes invented photos with exact truth: ``python made.py FOLDER --count 200 --seed 7``.

One hide whole in the frame, cards beside or on it, 1280 x 960 px, JPEG; NAME.truth.json holds what
tests/benchmarks/outline_study.py reads. The seeds are never used in training (those start from small integers, these
from HELD_OUT). Floors, coats and lights are those of `looks.Painter` with `everyday` set.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import cv2
import numpy as np
import shapely
import torch
from looks import TRUTH, Painter
from masks import draw
from shapes import PHOTO_PX, Hide, Ring, Scene, apply, make_scene
from train import HELD_OUT, hide_frame

SCALE = 2
"""Enlargement over the region network's picture."""


def usable(scene: Scene) -> bool:
    """One hide, whole in the frame, large enough, no card over its rim: what the instructions ask for."""
    if len(scene.hides) != 1:
        return False
    p = apply(scene.homography, scene.hides[0].ring)
    large = shapely.Polygon(p).buffer(0).area > 0.12 * PHOTO_PX[0] * PHOTO_PX[1]
    rim = shapely.LinearRing(scene.hides[0].ring)
    free = not any(rim.intersects(shapely.Polygon(sheet)) for sheet in (*scene.cards, *scene.papers, *scene.things))
    return bool(large and free and (p.min(0) > 4).all() and (p.max(0) < np.array(PHOTO_PX) - 5).all())


def marks(hide: Hide) -> list[tuple[str, Ring]]:
    """Kind and ring of each fault but the holes, mm; those of lines as the network is taught them."""
    found = [("cut", ring) for ring in hide.cuts] + [("stain", ring) for ring in hide.stains]
    hull = [
        shapely.MultiLineString([line for line, _ in sign]).convex_hull.buffer(sign[0][1] / 2) for sign in hide.brands
    ]
    thin = [shapely.LineString(line).buffer(width / 2) for line, width in hide.scratches]
    folds = [shapely.LineString(line).buffer(width / 2) for group in hide.wrinkles for line, width in group]
    for kind, shapes in (("brand", hull), ("scratch", thin), ("wrinkle", folds)):
        found += [(kind, np.asarray(shape.exterior.coords)[:-1]) for shape in shapes]
    return found


def make(index: int, seed: int, out: Path, device: torch.device) -> None:
    """One photo and its truth."""
    rng = np.random.default_rng([HELD_OUT, seed, index])
    scene = make_scene(rng)
    while not usable(scene):
        scene = make_scene(rng)
    c = (SCALE - 1) / 2
    window = np.array([[SCALE, 0, c], [0, SCALE, c], [0, 0, 1.0]])
    size = (PHOTO_PX[0] * SCALE, PHOTO_PX[1] * SCALE)
    full = window @ scene.homography
    painter = Painter(device, HELD_OUT + 1000 * seed + index, everyday=True)
    masks = torch.from_numpy(draw(scene, window, size, rng))[None].to(device).float() / 255
    with torch.no_grad():
        photo, truth, known = painter.paint(
            masks,
            torch.tensor(np.linalg.inv(full)[None], dtype=torch.float32, device=device),
            torch.tensor(hide_frame(scene)[None], dtype=torch.float32, device=device),
            True,
        )
    photo, truth, known = photo.cpu(), truth.cpu(), known.cpu()
    from skimage.measure import find_contours

    hide = np.pad(truth[0, 0].numpy(), 1)
    ring = max(find_contours(hide, 0.5), key=len)[:-1, ::-1] - 1
    name = out / f"m{index:03d}"
    picture = (photo[0].permute(1, 2, 0).numpy()[..., ::-1] * 255).round().astype(np.uint8)
    cv2.imwrite(f"{name}.jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 92])
    shows = dict(zip(TRUTH, known[0, :, 0, 0].tolist(), strict=True))
    record = {
        "silhouette_px": ring.round(3).tolist(),
        "homography_px_from_mm": full.tolist(),
        "holes_mm": [h.round(2).tolist() for h in scene.hides[0].holes],
        "marks": [
            {"kind": kind, "polygon_mm": ring.round(2).tolist(), "shows": shows[kind] > 0.5}
            for kind, ring in marks(scene.hides[0])
        ],
        "cards_mm": [q.round(2).tolist() for q in scene.cards],
        "origin": f"calibration/region/made.py --seed {seed}, scene {index}",
    }
    Path(f"{name}.truth.json").write_text(json.dumps(record))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--device", default="cpu")
    a = parser.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    torch.set_num_threads(1)
    for i in range(a.first, a.first + a.count):
        make(i, a.seed, a.out, torch.device(a.device))
