"""What is cut from the hides on the shelf, noted and taken back."""

import sqlite3
from datetime import date

import shapely

from hidescan.basics.errors import BadInput
from hidescan.basics.units import format_area
from hidescan.figures.clear import clear_leather
from hidescan.settings import Settings
from hidescan.shelf.database import writing
from hidescan.shelf.deriving import derive
from hidescan.shelf.hides import id_of
from hidescan.shelf.maps import MapRow, content_of, maps_of, newest_of
from hidescan.shelf.parsing import PlacedPieces
from hidescan.shelf.taken_out import carried, net_of, taken_out

# Pieces may touch the rim or each other: rounding in the files, and what the search allows.
_SLACK_MM = 0.1
_ROUNDING = 1e-6


def cut(
    db: sqlite3.Connection,
    label: str,
    what: str,
    leather: float | PlacedPieces,
    *,
    count: int = 1,
    cut_on: date | None = None,
    units: str = "ft",
) -> None:
    """Note what was cut from a hide.

    A map of a photo that was taken on that day or later shows the hide without it.

    Parameters
    ----------
    leather
        Area of all of it together, mm2; or where it lay, in the hide frame of one of its maps: then it is known which
        rectangles still fit.
    cut_on
        The day; today where it is not said.
    units
        In which what is left is named where it is too little.

    Raises
    ------
    BadInput
        No such hide, no area, more than is left of it, or a place that is off the hide or where
        something was cut already.
    """
    placed = leather if isinstance(leather, PlacedPieces) else None
    area = leather.hide_mm.area if isinstance(leather, PlacedPieces) else leather
    if not area > 0:
        raise BadInput(f"{label}: say how much was cut, as an area or as the placed pieces.")
    with writing(db):
        hide_id = id_of(db, label)
        newest = newest_of(db, hide_id)
        on = newest if placed is None else _map_under(db, label, hide_id, placed)
        left = db.execute("SELECT area_left_mm2 FROM hide WHERE id = ?", (hide_id,)).fetchone()[0]
        wanted = area if placed is None or newest is None else _usable_taken(db, label, hide_id, placed, on, newest)
        if left is not None and wanted > left * (1 + _ROUNDING):
            raise BadInput(f"{label}: only {format_area(left, units)} are left of it. Check the area.")
        db.execute(
            "INSERT INTO cut (hide_id, what, count, area_mm2, map_id, hide_wkb, cut_on) VALUES (?, ?, ?, ?, ?, ?, ?)",
            (
                hide_id,
                what,
                count,
                area,
                None if on is None else on.id,
                None if placed is None else shapely.to_wkb(placed.hide_mm),
                (cut_on or date.today()).isoformat(),
            ),
        )
        derive(db, hide_id)


def pieces_on(db: sqlite3.Connection, label: str, pieces: tuple[PlacedPieces, ...]) -> PlacedPieces:
    """Return which of the pieces of a placing, one for each of its hides, lie on a hide.

    Raises
    ------
    BadInput
        No such hide, or none of them was placed on one of its maps.
    """
    own = {row.sha256 for row in maps_of(db, id_of(db, label))}
    found = [one for one in pieces if one.map_sha256 is None or one.map_sha256 in own]
    if not found:
        raise BadInput(
            f"{label}: the pieces were placed on another hide, or on a map that is not on the shelf. Add it."
        )
    return found[-1]


def _map_under(db: sqlite3.Connection, label: str, hide_id: int, placed: PlacedPieces) -> MapRow:
    """The map in whose frame pieces were placed: the very one that is named, else the newest of the photo named."""
    rows = maps_of(db, hide_id)
    if not rows:
        raise BadInput(f"{label}: has no map to place pieces on. Give the area.")
    if placed.map_sha256 is not None:
        rows = tuple(row for row in rows if row.sha256 == placed.map_sha256)
    elif placed.photo_sha256 is not None:
        rows = tuple(row for row in rows if row.photo_sha256 == placed.photo_sha256)
    if not rows:
        raise BadInput(
            f"{label}: the pieces were not placed on any of its maps. Add the map, or place the pieces again."
        )
    return rows[-1]


def _usable_taken(
    db: sqlite3.Connection, label: str, hide_id: int, placed: PlacedPieces, on: MapRow | None, newest: MapRow
) -> float:
    """How much of what is left of a hide pieces take at their place, mm2.

    Raises
    ------
    BadInput
        They lie off the hide, or where something was cut already.
    """
    assert on is not None
    map_under, pieces = content_of(db, on.id), placed.hide_mm
    if pieces.difference(net_of(map_under).buffer(_SLACK_MM)).area > 0:
        raise BadInput(f"{label}: some of the pieces lie off the hide. Were they placed on another one?")
    if on.photo_sha256 != newest.photo_sha256:
        return float(pieces.area)
    hide_map = map_under if on.id == newest.id else content_of(db, newest.id)
    pieces = pieces if on.id == newest.id else carried(pieces, map_under, hide_map)
    gone = taken_out(db, hide_id, newest, hide_map).placed_mm
    if pieces.buffer(-_SLACK_MM).intersection(gone.buffer(-_SLACK_MM)).area > 0:
        raise BadInput(
            f"{label}: something was cut there already. Take that back with --undo, or place them elsewhere."
        )
    return float(clear_leather(hide_map, Settings().usable).difference(gone).intersection(pieces).area)


def undo_cut(db: sqlite3.Connection, label: str) -> str:
    """Take back what was noted last as cut from a hide; returns what it was.

    Raises
    ------
    BadInput
        Nothing was cut from it.
    """
    with writing(db):
        hide_id = id_of(db, label)
        last = db.execute("SELECT id, what FROM cut WHERE hide_id = ? ORDER BY id DESC LIMIT 1", (hide_id,)).fetchone()
        if last is None:
            raise BadInput(f"{label}: nothing was cut from it.")
        db.execute("DELETE FROM cut WHERE id = ?", (last[0],))
        derive(db, hide_id)
        return str(last[1])
