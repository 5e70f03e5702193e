"""A smooth field of displacement from scattered observations, and strains from it with their uncertainty.

The displacement d(x) of a hide from one map to the next is taken as an even part (shift, turn, stretch, shear) plus an
uneven one, a Gaussian process with Matern covariance of order 5/2 or, smoother, a squared exponential one (Rasmussen
and Williams 2006, Gaussian Processes for Machine Learning, 2.2, 4.2 and 5.4). Along the back and across it a hide may
be pulled differently, so each component of d has its own unevenness. A dot observes d at its place; a rim point
observes d across the rim only. How uneven the field is, over what range, how smooth, and how well dots and rim were
seen are averaged over grids, each weighted by its evidence, so that what the data cannot settle widens the result.

Stretch of a line that ran along unit vector e: |F e| - 1, with F = I + grad d; it does not feel how the frames are
turned.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from hidescan.geometry import Points
from hidescan.uses.settings import StretchSettings

T = TypeVar("T")
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

    `strain_sds` are the deviations of the strain across the back and along it, `smooth` takes the squared exponential.
    `rim_common_u_mm` is what all rim matches are off alike (both maps' rims may lie a little too far out or in), and
    `rim_alike_mm` the distance over which they are off alike beyond that.
    """

    strain_sds: tuple[float, float]
    range_mm: float
    affine_sd: float
    shift_sd_mm: float
    dot_u_mm: float
    rim_u_mm: float
    rim_common_u_mm: float
    rim_alike_mm: float
    smooth: bool = False

    def kernels(self, a_mm: Points, b_mm: Points) -> tuple[Array, Array]:
        """Covariances of both components of d between points, (N, M) mm2 each."""
        even = self.shift_sd_mm**2 + self.affine_sd**2 * (a_mm @ b_mm.T)
        across, along = self.strain_sds
        if across == along == 0:
            return even, even
        uneven = _uneven(_squares(a_mm, b_mm), self.range_mm, smooth=self.smooth)
        return even + across**2 * uneven, even + along**2 * uneven

    def covariance(self, a_mm: Points, toward_a: Points, b_mm: Points, toward_b: Points) -> Array:
        """Covariance of d along one direction at each of some points with that at others, (N, M) mm2."""
        x, y = self.kernels(a_mm, b_mm)
        both: Array = x * np.outer(toward_a[:, 0], toward_b[:, 0]) + y * np.outer(toward_a[:, 1], toward_b[:, 1])
        return both


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
        pulls = (self.pull[:, None] * self.seen.toward).T
        kernels = self.law.kernels(at_mm, self.seen.at_mm)
        return np.column_stack([kernel @ pull for kernel, pull in zip(kernels, pulls, strict=True)])


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


def _uneven(squares_mm2: Array, range_mm: float, *, smooth: bool) -> Array:
    """Covariance of the uneven part for a strain deviation of one, from squared distances, mm2."""
    squares = squares_mm2 / range_mm**2
    if smooth:  # at r = 0 the variance of a derivative is s2 / range2
        return np.asarray(range_mm**2 * np.exp(-0.5 * squares))
    r = np.sqrt(5 * squares)  # and here 5 s2 / (3 range2): s2 from the strain's deviation
    return np.asarray(0.6 * range_mm**2 * (1 + r + r * r / 3) * np.exp(-r))


def _squares(a_mm: Points, b_mm: Points) -> Array:
    """Squared distances, (N, M)."""
    square = np.sum(a_mm**2, axis=1)[:, None] + np.sum(b_mm**2, axis=1) - 2 * (a_mm @ b_mm.T)
    clipped: Array = np.maximum(square, 0.0)
    return clipped


@dataclass(frozen=True, slots=True, eq=False)
class _Pairs:
    """What all laws share, of each pair of observations: (N, N) each.

    Squared distances, products of places, of directions' x and y, ones between rim matches, how far these are alike.
    """

    squares: Array
    places: Array
    x: Array
    y: Array
    rim: Array
    alike: Array


@lru_cache(maxsize=2)
def _pairs(seen: Observations, rim_alike_mm: float) -> _Pairs:
    at, rim = seen.at_mm, (~seen.is_dot).astype(np.float64)
    squares, both = _squares(at, at), np.outer(rim, rim)
    x, y = (np.outer(toward, toward) for toward in seen.toward.T)
    return _Pairs(squares, at @ at.T, x, y, both, both * np.exp(-np.sqrt(squares) / rim_alike_mm))


@lru_cache(maxsize=8)
def _uneven_pairs(seen: Observations, rim_alike_mm: float, range_mm: float, smooth: bool) -> Array:
    return _uneven(_pairs(seen, rim_alike_mm).squares, range_mm, smooth=smooth)


def _used(seen: Observations) -> Observations:
    """Observations without those that have no weight."""
    use = seen.weight > 1e-3
    if use.all():
        return seen
    return Observations(*(getattr(seen, name)[use] for name in ("at_mm", "toward", "moved_mm", "is_dot", "weight")))


def fit(seen: Observations, law: Law) -> Fitted:
    """Condition the field on the observations, whose places are relative to the centre."""
    from scipy.linalg import cho_factor, cho_solve

    seen = _used(seen)
    pairs = _pairs(seen, law.rim_alike_mm)
    u = np.where(seen.is_dot, law.dot_u_mm, law.rim_u_mm) / np.sqrt(seen.weight)
    across, along = law.strain_sds
    covariance = (law.shift_sd_mm**2 + law.affine_sd**2 * pairs.places) * (pairs.x + pairs.y)
    if across or along:
        uneven = _uneven_pairs(seen, law.rim_alike_mm, law.range_mm, law.smooth)
        covariance += uneven * (across**2 * pairs.x + along**2 * pairs.y)
    covariance += law.rim_common_u_mm**2 * pairs.rim + pairs.alike * np.outer(u, u)
    covariance[np.diag_indices(len(u))] += np.where(seen.is_dot, u**2, 0.0)
    factor, _ = cho_factor(covariance, lower=True, overwrite_a=True, check_finite=False)
    pull = cho_solve((factor, True), seen.moved_mm, check_finite=False)
    log_evidence = -0.5 * float(seen.moved_mm @ pull) - float(np.log(np.diag(factor)).sum())
    return Fitted(law, seen, factor, pull, log_evidence)


def averaged(
    seen: Observations, centre_mm: Points, size_mm: float, rim_common_u_mm: float, settings: StretchSettings
) -> Field:
    """The field averaged over laws by their evidence.

    First laws that are alike in both directions; then, of the shapes and uncertainties that these found likeliest, laws
    with every pair of strain deviations.
    """
    seen = _used(seen)
    shapes = [(share * size_mm, False) for share in settings.range_shares]
    shapes += [(share * size_mm, True) for share in settings.smooth_range_shares]
    dot_us = settings.dot_us_mm if seen.is_dot.any() else settings.dot_us_mm[:1]
    noises = list(product(dot_us, settings.rim_us_mm))

    def tried(sds: Iterable[tuple[float, float]]) -> tuple[list[Fitted], Array]:
        laws = [
            Law(
                pair, range_mm, settings.affine_sd, settings.shift_sd_mm, dot_u, rim_u, rim_common_u_mm,
                settings.rim_alike_mm, smooth,
            )
            for (range_mm, smooth), (dot_u, rim_u), pair in product(shapes, noises, sds)
        ]  # fmt: skip
        parts = [fit(seen, law) for law in laws]
        evidence = np.array([part.log_evidence for part in parts])
        shares = np.exp(evidence - evidence.max())
        return parts, shares / shares.sum()

    parts, shares = tried([(sd, sd) for sd in settings.strain_sds])
    shapes = _likeliest([(p.law.range_mm, p.law.smooth) for p in parts], shares, settings.most_shapes)
    noises = _likeliest([(p.law.dot_u_mm, p.law.rim_u_mm) for p in parts], shares, settings.most_noises)
    parts, shares = tried([(across, along) for across in settings.strain_sds for along in settings.strain_sds])
    kept = [i for i in np.argsort(-shares) if shares[i] >= settings.least_share]
    total = float(shares[kept].sum())
    return Field(centre_mm, tuple(replace(parts[i], share=float(shares[i]) / total) for i in kept))


def _likeliest(keys: list[T], shares: Array, most: int) -> list[T]:
    """The keys with the largest sums of shares."""
    sums: dict[T, float] = {}
    for key, share in zip(keys, shares.tolist(), strict=True):
        sums[key] = sums.get(key, 0.0) + share
    return sorted(sums, key=lambda key: -sums[key])[:most]


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

    cov, seen = part.law.covariance, part.seen
    to_seen = cov(fore_mm, into, seen.at_mm, seen.toward) - cov(aft_mm, into, seen.at_mm, seen.toward)
    across = cov(fore_mm, into, aft_mm, into)
    alike = cov(fore_mm, into, fore_mm, into) + cov(aft_mm, into, aft_mm, into) - across - across.T
    prior = np.einsum("gi,ij,gj->g", weights, alike, weights, optimize=True)
    explained = solve_triangular(part.factor, (weights @ to_seen).T, lower=True)
    posterior: Array = np.maximum(prior - np.sum(explained**2, axis=0), 0.0)
    return posterior
