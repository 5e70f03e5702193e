"""A value with its standard uncertainty.

JCGM 100:2008 (GUM): `u` is the standard uncertainty (one standard deviation), `expanded` the expanded uncertainty
U = k u with coverage factor k = 2. An undefined uncertainty is NaN, never 0.
"""

import math
from dataclasses import dataclass

import numpy as np

COVERAGE_FACTOR = 2.0


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
