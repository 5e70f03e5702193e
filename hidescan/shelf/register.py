"""Hides put on the shelf, described, removed and brought back."""

import hashlib
import sqlite3
import zlib
from dataclasses import dataclass
from datetime import datetime

from hidescan.basics.errors import BadInput
from hidescan.hide_map.json_io import from_json
from hidescan.hide_map.model import HideMap
from hidescan.shelf.database import writing
from hidescan.shelf.deriving import derive
from hidescan.shelf.facts import Facts, Stretching, columns_of
from hidescan.shelf.hides import id_of, id_or_none
from hidescan.shelf.maps import content_of, hide_of, maps_of, parents_of
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


@dataclass(frozen=True, slots=True)
class MapDetails:
    """What is kept with a map: its leather's shade, and whether it was made before or after stretching."""

    shade: Lab | None = None
    stretching: Stretching | None = None


def shelve_map(
    db: sqlite3.Connection,
    name: str,
    data: bytes,
    facts: Facts | None = None,
    details: MapDetails | None = None,
    *,
    label: str | None = None,
    bring_back: bool = False,
) -> tuple[str, bool]:
    """Put a map on the shelf: a new hide, or a further map of the hide that it is of.

    Doing it twice is doing it once: a map that is there already is left as it is.

    Parameters
    ----------
    name
        A new hide's label where `label` is None; with a number after it where it is taken.
    data
        The map's file.
    facts
        What a person states of the hide now: it takes the place of what was stated before, and of what its map holds.
    details
        Of the map itself: the leather's shade, and whether it was made before or after stretching.
    label
        The label that a person gives it now.
    bring_back
        Whether a hide that was removed comes back. If not, it stays off the shelf, with a further map.

    Returns
    -------
    The hide's label, and whether the shelf changed.

    Raises
    ------
    BadInput
        No map, or `label` is that of another hide.
    """
    hide_map = from_json(data, name)
    with writing(db):
        before = db.total_changes
        hide_id = hide_of(db, hide_map)
        if hide_id is None:
            hide_id = _insert(db, _free_label(db, name) if label is None else label, Facts())
        elif label is not None:
            _rename(db, hide_id, label)
        changed = _insert_map(db, hide_id, data, hide_map, details or MapDetails())
        if news := _news(db, hide_id, columns_of(facts or Facts())):
            _set(db, hide_id, news)
            derive(db, hide_id)
        if bring_back:
            db.execute("UPDATE hide SET removed_at = NULL WHERE id = ? AND removed_at IS NOT NULL", (hide_id,))
        kept = db.execute("SELECT label FROM hide WHERE id = ?", (hide_id,)).fetchone()[0]
        return str(kept), changed or db.total_changes > before


def add_map(db: sqlite3.Connection, label: str, data: bytes, details: MapDetails | None = None) -> bool:
    """Give a hide on the shelf a further map, also one that was made from another photo; False where it has it already.

    Raises
    ------
    BadInput
        No such hide, no map, or the map is that of another hide on the shelf.
    """
    hide_map = from_json(data, label)
    with writing(db):
        hide_id, known = id_of(db, label), hide_of(db, hide_map)
        if known is not None and known != hide_id:
            other = db.execute("SELECT label FROM hide WHERE id = ?", (known,)).fetchone()[0]
            raise BadInput(f"{label}: the map is of {other}, which is another hide. Check the file.")
        return _insert_map(db, hide_id, data, hide_map, details or MapDetails())


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
            _rename(db, hide_id, new_label)
        if columns:
            _set(db, hide_id, columns)
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
    details: MapDetails,
) -> bool:
    sha = hashlib.sha256(data).hexdigest()
    if db.execute("SELECT 1 FROM map WHERE hide_id = ? AND sha256 = ?", (hide_id, sha)).fetchone():
        return False
    now = _now()
    made = db.execute(
        "INSERT INTO map (hide_id, sha256, photo_sha256, photo_file, revision, stretching, added_at, area_net_mm2,"
        " json_zlib, hide_uid, parent_uid, taken, added_on) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            hide_id,
            sha,
            hide_map.photo.sha256,
            hide_map.photo.file,
            hide_map.revision,
            details.stretching,
            now,
            hide_map.measures.area_net.value,
            zlib.compress(data),
            hide_map.hide_id,
            hide_map.parent_id,
            hide_map.photo.taken,
            now[:10],
        ),
    )
    is_newest = maps_of(db, hide_id)[-1].id == made.lastrowid
    if details.shade is not None and (is_newest or _column_of(db, hide_id, "shade_l") is None):
        db.execute("UPDATE hide SET shade_l = ?, shade_a = ?, shade_b = ? WHERE id = ?", (*details.shade, hide_id))
    if given := _given_in(db, hide_id, hide_map, is_newest=is_newest):
        _set(db, hide_id, given)
    for affected in (hide_id, *parents_of(db, hide_id)):
        derive(db, affected)
    return True


def _given_in(
    db: sqlite3.Connection, hide_id: int, hide_map: HideMap, *, is_newest: bool
) -> dict[str, str | float | int]:
    """What a map says of its hide that was not known, or was given anew since the map before it."""
    rows = maps_of(db, hide_id)
    before = content_of(db, rows[-2].id).inputs if is_newest and len(rows) > 1 else None
    found: dict[str, str | float | int] = {}
    for name in ("species", "tannage", "state", "thickness_mm"):
        value = getattr(hide_map.inputs, name)
        anew = before is not None and getattr(before, name) not in (None, value)
        if value is not None and (anew or _column_of(db, hide_id, name) is None):
            found[name] = value
    return found


def _column_of(db: sqlite3.Connection, hide_id: int, column: str) -> object:
    return db.execute(f"SELECT {column} FROM hide WHERE id = ?", (hide_id,)).fetchone()[0]


def _news(db: sqlite3.Connection, hide_id: int, columns: dict[str, str | float | int]) -> dict[str, str | float | int]:
    """Of what is stated now, what the shelf does not hold already."""
    return {name: value for name, value in columns.items() if _column_of(db, hide_id, name) != value}


def _set(db: sqlite3.Connection, hide_id: int, columns: dict[str, str | float | int]) -> None:
    pairs = ", ".join(f"{name} = :{name}" for name in columns)
    db.execute(f"UPDATE hide SET {pairs} WHERE id = :id", {**columns, "id": hide_id})


def _rename(db: sqlite3.Connection, hide_id: int, label: str) -> None:
    name = _checked_label(label)
    if db.execute("SELECT 1 FROM hide WHERE label = ? AND id <> ?", (name, hide_id)).fetchone():
        raise BadInput(f"{name}: there is another hide of that label, or one that was removed.")
    if _column_of(db, hide_id, "label") != name:
        _set(db, hide_id, {"label": name})


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
    """Now, by the local clock, as days of cuts are: one history, one clock."""
    return datetime.now().astimezone().isoformat(timespec="seconds")
