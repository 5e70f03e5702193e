"""Levenberg-Marquardt with robust weights, over one photo or several."""

from dataclasses import dataclass
from typing import Protocol, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from hidescan.floor.parameters import Array
from hidescan.settings import PlaneSettings

_BLOCK_ROWS = 64


@dataclass(frozen=True, slots=True)
class Noise:
    """Standard deviations of what a photo shows.

    Attributes
    ----------
    corner_px
        Of a corner's coordinate.
    edge_px, line_px
        Of a stretch of a printed edge across it: its own part, and the part that all stretches of one edge share.
    """

    corner_px: float
    edge_px: float
    line_px: float


class Point(Protocol):
    """A point in some parameter space that a step moves."""

    def stepped(self, step: Array) -> Self:
        """The point moved by `step`."""
        ...


AnyState = TypeVar("AnyState", bound=Point)
SomeState = TypeVar("SomeState", bound=Point, contravariant=True)


class Problem(Protocol[SomeState]):
    """What `minimised` asks of a problem: `Adjustment`'s own methods, over one photo or several."""

    @property
    def settings(self) -> PlaneSettings:
        """How observations are weighed and when to stop."""
        ...

    def misfits(self, state: SomeState) -> tuple[Array, Array]:
        """What was seen less what the state predicts, px, and its Jacobian."""
        ...

    def weights(self, misfit: Array) -> Array:
        """Robust weights of what was seen."""
        ...

    def whitened(self, state: SomeState, misfits: tuple[Array, Array], weights: Array) -> tuple[Array, Array]:
        """All residuals in units of their standard deviation, and their Jacobian."""
        ...

    def possible(self, state: SomeState) -> bool:
        """Whether the state can be."""
        ...


def minimised(
    problem: Problem[AnyState], start: AnyState, beat: float = np.inf
) -> tuple[AnyState, Array, float] | None:
    """The state of least cost near a start, the robust weights there (R,), and the cost.

    Levenberg-Marquardt with weights renewed in each round. Own code rather than SciPy's, whose import alone takes
    longer than the whole solution.

    Parameters
    ----------
    beat
        Cost that another start reached. The right pose converges in 4 or 5 rounds; the wrong one of two wanders long,
        far above, and is given up.

    Returns
    -------
    None where the state found cannot be, or was given up.
    """
    settings = problem.settings
    state, misfits, damping = start, problem.misfits(start), 1e-6
    if not np.isfinite(misfits[0]).all():
        return None
    for round_ in range(settings.most_rounds):
        weights = problem.weights(misfits[0])
        residual, jacobian = problem.whitened(state, misfits, weights)
        cost = float(residual @ residual)
        information, gradient = gram(jacobian), jacobian.T @ residual
        while damping < 1e8:
            damped = information + damping * np.diag(np.diag(information))
            step = -np.linalg.solve(damped, gradient).astype(np.float64)
            trial = state.stepped(step)
            trial_misfits = problem.misfits(trial)
            trial_residual, _ = problem.whitened(trial, trial_misfits, weights)
            trial_cost = float(trial_residual @ trial_residual)
            if trial_cost <= cost * (1 + 1e-12):  # false for NaN
                break
            damping *= 10
        else:
            break
        state, misfits, damping = trial, trial_misfits, max(damping / 30, 1e-9)
        if cost - trial_cost < settings.converged_cost:
            break
        if round_ >= settings.rounds_to_beat and trial_cost > 10 * beat:
            return None
    return (state, weights, trial_cost) if problem.possible(state) else None


def gram(jacobian: Array) -> Array:
    """J^T J (P, P) of a Jacobian J (R, P), summed over blocks of rows.

    BLAS would share out the whole product to threads, which wait for the cores that the networks use beside it: ten
    times the processor time of the product itself. A block of so few rows stays in one thread.
    """
    rows, columns = jacobian.shape
    blocks = -(-rows // _BLOCK_ROWS)
    padded = np.zeros((blocks * _BLOCK_ROWS, columns))
    padded[:rows] = jacobian
    stacked = padded.reshape(blocks, _BLOCK_ROWS, columns)
    return np.asarray((stacked.transpose(0, 2, 1) @ stacked).sum(axis=0))


def huber_weights(misfit: Array, sd_px: float, threshold_sigma: float) -> Array:
    """Huber weights (Huber 1964) by corner: both coordinates of a corner share the weight of its distance, (2N,)."""
    distance = np.linalg.norm(misfit.reshape(-1, 2), axis=1) / sd_px
    return np.repeat(np.minimum(1.0, threshold_sigma / np.maximum(distance, 1e-12)), 2)


def spread(misfit: Array, least_px: float) -> float:
    """Spread by the median deviation, never below what is known beforehand, so that weights stay tame."""
    return max(least_px, 1.4826 * float(np.median(np.abs(misfit)))) if len(misfit) else least_px


def by_group(values: Array, starts: NDArray[np.intp]) -> Array:
    """Sums over consecutive rows, each group beginning at one of `starts`."""
    return np.asarray(np.add.reduceat(values, starts, axis=0))
