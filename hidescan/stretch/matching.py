"""Registration of two outlines of one hide, and which dot is which.

Rim points of the first outline are matched to the nearest place on the second that looks the same way, and the field
is fitted to the distances across the rim; repeated from an even field to an uneven one (iterated closest points with
the point-to-line distance: Chen and Medioni 1992; Besl and McKay 1992). Dots are matched by where the outlines
predict each, then by where the dots already matched predict it.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points, counter_clockwise, outward_normals, resample, signed_area
from hidescan.settings.uses import DotSettings, StretchSettings
from hidescan.stretch.field import Array, Field, Fitted, Hyperparameters, Kernel, Observations, averaged, fit

__all__ = ["Registered", "matched_dots", "register"]


@dataclass(frozen=True, slots=True, eq=False)
class Registered:
    """Two outlines laid on each other.

    Attributes
    ----------
    field
        Displacement from the first to the second, in the first's frame.
    misfit_mm
        Root mean square distance of the mapped rim from the second outline.
    turned
        How the second map had to be taken: "", "turned", "mirrored" or "turned and mirrored".
    second_mm
        The second outline so taken, (M, 2).
    """

    field: Field
    misfit_mm: float
    turned: str
    second_mm: Points


TURNS: dict[str, tuple[float, float]] = {
    "": (1.0, 1.0),
    "turned": (-1.0, -1.0),
    "mirrored": (-1.0, 1.0),
    "turned and mirrored": (1.0, -1.0),
}


def register(
    first_mm: Points,
    second_mm: Points,
    dots: tuple[Points, Points] | None,
    rim_common_u_mm: float,
    settings: StretchSettings,
) -> Registered:
    """Lay the outline of a hide's first map on that of its second.

    Parameters
    ----------
    first_mm, second_mm
        Outer rings in their own hide frames, (N, 2) and (M, 2).
    dots
        Matched dots, (K, 2) in the first frame and in the second as it is; None where there are none.
    rim_common_u_mm
        Standard uncertainty of what both rims together may lie too far out or in, all round.
    """
    first = counter_clockwise(first_mm)
    tried = {name: _affine(first, counter_clockwise(second_mm * flip), settings) for name, flip in TURNS.items()}
    best = min(tried, key=lambda name: tried[name].misfit_mm)
    if tried[best].misfit_mm > settings.believe_turn * tried[""].misfit_mm:
        best = ""
    start = tried[best]
    rim = start.rim
    size_mm = float(np.sqrt(signed_area(first)))
    law = Hyperparameters(
        (settings.round_strain_sd,) * 2, Kernel(settings.round_range_share * size_mm), settings.affine_sd,
        settings.shift_sd_mm, settings.dot_us_mm[-1], settings.round_rim_u_mm[1], rim_common_u_mm,
        settings.rim_alike_mm,
    )  # fmt: skip
    seen_dots = None if dots is None else (dots[0] - rim.centre_mm, dots[1] * TURNS[best] - dots[0])
    part = start.part
    for rounds, rim_u_mm in zip(settings.rounds[1:], settings.round_rim_u_mm[1:], strict=True):
        for _ in range(rounds):
            part = fit(rim.observations(part, seen_dots, rim_u_mm, settings), replace(law, rim_u_mm=rim_u_mm))
    seen = rim.observations(part, seen_dots, settings.round_rim_u_mm[2], settings)
    field = averaged(seen, rim.centre_mm, size_mm, law, settings)
    return Registered(field, rim.misfit_mm(field.parts[0]), best, rim.second_mm)


def matched_dots(
    first_mm: Points, second_mm: Points, registered: Registered, size_mm: float, settings: DotSettings
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Which dots are the same: indices into both lists.

    The prediction is carried from the outline to the dots already matched by a smooth correction, and the gate narrows
    from what outlines alone may be off to what a field may change between neighbours.

    Parameters
    ----------
    first_mm, second_mm
        Dots found, (N, 2) and (M, 2), each in its own frame.
    registered
        The outlines laid on each other, without dots.
    size_mm
        Square root of the hide's area.
    """
    from scipy.spatial import cKDTree

    none = np.empty(0, dtype=np.intp), np.empty(0, dtype=np.intp)
    if not len(first_mm) or not len(second_mm):
        return none
    second = second_mm * TURNS[registered.turned]
    predicted = first_mm + registered.field.moved_mm(first_mm)
    i, j = none
    for gate_mm in np.geomspace(*settings.gate_shares, 5) * size_mm:
        to_second, to_first = cKDTree(second), cKDTree(predicted)
        distance, there = to_second.query(predicted)
        _, back = to_first.query(second)
        mutual = (back[there] == np.arange(len(predicted))) & (distance < gate_mm)
        i, j = np.flatnonzero(mutual), there[mutual]
        if len(i) < 3:
            return none
        predicted = predicted + _correction(predicted[i], second[j] - predicted[i], predicted, size_mm, gate_mm)
    outline_off = second[j] - first_mm[i] - registered.field.moved_mm(first_mm[i])
    fits = _fits_its_neighbours(first_mm[i], outline_off, size_mm, settings)
    return i[fits], j[fits]


def _correction(at_mm: Points, off_mm: Points, wanted_mm: Points, size_mm: float, gate_mm: float) -> Points:
    """Smooth correction that takes up most of what the matched dots are off, robust to a few that are wrong."""
    centre = at_mm.mean(axis=0)
    law = Hyperparameters((gate_mm / size_mm,) * 2, Kernel(0.5 * size_mm), 0.02, gate_mm, 0.1 * gate_mm, 1.0, 0.0, 1.0)
    weight = np.ones(len(at_mm))
    part = fit(_dot_observations(at_mm - centre, off_mm, weight), law)
    for _ in range(3):
        left = np.linalg.norm(off_mm - part.moved_mm(at_mm - centre), axis=1)
        weight = 1 / (1 + (left / max(2.0 * float(np.median(left)), 1e-6)) ** 2)
        part = fit(_dot_observations(at_mm - centre, off_mm, weight), law)
    return part.moved_mm(wanted_mm - centre)


def _fits_its_neighbours(at_mm: Points, off_mm: Points, size_mm: float, settings: DotSettings) -> NDArray[np.bool_]:
    """Dots that the others predict: the worst is left out until all that remain are (leave-one-out residuals).

    In closed form from the inverse of the covariance (Rasmussen and Williams 2006, 5.4.2, equation 5.12).
    """
    strain_sd, range_share, affine_sd, shift_share, dot_u_mm = settings.neighbour_field
    law = Hyperparameters(
        (strain_sd,) * 2, Kernel(range_share * size_mm), affine_sd, shift_share * size_mm, dot_u_mm, 1.0, 0.0, 1.0
    )
    fits = np.ones(len(at_mm), dtype=np.bool_)
    while fits.sum() > 3:
        at = at_mm[fits] - at_mm[fits].mean(axis=0)
        inverse = np.linalg.inv(law.kernels(at, at)[0] + law.dot_u_mm**2 * np.eye(len(at)))
        # Deviation of each from what the others predict, in its own standard deviations.
        sigma = np.linalg.norm(inverse @ off_mm[fits], axis=1) / np.sqrt(np.diag(inverse))
        worst = int(np.argmax(sigma))
        if sigma[worst] <= settings.outlier_sigma:
            break
        fits[np.flatnonzero(fits)[worst]] = False
    return fits


def _dot_observations(at_mm: Points, moved_mm: Points, weight: Array) -> Observations:
    """Each dot seen along x and along y."""
    n = len(at_mm)
    toward = np.vstack([np.tile((1.0, 0.0), (n, 1)), np.tile((0.0, 1.0), (n, 1))])
    return Observations(
        np.tile(at_mm, (2, 1)), toward, moved_mm.T.ravel(), np.ones(2 * n, dtype=np.bool_), np.tile(weight, 2)
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Rim:
    """Points of the first rim about its centre, and the second rim to match them to."""

    at_mm: Points
    normals: Points
    centre_mm: Points
    second_mm: Points
    second_normals: Points

    def matched(self, part: Fitted) -> tuple[Points, Array, NDArray[np.bool_]]:
        """For each point: the second rim's normal there, its distance across that, and whether it is a fair match."""
        from scipy.spatial import cKDTree

        mapped = self.at_mm + part.moved_mm(self.at_mm) + self.centre_mm
        _, nearest = cKDTree(self.second_mm).query(mapped)
        normal = self.second_normals[nearest]
        fair = np.sum(normal * self.normals, axis=1)
        return normal, np.sum((self.second_mm[nearest] - mapped) * normal, axis=1), fair

    def observations(
        self, part: Fitted, dots: tuple[Points, Points] | None, rim_u_mm: float, settings: StretchSettings
    ) -> Observations:
        """The matches and the dots as observations of the displacement."""
        normal, off_mm, fair = self.matched(part)
        moved = np.sum(part.moved_mm(self.at_mm) * normal, axis=1) + off_mm
        deviation = max(1.4826 * float(np.median(np.abs(off_mm))), rim_u_mm)
        weight = np.maximum(0.0, 1 - (off_mm / (settings.tukey * deviation)) ** 2) ** 2
        weight[fair < settings.least_normal_cosine] = 0.0
        rim = Observations(self.at_mm, normal, moved, np.zeros(len(moved), dtype=np.bool_), weight)
        if dots is None:
            return rim
        seen = _dot_observations(*dots, np.ones(len(dots[0])))
        names = ("at_mm", "toward", "moved_mm", "is_dot", "weight")
        return Observations(*(np.concatenate([getattr(rim, name), getattr(seen, name)]) for name in names))

    def misfit_mm(self, part: Fitted) -> float:
        """Root mean square distance across the rim."""
        _, off_mm, _ = self.matched(part)
        return float(np.sqrt(np.mean(off_mm**2)))


@dataclass(frozen=True, slots=True, eq=False)
class _Start:
    """Outlines laid on each other by an even field."""

    rim: _Rim
    part: Fitted
    misfit_mm: float


def _affine(first: Points, second: Points, settings: StretchSettings) -> _Start:
    """Start from centre and spread, then an even field by closest points."""
    step = float(np.linalg.norm(np.roll(first, -1, axis=0) - first, axis=1).sum()) / settings.rim_points
    fine = resample(first, settings.rim_step_mm)
    take = np.linspace(0, len(fine), round(len(fine) * settings.rim_step_mm / step), endpoint=False).astype(int)
    centre, spread = _centre_and_spread(fine)
    there = resample(second, settings.rim_step_mm)
    centre_2, spread_2 = _centre_and_spread(there)
    at = fine[take] - centre
    rim = _Rim(at, outward_normals(_smoothed(fine))[take], centre, there, outward_normals(_smoothed(there)))
    law = Hyperparameters(
        (0.0, 0.0), Kernel(1.0), settings.affine_sd, settings.shift_sd_mm, 1.0, settings.round_rim_u_mm[0], 0.0, 1.0
    )
    moved = at * (spread_2 / spread) + centre_2 - centre - at
    part = fit(_dot_observations(at, moved, np.ones(len(at))), law)
    for _ in range(settings.rounds[0]):
        part = fit(rim.observations(part, None, settings.round_rim_u_mm[0], settings), law)
    return _Start(rim, part, rim.misfit_mm(part))


def _smoothed(ring: Points) -> Points:
    """Ring with normals that a ragged rim does not shake: a running mean over five points."""
    smoothed: Points = np.mean([np.roll(ring, shift, axis=0) for shift in range(-2, 3)], axis=0)
    return smoothed


def _centre_and_spread(ring: Points) -> tuple[Points, Points]:
    """Mean and standard deviation along both axes, of the points of an evenly spaced ring."""
    return ring.mean(axis=0), ring.std(axis=0)
