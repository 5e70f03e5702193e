"""What photos taken so far show of a hide together, and which side of its rim they leave out."""

from dataclasses import dataclass

import numpy as np

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points
from hidescan.camera.model import Camera
from hidescan.join.bundle import Joint, solve_joint
from hidescan.join.moved import moved_card
from hidescan.join.region_vote import Cover, SeenRim, joined_cover, missing_stretches
from hidescan.join.settings import JoinSettings
from hidescan.join.views import View
from hidescan.settings import PlaneSettings

_SIDES = ("right", "bottom", "left", "top")


@dataclass(frozen=True, slots=True, eq=False)
class Coverage:
    """The photos' cameras over one floor, the region that they show, and stretches of its rim that none sees beyond.

    `missing` are (n, 2) floor mm, the longest first.
    """

    joint: Joint
    cameras: tuple[Camera, ...]
    cover: Cover
    missing: tuple[Points, ...]


@dataclass(frozen=True, slots=True)
class Unseen:
    """A stretch that is missing: at which side of the first photo, near which card, how much of the edge."""

    side: str
    card: int
    length_mm: float


def coverage(
    views: tuple[View, ...], rims: tuple[SeenRim, ...], join: JoinSettings, plane: PlaneSettings
) -> Coverage | NotFound:
    """Bring photos of one hide, one or more, onto one floor; or say why that cannot be: see `solve_joint`, `moved`."""
    joint = solve_joint(views, join.bundle, plane)
    if isinstance(joint, NotFound):
        return joint
    if (refusal := moved_card(joint, join.bundle)) is not None:
        return refusal
    cameras = tuple(joint.camera(k) for k in range(len(views)))
    cover = joined_cover(cameras, joint.sizes_px, rims, join.cover)
    return Coverage(joint, cameras, cover, tuple(missing_stretches(cover, join.cover)))


def unseen(seen: Coverage) -> list[Unseen]:
    """The missing stretches in words' terms, those at one side near one card taken together, the longest first."""
    lengths: dict[tuple[str, int], float] = {}
    for run in seen.missing:
        at = run.mean(axis=0)
        card = min(seen.joint.places, key=lambda place: float(np.linalg.norm(place.centre_mm - at)))
        middle = seen.cover.ring_mm.mean(axis=0)
        way = np.diff(seen.cameras[0].px_from_mm(np.array([middle, at])), axis=0)[0]
        side = _SIDES[round(float(np.arctan2(way[1], way[0])) / (np.pi / 2)) % 4]
        length = float(np.linalg.norm(np.diff(run, axis=0), axis=1).sum())
        lengths[side, card.number] = lengths.get((side, card.number), 0.0) + length
    return sorted((Unseen(*key, length) for key, length in lengths.items()), key=lambda part: -part.length_mm)
