"""How much light comes through leather of a thickness, fitted to gauge readings.

Leather scatters far more than it absorbs, so plain Beer-Lambert decay holds only deep inside it. The two-flux solution
for a slab (Kubelka and Munk 1931; Kubelka 1948, J. Opt. Soc. Am. 38, 448) gives the share of diffuse light that comes
through

    T(d) = 1 / (cosh(d / L) + c sinh(d / L))

with L the depth over which light dies out inside and c = a / b of their notation, more than 1; where nothing is
absorbed it becomes 1 / (1 + S d), where much is, Beer-Lambert decay. A phone's tone curve is a power law for small
changes of exposure: what is read from the picture is its density ln(1 / T) divided by an unknown exponent near 1.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.settings import LightSettings

Array = NDArray[np.float64]
FEWEST_READINGS = 3
_PARAMETERS = 3


@dataclass(frozen=True, slots=True, eq=False)
class LightLaw:
    """The law of one hide in one picture.

    Attributes
    ----------
    parameters
        ln L (L in mm), ln(c - 1), ln of the tone exponent; (3,).
    covariance
        Of those, (3, 3).
    left_out_mm
        Root mean square error of readings predicted from the others (leave one out).
    """

    parameters: Array
    covariance: Array
    left_out_mm: float

    def thickness_mm(self, density: Array) -> Array:
        """Thickness at optical densities ln(1 / T) as read from the picture, same shape; it never falls with density.

        Examples
        --------
        >>> law = LightLaw(np.log([0.5, 4.0, 1.0]), np.zeros((3, 3)), 0.0)
        >>> bool(abs(law.thickness_mm(law.density(np.array([1.7])))[0] - 1.7) < 1e-9)
        True
        """
        return thickness_of(density, self.parameters)

    def density(self, thickness_mm: Array) -> Array:
        """Optical density as read from the picture, at thicknesses in mm."""
        depth, c, tone = _natural(self.parameters)
        u = np.asarray(thickness_mm, float) / depth
        return np.asarray(np.log(np.cosh(u) + c * np.sinh(u)) / tone)

    def law_u_mm(self, density: Array) -> Array:
        """Standard uncertainty of the thickness from the law's own parameters, mm, same shape."""
        J = _jacobian(density, self.parameters)
        return np.asarray(np.sqrt(np.einsum("...i,ij,...j->...", J, self.covariance, J)))

    def slope_mm(self, density: Array) -> Array:
        """How much the thickness grows with density, mm."""
        step = 1e-4
        return np.asarray((self.thickness_mm(density + step) - self.thickness_mm(density - step)) / (2 * step))


def thickness_of(density: Array, parameters: Array) -> Array:
    """Thickness in mm at optical densities, for parameters as in `LightLaw`: the slab's formula solved for d."""
    depth, c, tone = _natural(parameters)
    y = np.exp(np.clip(tone * np.asarray(density, float), 0.0, 60.0))
    # cosh u + c sinh u = y is a quadratic in exp(u); its positive root:
    return np.asarray(depth * np.log((y + np.sqrt(y**2 - 1.0 + c**2)) / (1.0 + c)))


def fit_law(density: Array, thickness_mm: Array, u_mm: Array, settings: LightSettings) -> LightLaw:
    """Fit the law to gauge readings.

    Parameters
    ----------
    density : ndarray of shape (N,)
        Optical density where the readings were taken. At least three.
    thickness_mm, u_mm : ndarray of shape (N,)
        Readings and their standard uncertainties.

    Raises
    ------
    ValueError
        Fewer than three readings: the law would rest on its priors.
    """
    if len(density) < FEWEST_READINGS:
        raise ValueError(f"{len(density)} readings, {FEWEST_READINGS} are needed")
    # What the leather itself varies in: as thick, it is not everywhere as dense.
    noise = np.hypot(u_mm, settings.leather_share_u * np.asarray(thickness_mm, float))
    parameters, covariance = _fitted(density, thickness_mm, noise, settings)
    misses = []
    for k in range(len(density)):
        rest = np.arange(len(density)) != k
        others, _ = _fitted(density[rest], thickness_mm[rest], noise[rest], settings)
        misses.append(float(thickness_of(density[k : k + 1], others)[0] - thickness_mm[k]))
    # Residuals larger than what was allowed for widen the law in proportion, never narrow it.
    residual = (thickness_of(density, parameters) - thickness_mm) / noise
    excess = max(1.0, float(residual @ residual) / max(1, len(density) - 2))
    return LightLaw(parameters, covariance * excess, float(np.sqrt(np.mean(np.square(misses)))))


def _fitted(density: Array, thickness_mm: Array, noise_mm: Array, settings: LightSettings) -> tuple[Array, Array]:
    """Most probable parameters and their covariance: Gauss-Newton with halved steps, priors as observations."""
    prior, prior_sd = np.array(settings.law_prior), np.array(settings.law_prior_sd)
    # A first guess of the depth: the median reading at the median density with the other two as the priors say.
    unit = thickness_of(np.array([np.median(density)]), np.array([0.0, *prior[1:]]))[0]
    at = np.array([np.log(max(float(np.median(thickness_mm)) / max(float(unit), 1e-6), 1e-3)), *prior[1:]])

    def rows(p: Array) -> Array:
        return np.concatenate([(thickness_of(density, p) - thickness_mm) / noise_mm, (p - prior) / prior_sd])

    seen = rows(at)
    for _ in range(settings.most_rounds):
        J = np.vstack([_jacobian(density, at) / noise_mm[:, None], np.diag(1.0 / prior_sd)])
        step = np.linalg.solve(J.T @ J, -J.T @ seen)
        shrink = 1.0
        while shrink > 1e-4 and float(np.sum(rows(at + shrink * step) ** 2)) > float(seen @ seen):
            shrink /= 2.0
        at = at + shrink * step
        seen = rows(at)
        if float(np.abs(shrink * step).max()) < 1e-9:
            break
    J = np.vstack([_jacobian(density, at) / noise_mm[:, None], np.diag(1.0 / prior_sd)])
    return at, np.asarray(np.linalg.inv(J.T @ J), dtype=np.float64)


def _jacobian(density: Array, parameters: Array) -> Array:
    """Derivative of the thickness by the parameters, (..., 3)."""
    columns = []
    for k in range(_PARAMETERS):
        step = np.zeros(_PARAMETERS)
        step[k] = 1e-5
        ahead, behind = thickness_of(density, parameters + step), thickness_of(density, parameters - step)
        columns.append((ahead - behind) / 2e-5)
    return np.stack(columns, axis=-1)


def _natural(parameters: Array) -> tuple[float, float, float]:
    depth, scattering, tone = np.exp(parameters)
    return float(depth), 1.0 + float(scattering), float(tone)
