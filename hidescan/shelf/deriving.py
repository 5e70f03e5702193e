"""What questions are asked about, written anew from a hide's newest map, its readings and its cuts."""

import sqlite3
from dataclasses import astuple

from hidescan.figures.clear import clear_leather
from hidescan.settings import Settings
from hidescan.shelf import figures
from hidescan.shelf.hides import FIGURES, readings_of
from hidescan.shelf.maps import content_of, newest_of
from hidescan.shelf.settings import ShelfSettings
from hidescan.shelf.taken_out import taken_out


def derive(db: sqlite3.Connection, hide_id: int) -> None:
    """Write a hide's figures anew; called within a transaction."""
    for table in ("fit", "zone", "mark"):
        db.execute(f"DELETE FROM {table} WHERE hide_id = ?", (hide_id,))
    newest = newest_of(db, hide_id)
    if newest is None:
        return
    hide_map = content_of(db, newest.id)
    usable = clear_leather(hide_map, Settings().usable)
    gone = taken_out(db, hide_id, newest, hide_map)
    left = figures.left_mm(usable, (gone.placed_mm,))
    fitting = figures.rectangles(left, ShelfSettings().fit)
    given = db.execute("SELECT thickness_mm FROM hide WHERE id = ?", (hide_id,)).fetchone()[0]
    zones = figures.zones_of(hide_map, readings_of(db, hide_id), given)
    db.executemany("INSERT INTO fit VALUES (?, ?, ?)", [(hide_id, *pair) for pair in fitting])
    db.executemany("INSERT INTO zone VALUES (?, ?, ?, ?, ?, ?)", [(hide_id, *astuple(zone)) for zone in zones])
    db.executemany("INSERT INTO mark VALUES (?, ?, ?)", [(hide_id, *m) for m in figures.mark_counts(hide_map).items()])
    m = hide_map.measures
    values = (
        hide_map.form.name, m.length.value, m.width.value, m.area_net.value, m.area_net.expanded_uncertainty,
        usable.area, max(left.area - gone.elsewhere_mm2, 0.0),
    )  # fmt: skip
    db.execute(f"UPDATE hide SET {', '.join(f'{name} = ?' for name in FIGURES)} WHERE id = ?", (*values, hide_id))
