"""Whether a card is bent: whether a smoothly curved surface explains its corners better than a plane.

A bent card need not misfit by much: the adjustment hides part of the curve in tilt and lens. But what is left has a
pattern. So the card is given a curved surface (a polynomial in its own plane) beside all the adjustment's parameters,
linearised at the solution, and the drop of the sum of squares is judged by an F-test.
"""

from dataclasses import dataclass

import numpy as np

from hidescan.floor.adjustment import Adjustment
from hidescan.floor.parameters import Array, State


@dataclass(frozen=True, slots=True)
class Bend:
    """How curved a card seems.

    Attributes
    ----------
    sigma
        Significance in standard deviations of a normal: 3.5 is one chance in 4,000 for a flat card.
    depth_mm
        Greatest rise of the fitted surface over its least, across the corners seen.
    """

    sigma: float
    depth_mm: float


def bend_of(adjustment: Adjustment, state: State, j: int) -> Bend:
    """How curved card j, read by its corners, seems at the solution of an adjustment."""
    sd_px = adjustment.settings.corner_sd_px
    misfits = adjustment.misfits(state)
    residual, jacobian = adjustment.whitened(state, misfits, np.ones(len(misfits[0])))
    seen = adjustment.seen
    mine = seen.owner == j
    J_height = _by_height(adjustment, state)[mine] / sd_px
    x, y = (seen.nominal_mm[mine] / 100.0).T
    rigid = [np.ones_like(x), x, y] if len(adjustment.cards) > 1 else []  # a card lifted as a whole is not bent
    curved = [x ** (d - i) * y**i for d in range(2, _degree(len(x)) + 1) for i in range(d + 1)]

    def columns(surfaces: list[Array]) -> Array:
        block = np.zeros((len(residual), len(surfaces)))
        rows = np.flatnonzero(seen.row_owner == j)
        for k, surface in enumerate(surfaces):
            block[rows, k] = (J_height * surface[:, None]).ravel()
        return block

    flat = np.hstack([jacobian, columns(rigid)])
    bent = np.hstack([flat, columns(curved)])
    solutions = [np.linalg.lstsq(design, -residual, rcond=1e-10) for design in (flat, bent)]
    sums = [
        float(np.sum((residual + design @ solution[0]) ** 2))
        for design, solution in zip((flat, bent), solutions, strict=True)
    ]
    free = len(residual) - int(solutions[1][2])
    if free < 3:
        return Bend(0.0, 0.0)
    ratio = (sums[0] - sums[1]) / len(curved) / (sums[1] / free)
    surface = np.column_stack(curved) @ solutions[1][0][-len(curved) :]
    return Bend(f_sigma(ratio, len(curved), free), float(np.ptp(surface)))


def _degree(corners: int) -> int:
    """Quadratic for a card of ours; a board with many corners can tell waves as well."""
    return 2 if corners < 40 else 4


def _by_height(adjustment: Adjustment, state: State) -> Array:
    """Derivative of each corner in the photo by its height over the floor, px per mm, (N, 2)."""
    camera = state.camera(adjustment.size_px)
    floor = adjustment.floor_points(state)
    return np.asarray(camera.px_from_mm(floor + (0.0, 0.0, 0.5)) - camera.px_from_mm(floor - (0.0, 0.0, 0.5)))


def f_sigma(ratio: float, k: int, free: int) -> float:
    """An F ratio as standard deviations of a normal (Paulson 1942)."""
    if ratio <= 0:
        return 0.0
    a, b = 2 / (9 * k), 2 / (9 * free)
    root = ratio ** (1 / 3)
    return float(((1 - b) * root - (1 - a)) / np.sqrt(b * root**2 + a))
