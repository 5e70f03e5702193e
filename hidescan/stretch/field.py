"""A smooth field of displacement from scattered observations, and strains from it with their uncertainty.

The displacement d(x) of a hide from one map to the next is taken as an even part (shift, turn, stretch, shear) plus an
uneven one, a Gaussian process with Matern covariance of order 5/2 or, smoother, a squared exponential one (Rasmussen
and Williams 2006, Gaussian Processes for Machine Learning, 2.2, 4.2, 5.4 and, for derivatives, 9.4). Along the back and
across it a hide may be pulled differently, so each component of d has its own unevenness. A dot observes d at its
place; a rim point observes d across the rim only. How uneven the field is, over what range, how smooth, and how well
dots and rim were seen are averaged over grids, each weighted by its evidence, so that what the data cannot settle
widens the result.

Stretch of a line that ran along unit vector e: |F e| - 1, with F = I + grad d; it does not feel how the frames are
turned.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import product
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points
from hidescan.settings.uses import StretchSettings

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


@dataclass(frozen=True, slots=True)
class Kernel:
    """Covariance of the uneven part over squared distances, for a strain deviation of one.

    With x the distance between two places along a direction and s the squared distance, value(s) is the covariance of
    d with d in mm2, -slope(s) x that of d's derivative along the direction with d, and slope(s) - bend(s) x2 that of
    the derivative with itself, one at the same place.
    """

    range_mm: float
    smooth: bool = False

    def value(self, squares_mm2: Array) -> Array:
        """Covariance of d, mm2."""
        if self.smooth:
            return np.asarray(self.range_mm**2 * self.slope(squares_mm2))
        r = self._r(squares_mm2)
        return np.asarray(0.6 * self.range_mm**2 * (1 + r + r * r / 3) * np.exp(-r))

    def slope(self, squares_mm2: Array) -> Array:
        """Twice the fall of `value` for each mm2."""
        if self.smooth:
            return np.asarray(np.exp(squares_mm2 / (-2 * self.range_mm**2)))
        r = self._r(squares_mm2)
        return np.asarray((1 + r) * np.exp(-r))

    def bend(self, squares_mm2: Array) -> Array:
        """Twice the fall of `slope` for each mm2."""
        if self.smooth:
            return np.asarray(self.slope(squares_mm2) / self.range_mm**2)
        return np.asarray(5 / self.range_mm**2 * np.exp(-self._r(squares_mm2)))

    def _r(self, squares_mm2: Array) -> Array:
        return np.asarray(np.sqrt(squares_mm2 * (5 / self.range_mm**2)))


@dataclass(frozen=True, slots=True, eq=False)
class Hyperparameters:
    """One choice of what a field is like: its covariance and the uncertainty of dots and rim matches.

    `strain_sds` are the deviations of the strain across the back and along it. `rim_common_u_mm` is what all rim
    matches are off alike (both maps' rims may lie a little too far out or in), and `rim_alike_mm` the distance over
    which they are off alike beyond that.
    """

    strain_sds: tuple[float, float]
    kernel: Kernel
    affine_sd: float
    shift_sd_mm: float
    dot_u_mm: float
    rim_u_mm: float
    rim_common_u_mm: float
    rim_alike_mm: float

    def kernels(self, a_mm: Points, b_mm: Points) -> tuple[Array, Array]:
        """Covariances of both components of d between points, (N, M) mm2 each."""
        even = self.shift_sd_mm**2 + self.affine_sd**2 * (a_mm @ b_mm.T)
        across, along = self.strain_sds
        if across == along == 0:
            return even, even
        uneven = self.kernel.value(_squares(a_mm, b_mm))
        return even + across**2 * uneven, even + along**2 * uneven


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """A field under one set of hyperparameters, given the observations. `share` is its share of the evidence."""

    hyper: Hyperparameters
    seen: Observations
    factor: Array
    alpha: Array
    log_evidence: float
    share: float = 1.0

    def moved_mm(self, at_mm: Points) -> Points:
        """Displacement at points, (N, 2) mm."""
        alphas = (self.alpha[:, None] * self.seen.toward).T
        kernels = self.hyper.kernels(at_mm, self.seen.at_mm)
        return np.column_stack([kernel @ alpha for kernel, alpha in zip(kernels, alphas, strict=True)])


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


@dataclass(frozen=True, slots=True, eq=False)
class _Pairs:
    """Observations with what all laws share of each pair of them, (N, N) each.

    Squared distances; products of the directions' x and of their y; covariance of the even part and of what all rim
    matches are off alike; covariance of what else these are off, for a rim uncertainty of one.
    """

    seen: Observations
    squares: Array
    x: Array
    y: Array
    even: Array
    rim: Array

    def uneven(self, kernel: Kernel) -> tuple[Array, Array]:
        """Covariances of the uneven parts across and along, for strain deviations of one."""
        value = kernel.value(self.squares)
        return value * self.x, value * self.y


def _pairs(seen: Observations, hyper: Hyperparameters) -> _Pairs:
    """Pairs of those observations that have weight, under the hyperparameters that all averaged fits share."""
    use = seen.weight > 1e-3
    seen = Observations(*(getattr(seen, name)[use] for name in ("at_mm", "toward", "moved_mm", "is_dot", "weight")))
    at, is_rim = seen.at_mm, ~seen.is_dot
    squares, u = _squares(at, at), is_rim / np.sqrt(seen.weight)
    x, y = (np.outer(toward, toward) for toward in seen.toward.T)
    even = (hyper.shift_sd_mm**2 + hyper.affine_sd**2 * (at @ at.T)) * (x + y)
    even += hyper.rim_common_u_mm**2 * np.outer(is_rim, is_rim)
    return _Pairs(seen, squares, x, y, even, np.outer(u, u) * np.exp(np.sqrt(squares) / -hyper.rim_alike_mm))


def _fitted(hyper: Hyperparameters, pairs: _Pairs, uneven: tuple[Array, Array]) -> Fitted:
    from scipy.linalg import cho_factor, cho_solve

    seen = pairs.seen
    across, along = hyper.strain_sds
    covariance = pairs.even + hyper.rim_u_mm**2 * pairs.rim
    if across or along:
        covariance += across**2 * uneven[0]
        covariance += along**2 * uneven[1]
    covariance[np.diag_indices(len(covariance))] += hyper.dot_u_mm**2 * seen.is_dot / seen.weight
    factor, _ = cho_factor(covariance, lower=True, overwrite_a=True, check_finite=False)
    alpha = cho_solve((factor, True), seen.moved_mm, check_finite=False)
    log_evidence = -0.5 * float(seen.moved_mm @ alpha) - float(np.log(np.diag(factor)).sum())
    return Fitted(hyper, seen, factor, alpha, log_evidence)


def fit(seen: Observations, hyper: Hyperparameters) -> Fitted:
    """Condition the field on the observations, whose places are relative to the centre."""
    pairs = _pairs(seen, hyper)
    return _fitted(hyper, pairs, pairs.uneven(hyper.kernel))


def averaged(
    seen: Observations, centre_mm: Points, size_mm: float, hyper: Hyperparameters, settings: StretchSettings
) -> Field:
    """The field averaged over hyperparameters by their evidence.

    First laws that are alike in both directions; then, of the shapes and uncertainties that these found likeliest, laws
    with every pair of strain deviations.

    Parameters
    ----------
    hyper
        What all fits have in common; deviations, kernel and noise are those of the settings.
    """
    shapes = [Kernel(share * size_mm) for share in settings.range_shares]
    shapes += [Kernel(share * size_mm, smooth=True) for share in settings.smooth_range_shares]
    pairs = _pairs(seen, hyper)
    uneven = {kernel: pairs.uneven(kernel) for kernel in shapes}
    dots = bool(seen.is_dot.any())
    dot_us, strain_sds = (
        (settings.dot_us_mm, settings.strain_sds) if dots else (settings.dot_us_mm[:1], settings.outline_strain_sds)
    )
    noises = list(product(dot_us, settings.rim_us_mm))

    def tried(sds: Iterable[tuple[float, float]]) -> tuple[list[Fitted], Array]:
        parts = [
            _fitted(
                replace(hyper, strain_sds=pair, kernel=kernel, dot_u_mm=dot_u, rim_u_mm=rim_u), pairs, uneven[kernel]
            )
            for kernel, (dot_u, rim_u), pair in product(shapes, noises, sds)
        ]
        evidence = np.array([part.log_evidence for part in parts])
        shares = np.exp(evidence - evidence.max())
        return parts, shares / shares.sum()

    parts, shares = tried([(sd, sd) for sd in strain_sds])
    shapes = _likeliest([part.hyper.kernel for part in parts], shares, settings.most_shapes)
    noises = _likeliest([(p.hyper.dot_u_mm, p.hyper.rim_u_mm) for p in parts], shares, settings.most_noises)
    parts, shares = tried(product(strain_sds, strain_sds))
    kept = [i for i in np.argsort(-shares) if shares[i] >= settings.least_share]
    total = float(shares[kept].sum())
    return Field(centre_mm, tuple(replace(parts[i], share=float(shares[i]) / total) for i in kept))


def _likeliest(keys: list[T], shares: Array, most: int) -> list[T]:
    """The keys with the largest sums of shares."""
    sums: dict[T, float] = {}
    for key, share in zip(keys, shares.tolist(), strict=True):
        sums[key] = sums.get(key, 0.0) + share
    return sorted(sums, key=lambda key: -sums[key])[:most]


def stretches(field: Field, at_mm: Points, weights: Array, axis: NDArray[np.float64]) -> tuple[Array, Array]:
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
    at, seen = at_mm - field.centre_mm, field.parts[0].seen
    ahead = (at @ axis)[:, None]
    to_seen, squares = ahead - seen.at_mm @ axis, _squares(at, seen.at_mm)
    slopes = {kernel: -kernel.slope(squares) * to_seen for kernel in {part.hyper.kernel for part in field.parts}}
    turned = [axis + _derivative(part, slopes[part.hyper.kernel], axis) for part in field.parts]
    shares = np.array([part.share for part in field.parts])
    means = np.array([weights @ (np.linalg.norm(line, axis=1) - 1) for line in turned])
    mean = shares @ means
    # To first order a line's length changes by what moves its end along it; laws agree on where it points.
    into = np.einsum("p,pnc->nc", shares, turned)
    into /= np.linalg.norm(into, axis=1)[:, None]
    aimed = [weights * component for component in into.T]
    between, apart = _squares(at, at), (ahead - ahead.T) ** 2
    priors, links = {}, {}
    for kernel, slope in slopes.items():
        alike = kernel.slope(between) - kernel.bend(between) * apart
        priors[kernel] = [np.sum((aim @ alike) * aim, axis=1) for aim in aimed]
        links[kernel] = [(aim @ slope) * toward for aim, toward in zip(aimed, seen.toward.T, strict=True)]
    sums = np.column_stack([aim.sum(axis=1) for aim in aimed])
    even = np.sum(sums**2, axis=1), (sums @ seen.toward.T) * (seen.at_mm @ axis)
    variances = [_variances(part, even, priors[part.hyper.kernel], links[part.hyper.kernel]) for part in field.parts]
    return mean, np.sqrt(shares @ (np.array(variances) + (means - mean) ** 2))


def _derivative(part: Fitted, slope: Array, axis: NDArray[np.float64]) -> Points:
    """Derivative of the displacement along an axis at points, (N, 2); `slope` links the points to the observations."""
    alphas = part.alpha[:, None] * part.seen.toward
    even = part.hyper.affine_sd**2 * (part.seen.at_mm @ axis) @ alphas
    derivative: Points = even + (slope @ alphas) * np.square(part.hyper.strain_sds)
    return derivative


def _variances(part: Fitted, even: tuple[Array, Array], prior: list[Array], link: list[Array]) -> Array:
    """Posterior variances of means, from their prior ones (G,) and covariances with the observations (G, N).

    Those of the even part come first, for a deviation of one, then one of each component of the uneven part.
    """
    from scipy.linalg import solve_triangular

    scales = [part.hyper.affine_sd**2, *np.square(part.hyper.strain_sds).tolist()]
    before = sum(scale * term for scale, term in zip(scales, [even[0], *prior], strict=True))
    seen = sum(scale * term for scale, term in zip(scales, [even[1], *link], strict=True))
    explained = solve_triangular(part.factor, np.asarray(seen).T, lower=True, check_finite=False)
    posterior: Array = np.maximum(before - np.sum(explained**2, axis=0), 0.0)
    return posterior
