"""Which tapes are refused: right ones and wrong ones, against cards of a measured and of a never measured print.

    python -m tests.benchmarks.tape_study [--scenes 100]

Cards around a deer hide are seen with corner noise; a tape between two of them is read as people read it, or off by a
share. A print never measured is off by up to 2 % in these scenes, as printers are, or true to scale.
"""

import argparse
from dataclasses import replace

import numpy as np

from hidescan.floor.parameters import Tape
from hidescan.floor.solution import Plane, solve_plane
from hidescan.settings import PlaneSettings
from tests.benchmarks.recorded import recorded
from tests.synthetic.corners import floor_to_floor, priors, seen_card
from tests.synthetic.hides import whole_hide
from tests.synthetic.rims import camera_over, cards_beside

S = PlaneSettings()
OFF = (0.0, 0.01, 0.031, 0.12, -0.031)


def refused(seed: int, off: float, *, measured: bool, print_off: float) -> bool:
    """Whether a tape that is off by a share is refused in one scene; `print_off` is the most that the print is off."""
    rng = np.random.default_rng([seed, 11])
    ring = whole_hide(np.random.default_rng(seed % 50), "deer").ring_mm[::4]
    camera = camera_over(
        ring, float(rng.uniform(3, 30)), rng, fill=0.8, focal_35mm=26, k1=float(rng.normal(0, 0.04)), k2=0.0,
        size_px=(4000, 3000),
    )  # fmt: skip
    scale = 1 + float(rng.normal(0, S.measured_ln_scale_u) if measured else rng.uniform(-print_off, print_off))
    cards = cards_beside(ring, 2, rng, (scale, scale))
    seen = tuple(seen_card(camera, card, 0.05, rng) for card in cards)
    true = floor_to_floor(cards[0], cards[1])
    read = true * (1 + off) + float(rng.normal(0, S.tape_u_mm + S.tape_u_share * true))
    known = priors(camera, measured=measured, mount_mm=S.paper_mm, tapes=(Tape(1, 2, read),))
    return not isinstance(solve_plane(seen, camera.size_px, replace(known), S), Plane)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=int, default=100)
    given = parser.parse_args()
    prints = {
        "measured": (True, 0.0),
        "never measured, true": (False, 0.0),
        "never measured, to 2 % off": (False, 0.02),
    }
    print("| tape off by | " + " | ".join(f"refused, print {name}" for name in prints) + " |")
    print("|" + "---|" * (1 + len(prints)))
    for off in OFF:
        counts = [
            sum(refused(seed, off, measured=measured, print_off=most) for seed in range(given.scenes))
            for measured, most in prints.values()
        ]
        print(f"| {100 * off:+.1f} % | " + " | ".join(f"{n} of {given.scenes}" for n in counts) + " |", flush=True)


if __name__ == "__main__":
    with recorded("tapes"):
        main()
