"""Which end of a back line is the neck.

The neck stands out from the trunk between the fore limbs as a wide tab; the tail end has a narrow nub or nothing,
and the hind limbs sit closer to it. Such figures are taken at both ends of the axis and subtracted, so that turning
the axis round turns the sign; a logistic model without constant makes a probability of them. It is fitted to
generated outlines (calibration/shape/).
"""

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points
from hidescan.settings import EndSettings

__all__ = ["END_FEATURES", "axis_crossings", "end_figures", "neck_probability", "reach_past_both"]

END_FEATURES = (
    "depth at which the middle passes 0.35 of the trunk's half width",
    "the same, 0.55",
    "the same, 0.75",
    "area of the tab outside that depth",
    "half width of the middle at 0.03 of the length",
    "how far limbs reach past the end of the axis",
    "distance of the limbs from the end",
    "greatest half width",
    "mean half width from 0.1 to 0.4",
)

_PAST = 5


def axis_crossings(frame: Points) -> tuple[float, float] | None:
    """Lowest and highest y at which a ring crosses x = 0; None if it does not."""
    x, y = frame.T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    k = np.flatnonzero((x < 0) != (x1 < 0))
    if len(k) == 0:
        return None
    at = y[k] - (y1[k] - y[k]) * x[k] / (x1[k] - x[k])
    return float(at.min()), float(at.max())


def _half_widths(frame: Points, stations: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Half widths at each station y: of the outer rim, left and right (2, S), and of the middle alone (2, S)."""
    x, y = frame.T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    crosses = (y[:, None] < stations) != (y1[:, None] < stations)
    rise = np.where(y1 == y, 1.0, y1 - y)
    at = x[:, None] + ((x1 - x) / rise)[:, None] * (stations - y[:, None])
    outer, middle = [], []
    for side in (-at, at):
        mine = crosses & (side > 0)
        outer.append(np.where(mine, side, 0.0).max(axis=0))
        inside = mine.sum(axis=0) % 2 == 1
        middle.append(np.where(inside, np.where(mine, side, np.inf).min(axis=0), 0.0))
    return np.array(outer), np.array(middle)


def end_figures(
    frame: Points, low: float, high: float, settings: EndSettings, *, left_only: bool = False
) -> NDArray[np.float64]:
    """Figures at the +y end of an axis and at its -y end, shape (2, 9), in the order of `END_FEATURES`.

    Parameters
    ----------
    frame : ndarray of shape (N, 2)
        Outline in its axis frame: x from the axis, y along it.
    low, high : float
        Where the axis meets the outline, from `axis_crossings`.
    left_only : bool
        The outline lies left of the axis only: half a hide, taken as if mirrored.
    """
    length = high - low
    share = (np.arange(settings.stations) + 0.5) / settings.stations
    outer, middle = _half_widths(frame, low + share * length)
    if left_only:
        outer, middle = outer[:1], middle[:1]
    trunk = np.median(outer[:, (share > 0.35) & (share < 0.65)].mean(axis=0))
    # One limb may be missing: the longer of the two counts.
    outer, middle = outer.max(axis=0) / trunk, np.minimum(middle.mean(axis=0) / trunk, 0.8)

    def one_end(outer: NDArray[np.float64], middle: NDArray[np.float64], past: float) -> NDArray[np.float64]:
        half = share < 0.5
        at, wide = share[half], middle[half]

        def depth(level: float) -> float:
            return min(float(at[np.argmax(wide >= level)]) if (wide >= level).any() else 0.4, 0.4)

        limb = np.where(at < 0.42, np.clip(outer[half] - 1.0, 0, None), 0.0)
        limb_at = float(limb @ at / limb.sum()) if limb.sum() > 0.02 * settings.stations else 0.2
        tab = float(wide[at < depth(0.75)].sum()) / settings.stations
        quarter = outer[half][(at > 0.1) & (at < 0.4)].mean()
        near = float(np.interp(0.03, at, wide))
        past = min(past / length, 0.3)
        return np.array([depth(0.35), depth(0.55), depth(0.75), tab, near, past, limb_at, outer[half].max(), quarter])

    upper = one_end(outer[::-1], middle[::-1], float(frame[:, 1].max() - high))
    return np.array([upper, one_end(outer, middle, float(low - frame[:, 1].min()))])


def reach_past_both(figures: NDArray[np.float64]) -> float:
    """How far limbs reach past the ends of an axis, at the end where they reach less, from `end_figures`.

    It tells an axis across the hide from its back line: across, both ends lie in a flank between two limbs.
    """
    return float(figures[:, _PAST].min())


def neck_probability(figures: NDArray[np.float64], weights: tuple[float, ...], settings: EndSettings) -> float:
    """Probability that the neck lies at the +y end, from `end_figures` and the weights for the form."""
    score = float((figures[0] - figures[1]) @ np.array(weights))
    certain = 1 / (1 + np.exp(-np.clip(score, -30, 30)))
    # A share of doubt for shapes that were never generated.
    return float((1 - settings.doubt) * certain + settings.doubt / 2)
