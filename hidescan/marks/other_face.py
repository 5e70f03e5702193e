"""Two photos of one hide laid on each other by their outlines: the marks of one on the map of the other.

Turned over, a hide shows the mirror image of its outline. The other map's outline, mirrored or as it is, is moved onto
this one
by iterated closest points (Besl and McKay 1992) with the worst fifth of the rim left out of each step, since leather
never lies twice alike (trimmed as by Chetverikov and others 2005). It starts from both back lines and from the turns
that an unknown or mistaken back line leaves open; the start that ends with the most area shared wins.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points, resample, rotation_2d
from hidescan.hide_map.model import HideMap
from hidescan.marks.matching import GivenMark
from hidescan.marks.placement import ring_of
from hidescan.settings import OtherFaceSettings


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """One outline laid on another.

    Attributes
    ----------
    mirrored
        Whether the other outline was mirrored first (x -> -x).
    rotation, shift_mm
        (2, 2) and (2,): where a point of the other hide, mirrored if so, lies on this one.
    shared
        Intersection over union of the two outlines.
    apart_mm
        Root mean square distance of the rims.
    """

    mirrored: bool
    rotation: NDArray[np.float64]
    shift_mm: NDArray[np.float64]
    shared: float
    apart_mm: float

    def on_this(self, points_mm: Points) -> Points:
        """Points of the other hide in this hide's frame, (N, 2)."""
        turned = points_mm * (-1.0, 1.0) if self.mirrored else points_mm
        return np.asarray(turned @ self.rotation.T + self.shift_mm)


def laid_on(this: HideMap, other: HideMap, settings: OtherFaceSettings) -> Laid | NotFound:
    """Lay another map's outline on this one's.

    Two maps that both name the same face are two photos of it, two that name both faces show the hide turned over.
    Where a face is unknown both ways are tried, and the one that fits clearly better is taken.

    Returns
    -------
    The fit; or NotFound, which tells how far the outlines are from agreeing, or asks which face is which.
    """
    here = ring_of(this.outline.hide_mm)
    fits = [_best_fit(this, other, here, mirrored, settings) for mirrored in _ways(this, other)]
    fits.sort(key=lambda laid: -laid.shared)
    best = fits[0]
    if best.shared < settings.least_shared:
        of = "another photo of" if len(fits) > 1 or not best.mirrored else "the other face of"
        return NotFound(
            "outlines-disagree",
            f"The outlines share only {100 * best.shared:.1f} % of their area and lie {best.apart_mm:.0f} mm apart.",
            f"It does not look like {of} the same hide; {100 * settings.least_shared:.0f} % is asked for.",
        )
    also = [
        laid
        for laid in fits[1:]
        if laid.apart_mm < settings.clearly_apart * max(best.apart_mm, settings.least_apart_mm)
    ]
    if also and also[0].shared >= settings.least_shared:
        return NotFound(
            "faces-unclear",
            f"The outlines fit both ways round, {best.apart_mm:.0f} and {also[0].apart_mm:.0f} mm apart.",
            "Say which face each photo shows: hidescan edit MAP --face grain, or --face flesh, for both maps.",
        )
    return best


def _ways(this: HideMap, other: HideMap) -> tuple[bool, ...]:
    """Whether the other outline may be mirrored: as both maps' faces say, else both ways."""
    faces = this.inputs.face, other.inputs.face
    return (True, False) if "unknown" in faces else (faces[0] != faces[1],)


def _best_fit(this: HideMap, other: HideMap, here: Points, mirrored: bool, settings: OtherFaceSettings) -> Laid:
    there = ring_of(other.outline.hide_mm) * ((-1.0, 1.0) if mirrored else (1.0, 1.0))
    starts = _starts(this, other)
    return max((_fit(here, there, mirrored, angle, settings) for angle in starts), key=lambda laid: laid.shared)


def marks_of(other: HideMap, on_this: Callable[[Points], Points]) -> Iterator[GivenMark]:
    """The other map's marks, rejected ones aside, where they lie on this hide.

    What a person confirmed or drew there comes as a person's correction, what was only found as found.
    """
    for mark in other.marks:
        if mark.status != "rejected":
            ring = on_this(ring_of(mark.hide_mm))
            status = None if mark.status in ("confirmed", "added") else mark.status
            yield GivenMark(mark.kind, ring, mark.confidence if status else 1.0, status)


def _starts(this: HideMap, other: HideMap) -> list[float]:
    """Turns to start from, degrees: as the back lines say, or the other way round; all round where one is missing."""
    if "none" in (this.back_line.source, other.back_line.source):
        return list(np.arange(0.0, 360.0, 30.0))
    return [0.0, 180.0]


def _fit(here: Points, there: Points, mirrored: bool, angle_deg: float, settings: OtherFaceSettings) -> Laid:
    from scipy.spatial import KDTree

    target, points = resample(here, settings.target_step_mm), resample(there, settings.step_mm)
    middle = np.array(Polygon(there).centroid.coords[0])
    rotation = rotation_2d(angle_deg)
    shift = np.array(Polygon(here).centroid.coords[0]) - rotation @ middle
    tree = KDTree(target)
    for _ in range(settings.most_rounds):
        moved = points @ rotation.T + shift
        distance, nearest = tree.query(moved)
        near = distance <= np.quantile(distance, settings.kept_share)
        rotation_new, shift_new = _rigid(points[near], target[nearest[near]])
        step = np.abs(points @ (rotation_new - rotation).T + shift_new - shift).max()
        rotation, shift = rotation_new, shift_new
        if step < settings.converged_mm:
            break
    distance, _ = tree.query(points @ rotation.T + shift)
    one, two = Polygon(here), Polygon(there @ rotation.T + shift).buffer(0)
    common = one.intersection(two).area
    shared = common / (one.area + two.area - common)
    return Laid(mirrored, rotation, shift, float(shared), float(np.sqrt(np.mean(distance**2))))


def _rigid(points: Points, target: Points) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The rotation and shift that bring points nearest to their targets (Kabsch 1976)."""
    a, b = points.mean(axis=0), target.mean(axis=0)
    u, _, vt = np.linalg.svd((points - a).T @ (target - b))
    flip = np.diag([1.0, np.sign(np.linalg.det(vt.T @ u.T))])
    rotation = vt.T @ flip @ u.T
    return rotation, b - rotation @ a
