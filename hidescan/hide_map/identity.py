"""Which hide a map is of.

A hide's id is made when it is first mapped, from the photo's content and from where in the photo the hide was pointed
at, so that the same photo and inputs give the same id. Every later map of that hide carries it; an offcut has an id of
its own and names its parent's.
"""

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING

from hidescan.hide_map.model import OFFCUT, XY, HideMap, Ring

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

# Of the smaller of two outlines in one photo: two hides lie beside each other, one mapped twice lies on itself.
SAME_HIDE_OVERLAP = 0.5
ID_LENGTH = 32


def new_hide_id(photo_sha256: str, hide_at_px: XY | None) -> str:
    """Return the id of a hide mapped for the first time, 32 hexadecimal digits.

    Parameters
    ----------
    photo_sha256
        SHA-256 of the photo's file; of the first photo where several were joined.
    hide_at_px
        The photo pixel that picked one of several hides; None where nobody had to.
    """
    where = "" if hide_at_px is None else f"{hide_at_px[0]:.9g},{hide_at_px[1]:.9g}"
    return _digest(f"hide {photo_sha256} {where}")


def new_offcut_id(parent_id: str, ring_px: Ring) -> str:
    """Return the id of an offcut: made from its parent's id and from its rim in the parent's photo."""
    rim = " ".join(f"{x:.9g},{y:.9g}" for x, y in ring_px)
    return _digest(f"offcut {parent_id} {rim}")


def with_identity(hide_map: HideMap) -> HideMap:
    """Return the map with an id: its own, or the one that a map saved by version 0.1.0 would have been given."""
    if hide_map.hide_id:
        return hide_map
    own = new_hide_id(hide_map.photo.sha256, hide_map.inputs.hide_at_px)
    if not is_offcut(hide_map):
        return replace(hide_map, hide_id=own)
    offcut = new_offcut_id(own, hide_map.outline.photo_px.coordinates[0])
    return replace(hide_map, hide_id=offcut, parent_id=own)


def is_offcut(hide_map: HideMap) -> bool:
    """Whether the map was planned as an offcut of another, and not measured."""
    return any(warning.code == OFFCUT for warning in hide_map.warnings)


def is_same_hide(one: HideMap, other: HideMap) -> bool:
    """Whether two maps are of one hide: by its id, or because both outlines lie on each other in the same photo."""
    if one.hide_id and one.hide_id == other.hide_id:
        return True
    if one.parent_id != other.parent_id or one.parent_id is not None or one.photo.sha256 != other.photo.sha256:
        return False
    rims = _rim_px(one), _rim_px(other)
    return bool(rims[0].intersection(rims[1]).area > SAME_HIDE_OVERLAP * min(rims[0].area, rims[1].area))


def shows_hide_at(hide_map: HideMap, at_px: XY) -> bool:
    """Whether a photo pixel lies within the map's outline, holes and all."""
    from shapely.geometry import Point

    return bool(_rim_px(hide_map).intersects(Point(at_px)))


def _rim_px(hide_map: HideMap) -> "BaseGeometry":
    from shapely.geometry import Polygon

    return Polygon(hide_map.outline.photo_px.coordinates[0]).buffer(0)


def _digest(text: str) -> str:
    return hashlib.sha256(f"hidescan {text}".encode()).hexdigest()[:ID_LENGTH]
