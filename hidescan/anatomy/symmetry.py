"""Mirror symmetry of an outline: where the axis of a spread hide may lie.

Two steps. `mirror_axes` turns a small raster of the outline through half a circle; at each angle the overlap of the
shape with its mirror image is, for every position of the mirror at once, the row-wise convolution of the raster with
itself. `fit_mirror` then refines one axis to a fraction of a degree: the mirrored rim is matched to the rim (iterated
closest point, point to line: Chen and Medioni 1992, Image and Vision Computing 10, 145-155) under a robust loss
(Geman and McClure), so that a missing or shorter limb, a tear or a trimmed corner pulls little. The axis may sag
gently where the hide was laid crooked; its straight chord stays the axis.

Lengths here are in units of the square root of the outline's area, so one set of numbers serves a goat and an ox.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points, counter_clockwise, outward_normals, perimeter, resample
from hidescan.settings import SymmetrySettings

__all__ = [
    "Mirror",
    "UnitOutline",
    "from_axis_frame",
    "mirror_axes",
    "mirror_fit",
    "mirror_frame",
    "moments",
    "to_axis_frame",
    "unit_outline",
]


@dataclass(frozen=True, slots=True, eq=False)
class UnitOutline:
    """An outline brought to area 1 about its centroid.

    Attributes
    ----------
    points, normals
        Evenly spaced points (N, 2), counter-clockwise, and unit normals pointing out.
    long_axis_deg
        Direction of the long principal axis.
    centre_mm, scale_mm
        Centroid (2,) and square root of the area: mm = centre + scale x unit.
    """

    points: Points
    normals: Points
    long_axis_deg: float
    centre_mm: NDArray[np.float64]
    scale_mm: float

    def to_mm(self, points: Points) -> Points:
        """Carry points back to the outline's own frame."""
        return self.centre_mm + self.scale_mm * points


@dataclass(frozen=True, slots=True)
class Mirror:
    """A mirror axis of an outline of area 1 centred on the origin.

    Attributes
    ----------
    angle_deg
        Direction of the axis, counter-clockwise from +x; the axis has no sense, +180 is the same.
    offset
        Distance of the axis's chord from the origin, positive to the right of its direction.
    sag
        Greatest distance of the curved axis from its chord, positive to the right.
    low, high
        Where along the axis the outline begins and ends; the sag runs over this span.
    overlap
        Share of the area that the straight mirrored raster covers, at best 1.
    agreement
        Mean closeness of the mirrored rim to the rim, at best 1.
    angle_sd_deg
        Standard deviation of the angle.
    """

    angle_deg: float
    offset: float
    sag: float
    low: float
    high: float
    overlap: float
    agreement: float
    angle_sd_deg: float

    def bow(self, y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Shape of the sag along the axis: a parabola, 0 at both ends of the outline and 1 midway."""
        t = np.clip((y - self.low) / (self.high - self.low), 0.0, 1.0)
        return 4 * t * (1 - t)


def moments(ring: Points) -> tuple[float, NDArray[np.float64], NDArray[np.float64]]:
    """Area, centroid (2,) and second central moments per area (2, 2) of a simple polygon.

    Green's theorem over the edges (Steger 1996, On the calculation of moments of polygons; formulas from memory,
    checked against closed forms in the tests).
    """
    origin = ring.mean(axis=0)
    x0, y0 = (ring - origin).T
    x1, y1 = np.roll(x0, -1), np.roll(y0, -1)
    cross = x0 * y1 - x1 * y0
    area = cross.sum() / 2
    centre = np.array([((x0 + x1) * cross).sum(), ((y0 + y1) * cross).sum()]) / (6 * area)
    xx = ((x0 * x0 + x0 * x1 + x1 * x1) * cross).sum() / (12 * area) - centre[0] ** 2
    yy = ((y0 * y0 + y0 * y1 + y1 * y1) * cross).sum() / (12 * area) - centre[1] ** 2
    xy = ((x0 * y1 + 2 * x0 * y0 + 2 * x1 * y1 + x1 * y0) * cross).sum() / (24 * area) - centre[0] * centre[1]
    return abs(float(area)), origin + centre, np.array([[xx, xy], [xy, yy]])


def unit_outline(ring_mm: Points, settings: SymmetrySettings) -> UnitOutline:
    """Bring a ring (N, 2), either direction, to area 1 about its centroid, with evenly spaced points."""
    area_mm2, centre_mm, second = moments(ring_mm)
    scale_mm = float(np.sqrt(area_mm2))
    unit = counter_clockwise((ring_mm - centre_mm) / scale_mm)
    # Start at the vertex farthest out: wherever the ring began and whichever way it ran, the points are the same.
    unit = np.roll(unit, -int((unit**2).sum(axis=1).argmax()), axis=0)
    points = resample(unit, perimeter(unit) / settings.points)
    long_axis = np.linalg.eigh(second)[1][:, 1]
    return UnitOutline(
        points, outward_normals(points), float(np.rad2deg(np.arctan2(long_axis[1], long_axis[0]))), centre_mm, scale_mm
    )


def to_axis_frame(points: Points, angle_deg: float) -> Points:
    """Turn points so that the axis runs along +y: columns are (right of the axis, along the axis)."""
    c, s = np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))
    return np.column_stack([points[:, 0] * s - points[:, 1] * c, points[:, 0] * c + points[:, 1] * s])


def from_axis_frame(points: Points, angle_deg: float) -> Points:
    """Undo `to_axis_frame`."""
    c, s = np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))
    return np.column_stack([points[:, 0] * s + points[:, 1] * c, -points[:, 0] * c + points[:, 1] * s])


def mirror_axes(outline: UnitOutline, settings: SymmetrySettings) -> list[tuple[float, float, float]]:
    """Find the axes about which the outline overlaps its mirror image best.

    The sweep starts at the long principal axis, so that a turned outline gives the turned axes.

    Returns
    -------
    list of (angle_deg, offset, overlap)
        Local maxima of the overlap, best first, at most `settings.most_axes`.
    """
    ring, size = outline.points, settings.sweep_raster
    radius = np.linalg.norm(ring, axis=1).max() * 1.02
    per_unit = (size / 2 - 1) / radius
    angles = outline.long_axis_deg + np.arange(0.0, 180.0, settings.sweep_step_deg)
    rasters = np.zeros((len(angles), size, size), np.uint8)
    for raster, angle in zip(rasters, angles, strict=True):
        corners = to_axis_frame(ring, angle) * per_unit + (size - 1) / 2
        cv2.fillPoly(raster, [np.round(corners * 16).astype(np.int32)], 1, lineType=cv2.LINE_8, shift=4)
    spectrum = np.fft.rfft(rasters, n=2 * size, axis=2)
    # Sum over the rows before going back: the overlap for a mirror at column k/2, as a share of the area.
    overlap = np.fft.irfft((spectrum**2).sum(axis=1), n=2 * size, axis=1) / rasters.sum(axis=(1, 2))[:, None]
    at = overlap.argmax(axis=1)
    best = overlap[np.arange(len(angles)), at]
    peaks = np.flatnonzero((best >= np.roll(best, 1)) & (best > np.roll(best, -1)))
    peaks = peaks[np.argsort(best[peaks])[::-1]]
    peaks = peaks[best[peaks] > settings.least_of_best * best.max()]
    offsets = (at / 2 - (size - 1) / 2) / per_unit
    return [(float(angles[k]), float(offsets[k]), float(best[k])) for k in peaks[: settings.most_axes]]


def mirror_fit(
    outline: UnitOutline, angle_deg: float, offset: float, overlap: float, settings: SymmetrySettings
) -> Mirror:
    """Refine one mirror axis by matching the mirrored rim to the rim.

    Parameters
    ----------
    angle_deg, offset, overlap : float
        Start, from `mirror_axes`.
    """
    frame, frame_normals = to_axis_frame(outline.points, angle_deg), to_axis_frame(outline.normals, angle_deg)
    half_span = (frame[:, 1].max() - frame[:, 1].min()) / 2
    # turn (rad, counter-clockwise), offset and sag, all as displacements in units of the outline
    state = np.array([0.0, offset, 0.0])
    scale = settings.loose_match
    previous = np.inf
    for _ in range(settings.most_iterations):
        residual, jacobian, weight = _matched(frame, frame_normals, state, scale)
        information, step = _step(residual, jacobian, weight, state, half_span, settings)
        state = state + step
        moved = float(np.abs(step * [half_span, 1.0, 1.0]).max())
        scale = max(settings.tight_match, 0.7 * scale)
        if scale == settings.tight_match and (moved < settings.converged or moved > previous):
            break
        previous = moved if scale == settings.tight_match else np.inf
    residual, jacobian, weight = _matched(frame, frame_normals, state, scale)
    information, _ = _step(residual, jacobian, weight, state, half_span, settings)
    variance = float(weight @ residual**2 / weight.sum()) + settings.tight_match**2 / 100
    # Neighbouring points of the rim err together and the rim is seen twice (point and mirror point).
    sd = np.sqrt(np.linalg.inv(information)[0, 0] * variance) * settings.sd_inflation
    axis_deg = angle_deg + float(np.rad2deg(state[0]))
    along = to_axis_frame(outline.points, axis_deg)[:, 1]
    return Mirror(
        angle_deg=axis_deg,
        offset=float(state[1]),
        sag=float(state[2]),
        low=float(along.min()),
        high=float(along.max()),
        overlap=overlap,
        agreement=float(weight.mean()),
        angle_sd_deg=float(np.rad2deg(sd)),
    )


def _matched(
    frame: Points, normals: Points, state: NDArray[np.float64], scale: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Signed distances of the mirrored rim from the rim, their derivatives (N, 3), and robust weights."""
    turn, offset, sag = state
    c, s = np.cos(turn), np.sin(turn)
    # x: right of the turned axis; y: along it
    x = c * frame[:, 0] + s * frame[:, 1]
    y = -s * frame[:, 0] + c * frame[:, 1]
    low, high = y.min(), y.max()
    t = (y - low) / (high - low)
    bow, slope = 4 * t * (1 - t), sag * 4 * (1 - 2 * t) / (high - low)
    secant = np.sqrt(1 + slope**2)
    nx, ny = 1 / secant, -slope / secant
    off = (x - offset - sag * bow) * nx
    mx, my = x - 2 * off * nx, y - 2 * off * ny
    # back to the start frame
    mirrored = np.column_stack([c * mx - s * my, s * mx + c * my])
    normal_x, normal_y = c * normals[:, 0] + s * normals[:, 1], -s * normals[:, 0] + c * normals[:, 1]
    along = normal_x * nx + normal_y * ny
    rx, ry = normal_x - 2 * along * nx, normal_y - 2 * along * ny
    reflected = np.column_stack([c * rx - s * ry, s * rx + c * ry])
    apart = (mirrored**2).sum(1)[:, None] + (frame**2).sum(1)[None, :] - 2 * mirrored @ frame.T
    # a rim seen from the other side is no match: cost for opposed normals
    apart += scale * (1 - reflected @ normals.T)
    nearest = apart.argmin(axis=1)
    target, normal = frame[nearest], normals[nearest]
    gap = mirrored - target
    residual = (gap * normal).sum(1)
    distance2 = (gap**2).sum(1)
    weight = 1 / (1 + distance2 / scale**2) ** 2
    # d mirrored / d offset = 2 n, / d sag = 2 bow n (the slope's part is second order), / d turn = 2 n y: the
    # reflection about an axis turned by e turns the image by 2 e about the axis's foot.
    n_start = np.column_stack([c * nx - s * ny, s * nx + c * ny])
    push = 2 * (n_start * normal).sum(1)
    swing = np.column_stack([-my, mx - offset]) * 2
    swing_start = np.column_stack([c * swing[:, 0] - s * swing[:, 1], s * swing[:, 0] + c * swing[:, 1]])
    jacobian = np.column_stack([(swing_start * normal).sum(1), push, push * bow])
    return residual, jacobian, weight


def _step(
    residual: NDArray[np.float64],
    jacobian: NDArray[np.float64],
    weight: NDArray[np.float64],
    state: NDArray[np.float64],
    half_span: float,
    settings: SymmetrySettings,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gauss-Newton step and its information matrix; the sag is held to a normal prior about straight."""
    information = jacobian.T @ (weight[:, None] * jacobian)
    prior = len(residual) * (settings.tight_match / (settings.sag_sd * 2 * half_span)) ** 2 * settings.sag_prior_weight
    information[2, 2] += prior
    gradient = jacobian.T @ (weight * residual)
    gradient[2] += prior * state[2]
    information += 1e-9 * np.eye(3)
    return information, np.asarray(-np.linalg.solve(information, gradient), dtype=np.float64)


def mirror_frame(outline: UnitOutline, mirror: Mirror) -> Points:
    """Outline with x to the right of the curved axis and y along its chord."""
    frame = to_axis_frame(outline.points, mirror.angle_deg)
    frame[:, 0] -= mirror.offset + mirror.sag * mirror.bow(frame[:, 1])
    return frame
