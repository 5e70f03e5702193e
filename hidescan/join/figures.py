"""The figures of a joined hide with their uncertainty budget.

Every figure is a function of where the joined rim runs, and that rim's covariance holds all that it was made from: its
derivatives by the places across the nodes, carried through the solution, give one row for each kind of observation, and
the rows' squares add up to the total (GUM, JCGM 100:2008, 5.1.2 and 5.2.2).
"""

import numpy as np

from hidescan.basics.geometry import Points, outward_normals, perimeter, signed_area
from hidescan.basics.uncertainty import Measured
from hidescan.figures.measures import BudgetRow, Measures, as_gaussian, sampling_u_mm2
from hidescan.join.region_vote import Array
from hidescan.join.rims import JoinedRim
from hidescan.settings import MeasureSettings

_AREAS = np.array([1.0, 1.0, 0.0, 0.0, 0.0])


def joined_measures(
    rim: JoinedRim,
    holes: tuple[tuple[Points, float], ...],
    along: Array,
    settings: MeasureSettings,
    *,
    print_measured: bool,
    open_area_u: float,
) -> Measures:
    """Measure the joined hide.

    Parameters
    ----------
    holes
        Plan view of each through hole, (M, 2) mm, and its rim's standard uncertainty, mm.
    along
        Direction of the back line in the floor frame (2,).
    print_measured, open_area_u
        As for `figures.measures.measure`.
    """
    unit = along / np.linalg.norm(along)
    axes = np.column_stack([unit, (-unit[1], unit[0])])
    gross = signed_area(rim.ring_mm)
    net = gross - sum(abs(signed_area(ring)) for ring, _ in holes)
    value = np.array([gross, net, *np.ptp(rim.ring_mm @ axes, axis=0), perimeter(rim.ring_mm)])
    slopes = _by_places(rim, axes)
    through = rim.solution.covariance[:, : slopes.shape[1]] @ slopes.T
    variances = {kind: np.sum((rows @ through) ** 2, axis=0) for kind, rows in rim.solution.rows.items()}
    variances["rim"] = variances["rim"] + np.array([0.0, _holes_variance(holes, settings), 0.0, 0.0, 0.0])
    variances["sampling"] = _AREAS * sampling_u_mm2(rim.ring_mm) ** 2
    variances["hide or floor"] = _AREAS * (open_area_u * gross) ** 2
    if not print_measured:
        others = sum(v for kind, v in variances.items() if kind != "print scale")
        variances["print scale"] = np.array(
            [as_gaussian(r, o) for r, o in zip(variances["print scale"], np.broadcast_to(others, 5), strict=True)]
        )
    total = np.sqrt(np.sum(list(variances.values()), axis=0))
    rows = [BudgetRow(kind, 100.0 * float(np.sqrt(v[1])) / value[1]) for kind, v in variances.items()]
    area, left, length, width, around = (Measured(float(x), float(u)) for x, u in zip(value, total, strict=True))
    return Measures(area, left, length, width, around, tuple(row for row in rows if row.area_percent > 0))


def _by_places(rim: JoinedRim, axes: Array) -> Array:
    """Derivatives of gross, net, length, width, perimeter by the places across the nodes, (5, M)."""
    ring, m = rim.ring_mm, len(rim.nodes.ring_mm)
    normals = outward_normals(np.mean([np.roll(ring, k, axis=0) for k in range(-3, 4)], axis=0))
    chord = (np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)) / 2
    area = chord[:, 1] * normals[:, 0] - chord[:, 0] * normals[:, 1]
    edge = np.roll(ring, -1, axis=0) - ring
    edge = edge / np.maximum(np.linalg.norm(edge, axis=1, keepdims=True), 1e-9)
    turn = np.sum((np.roll(edge, 1, axis=0) - edge) * normals, axis=1)
    owner = rim.node
    extent = np.zeros((2, m))
    for row, axis in zip(extent, axes.T, strict=True):
        for sign, i in ((1.0, np.argmax(ring @ axis)), (-1.0, np.argmin(ring @ axis))):
            row[owner[i]] += sign * float(normals[i] @ axis)
    by_node = [np.bincount(owner, part, minlength=m) for part in (area, area, turn)]
    return np.vstack([by_node[0], by_node[1], extent, by_node[2]])


def _holes_variance(holes: tuple[tuple[Points, float], ...], settings: MeasureSettings) -> float:
    """Variance of the holes' area: each stretch of rim off on its own, and all by the same share."""
    lengths = np.array([perimeter(ring) for ring, _ in holes])
    u = np.array([u_mm for _, u_mm in holes])
    own = float(np.sum(u**2 * lengths * settings.rim_correlation_mm))
    return own + (settings.rim_common_share * float(np.sum(u * lengths))) ** 2
