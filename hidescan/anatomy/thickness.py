"""Thickness over the hide: from gauge readings, with an uncertainty that grows away from them; else a cautious guess.

Gauged: Gaussian-process regression (Rasmussen and Williams 2006, Gaussian Processes for Machine Learning, sections 2.2
and 2.7): an unknown mean with a flat prior, a Matern covariance with nu = 3/2, and the readings' own uncertainty. How
strongly and over what distance the thickness of this hide varies is not known beforehand: a grid of both is weighed by
its marginal likelihood and a prior, and the prediction is the mixture.

Not gauged: one typical figure for the hide, varied by zone. Studies do not agree where a hide is thickest, so back,
shoulder and neck share one figure and only the flanks, bellies and shanks are taken as thinner, all with a wide
uncertainty.
"""

import itertools
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
import shapely
from numpy.typing import NDArray

from hidescan.anatomy.zones import Zone
from hidescan.basics.geometry import Points
from hidescan.settings import ThicknessSettings

__all__ = [
    "GIVEN",
    "TYPICAL",
    "GaugedThickness",
    "Interpolated",
    "Thickness",
    "TypicalThickness",
    "gauged_thickness",
    "given_thickness",
    "interpolated",
    "typical_thickness",
]

Array = NDArray[np.float64]
TYPICAL, GIVEN = "typical, not measured", "given for the whole hide"


class Thickness(Protocol):
    """A thickness over the hide."""

    @property
    def label(self) -> str:
        """How it was got, to be shown wherever it is used."""

    def predict(self, points_mm: Points) -> tuple[Array, Array]:
        """Thickness and its standard uncertainty, mm, at points (N, 2) in the hide frame."""


@dataclass(frozen=True, slots=True)
class _Component:
    """One Gaussian process of the mixture, with what its prediction needs."""

    weight: float
    nugget_mm: float
    amplitude_mm: float
    range_mm: float
    mean_mm: float
    solved: Array
    factor: Array
    ones_solved: Array
    information: float


@dataclass(frozen=True, slots=True, eq=False)
class Interpolated:
    """A smooth field through readings at points (N, 2); made by `interpolated`."""

    readings_mm: Points
    components: tuple[_Component, ...]

    def predict(self, points_mm: Points) -> tuple[Array, Array]:
        """The field and its standard uncertainty at points (N, 2) in the hide frame.

        The uncertainty is that of a reading on the spot: of the field, and of how it varies within a hand's breadth.
        """
        points = np.atleast_2d(np.asarray(points_mm, float))
        apart = np.linalg.norm(points[:, None] - self.readings_mm[None], axis=2)
        means, variances = [], []
        for part in self.components:
            covariance = part.amplitude_mm**2 * _matern(apart / part.range_mm)
            means.append(part.mean_mm + covariance @ part.solved)
            reduced = np.linalg.solve(part.factor, covariance.T)
            # Rasmussen and Williams equation 2.42: the unknown mean adds to the variance far from the readings.
            left = 1 - covariance @ part.ones_solved
            spread = part.amplitude_mm**2 - (reduced**2).sum(axis=0) + left**2 / part.information
            variances.append(spread + part.nugget_mm**2)
        weight = np.array([part.weight for part in self.components])
        mean = weight @ np.array(means)
        variance = weight @ (np.array(variances) + (np.array(means) - mean) ** 2)
        return mean, np.sqrt(variance)


@dataclass(frozen=True, slots=True, eq=False)
class GaugedThickness:
    """A thickness field interpolated between gauge readings; made by `gauged_thickness`."""

    field: Interpolated

    @property
    def label(self) -> str:
        """How it was got."""
        return "interpolated from gauge readings"

    def predict(self, points_mm: Points) -> tuple[Array, Array]:
        """Thickness and its standard uncertainty (mm, not below zero) at points (N, 2) in the hide frame."""
        mean, u = self.field.predict(points_mm)
        return np.clip(mean, 0, None), u


def gauged_thickness(
    points_mm: Points, thickness_mm: Array, u_mm: Array, area_mm2: float, settings: ThicknessSettings
) -> GaugedThickness:
    """Interpolate gauge readings.

    Parameters
    ----------
    points_mm : ndarray of shape (N, 2)
        Where the readings were taken, hide frame. At least one.
    thickness_mm, u_mm : ndarray of shape (N,)
        Readings and their standard uncertainties, more than zero.
    area_mm2 : float
        Area of the hide: the range over which thickness varies is taken in proportion to its size.

    Raises
    ------
    ValueError
        If there is no reading, or one is not more than zero.
    """
    values, u = np.asarray(thickness_mm, float), np.asarray(u_mm, float)
    if len(values) == 0 or not (values > 0).all() or not (u > 0).all():
        raise ValueError("a thickness field needs at least one reading, all readings and uncertainties above zero")
    return GaugedThickness(interpolated(points_mm, values, u, float(np.median(values)), area_mm2, settings))


def interpolated(
    points_mm: Points, values: Array, u: Array, level: float, area_mm2: float, settings: ThicknessSettings
) -> Interpolated:
    """A smooth field through values (N,) with standard uncertainties u at points (N, 2).

    `level` is what the shares in the settings are of: a typical thickness, mm.
    """
    size = float(np.sqrt(area_mm2))
    apart = np.linalg.norm(points_mm[:, None] - points_mm[None], axis=2)
    parts, logs = [], []
    grid = itertools.product(settings.nugget_shares, settings.amplitude_shares, settings.range_shares)
    for nugget_share, amplitude_share, range_share in grid:
        nugget, amplitude, reach = nugget_share * level, amplitude_share * level, range_share * size
        covariance = amplitude**2 * _matern(apart / reach) + np.diag(u**2 + nugget**2)
        factor = np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
        ones_solved = _solve(factor, np.ones(len(values)))
        information = float(ones_solved.sum())
        mean = float(ones_solved @ values) / information
        solved = _solve(factor, values - mean)
        # Marginal likelihood with the mean integrated out (equation 2.45), and the prior on the amplitude.
        log_likelihood = -0.5 * float((values - mean) @ solved) - float(np.log(np.diag(factor)).sum())
        log_likelihood -= 0.5 * np.log(information)
        log_prior = -0.5 * (np.log(amplitude_share / settings.amplitude_centre) / settings.amplitude_log_sd) ** 2
        logs.append(log_likelihood + log_prior)
        parts.append((nugget, amplitude, reach, mean, solved, factor, ones_solved, information))
    weights = np.exp(np.array(logs) - max(logs))
    weights = np.where(weights > settings.least_weight * weights.max(), weights, 0.0)
    weights = weights / weights.sum()
    components = tuple(_Component(float(w), *part) for w, part in zip(weights, parts, strict=True) if w > 0)
    return Interpolated(np.asarray(points_mm, float), components)


def _matern(scaled: Array) -> Array:
    """Matern correlation with nu = 3/2 (Rasmussen and Williams equation 4.17)."""
    root = np.sqrt(3.0) * scaled
    return np.asarray((1 + root) * np.exp(-root))


def _solve(factor: Array, right: Array) -> Array:
    return np.asarray(np.linalg.solve(factor.T, np.linalg.solve(factor, right)), dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class TypicalThickness:
    """A thickness by zone that no gauge measured on this hide; made by `typical_thickness`."""

    zones: tuple[Zone, ...]
    mean_mm: tuple[float, ...]
    u_mm: tuple[float, ...]
    label: str = TYPICAL

    def predict(self, points_mm: Points) -> tuple[Array, Array]:
        """Thickness and its standard uncertainty, mm, at points (N, 2): those of the nearest zone."""
        points = shapely.points(np.atleast_2d(np.asarray(points_mm, float)))
        nearest = np.argmin([shapely.distance(zone.polygon, points) for zone in self.zones], axis=0)
        return np.array(self.mean_mm)[nearest], np.array(self.u_mm)[nearest]


def typical_thickness(
    zones: tuple[Zone, ...], level_mm: float, level_u_mm: float, settings: ThicknessSettings
) -> TypicalThickness:
    """A cautious thickness for each zone of a hide that was not gauged.

    Parameters
    ----------
    level_mm, level_u_mm : float
        What the hide as a whole is thought to have, and the standard uncertainty of that.
    """
    mean, u = [], []
    thinner = dict(settings.thinner_zones)
    for zone in zones:
        ratio = thinner.get(zone.name, 1.0)
        mean.append(level_mm * ratio)
        u.append(float(np.hypot(level_u_mm * ratio, level_mm * settings.zone_ratio_u)))
    return TypicalThickness(zones, tuple(mean), tuple(u))


def given_thickness(
    zones: tuple[Zone, ...], given_mm: float, given_u_mm: float, settings: ThicknessSettings
) -> TypicalThickness:
    """Return the thickness for each zone of a hide about the one figure that a person gave for all of it, mm."""
    return replace(typical_thickness(zones, given_mm, given_u_mm, settings), label=GIVEN)
