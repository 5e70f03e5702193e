"""A value with its standard uncertainty.

JCGM 100:2008 (GUM): `u` is the standard uncertainty (one standard deviation), `expanded` the expanded uncertainty
U = k u with coverage factor k = 2. An undefined uncertainty is NaN, never 0.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

COVERAGE_FACTOR = 2.0
WITHIN_EXPANDED = math.erf(COVERAGE_FACTOR / math.sqrt(2.0))  # 0.9545: what k u hold of a Gaussian


@dataclass(frozen=True, slots=True)
class Measured:
    """A measured value.

    Attributes
    ----------
    value
        Best estimate, in the unit that the name holding it states.
    u
        Standard uncertainty (k = 1), same unit; NaN when undefined.
    """

    value: float
    u: float

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U = k u, k = 2."""
        return COVERAGE_FACTOR * self.u


def root_sum_square(*components: float) -> float:
    """Combine independent standard uncertainties (GUM 5.1.2, equation 10).

    Examples
    --------
    >>> root_sum_square(3.0, 4.0)
    5.0
    """
    return math.sqrt(math.fsum(c * c for c in components))


def half_width_95(gaussian_u: float, rectangle_half_widths: tuple[float, ...]) -> float:
    """Half-width of the 95 % interval of a Gaussian plus rectangles, all independent and about 0.

    Where one rectangle rules (a print scale that nobody measured), k u over-covers: the propagation of distributions
    of JCGM 101:2008 gives the true interval. Here it is exact, not sampled: the characteristic functions are
    multiplied and the sum's distribution is read from them on a grid.

    Examples
    --------
    >>> round(half_width_95(0.0, (1.0,)), 3)
    0.95
    """
    half_widths = [h for h in rectangle_half_widths if h > 0]
    if math.isnan(gaussian_u) or any(math.isnan(h) for h in rectangle_half_widths):
        return math.nan
    reach = 6 * gaussian_u + sum(half_widths)
    if reach == 0:
        return 0.0
    count = 4096
    step = 4 * reach / count  # twice the range on either side, so that the periodic copies stay apart
    omega = 2 * np.pi * np.fft.rfftfreq(count, step)
    transform = np.exp(-0.5 * (gaussian_u * omega) ** 2)
    for h in half_widths:
        transform = transform * np.sinc(h * omega / np.pi)
    # Probability within +/-x = (1 / pi) x integral of transform(w) 2 sin(w x) / w; on the grid it is a cumulative sum.
    density = np.fft.irfft(transform, count)
    within = density[0] + 2 * np.cumsum(density[1 : count // 2])  # up to +/-(i + 1/2) steps
    return float(np.interp(0.95, within, (np.arange(1, count // 2) + 0.5) * step))


def expanded_with_steps(gaussian_u: float, steps: Sequence[tuple[float, float]]) -> float:
    """Return U of a Gaussian plus steps, all independent: of an interval about 0 that holds what 2 u of a Gaussian do.

    That is 95.45 %, so that without any step U is 2 u. Each step is a Bernoulli variable that adds its size with its
    probability. The steps' distribution is computed on a grid, a step between two of its points shared so that the mean
    is kept; the Gaussian is added exactly. The grid depends on the sizes alone: a step that has become impossible
    (probability 0) never widens the interval, for what is added to one side only can but move a share out of it.

    Parameters
    ----------
    gaussian_u
        Standard deviation of the Gaussian, which lies about 0.
    steps
        Probability and size (> 0) of each.

    Examples
    --------
    One step of probability 0.3: 95 % are only reached by taking it in whole.

    >>> round(expanded_with_steps(0.0, [(0.3, 10.0)]), 2)
    10.0
    >>> round(expanded_with_steps(1.0, []), 6)
    2.0
    """
    if math.isnan(gaussian_u):
        return math.nan
    if not any(probability > 0 for probability, _ in steps):
        return COVERAGE_FACTOR * gaussian_u
    reach = sum(size for _, size in steps)
    count = 512 + len(steps)
    spacing = reach / 510
    mass = np.zeros(count)
    mass[0] = 1.0
    for probability, size in steps:
        whole, part = divmod(size / spacing, 1.0)
        moved = np.roll(mass, int(whole))
        mass = (1 - probability) * mass + probability * ((1 - part) * moved + part * np.roll(moved, 1))
    at, mass = np.flatnonzero(mass) * spacing, mass[mass > 0]
    spread = max(gaussian_u, 1e-6 * (reach + gaussian_u)) * math.sqrt(2.0)

    def within(half: float) -> float:
        return sum(
            m * (math.erf((half - d) / spread) + math.erf((half + d) / spread)) / 2
            for m, d in zip(mass.tolist(), at.tolist(), strict=True)
        )

    low, high = COVERAGE_FACTOR * gaussian_u, reach + 3 * spread
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if within(middle) < WITHIN_EXPANDED else (low, middle)
    return high
