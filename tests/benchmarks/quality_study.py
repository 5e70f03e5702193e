"""Where blur, few pixels and over-exposure start to cost corner accuracy: the reason for the limits in QualitySettings.

python -m tests.benchmarks.quality_study
"""

import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from hidescan.basics.opencv import grey_of
from hidescan.cards.detection import find_cards
from hidescan.cards.pattern import MARKER_MM
from hidescan.settings import CardSettings
from tests.benchmarks.recorded import recorded
from tests.synthetic.scenes import Look, TrueCard, look_at, picture

LOOK = Look()


def row(name: str, distance_mm: float, look: Look, gain: float = 1.0, scenes: int = 4) -> str:
    """Corners found, their rms error and what the program says of the photo."""
    errors, found, blur, white, marker_px = [], 0, [], [], 0.0
    for seed in range(scenes):
        rng = np.random.default_rng(seed)
        camera = look_at((0, 0), distance_mm, 15, 90 * seed, size_px=(1600, 1200))
        card = TrueCard(1, (20, -10), float(rng.uniform(0, 360)))
        rgb = picture(camera, [card], [], rng, look)
        grey = cv2.convertScaleAbs(grey_of(rgb), alpha=gain)
        marker_px = MARKER_MM * camera.focal_px / distance_mm
        for seen in find_cards(np.asarray(grey, dtype=np.uint8), CardSettings()).cards:
            found += len(seen.corners_px)
            errors.append(seen.corners_px - camera.project(card.floor(seen.board_mm)))
            blur.append(seen.sharpness.blur_px)
            white.append(seen.sharpness.white_level)
    rms = float(np.sqrt(np.mean(np.vstack(errors) ** 2))) if errors else float("nan")
    return (
        f"| {name} | {marker_px:.0f} | {100 * found / (12 * scenes):.0f} | {rms:.3f} |"
        f" {np.mean(blur) if blur else float('nan'):.2f} | {np.mean(white) if white else float('nan'):.0f} |"
    )


def main() -> None:
    print(
        "| photo | marker px | corners found % | corner rms px | blur said px | white said |\n|---|---|---|---|---|---|"
    )
    for blur in (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0):
        print(row(f"blur {blur} px", 900, replace(LOOK, blur_px=blur)))
    for distance in (1500, 2200, 3000, 3600, 4200):
        print(row(f"card at {distance} mm", distance, LOOK))
    for gain in (1.0, 1.08, 1.2, 1.5):
        print(row(f"exposure x {gain}", 900, LOOK, gain))


if __name__ == "__main__":
    with recorded("quality"):
        main()
