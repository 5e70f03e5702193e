"""Where a place of the hide lies in its backlit photo, from the two outlines.

A pane is flat, so a homography brings the mapped outline onto the silhouette; it is found by iterated closest points
(Besl and McKay 1992) from several turns and both faces. A hide that hangs is not shaped quite as one that lies: what
is left is a smooth displacement, found as between two maps of one hide (`stretch.matching`).
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points, counter_clockwise, resample, rotation_2d
from hidescan.settings import LightSettings
from hidescan.settings.uses import StretchSettings
from hidescan.stretch.field import Field
from hidescan.stretch.matching import register

Matrix = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Registration:
    """Hide frame to backlit photo.

    Attributes
    ----------
    homography
        (3, 3): hide mm to px of the reduced copy.
    field
        Smooth displacement in the hide frame, before the homography.
    mirrored
        Whether the hide showed its other face.
    misfit_mm
        Root mean square distance of the rims.
    """

    homography: Matrix
    field: Field
    mirrored: bool
    misfit_mm: float

    def px_from_mm(self, points_mm: Points) -> Points:
        """Pixels of the copy, (N, 2), at which places of the hide frame are seen."""
        return _projected(self.homography, points_mm + self.field.moved_mm(points_mm))


def registered(
    outline_mm: Points, ring_px: Points, settings: LightSettings, mirrored: bool | None = None
) -> Registration | NotFound:
    """Lay the mapped outline on the silhouette.

    Parameters
    ----------
    outline_mm
        The map's outer ring, (N, 2).
    ring_px
        The silhouette's rim in the copy, (M, 2).
    mirrored
        Whether the photo shows the face that the map does not; None: as the outlines say.
    """
    from scipy.spatial import cKDTree

    model = resample(outline_mm, settings.rim_step_mm)
    target = resample(ring_px, 2.0)
    tree = cKDTree(target)
    fits = []
    for mirror in (1.0, -1.0):  # the picture's y runs down: an unmirrored hide is flipped by the first
        for angle_deg in np.arange(0.0, 360.0, 30.0):
            fits.append(_similar(model, target, tree, mirror, float(angle_deg)))
    best = sorted([fit for fit in fits if mirrored is None or _is_mirrored(fit[0]) == mirrored], key=lambda fit: fit[1])
    best = best[: settings.starts_kept]
    finer = [_flat(model, target, tree, matrix) for matrix, _ in best]
    homography = min(finer, key=lambda m: _apart(model, m, tree))
    second = counter_clockwise(_projected(np.asarray(np.linalg.inv(homography), dtype=np.float64), target))
    lost = Polygon(outline_mm).symmetric_difference(Polygon(second).buffer(0)).area / Polygon(outline_mm).area
    if lost > 2 * (1 - settings.least_shared):
        return NotFound(
            "outlines-disagree",
            f"The silhouette and the map's outline differ by {100 * lost / 2:.0f} % of the hide.",
            "Give a backlit photo of this very hide, flat and whole, with light showing all round.",
        )
    face = _is_mirrored(homography)
    other = [_apart(model, m, tree) for m in finer if _is_mirrored(m) != face]
    mm_per_px = float(np.sqrt(Polygon(outline_mm).area / Polygon(ring_px).area))
    if other and (min(other) - _apart(model, homography, tree)) * mm_per_px < settings.mirror_margin_mm:
        return NotFound(
            "face-unclear",
            "The outline fits as it is and mirrored alike, so which face was photographed cannot be told.",
            "Give it: --mirrored for the face that the map does not show, --not-mirrored for the map's own.",
        )
    laid = register(outline_mm, second, None, 0.0, StretchSettings(believe_turn=0.0))
    return Registration(homography, laid.field, face, laid.misfit_mm)


def _is_mirrored(matrix: Matrix) -> bool:
    """Whether the hide shows its other face: a picture's y runs down, so the map's own face is turned over."""
    return bool(np.linalg.det(matrix[:2, :2]) > 0)


def _similar(model: Points, target: Points, tree: object, mirror: float, angle_deg: float) -> tuple[Matrix, float]:
    """Similarity by closest points from one start; and how far the rims then are apart, px."""
    flipped = model * (1.0, -mirror)
    scale = np.sqrt(Polygon(target).area / Polygon(model).area)
    A = scale * rotation_2d(angle_deg)
    b = np.array(Polygon(target).centroid.coords[0]) - A @ np.array(Polygon(flipped).centroid.coords[0])
    for _ in range(12):
        moved = flipped @ A.T + b
        near = target[tree.query(moved)[1]]  # type: ignore[attr-defined]
        A, b = _umeyama(flipped, near)
    matrix = np.eye(3)
    matrix[:2, :2], matrix[:2, 2] = A @ np.diag([1.0, -mirror]), b
    return matrix, _apart(model, matrix, tree)


def _flat(model: Points, target: Points, tree: object, matrix: Matrix) -> Matrix:
    """The homography by closest points with the worst fifth left out, from a similarity."""
    for k in range(40):
        distance, nearest = tree.query(_projected(matrix, model))  # type: ignore[attr-defined]
        near = distance <= np.quantile(distance, 0.8)
        if k < 10:  # affine first: eight freedoms from a poor start run away
            lhs = np.column_stack([model[near], np.ones(int(near.sum()))])
            rows = np.linalg.lstsq(lhs, target[nearest[near]], rcond=None)[0].T
            matrix = np.vstack([rows, [0.0, 0.0, 1.0]])
        else:
            found, _ = cv2.findHomography(model[near], target[nearest[near]], 0)
            if found is None:
                break
            matrix = np.asarray(found, dtype=np.float64)
    return matrix


def _umeyama(points: Points, target: Points) -> tuple[Matrix, Points]:
    """The similarity that brings points nearest to their targets (Umeyama 1991), without a reflection."""
    a, b = points.mean(axis=0), target.mean(axis=0)
    u, s, vt = np.linalg.svd((target - b).T @ (points - a))
    flip = np.diag([1.0, np.sign(np.linalg.det(u @ vt))])
    scale = float((s * np.diag(flip)).sum() / ((points - a) ** 2).sum())
    A = scale * (u @ flip @ vt)
    return A, b - A @ a


def _apart(model: Points, matrix: Matrix, tree: object) -> float:
    distance, _ = tree.query(_projected(matrix, model))  # type: ignore[attr-defined]
    return float(np.sqrt(np.mean(np.minimum(distance, np.quantile(distance, 0.95)) ** 2)))


def _projected(matrix: Matrix, points: Points) -> Points:
    h = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(h[:, :2] / h[:, 2:])
