"""From the rim as seen to the plan view: what stands above the floor is displaced in the picture.

A point h above the floor, seen at angle a from the vertical, appears h tan(a) further from the camera's foot. Leather
of thickness T whose rim is lifted by L ends in a small wall from L to L + T. Where that wall faces away from the
camera, its top edge is what is seen against the floor; where it faces the camera, its bottom edge is. So each part of
the rim is brought to the plan view from its own height, and the two meet without a step: where the wall runs along the
line of sight, height moves the rim along itself only.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points, counter_clockwise, outward_normals
from hidescan.camera.model import Camera


@dataclass(frozen=True, slots=True)
class Heights:
    """Thickness of the leather and mean lift of its rim over the floor, mm."""

    thickness_mm: float
    lift_mm: float

    def plan_mm(self, camera: Camera, ring_px: Points, away: NDArray[np.bool_]) -> Points:
        """Floor-frame mm of points of a rim, (N, 2), which the leather's edge faces `away` from the camera or not."""
        return camera.mm_from_px(ring_px, self.lift_mm + np.where(away, self.thickness_mm, 0.0))


def plan_view(
    camera: Camera,
    ring_px: Points,
    heights: Heights,
    *,
    hole: bool = False,
    away: NDArray[np.bool_] | None = None,
) -> Points:
    """The plan view of a rim seen in the photo.

    Parameters
    ----------
    ring_px
        (N, 2) outer rim, or the rim of a through hole, either direction.
    hole
        Whether leather lies outside the ring.
    away
        What `faces_away` says of this ring, where it is known already.

    Returns
    -------
    (N, 2) floor-frame mm, counter-clockwise for an outer rim and for a hole alike.
    """
    if away is None:
        away = faces_away(camera, ring_px, hole=hole)
    return counter_clockwise(heights.plan_mm(camera, ring_px, away))


def faces_away(camera: Camera, ring_px: Points, *, hole: bool) -> NDArray[np.bool_]:
    """Whether the leather's edge faces away from the camera at each point of the ring, (N,)."""
    floor = camera.mm_from_px(ring_px)
    turned = counter_clockwise(floor) is not floor
    normals = outward_normals(
        floor
    )  # valid for a counter-clockwise ring; negated for the other direction and for holes
    side = -1.0 if turned != hole else 1.0
    return np.asarray(side * np.sum(normals * (floor - camera.centre_mm[:2]), axis=1) > 0)
