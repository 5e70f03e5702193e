"""How uncertain corners and edges are, learnt from what the adjustment leaves of them.

Each deviation is pooled with what is known beforehand, which counts as some observations, so that a card with few of
them neither claims too much nor too little. Stretches of one printed edge share an error (ink, the lens's finer shape,
compression): its variance is what the edges' means scatter beyond what their stretches explain, a one-way analysis of
variance. Treated so, a hundred stretches of forty edges count as little more than forty.
"""

import numpy as np

from hidescan.floor.adjustment import Adjustment
from hidescan.floor.least_squares import Noise, by_group
from hidescan.floor.parameters import FIRST_PLACE, OF_BEND, OF_INK, Array


def estimated_noise(adjustment: Adjustment, misfit: Array, weights: Array, determined: float | None = None) -> Noise:
    """The a posteriori deviations of corners and edges.

    Parameters
    ----------
    misfit, weights
        (R,) what the adjusted state leaves, and the robust weights.
    determined
        How many parameters these rows determine; of one photo alone, all but scale and heights, the priors' matter.
    """
    corners = 2 * adjustment.seen.corners
    if determined is None:
        sheets = sum(adjustment.layout.has_sheet)
        determined = FIRST_PLACE - 3 + 3 * (len(adjustment.cards) - 1) + (OF_BEND + OF_INK) * sheets
    share = corners / max(len(misfit), 1)
    corner_px = _corner_px(adjustment, misfit[:corners], weights[:corners], determined * share)
    edge_px, line_px = _edge_px(adjustment, misfit[corners:], weights[corners:], determined * (1 - share))
    return Noise(corner_px, edge_px, line_px)


def _corner_px(adjustment: Adjustment, misfit: Array, weights: Array, determined: float) -> float:
    s = adjustment.settings
    free = max(0.0, float(weights.sum()) - determined)
    pooled = s.corner_sd_dof * s.corner_sd_px**2 + float(np.sum(weights * misfit**2))
    return float(np.sqrt(pooled / (s.corner_sd_dof + free)))


def _edge_px(adjustment: Adjustment, misfit: Array, weights: Array, determined: float) -> tuple[float, float]:
    s = adjustment.settings
    if not len(misfit):
        return s.edge_sd_px, s.line_sd_px
    starts, line = adjustment.seen.line_starts, adjustment.seen.line_of
    total = by_group(weights, starts)
    mean = by_group(weights * misfit, starts) / np.maximum(total, 1e-9)
    within = float(np.sum(weights * (misfit - mean[line]) ** 2))
    free = float(np.sum(np.maximum(total - 1, 0.0)))
    variance = (s.edge_sd_dof * s.edge_sd_px**2 + within) / (s.edge_sd_dof + free)
    clear = total > 0.4  # an edge that something covers has next to no weight
    lines = int(clear.sum())
    if lines <= determined:
        return float(np.sqrt(variance)), s.line_sd_px
    scatter = float(np.sum(mean[clear] ** 2)) / (lines - determined)
    shared = max(scatter - variance * float(np.mean(1 / total[clear])), 0.0)
    line_variance = (s.edge_sd_dof * s.line_sd_px**2 + lines * shared) / (s.edge_sd_dof + lines)
    return float(np.sqrt(variance)), float(np.sqrt(line_variance))
