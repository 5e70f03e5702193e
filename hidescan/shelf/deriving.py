"""What questions are asked about, written anew from a hide's newest map, its readings and its cuts."""

import sqlite3
import zlib
from dataclasses import astuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from hidescan.figures.clear import clear_leather
from hidescan.hide_map.json_io import from_json
from hidescan.hide_map.model import HideMap
from hidescan.settings import Settings
from hidescan.shelf import figures
from hidescan.shelf.hides import FIGURES, readings_of
from hidescan.shelf.settings import ShelfSettings


def derive(db: sqlite3.Connection, hide_id: int) -> None:
    """Write a hide's figures anew; called within a transaction."""
    for table in ("fit", "zone", "mark"):
        db.execute(f"DELETE FROM {table} WHERE hide_id = ?", (hide_id,))
    newest = db.execute(
        "SELECT id, photo_sha256, json_zlib FROM map WHERE hide_id = ? ORDER BY id DESC LIMIT 1", (hide_id,)
    ).fetchone()
    if newest is None:
        return
    map_id, photo_sha256, packed = newest
    hide_map = _map(packed)
    usable = clear_leather(hide_map, Settings().usable)
    placed, elsewhere_mm2 = placed_cuts(db, hide_id, map_id, photo_sha256, hide_map)
    left = figures.left_mm(usable, placed)
    fitting = figures.rectangles(left, ShelfSettings().fit)
    given = db.execute("SELECT thickness_mm FROM hide WHERE id = ?", (hide_id,)).fetchone()[0]
    zones = figures.zones_of(hide_map, readings_of(db, hide_id), given)
    db.executemany("INSERT INTO fit VALUES (?, ?, ?)", [(hide_id, *pair) for pair in fitting])
    db.executemany("INSERT INTO zone VALUES (?, ?, ?, ?, ?, ?)", [(hide_id, *astuple(zone)) for zone in zones])
    db.executemany("INSERT INTO mark VALUES (?, ?, ?)", [(hide_id, *m) for m in figures.mark_counts(hide_map).items()])
    m = hide_map.measures
    values = (
        hide_map.form.name, m.length.value, m.width.value, m.area_net.value, m.area_net.expanded_uncertainty,
        usable.area, max(left.area - elsewhere_mm2, 0.0),
    )  # fmt: skip
    db.execute(f"UPDATE hide SET {', '.join(f'{name} = ?' for name in FIGURES)} WHERE id = ?", (*values, hide_id))


def placed_cuts(
    db: sqlite3.Connection, hide_id: int, map_id: int, photo_sha256: str, hide_map: HideMap
) -> tuple[list[BaseGeometry], float]:
    """Where the newest map's hide was cut, in its hide frame, and the area of cuts whose place is not known.

    Cuts noted against an earlier photo do not count: the newest photo shows the hide without them.
    """
    rows = db.execute(
        "SELECT cut.area_mm2, cut.hide_wkb, map.id, map.json_zlib FROM cut JOIN map ON map.id = cut.map_id"
        " WHERE cut.hide_id = ? AND map.photo_sha256 = ?",
        (hide_id, photo_sha256),
    ).fetchall()
    elsewhere_mm2 = sum(area for area, wkb, *_ in rows if wkb is None)
    placed = []
    for _, wkb, cut_map_id, packed in rows:
        if wkb is not None:
            pieces = shapely.from_wkb(wkb)
            placed.append(pieces if cut_map_id == map_id else _carried(pieces, _map(packed), hide_map))
    return placed, elsewhere_mm2


def _carried(pieces: BaseGeometry, old: HideMap, new: HideMap) -> BaseGeometry:
    """Geometry from the hide frame of one map to that of another of the same photo, by way of the photo."""
    seen, measured = old.camera_over_hide(), new.camera_over_hide()
    return shapely.transform(pieces, lambda points: measured.mm_from_px(seen.px_from_mm(np.asarray(points))))


def _map(packed: bytes) -> HideMap:
    return from_json(zlib.decompress(packed), "the shelf")
