"""The camera: pinhole with two radial distortion terms, over a floor plane.

Frames. Floor frame: mm, x right, y up, z up from the floor, right-handed, origin and direction those of the first
card. Camera frame: x right, y down, z along the view, as in OpenCV. Pixels: upright photo, centres at integers.

Model (Brown 1971, radial part; the same as OpenCV's k1, k2): a floor point X has camera coordinates R X + t, normalised
coordinates n = (x / z, y / z), distorted n (1 + k1 r^2 + k2 r^4) with r = |n|, and pixel f n_d + principal point.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points


@dataclass(frozen=True, slots=True, eq=False)
class Camera:
    """A camera over the floor.

    Attributes
    ----------
    focal_px
        Focal length, px (square pixels).
    k1, k2
        Radial distortion, dimensionless, on normalised coordinates.
    principal_point_px
        Where the optical axis meets the picture, (2,).
    rotation
        (3, 3), camera from floor.
    translation_mm
        (3,), camera from floor.
    """

    focal_px: float
    k1: float
    k2: float
    principal_point_px: Points
    rotation: NDArray[np.float64]
    translation_mm: NDArray[np.float64]

    @property
    def centre_mm(self) -> NDArray[np.float64]:
        """Where the camera stands in the floor frame, (3,)."""
        return -self.rotation.T @ self.translation_mm

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and straight down."""
        return float(np.rad2deg(np.arccos(np.clip(-self.rotation[2, 2], -1.0, 1.0))))

    def px_from_mm(self, xyz_mm: Points, z_mm: float | NDArray[np.float64] = 0.0) -> Points:
        """Project floor-frame points.

        Parameters
        ----------
        xyz_mm
            (N, 3), or (N, 2) for points at height `z_mm` (one for all, or (N,)).

        Returns
        -------
        (N, 2) upright photo pixels. Points behind the camera give NaN.
        """
        points = np.asarray(xyz_mm, dtype=np.float64)
        if points.shape[1] == 2:
            points = np.column_stack([points, np.broadcast_to(z_mm, len(points))])
        in_camera = points @ self.rotation.T + self.translation_mm
        depth = np.where(in_camera[:, 2:] > 0, in_camera[:, 2:], np.nan)
        return self.focal_px * distort(in_camera[:, :2] / depth, self.k1, self.k2) + self.principal_point_px

    def rays(self, px: Points) -> NDArray[np.float64]:
        """Directions in the floor frame along which pixels look, (N, 3), not normalised (camera z = 1)."""
        normalised = undistort((np.asarray(px) - self.principal_point_px) / self.focal_px, self.k1, self.k2)
        return np.column_stack([normalised, np.ones(len(normalised))]) @ self.rotation

    def mm_from_px(self, px: Points, z_mm: float | NDArray[np.float64] = 0.0) -> Points:
        """Where the pixels' rays meet the plane at height `z_mm` (one for all, or (N,)).

        Returns
        -------
        (N, 2) floor-frame mm. Rays that never meet the plane (at or above the horizon) give NaN.
        """
        ray = self.rays(px)
        centre = self.centre_mm
        down = np.where(ray[:, 2] < 0, ray[:, 2], np.nan)
        xy_mm: Points = centre[:2] + ray[:, :2] * ((z_mm - centre[2]) / down)[:, None]
        return xy_mm

    def mm_per_px(self, px: Points) -> NDArray[np.float64]:
        """Ground size of a pixel, mm: square root of the area that one pixel covers on the floor, (N,)."""
        px = np.asarray(px, dtype=np.float64)
        dx = self.mm_from_px(px + (0.5, 0.0)) - self.mm_from_px(px - (0.5, 0.0))
        dy = self.mm_from_px(px + (0.0, 0.5)) - self.mm_from_px(px - (0.0, 0.5))
        size: NDArray[np.float64] = np.sqrt(np.abs(dx[:, 0] * dy[:, 1] - dx[:, 1] * dy[:, 0]))
        return size

    def moved(self, angle_deg: float, origin_mm: Points) -> "Camera":
        """The same camera seen from a new floor frame.

        Parameters
        ----------
        angle_deg
            Direction of the new x axis in the old frame, counter-clockwise.
        origin_mm
            New origin in the old frame, (2,).
        """
        c, s = np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))
        old_from_new = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        shift = np.array([origin_mm[0], origin_mm[1], 0.0])
        return replace(
            self,
            rotation=self.rotation @ old_from_new,
            translation_mm=self.rotation @ shift + self.translation_mm,
        )


def distort(normalised: Points, k1: float, k2: float) -> Points:
    """Apply radial distortion to normalised coordinates, (N, 2) -> (N, 2)."""
    r2 = np.sum(normalised**2, axis=1, keepdims=True)
    distorted: Points = normalised * (1.0 + r2 * (k1 + r2 * k2))
    return distorted


def undistort(distorted: Points, k1: float, k2: float) -> Points:
    """Undo `distort` by Newton's method on the radius, (N, 2) -> (N, 2).

    Points beyond the radius where the model folds back give NaN.
    """
    radius_d = np.linalg.norm(distorted, axis=1)
    radius = radius_d.copy()
    for _ in range(12):  # quadratic convergence: 5 rounds reach 1e-12 for |k1| < 0.2 inside a phone's field of view
        r2 = radius**2
        slope = 1.0 + r2 * (3.0 * k1 + r2 * 5.0 * k2)
        step = (radius * (1.0 + r2 * (k1 + r2 * k2)) - radius_d) / np.where(slope > 0.05, slope, np.nan)
        radius = radius - step
        if not np.any(np.abs(step) > 1e-13):
            break
    scale = np.divide(radius, radius_d, out=np.ones_like(radius), where=radius_d > 1e-12)
    undistorted: Points = distorted * scale[:, None]
    return undistorted
