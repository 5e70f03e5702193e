"""One hole seen in several photos is one hole: the nearest, squarest view draws it."""

from dataclasses import dataclass

import numpy as np
from shapely.geometry import Polygon

from hidescan.camera import Camera
from hidescan.geometry import Points
from hidescan.join.settings import HoleSettings


@dataclass(frozen=True, slots=True, eq=False)
class SeenHole:
    """A hole as one photo saw it: plan view (M, 2) floor mm, uncertainty of its rim, scale there, confidence."""

    ring_mm: Points
    u_mm: float
    mm_per_px: float
    confidence: float


def merged_holes(
    by_photo: list[list[SeenHole]],
    cameras: tuple[Camera, ...],
    sizes_px: tuple[tuple[int, int], ...],
    settings: HoleSettings,
) -> tuple[SeenHole, ...]:
    """The holes of all photos, each once.

    Two that overlap, but for `near_mm`, are one. Its confidence is the mean over the photos that show the place about
    as well as the best; one that does not find it there says `unfound`.
    """
    groups: list[list[SeenHole]] = []
    for hole in (hole for photo in by_photo for hole in photo):
        grown = Polygon(hole.ring_mm).buffer(settings.near_mm)
        same = [group for group in groups if any(grown.intersects(Polygon(other.ring_mm)) for other in group)]
        groups = [group for group in groups if group not in same] + [[hole, *(h for group in same for h in group)]]
    merged = []
    for group in groups:
        best = min(group, key=lambda hole: hole.mm_per_px)
        shown = sum(_shows(camera, size, best, settings) for camera, size in zip(cameras, sizes_px, strict=True))
        missed = max(0, shown - len(group))
        confidence = (sum(hole.confidence for hole in group) + missed * settings.unfound) / (len(group) + missed)
        if confidence >= settings.least_confidence:
            merged.append(SeenHole(best.ring_mm, best.u_mm, best.mm_per_px, confidence))
    return tuple(merged)


def _shows(camera: Camera, size_px: tuple[int, int], hole: SeenHole, settings: HoleSettings) -> bool:
    """Whether a photo shows the hole, at no much coarser scale than the one that draws it."""
    px = camera.px_from_mm(hole.ring_mm)
    if not bool(((px > 0) & (px < np.array(size_px) - 1.0)).all()):
        return False
    return float(camera.mm_per_px(px.mean(axis=0)[None])[0]) < settings.coarser * hole.mm_per_px
