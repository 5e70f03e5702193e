"""Card templates of known shape on tables of four colours: farthest error of the outline, error of the grain.

python -m tests.benchmarks.templates_study [scenes]

Outlines are compared after the best turn and shift, since where a template lay does not matter; the aim is 0.5 mm and
1 degree. One reference card or two, focal length known by EXIF, measured print, 12 MP.
"""

import sys
import time
from itertools import product

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import rotation_2d
from hidescan.hide_map.model import Inputs
from hidescan.photo.reading import Photo
from hidescan.pieces.templates.finding import find_templates
from hidescan.pieces.templates.grain import Grain
from hidescan.pieces.templates.on_floor import sheets_mm
from hidescan.pipeline import Pipeline
from hidescan.settings import Settings
from hidescan.settings.uses import TemplateSettings
from tests.benchmarks.recorded import recorded
from tests.synthetic.cards_on_table import COLOURS, THICKNESS_MM, aligned, farthest, grain_error_deg, nearest, table
from tests.synthetic.scenes import Array


def seen(rgb: NDArray[np.uint8], settings: Settings) -> list[tuple[Array, Grain | None]]:
    """Outlines and grains in a rendered photo, in the frame of card 1; the renderer's lens is a 27 mm equivalent."""
    photo = Photo(rgb, "table.jpg", "0" * 64, None, 27.0, "", None)
    floor = Pipeline(photo, settings).floor(Inputs(card_scale=(1.0, 1.0)))
    assert not isinstance(floor, NotFound), floor
    found = find_templates(
        rgb,
        floor.plane,
        sheets_mm(floor),
        THICKNESS_MM,
        TemplateSettings(),
        settings.measure,
        print_measured=True,
    )
    if isinstance(found, NotFound):
        return []
    card = next(place for place in floor.plane.places if place.number == 1)
    turn = rotation_2d(-card.angle_deg).T

    def moved(at: Array) -> Array:
        return np.asarray((at - card.centre_mm) @ turn)

    return [
        (moved(t.ring_mm), None if t.grain is None else Grain(moved(t.grain.tail_mm), moved(t.grain.head_mm)))
        for t in found.templates
    ]


def study(scenes: int) -> None:
    settings, start = Settings(), time.perf_counter()
    print(f"{'table, cards':18}{'found':>7}{'median':>8}{'worst':>7}{'size off':>10}{'grain':>8}")
    everything: dict[int, list[float]] = {1: [], 2: []}
    for colours, cards in product(COLOURS, (1, 2)):
        outline, size, grain, count = [], [], [], 0
        for seed in range(scenes):
            rng = np.random.default_rng(seed)
            rgb, drawn = table(rng, colours, tilt_deg=float(rng.uniform(2, 28)), cards=cards)
            for ring, arrow in seen(rgb, settings):
                count += 1
                true = nearest(ring, drawn)
                outline.append(farthest(aligned(ring, true.ring), true.ring))
                size.append(abs(float(np.ptp(ring, axis=0)[0]) / float(np.ptp(true.ring, axis=0)[0]) - 1))
                if arrow is not None and true.arrow_deg is not None:
                    grain.append(grain_error_deg(arrow, true.arrow_deg))
        everything[cards] += outline
        print(
            f"{colours:15}{cards:3}{count:4}/{4 * scenes}{np.median(outline):7.2f}{max(outline):7.2f} mm"
            f"{100 * np.quantile(size, 0.95):7.2f} %{max(grain):7.2f} deg ({len(grain)}/{3 * scenes} arrows)"
        )
    for cards, off in everything.items():
        print(f"{cards} card{'s' if cards > 1 else ''}: within 0.5 mm {100 * np.mean(np.array(off) <= 0.5):.0f} %")
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    with recorded("templates"):
        study(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
