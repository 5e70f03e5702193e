"""Hides put on the shelf, described, cut from, removed and brought back: everything that writes."""

import hashlib
import sqlite3
import zlib
from dataclasses import replace
from datetime import UTC, date, datetime

import shapely
from shapely.geometry.base import BaseGeometry

from hidescan.basics.errors import BadInput
from hidescan.basics.units import format_area
from hidescan.hide_map.json_io import from_json
from hidescan.hide_map.model import HideMap, Inputs
from hidescan.shelf.database import writing
from hidescan.shelf.deriving import derive
from hidescan.shelf.facts import Facts, Stretching, columns_of
from hidescan.shelf.hides import id_of, id_or_none
from hidescan.shelf.shade import Lab


def add_hide(db: sqlite3.Connection, label: str, facts: Facts) -> int:
    """Put a hide on the shelf, without a map yet; returns its id.

    Raises
    ------
    BadInput
        No label, or one that is taken.
    """
    with writing(db):
        return _insert(db, label, facts)


def shelve_map(
    db: sqlite3.Connection,
    label: str,
    data: bytes,
    facts: Facts | None = None,
    shade: Lab | None = None,
    stretching: Stretching | None = None,
) -> tuple[str, bool]:
    """Put a map on the shelf: a new hide, or the next map of the hide whose photo it is.

    Doing it twice is doing it once: a map that is there already is left as it is.

    Parameters
    ----------
    label
        The new hide's label; with a number after it where it is taken.
    data
        The map's file.
    facts
        What is known of a new hide beyond what its map says.

    Returns
    -------
    The hide's label, and whether the shelf changed.
    """
    hide_map = from_json(data, label)
    with writing(db):
        known = db.execute(
            "SELECT hide.id FROM map JOIN hide ON hide.id = map.hide_id"
            " WHERE photo_sha256 = ? AND removed_at IS NULL ORDER BY map.id DESC LIMIT 1",
            (hide_map.photo.sha256,),
        ).fetchone()
        if known is None:
            hide_id = _insert(db, _free_label(db, label), _with_given(facts or Facts(), hide_map.inputs))
        else:
            hide_id = int(known[0])
        changed = _insert_map(db, hide_id, data, hide_map, shade, stretching)
        return str(db.execute("SELECT label FROM hide WHERE id = ?", (hide_id,)).fetchone()[0]), changed


def add_map(
    db: sqlite3.Connection, label: str, data: bytes, shade: Lab | None = None, stretching: Stretching | None = None
) -> bool:
    """Give a hide on the shelf a further map, its newest from now on; False where it has it already.

    Raises
    ------
    BadInput
        No such hide, or no map.
    """
    hide_map = from_json(data, label)
    with writing(db):
        return _insert_map(db, id_of(db, label), data, hide_map, shade, stretching)


def edit(db: sqlite3.Connection, label: str, facts: Facts, new_label: str | None = None) -> None:
    """Set what is said of a hide; what is None in `facts` stays.

    Raises
    ------
    BadInput
        No such hide, or the new label is taken.
    """
    with writing(db):
        hide_id = id_of(db, label)
        columns = columns_of(facts)
        if new_label is not None:
            columns["label"] = name = _checked_label(new_label)
            if db.execute("SELECT 1 FROM hide WHERE label = ? AND id <> ?", (name, hide_id)).fetchone():
                raise BadInput(f"{name}: there is another hide of that label, or one that was removed.")
        if columns:
            pairs = ", ".join(f"{name} = :{name}" for name in columns)
            db.execute(f"UPDATE hide SET {pairs} WHERE id = :id", {**columns, "id": hide_id})
        derive(db, hide_id)


def read_thickness(db: sqlite3.Connection, label: str, zone: str, thickness_mm: float) -> None:
    """Keep a gauge reading of a part of the hide; a later one takes its place.

    Raises
    ------
    BadInput
        No such hide, or its map has no zone of that name.
    """
    with writing(db):
        hide_id = id_of(db, label)
        zones = [row[0] for row in db.execute("SELECT name FROM zone WHERE hide_id = ?", (hide_id,))]
        if zones and zone.lower() not in (name.lower() for name in zones):
            raise BadInput(f"{label}: has no zone {zone}. Its zones: {', '.join(zones)}.")
        db.execute(
            "INSERT INTO reading (hide_id, zone, thickness_mm) VALUES (?, ?, ?)"
            " ON CONFLICT (hide_id, zone) DO UPDATE SET thickness_mm = excluded.thickness_mm",
            (hide_id, zone.lower(), thickness_mm),
        )
        derive(db, hide_id)


def cut(
    db: sqlite3.Connection,
    label: str,
    what: str,
    *,
    count: int = 1,
    area_mm2: float | None = None,
    hide_mm: BaseGeometry | None = None,
    cut_on: date | None = None,
) -> None:
    """Note what was cut from a hide.

    It is held against the photo that is the hide's newest now; a map of a later photo shows the hide without it.

    Parameters
    ----------
    area_mm2
        Area of all of it together; may be left out where `hide_mm` is given.
    hide_mm
        Where, in the hide frame of its newest map: then it is known which rectangles still fit.

    Raises
    ------
    BadInput
        No such hide, neither area nor place, or more than is left of it.
    """
    area = hide_mm.area if area_mm2 is None and hide_mm is not None else area_mm2
    if area is None or not area > 0:
        raise BadInput(f"{label}: say how much was cut, as an area or as the placed pieces.")
    with writing(db):
        hide_id = id_of(db, label)
        left = db.execute("SELECT area_left_mm2 FROM hide WHERE id = ?", (hide_id,)).fetchone()[0]
        newest = db.execute("SELECT max(id) FROM map WHERE hide_id = ?", (hide_id,)).fetchone()[0]
        if left is not None and area > left:
            raise BadInput(f"{label}: only {format_area(left, 'ft')} are left of it. Check the area.")
        if hide_mm is not None and newest is None:
            raise BadInput(f"{label}: has no map to place pieces on. Give the area.")
        db.execute(
            "INSERT INTO cut (hide_id, what, count, area_mm2, map_id, hide_wkb, cut_on) VALUES (?, ?, ?, ?, ?, ?, ?)",
            (
                hide_id,
                what,
                count,
                area,
                newest,
                None if hide_mm is None else shapely.to_wkb(hide_mm),
                (cut_on or date.today()).isoformat(),
            ),
        )
        derive(db, hide_id)


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


def remove(db: sqlite3.Connection, label: str) -> None:
    """Take a hide off the shelf; `bring_back` undoes it.

    Raises
    ------
    BadInput
        No such hide.
    """
    with writing(db):
        db.execute("UPDATE hide SET removed_at = ? WHERE id = ?", (_now(), id_of(db, label)))


def bring_back(db: sqlite3.Connection, label: str) -> None:
    """Undo a removal.

    Raises
    ------
    BadInput
        No hide of that label was removed.
    """
    with writing(db):
        done = db.execute(
            "UPDATE hide SET removed_at = NULL WHERE label = ? AND removed_at IS NOT NULL", (label.strip(),)
        )
        if done.rowcount == 0:
            raise BadInput(f"{label}: no hide of that label was removed.")


def _insert(db: sqlite3.Connection, label: str, facts: Facts) -> int:
    name = _checked_label(label)
    if id_or_none(db, name) is not None:
        raise BadInput(f"{name}: there is a hide of that label already. Choose another, or use shelf edit.")
    if id_or_none(db, name, removed=True) is not None:
        raise BadInput(f"{name}: was removed. Bring it back with shelf remove {name} --undo, or choose another label.")
    columns = {**columns_of(facts), "label": name, "added_at": _now()}
    done = db.execute(
        f"INSERT INTO hide ({', '.join(columns)}) VALUES ({', '.join(f':{column}' for column in columns)})", columns
    )
    assert done.lastrowid is not None
    return done.lastrowid


def _insert_map(
    db: sqlite3.Connection,
    hide_id: int,
    data: bytes,
    hide_map: HideMap,
    shade: Lab | None,
    stretching: Stretching | None,
) -> bool:
    sha = hashlib.sha256(data).hexdigest()
    if db.execute("SELECT 1 FROM map WHERE hide_id = ? AND sha256 = ?", (hide_id, sha)).fetchone():
        return False
    db.execute(
        "INSERT INTO map (hide_id, sha256, photo_sha256, photo_file, revision, stretching, added_at, area_net_mm2,"
        " json_zlib) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            hide_id,
            sha,
            hide_map.photo.sha256,
            hide_map.photo.file,
            hide_map.revision,
            stretching,
            _now(),
            hide_map.measures.area_net.value,
            zlib.compress(data),
        ),
    )
    if shade is not None:
        db.execute("UPDATE hide SET shade_l = ?, shade_a = ?, shade_b = ? WHERE id = ?", (*shade, hide_id))
    derive(db, hide_id)
    return True


def _with_given(facts: Facts, inputs: Inputs) -> Facts:
    """The facts, completed by what was said when the hide was mapped."""
    return replace(
        facts,
        species=facts.species or inputs.species,
        tannage=facts.tannage or inputs.tannage,
        state=facts.state or inputs.state,
        thickness_mm=facts.thickness_mm or inputs.thickness_mm,
    )


def _checked_label(label: str) -> str:
    name = label.strip()
    if not name or not name.isprintable():
        raise BadInput("a hide's label must be a word or more, on one line.")
    return name


def _free_label(db: sqlite3.Connection, label: str) -> str:
    name, number = _checked_label(label), 1
    while db.execute("SELECT 1 FROM hide WHERE label = ?", (name,)).fetchone():
        number += 1
        name = f"{label.strip()} ({number})"
    return name


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
