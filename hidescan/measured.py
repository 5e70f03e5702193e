"""A value with its standard uncertainty.

JCGM 100:2008 (GUM): `u` is the standard uncertainty (one standard deviation), `expanded` the expanded uncertainty
U = k u with coverage factor k = 2. An undefined uncertainty is NaN, never 0.
"""

import math
from dataclasses import dataclass

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
