"""What was taken out of a hide: pieces cut from it, and offcuts that are hides of their own now."""

import sqlite3
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from hidescan.basics.geometry import polygonal
from hidescan.hide_map.identity import is_offcut
from hidescan.hide_map.model import HideMap
from hidescan.shelf.maps import MapRow, content_of, maps_of, offcuts_of


@dataclass(frozen=True, slots=True, eq=False)
class TakenOut:
    """What a hide's newest map still shows of what has gone.

    Attributes
    ----------
    placed_mm
        Where, as far as it is known, in the hide frame of the newest map.
    elsewhere_mm2
        Area of what was cut at places that are not known in that frame, mm2.
    cuts
        Ids of the cuts that count here; the others are older than the photo, which shows the hide without them.
    """

    placed_mm: MultiPolygon
    elsewhere_mm2: float
    cuts: frozenset[int]


def taken_out(db: sqlite3.Connection, hide_id: int, newest: MapRow, hide_map: HideMap) -> TakenOut:
    """Return what was taken out of a hide since the photo of its newest map.

    Parameters
    ----------
    newest, hide_map
        The hide's newest map and its content.
    """
    placed, elsewhere, counting = list[BaseGeometry](), 0.0, set[int]()
    rows = {row.id: row for row in maps_of(db, hide_id)}
    for cut_id, area_mm2, wkb, map_id, cut_on in db.execute(
        "SELECT id, area_mm2, hide_wkb, map_id, cut_on FROM cut WHERE hide_id = ? ORDER BY id", (hide_id,)
    ).fetchall():
        on = rows.get(map_id)
        if not _still_shown(newest, on, cut_on):
            continue
        counting.add(cut_id)
        if wkb is None or on is None or on.photo_sha256 != newest.photo_sha256:
            elsewhere += area_mm2
            continue
        pieces = shapely.from_wkb(wkb)
        placed.append(pieces if on.id == newest.id else carried(pieces, content_of(db, on.id), hide_map))
    for offcut_id in offcuts_of(db, hide_id):
        own = next(row for row in maps_of(db, offcut_id) if row.parent_uid is not None)
        added_on = db.execute("SELECT added_on FROM map WHERE id = ?", (own.id,)).fetchone()[0]
        if own.photo_sha256 == newest.photo_sha256:
            offcut = content_of(db, own.id)
            placed.append(carried(net_of(offcut), offcut, hide_map))
        elif _still_shown(newest, own, added_on):
            elsewhere += content_of(db, own.id).measures.area_usable.value
    union = polygonal(shapely.union_all(placed)) if placed else MultiPolygon()
    return TakenOut(union, elsewhere, frozenset(counting))


def net_of(hide_map: HideMap) -> Polygon:
    """Return a map's outline with its through holes, in its hide frame."""
    rings = hide_map.outline.hide_mm.coordinates
    return Polygon(rings[0], rings[1:])


def carried(region: BaseGeometry, old: HideMap, new: HideMap) -> BaseGeometry:
    """Return a region in the hide frame of another map of the same photo: by way of the photo, on the upper face.

    An offcut lies at the height of its parent's upper face, whatever the mean of its own zones is.
    """
    seen, measured = old.camera_over_hide(), new.camera_over_hide()
    new_mm = new.upper_face_mm()
    old_mm = new_mm if is_offcut(old) else old.upper_face_mm()
    moved = shapely.transform(
        region, lambda points: measured.mm_from_px(seen.px_from_mm(np.asarray(points), old_mm), new_mm)
    )
    return moved if moved.is_valid else shapely.make_valid(moved)


def _still_shown(newest: MapRow, noted_on: MapRow | None, cut_on: str) -> bool:
    """Whether the newest photo shows leather that is gone: it is the one that was cut by, or was taken before that day.

    A photo that does not say when it was taken, and another than the one that was cut by, is taken for a later one.
    """
    if noted_on is not None and noted_on.photo_sha256 == newest.photo_sha256:
        return True
    return newest.taken_on is not None and newest.taken_on < cut_on
