"""Each photo's rim as offsets across one base ring.

The base is a closed ring on the floor with evenly spaced points. Across each of them, along its normal, the place where
a photo's rim crosses is read; the photo's rim is brought to the floor from a height that is given for each base point.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points, outward_normals, signed_area
from hidescan.camera.model import Camera
from hidescan.join.region_vote import Array, SeenRim
from hidescan.join.settings import RimSettings


@dataclass(frozen=True, slots=True, eq=False)
class Base:
    """A ring (N, 2) floor mm, counter-clockwise, evenly spaced, and its outward normals (N, 2)."""

    ring_mm: Points
    normals: Points

    @property
    def step_mm(self) -> float:
        """Mean distance of its points."""
        return float(np.linalg.norm(np.roll(self.ring_mm, -1, axis=0) - self.ring_mm, axis=1).mean())


def base_of(ring_mm: Points, smooth: int) -> Base:
    """A base whose normals are those of the ring smoothed over 2 smooth + 1 points."""
    soft = np.mean([np.roll(ring_mm, k, axis=0) for k in range(-smooth, smooth + 1)], axis=0)
    return Base(ring_mm, outward_normals(soft))


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """What one photo says across each base point; NaN where it says nothing.

    Attributes
    ----------
    offset_mm
        (N,) outward from the base to the photo's rim.
    u_mm
        (N,) its standard uncertainty, doubt of the photo's rim included.
    per_height
        (N,) by how much the offset grows when the rim is higher by 1 mm than it was taken to be.
    away
        (N,) whether the leather's edge faces away from the camera, so that its upper edge is seen.
    px
        (N, 2) where in the photo that is.
    px_mm
        (N,) the photo's own u_px as a length on the floor.
    at
        (N,) place along the photo's rim, index with fraction.
    floor_mm
        (M, 2) the photo's whole rim on the floor, as the offsets were read.
    usable
        (M,) which of its points count.
    """

    offset_mm: Array
    u_mm: Array
    per_height: Array
    away: NDArray[np.bool_]
    px: Points
    px_mm: Array
    at: Array
    floor_mm: Points
    usable: NDArray[np.bool_]

    @property
    def seen(self) -> NDArray[np.bool_]:
        """Where the photo says something, (N,)."""
        return np.isfinite(self.offset_mm)


def strip_of(
    camera: Camera,
    rim: SeenRim,
    usable: NDArray[np.bool_],
    base: Base,
    z_low_mm: Array,
    z_high_mm: Array,
    settings: RimSettings,
) -> Strip:
    """Read a photo's rim across a base.

    Parameters
    ----------
    usable
        (M,) which points of the photo's rim count.
    z_low_mm, z_high_mm
        (N,) heights of the leather's lower and upper edge at the base's points.
    """
    from scipy.spatial import cKDTree

    flat = camera.mm_from_px(rim.ring_px, float(np.mean(z_low_mm)))
    _, nearest = cKDTree(base.ring_mm).query(flat)
    foot = camera.centre_mm[:2]
    away = np.sum(base.normals[nearest] * (flat - foot), axis=1) > 0
    floor = camera.mm_from_px(rim.ring_px, np.where(away, z_high_mm[nearest], z_low_mm[nearest]))
    good = usable & np.isfinite(floor).all(axis=1)
    at, offset = _crossings(base, floor, good, settings)
    here = (1 - at % 1)[:, None] * floor[np.floor(at).astype(int) % len(floor)]
    here = here + (at % 1)[:, None] * floor[(np.floor(at).astype(int) + 1) % len(floor)]
    lower, share = np.floor(at).astype(int) % len(floor), at % 1
    upper = (lower + 1) % len(floor)
    px = (1 - share)[:, None] * rim.ring_px[lower] + share[:, None] * rim.ring_px[upper]
    confidence = (1 - share) * rim.confidence[lower] + share * rim.confidence[upper]
    px_mm = ((1 - share) * rim.u_px[lower] + share * rim.u_px[upper]) * _across_mm(camera, px, base.normals)
    return Strip(
        offset,
        np.hypot(px_mm, settings.wrong_mm * (1.0 - confidence)),
        np.sum(base.normals * (here - foot), axis=1) / camera.centre_mm[2],
        np.sum(base.normals * (base.ring_mm - foot), axis=1) > 0,
        px,
        px_mm,
        np.where(np.isfinite(offset), at, np.nan),
        floor,
        good,
    )


def _crossings(base: Base, floor: Points, good: NDArray[np.bool_], settings: RimSettings) -> tuple[Array, Array]:
    """Where a rim crosses each base point's normal: place along the rim (index with fraction) and offset; NaN: nowhere.

    Of the segments about the nearest point the one that crosses nearest counts, and only if it runs the base's way.
    """
    from scipy.spatial import cKDTree

    n, way = len(floor), np.sign(signed_area(floor))
    tangents = np.column_stack([-base.normals[:, 1], base.normals[:, 0]])
    usable = np.where(good[:, None], floor, 1e9)
    _, nearest = cKDTree(usable).query(base.ring_mm)
    reach = max(4, int(settings.reach_mm / max(_median_step(floor), 0.3)))
    around = (nearest[:, None] + np.arange(-reach, reach + 1)) % n
    a, b = usable[around], usable[(around + 1) % n]
    from_base = a - base.ring_mm[:, None]
    along_a = np.einsum("nkj,nj->nk", from_base, tangents)
    along_b = np.einsum("nkj,nj->nk", b - base.ring_mm[:, None], tangents)
    across_a = np.einsum("nkj,nj->nk", from_base, base.normals)
    across_b = np.einsum("nkj,nj->nk", b - base.ring_mm[:, None], base.normals)
    rise = along_b - along_a
    with np.errstate(divide="ignore", invalid="ignore"):
        share = -along_a / rise
        offset = across_a + share * (across_b - across_a)
        cosine = way * rise / np.hypot(rise, across_b - across_a)
    fits = (along_a * along_b <= 0) & (rise != 0) & (cosine > settings.least_cosine)
    fits &= np.abs(offset) < settings.reach_mm
    distance = np.where(fits, np.abs(offset), np.inf)
    best = np.argmin(distance, axis=1)
    rows = np.arange(len(best))
    found = fits[rows, best]
    place = (around[rows, best] + np.clip(share[rows, best], 0.0, 1.0 - 1e-9)) % n
    return np.where(found, place, 0.0), np.where(found, offset[rows, best], np.nan)


def _median_step(floor: Points) -> float:
    return float(np.nanmedian(np.linalg.norm(np.diff(floor, axis=0), axis=1)))


def _across_mm(camera: Camera, px: Points, normals: Points) -> Array:
    """Length on the floor, across the rim, of one pixel across the rim's picture, (N,)."""
    floor = camera.mm_from_px(px)
    tangents = np.column_stack([-normals[:, 1], normals[:, 0]])
    out, along = (camera.px_from_mm(floor + v) - camera.px_from_mm(floor - v) for v in (0.5 * normals, 0.5 * tangents))
    area = np.abs(out[:, 0] * along[:, 1] - out[:, 1] * along[:, 0])  # px2 to the mm2
    return np.asarray(np.linalg.norm(along, axis=1) / np.maximum(area, 1e-9))
