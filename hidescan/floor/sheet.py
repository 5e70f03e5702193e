"""The surface of a printed sheet that is not quite flat.

In the card's own frame (mm, origin at the pattern's middle), with X = x / 100 mm and Y = y / 100 mm:

    z = a X^2 + b X Y + c Y^2 + R^2 (d cos p + e sin p + g cos 3 p + h sin 3 p),    R, p: polar coordinates of X, Y

The first three are the even part of a curl, whatever its direction; the others let one side curl more than the other:
s |s| = R^2 (0.85 cos p + 0.17 cos 3 p - 0.02 cos 5 p ...) where s runs across the line that the sheet bends about.
Paper bends but hardly stretches: a surface curved two ways at once strains it by their product (Gauss' theorema
egregium), which the prior holds against it. A bent sheet ends short of its own length; and it rests on the floor by
its lowest points.
"""

import numpy as np

from hidescan.basics.geometry import Points
from hidescan.cards.pattern import A4_MM
from hidescan.floor.parameters import OF_BEND, Array

_UNIT_MM = 100.0
_THIRD = 0.2  # the third harmonic of s |s| over its first
_RIM_MM = np.array([[x, y] for x in (-1, 0, 1) for y in (-1, 0, 1)]) * np.array(A4_MM) / 2
_SOFT_MM = 0.1


def heights(xy_mm: Points) -> Array:
    """Height of the sheet at places on it for each unit of bend, (N, 7)."""
    X, Y = xy_mm.T / _UNIT_MM
    R = np.maximum(np.hypot(X, Y), 1e-9)
    cosine, sine = X * (X * X - 3 * Y * Y) / R, Y * (3 * X * X - Y * Y) / R
    return np.column_stack([X * X, X * Y, Y * Y, R * X, R * Y, cosine, sine])


_RISES = heights(_RIM_MM)


def shortening(xy_mm: Points, bend: Array) -> tuple[Array, Array]:
    """How far places on the sheet move in plan when it bends, (N, 2) mm, and the derivatives by bend, (N, 2, 7).

    A cylinder of curvature k keeps its length: a place s from the line it bends about lies at s - k^2 s^3 / 6 in plan,
    to the third order; with H the second derivatives of z at a place r that is -(H r)(r' H r) / 6.
    """
    x, y = xy_mm.T / _UNIT_MM**2
    nil = np.zeros_like(x)
    Er = np.stack([np.stack([2 * x, y, nil], axis=1), np.stack([nil, x, 2 * y], axis=1)], axis=1)
    rEr = np.stack([2 * x * xy_mm[:, 0], 2 * x * xy_mm[:, 1], 2 * y * xy_mm[:, 1]], axis=1)
    Hr, rHr = Er @ bend[:3], rEr @ bend[:3]
    derivatives = np.zeros((len(xy_mm), 2, OF_BEND))
    derivatives[:, :, :3] = -(Er * rHr[:, None, None] + Hr[:, :, None] * rEr[:, None, :]) / 6
    return -Hr * rHr[:, None] / 6, derivatives


def rest(bend: Array) -> tuple[float, Array]:
    """Height of the sheet's middle over the floor when its lowest points touch it, and derivatives by bend, (7,).

    The lowest of nine places round the sheet, smoothed: t ln of the mean of exp(-z / t).
    """
    low = -(_RISES @ bend) / _SOFT_MM
    top = float(low.max())
    weights = np.exp(low - top)
    total = float(weights.sum())
    return _SOFT_MM * (top + float(np.log(total / len(low)))), -(weights / total) @ _RISES


def depth_mm(bend: Array, xy_mm: Points) -> float:
    """Greatest less least height of the sheet over some places on it."""
    return float(np.ptp(heights(xy_mm) @ bend)) if len(xy_mm) else 0.0


def prior(bend: Array, curl_mm: float, one_sided_mm: float, doubly_mm2: float) -> tuple[Array, Array]:
    """Residuals of a sheet's bend and their Jacobian, (8,) and (8, 7), in units of standard uncertainty.

    A cylinder whose rise at 100 mm has standard deviation s, in any direction alike, gives (a, b, c) the covariance
    s^2 ((3/8, 0, 1/8), (0, 1/2, 0), (1/8, 0, 3/8)).

    Parameters
    ----------
    curl_mm, one_sided_mm
        Standard deviation of the rise at 100 mm from the middle: of a curl, and of the part that one side has more.
    doubly_mm2
        Standard deviation of 4 a c - b^2, which is 0 for a sheet that is not strained.
    """
    covariance = curl_mm**2 * np.array([[3 / 8, 0, 1 / 8], [0, 1 / 2, 0], [1 / 8, 0, 3 / 8]])
    J = np.zeros((8, OF_BEND))
    J[:3, :3] = np.linalg.cholesky(np.linalg.inv(covariance)).T
    J[3, 3] = J[4, 4] = 1 / one_sided_mm
    J[5, 5] = J[6, 6] = 1 / (_THIRD * one_sided_mm)
    residual = J @ bend
    a, b, c = bend[:3]
    residual[7] = (4 * a * c - b * b) / doubly_mm2
    J[7, :3] = np.array([4 * c, -2 * b, 4 * a]) / doubly_mm2
    return residual, J
