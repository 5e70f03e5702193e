"""One mark seen in several photos is one mark: the nearest, squarest view draws it."""

from dataclasses import dataclass

import numpy as np
from shapely.geometry import Polygon

from hidescan.basics.geometry import Points
from hidescan.camera.model import Camera
from hidescan.hide_map.model import MarkKind
from hidescan.join.settings import MarkSettings


@dataclass(frozen=True, slots=True, eq=False)
class SeenMark:
    """A mark as photo `photo` saw it: plan view (M, 2) floor mm, uncertainty of its rim, scale there, confidence."""

    kind: MarkKind
    photo: int
    ring_mm: Points
    u_mm: float
    mm_per_px: float
    confidence: float


def merged_marks(
    seen: list[SeenMark],
    cameras: tuple[Camera, ...],
    sizes_px: tuple[tuple[int, int], ...],
    settings: MarkSettings,
) -> tuple[SeenMark, ...]:
    """The marks of all photos, each once.

    Two of one kind that overlap, but for `near_mm`, are one; of two kinds, if most of both is the same place. It is of
    the kind that the photos hold surest together. Its confidence is the mean over the photos that show the place about
    as well as the best; one that does not find it there says `unfound`.
    """
    groups: list[list[SeenMark]] = []
    for mark in seen:
        same = [group for group in groups if any(_same(mark, other, settings) for other in group)]
        groups = [group for group in groups if group not in same] + [[mark, *(m for group in same for m in group)]]
    return tuple(mark for group in groups for mark in _merged(group, cameras, sizes_px, settings))


def _same(a: SeenMark, b: SeenMark, settings: MarkSettings) -> bool:
    one, other = Polygon(a.ring_mm), Polygon(b.ring_mm)
    if a.kind == b.kind:
        return bool(one.distance(other) < settings.near_mm)
    if a.photo == b.photo or not one.intersects(other):
        return False
    return bool(one.intersection(other).area > settings.retyped_overlap * one.union(other).area)


def _merged(
    group: list[SeenMark], cameras: tuple[Camera, ...], sizes_px: tuple[tuple[int, int], ...], settings: MarkSettings
) -> list[SeenMark]:
    """What a group is: as its finest photo drew it, which may have seen it in two pieces."""
    by_kind: dict[MarkKind, float] = {}
    for mark in group:
        by_kind[mark.kind] = by_kind.get(mark.kind, 0.0) + mark.confidence
    kind = max(by_kind, key=lambda kind: by_kind[kind])
    best = min((mark for mark in group if mark.kind == kind), key=lambda mark: mark.mm_per_px)
    found: dict[int, float] = {}
    for mark in group:
        found[mark.photo] = max(mark.confidence, found.get(mark.photo, 0.0))
    missed = sum(
        k not in found and _shows(camera, size, best, settings)
        for k, (camera, size) in enumerate(zip(cameras, sizes_px, strict=True))
    )
    confidence = (sum(found.values()) + missed * settings.unfound) / (len(found) + missed)
    if confidence < (settings.least_hole_confidence if kind == "hole" else settings.least_confidence):
        return []
    drawn = [mark for mark in group if mark.kind == kind and mark.photo == best.photo]
    return [SeenMark(kind, m.photo, m.ring_mm, m.u_mm, m.mm_per_px, confidence) for m in drawn]


def _shows(camera: Camera, size_px: tuple[int, int], mark: SeenMark, settings: MarkSettings) -> bool:
    """Whether a photo shows the mark, at no much coarser scale than the one that draws it."""
    px = camera.px_from_mm(mark.ring_mm)
    if not bool(((px > 0) & (px < np.array(size_px) - 1.0)).all()):
        return False
    return float(camera.mm_per_px(px.mean(axis=0)[None])[0]) < settings.coarser * mark.mm_per_px
