"""Areas and lengths with their uncertainty budget.

Law of propagation (GUM, JCGM 100:2008, 5.1.2 and 5.2.2): every figure is a function of the camera's parameters, the
leather's thickness and lift, and where the rim was seen; its derivatives by them are taken by central differences,
over steps of a tenth of a standard uncertainty, and combined with the covariance. The covariance of the adjustment is
a sum of one part for each kind of observation (corners, lens, print scale, tapes, card heights), so the budget has one
row for each and its squares add up to the total.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points, outward_normals, perimeter, signed_area
from hidescan.basics.uncertainty import COVERAGE_FACTOR, Measured, half_width_95
from hidescan.camera.model import Camera
from hidescan.camera.relief import Heights, faces_away, plan_view
from hidescan.floor.parameters import OF_CAMERA, Array, Prior
from hidescan.floor.solution import Plane
from hidescan.settings import MeasureSettings

GROSS, NET, LENGTH, WIDTH, PERIMETER = range(5)


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """A rim as seen: (N, 2) photo px, and its standard uncertainty across itself, (N,) px."""

    ring_px: Points
    u_px: Array


@dataclass(frozen=True, slots=True, eq=False)
class HideRims:
    """All rims of a hide as seen: the outer one and those of its through holes.

    `open_area_u` is the share of the area that may be hide or floor, as a standard uncertainty.
    """

    outer: Rim
    holes: tuple[Rim, ...] = ()
    open_area_u: float = 0.0


@dataclass(frozen=True, slots=True)
class HeightPriors:
    """What is known of the leather's thickness and of its rim's mean lift over the floor, mm."""

    thickness: Prior
    lift: Prior

    @property
    def means(self) -> Heights:
        """The expected heights."""
        return Heights(self.thickness.mean, self.lift.mean)


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One source's share: standard uncertainty of the net area, percent of it."""

    source: str
    area_percent: float


@dataclass(frozen=True, slots=True)
class Measures:
    """The figures of a hide: areas mm2, the rest mm, and the budget of the net area."""

    area_gross: Measured
    area_net: Measured
    length: Measured
    width: Measured
    perimeter: Measured
    budget: tuple[BudgetRow, ...]


def measure(
    plane: Plane,
    rims: HideRims,
    heights: HeightPriors,
    along: NDArray[np.float64],
    settings: MeasureSettings,
    *,
    print_measured: bool,
) -> Measures:
    """Measure the hide.

    Parameters
    ----------
    plane
        The adjusted camera.
    rims
        Outer rim and through holes as seen.
    heights
        Thickness of the leather and lift of its rim over the floor, mm.
    along
        Direction of the back line in the floor frame (2,), any length; the hide's length is taken along it and its
        width across.
    print_measured
        Whether the print's scale was measured. Where it was not, it is rectangular and mostly rules the result; its
        row then holds the standard uncertainty of the Gaussian that gives the true 95 % interval.
    """
    unit = along / np.linalg.norm(along)
    axes = np.column_stack([unit, (-unit[1], unit[0])])
    steep = np.tan(np.deg2rad(plane.camera.tilt_deg)) / np.tan(np.deg2rad(settings.lift_steep_deg))
    heights = replace(heights, lift=Prior(heights.lift.mean, heights.lift.u * max(1.0, float(steep))))
    value = _rings(plane.camera, rims, axes).figures(plane.camera, heights.means)
    variances = _camera_variances(plane, _rings(plane.camera, _thinned(rims, settings), axes), heights)
    variances["rim"] = _rim_variance(plane.camera, rims, settings)
    outer_mm = plan_view(plane.camera, rims.outer.ring_px, heights.means)
    variances["sampling"] = np.array([1.0, 1.0, 0.0, 0.0, 0.0]) * sampling_u_mm2(outer_mm) ** 2
    variances["hide or floor"] = np.array([1.0, 1.0, 0.0, 0.0, 0.0]) * (rims.open_area_u * value[GROSS]) ** 2
    if not print_measured:
        others = sum(v for source, v in variances.items() if source != "print scale")
        variances["print scale"] = np.array(
            [as_gaussian(r, o) for r, o in zip(variances["print scale"], np.broadcast_to(others, 5), strict=True)]
        )
    total = np.sqrt(np.sum(list(variances.values()), axis=0))
    rows = [BudgetRow(source, 100.0 * float(np.sqrt(v[NET])) / value[NET]) for source, v in variances.items()]
    gross, net, length, width, around = (Measured(float(x), float(u)) for x, u in zip(value, total, strict=True))
    return Measures(gross, net, length, width, around, tuple(row for row in rows if row.area_percent > 0))


def _camera_variances(plane: Plane, rings: "_Rings", priors: HeightPriors) -> dict[str, Array]:
    """Variances of the figures by source, (5,) each: the observations that the camera was adjusted to, and the heights.

    Derivatives change slowly along the rim: `rings` with every few points of it give them as well.
    """
    variances: dict[str, Array] = {}
    heights, u = priors.means, (priors.thickness.u, priors.lift.u)
    u_plane = np.sqrt(np.diag(plane.covariance))
    rest = np.zeros(len(u_plane) - OF_CAMERA)  # what does not move the camera
    J_plane = _derivatives(
        lambda step: rings.figures(plane.camera_after(np.concatenate([step, rest])), heights), u_plane[:OF_CAMERA]
    )
    through = J_plane @ plane.covariance[:OF_CAMERA]
    for source, information in plane.information.items():
        variances[source] = np.einsum("ip,pq,iq->i", through, information, through)
    J_heights = _derivatives(
        lambda step: rings.figures(
            plane.camera, Heights(priors.thickness.mean + step[0], priors.lift.mean + step[1])
        ),
        np.array(u),
    )  # fmt: skip
    variances["leather thickness"], variances["lift of the rim"] = (J_heights * u).T ** 2
    return variances


@dataclass(frozen=True, slots=True, eq=False)
class _Rings:
    """Rims whose figures are wanted from slightly different cameras: which way each part faces is decided once.

    Attributes
    ----------
    points_px
        (N, 2), all rings one after the other, the outer rim first.
    away
        (N,), whether the leather's edge faces away from the camera there.
    ends
        Where each ring ends in them.
    axes
        (2, 2), the directions of length and width as columns.
    """

    points_px: Points
    away: NDArray[np.bool_]
    ends: tuple[int, ...]
    axes: Array

    def figures(self, camera: Camera, heights: Heights) -> Array:
        """Gross and net area, length, width, perimeter."""
        points_mm = heights.plan_mm(camera, self.points_px, self.away)
        outer, *inner = (points_mm[start:end] for start, end in pairwise((0, *self.ends)))
        gross = abs(signed_area(outer))
        length, width = np.ptp(outer @ self.axes, axis=0)
        return np.array([gross, gross - sum(abs(signed_area(ring)) for ring in inner), length, width, perimeter(outer)])


def _rings(camera: Camera, rims: HideRims, axes: Array) -> _Rings:
    parts = (rims.outer, *rims.holes)
    away = [faces_away(camera, part.ring_px, hole=part is not rims.outer) for part in parts]
    points_px = np.vstack([part.ring_px for part in parts])
    return _Rings(points_px, np.concatenate(away), tuple(np.cumsum([len(a) for a in away]).tolist()), axes)


def _thinned(rims: HideRims, settings: MeasureSettings) -> HideRims:
    def thinned(rim: Rim) -> Rim:
        step = max(1, len(rim.ring_px) // settings.derivative_points)
        return Rim(rim.ring_px[::step], rim.u_px[::step])

    return HideRims(thinned(rims.outer), tuple(thinned(hole) for hole in rims.holes))


def _derivatives(function: Callable[[Array], Array], u: Array) -> Array:
    """Derivatives of a vector function at 0 by central differences over a tenth of each uncertainty, (M, P)."""
    columns = []
    for i, h in enumerate(0.1 * u):
        step = np.zeros(len(u))
        step[i] = h
        columns.append((function(step) - function(-step)) / (2 * h) if h > 0 else 0 * function(step))
    return np.column_stack(columns)


def as_gaussian(rectangle_variance: float, others_variance: float) -> float:
    """Variance that a Gaussian must have in a rectangle's place for k = 2 to cover 95 % of their sum."""
    half_width = half_width_95(float(np.sqrt(others_variance)), (float(np.sqrt(3 * rectangle_variance)),))
    return max((half_width / COVERAGE_FACTOR) ** 2 - others_variance, 0.0)


def _rim_variance(camera: Camera, rims: HideRims, settings: MeasureSettings) -> Array:
    """Variance of the figures from where the rim was seen, (5,).

    Two parts: each stretch of rim is off on its own, alike over `rim_correlation_mm`; and all of it is off by the same
    share of its uncertainty, since the same blur, light and method act everywhere.
    """
    net, gross, common, ends_mm2 = 0.0, 0.0, 0.0, 0.0
    for part in (rims.outer, *rims.holes):
        ring_mm = camera.mm_from_px(part.ring_px)
        step_mm = np.linalg.norm(np.roll(ring_mm, -1, axis=0) - np.roll(ring_mm, 1, axis=0), axis=1) / 2
        u_mm = part.u_px * camera.mm_per_px(part.ring_px)
        independent = float(np.sum(u_mm**2 * step_mm * settings.rim_correlation_mm))
        shared = settings.rim_common_share * float(np.sum(u_mm * step_mm))
        net += independent
        common += shared
        if part is rims.outer:
            gross = independent + shared**2
            ends_mm2 = float(np.mean(u_mm**2))
    return np.array([gross, net + common**2, 2 * ends_mm2, 2 * ends_mm2, 2 * np.pi**2 * ends_mm2])


def sampling_u_mm2(ring_mm: Points) -> float:
    """Area between the chords and the curve they stand for: a sixth of chord squared times turn, summed with its sign.

    For an arc of chord c and turn t the segment is c^2 t / 12 (to first order); the rim's wiggles cancel in the sum.
    """
    edge = np.roll(ring_mm, -1, axis=0) - ring_mm
    normals = outward_normals(ring_mm)
    turn = np.sum(
        edge / np.maximum(np.linalg.norm(edge, axis=1, keepdims=True), 1e-9) * (np.roll(normals, -1, axis=0) - normals),
        axis=1,
    )
    return abs(float(np.sum(np.sum(edge**2, axis=1) * turn) / 12))
