"""A smooth field of displacement from scattered observations, and strains from it with their uncertainty.

The displacement d(x) of a hide from one map to the next is taken as an even part (shift, turn, stretch, shear) plus an
uneven one, a Gaussian process with Matern covariance of order 5/2, the same for both components (Rasmussen and
Williams 2006, Gaussian Processes for Machine Learning, 2.2, 4.2 and 5.4). A dot observes d at its place; a rim point
observes d across the rim only. How uneven the field is, over what range, and how well dots and rim were seen are
averaged over grids, each weighted by its evidence, so that what the data cannot settle widens the result.

Stretch of a line that ran along unit vector e: |F e| - 1, with F = I + grad d; it does not feel how the frames are
turned.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from hidescan.geometry import Points
from hidescan.uses.settings import StretchSettings

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Observations:
    """Displacements seen: at (N, 2) mm, along unit directions (N, 2), values (N,) mm; which are dots; weights.

    A dot is two observations, one along each axis. `weight` (N,) divides the variance: 0 leaves one out.
    """

    at_mm: Points
    toward: Points
    moved_mm: Array
    is_dot: NDArray[np.bool_]
    weight: Array


@dataclass(frozen=True, slots=True, eq=False)
class Law:
    """One choice of what a field is like: its covariance and the uncertainty of dots and rim matches.

    `rim_common_u_mm` is what all rim matches are off alike (both maps' rims may lie a little too far out or in), and
    `rim_alike_mm` the distance over which they are off alike beyond that.
    """

    strain_sd: float
    range_mm: float
    affine_sd: float
    shift_sd_mm: float
    dot_u_mm: float
    rim_u_mm: float
    rim_common_u_mm: float
    rim_alike_mm: float

    def kernel(self, a_mm: Points, b_mm: Points) -> Array:
        """Covariance of one component of d between points, (N, M) mm2."""
        even = self.shift_sd_mm**2 + self.affine_sd**2 * (a_mm @ b_mm.T)
        if self.strain_sd == 0:
            return even
        r = np.sqrt(5 * _squares(a_mm, b_mm)) / self.range_mm
        # At r = 0 the variance of a derivative is 5 s2 / (3 range2): s2 from the strain's deviation.
        s2 = 0.6 * (self.strain_sd * self.range_mm) ** 2
        uneven: Array = even + s2 * (1 + r + r * r / 3) * np.exp(-r)
        return uneven


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """A field under one law, given the observations. `share` is its share of the evidence."""

    law: Law
    seen: Observations
    factor: Array
    pull: Array
    log_evidence: float
    share: float = 1.0

    def moved_mm(self, at_mm: Points) -> Points:
        """Displacement at points, (N, 2) mm."""
        moved: Points = self.law.kernel(at_mm, self.seen.at_mm) @ (self.pull[:, None] * self.seen.toward)
        return moved


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """Displacement averaged over laws; `centre_mm` is where the even part turns about."""

    centre_mm: Points
    parts: tuple[Fitted, ...]

    def moved_mm(self, at_mm: Points) -> Points:
        """Displacement at points of the first map's hide frame, (N, 2) mm."""
        at = at_mm - self.centre_mm
        moved: Points = np.sum([part.share * part.moved_mm(at) for part in self.parts], axis=0)
        return moved


def _squares(a_mm: Points, b_mm: Points) -> Array:
    """Squared distances, (N, M)."""
    square = np.sum(a_mm**2, axis=1)[:, None] + np.sum(b_mm**2, axis=1) - 2 * (a_mm @ b_mm.T)
    clipped: Array = np.maximum(square, 0.0)
    return clipped


def fit(seen: Observations, law: Law) -> Fitted:
    """Condition the field on the observations, whose places are relative to the centre."""
    from scipy.linalg import cho_factor, cho_solve

    use = seen.weight > 1e-3
    seen = Observations(*(getattr(seen, name)[use] for name in ("at_mm", "toward", "moved_mm", "is_dot", "weight")))
    variance = np.where(seen.is_dot, law.dot_u_mm, law.rim_u_mm) ** 2 / seen.weight
    rim = ~seen.is_dot
    covariance = law.kernel(seen.at_mm, seen.at_mm) * (seen.toward @ seen.toward.T)
    covariance[np.ix_(rim, rim)] += law.rim_common_u_mm**2
    alike = np.exp(-np.sqrt(_squares(seen.at_mm[rim], seen.at_mm[rim])) / law.rim_alike_mm)
    u = np.sqrt(variance)
    covariance[np.ix_(rim, rim)] += alike * np.outer(u[rim], u[rim])
    covariance[np.diag_indices(len(u))] += np.where(rim, 0.0, variance)
    factor, _ = cho_factor(covariance, lower=True)
    pull = cho_solve((factor, True), seen.moved_mm)
    log_evidence = -0.5 * float(seen.moved_mm @ pull) - float(np.log(np.diag(factor)).sum())
    return Fitted(law, seen, factor, pull, log_evidence)


def _laws(size_mm: float, rim_common_u_mm: float, settings: StretchSettings, *, dots: bool) -> Iterable[Law]:
    """Every law tried."""
    dot_us = settings.dot_us_mm if dots else settings.dot_us_mm[:1]
    for sd, share, dot_u, rim_u in product(settings.strain_sds, settings.range_shares, dot_us, settings.rim_us_mm):
        yield Law(
            sd, share * size_mm, settings.affine_sd, settings.shift_sd_mm, dot_u, rim_u, rim_common_u_mm,
            settings.rim_alike_mm,
        )  # fmt: skip


def averaged(
    seen: Observations, centre_mm: Points, size_mm: float, rim_common_u_mm: float, settings: StretchSettings
) -> Field:
    """The field averaged over laws by their evidence."""
    tried = [fit(seen, law) for law in _laws(size_mm, rim_common_u_mm, settings, dots=bool(seen.is_dot.any()))]
    evidence = np.array([part.log_evidence for part in tried])
    shares = np.exp(evidence - evidence.max())
    shares /= shares.sum()
    kept = [i for i in np.argsort(-shares) if shares[i] >= settings.least_share]
    total = shares[kept].sum()
    parts = tuple(
        Fitted(p.law, p.seen, p.factor, p.pull, p.log_evidence, float(shares[i] / total))
        for i, p in ((i, tried[i]) for i in kept)
    )
    return Field(centre_mm, parts)


def stretches(
    field: Field, at_mm: Points, weights: Array, axis: NDArray[np.float64], settings: StretchSettings
) -> tuple[Array, Array]:
    """Mean stretches, as fractions, of lines that ran along `axis`.

    Parameters
    ----------
    at_mm
        Points of the first map's hide frame, (N, 2).
    weights
        (G, N): each row gives one mean over the points and sums to 1.
    axis
        Unit vector (2,) in the first map's hide frame.

    Returns
    -------
    Means and their standard uncertainties, (G,) each; what the scales of both maps add is not in them.
    """
    h = settings.derivative_mm
    at = at_mm - field.centre_mm
    fore, aft = at + h * axis, at - h * axis
    means, variances = [], []
    for part in field.parts:
        turned = axis + (part.moved_mm(fore) - part.moved_mm(aft)) / (2 * h)
        length = np.linalg.norm(turned, axis=1)
        means.append(weights @ (length - 1))
        variances.append(_variances(part, fore, aft, turned / length[:, None], weights) / (2 * h) ** 2)
    shares = np.array([part.share for part in field.parts])
    mean = shares @ np.array(means)
    variance = shares @ (np.array(variances) + (np.array(means) - mean) ** 2)
    return mean, np.sqrt(variance)


def _variances(part: Fitted, fore_mm: Points, aft_mm: Points, into: Points, weights: Array) -> Array:
    """Posterior variances of the weighted sums of (d(fore) - d(aft)) . into, (G,) mm2."""
    from scipy.linalg import solve_triangular

    kernel, seen = part.law.kernel, part.seen
    to_seen = (kernel(fore_mm, seen.at_mm) - kernel(aft_mm, seen.at_mm)) * (into @ seen.toward.T)
    across = kernel(fore_mm, aft_mm)
    alike = (kernel(fore_mm, fore_mm) + kernel(aft_mm, aft_mm) - across - across.T) * (into @ into.T)
    prior = np.einsum("gi,ij,gj->g", weights, alike, weights, optimize=True)
    explained = solve_triangular(part.factor, (weights @ to_seen).T, lower=True)
    posterior: Array = np.maximum(prior - np.sum(explained**2, axis=0), 0.0)
    return posterior
