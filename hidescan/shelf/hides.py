"""A hide as the shelf holds it."""

import difflib
import sqlite3
from dataclasses import dataclass, fields
from datetime import datetime

import shapely
from shapely.geometry.base import BaseGeometry

from hidescan.basics.errors import BadInput
from hidescan.shelf.database import unpacked
from hidescan.shelf.facts import Facts, Stretching, price_of
from hidescan.shelf.figures import ZoneFigure
from hidescan.shelf.maps import content_of, maps_of, newest_of, offcuts_of, parents_of
from hidescan.shelf.shade import Lab
from hidescan.shelf.taken_out import taken_out

FIGURES = (
    "form", "length_mm", "width_mm", "area_net_mm2", "area_net_expanded_mm2", "area_usable_mm2", "area_left_mm2",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class MapOnShelf:
    """One of a hide's maps; `stretching` says whether it is from before or after."""

    id: int
    sha256: str
    photo_file: str
    revision: int
    stretching: Stretching | None
    added_at: str
    area_net_mm2: float


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """What was cut from a hide: `hide_mm` is where, in the hide frame of its map, where that is known.

    `deducted` says whether what is left of the hide is without it for that reason; else its newest photo shows it so.
    """

    id: int
    what: str
    count: int
    area_mm2: float
    cut_on: str
    hide_mm: BaseGeometry | None
    deducted: bool


@dataclass(frozen=True, slots=True, eq=False)
class Hide:
    """A hide on the shelf, everything that is kept of it; areas are None while it has no map.

    `maps` are in the order of their photos, the newest last. `offcuts` are the labels of hides that were cut from it,
    `offcut_of` that of the hide it was cut from.
    """

    id: int
    label: str
    facts: Facts
    shade: Lab | None
    form: str | None
    length_mm: float | None
    width_mm: float | None
    area_net_mm2: float | None
    area_net_expanded_mm2: float | None
    area_usable_mm2: float | None
    area_left_mm2: float | None
    readings: tuple[tuple[str, float], ...]
    zones: tuple[ZoneFigure, ...]
    marks: tuple[tuple[str, int], ...]
    maps: tuple[MapOnShelf, ...]
    cuts: tuple[Cut, ...]
    offcuts: tuple[str, ...] = ()
    offcut_of: str | None = None


def hide(db: sqlite3.Connection, label: str) -> Hide:
    """Everything that is kept of a hide.

    Raises
    ------
    BadInput
        No such hide.
    """
    hide_id = id_of(db, label)
    cursor = db.execute("SELECT * FROM hide WHERE id = ?", (hide_id,))
    row = dict(zip((column[0] for column in cursor.description), cursor.fetchone(), strict=True))
    said = {f.name: row[f.name] for f in fields(Facts) if f.name != "price"}
    figures = {name: row[name] for name in FIGURES}
    return Hide(
        id=hide_id,
        label=row["label"],
        facts=Facts(**said, price=price_of(row["price_e4"])),
        shade=None if row["shade_l"] is None else (row["shade_l"], row["shade_a"], row["shade_b"]),
        **figures,
        readings=tuple(readings_of(db, hide_id).items()),
        zones=tuple(
            ZoneFigure(*zone)
            for zone in db.execute(
                "SELECT name, area_mm2, thickness_mm, thickness_u_mm, source FROM zone WHERE hide_id = ?", (hide_id,)
            )
        ),
        marks=tuple(db.execute("SELECT kind, count FROM mark WHERE hide_id = ?", (hide_id,))),
        maps=tuple(_map_on_shelf(db, kept.id) for kept in maps_of(db, hide_id)),
        cuts=_cuts(db, hide_id),
        offcuts=tuple(_label(db, offcut) for offcut in offcuts_of(db, hide_id)),
        offcut_of=next((_label(db, parent) for parent in parents_of(db, hide_id)), None),
    )


def _map_on_shelf(db: sqlite3.Connection, map_id: int) -> MapOnShelf:
    row = db.execute(
        "SELECT id, sha256, photo_file, revision, stretching, added_at, area_net_mm2 FROM map WHERE id = ?", (map_id,)
    ).fetchone()
    # By the local clock, as the days of cuts are: version 0.1.0 kept it by that of Greenwich.
    added_at = datetime.fromisoformat(row[5]).astimezone().isoformat(timespec="seconds")
    return MapOnShelf(row[0], row[1], row[2], row[3], row[4], added_at, row[6])


def _cuts(db: sqlite3.Connection, hide_id: int) -> tuple[Cut, ...]:
    rows = db.execute(
        "SELECT id, what, count, area_mm2, cut_on, hide_wkb FROM cut WHERE hide_id = ? ORDER BY id", (hide_id,)
    ).fetchall()
    newest = newest_of(db, hide_id) if rows else None
    counting = frozenset() if newest is None else taken_out(db, hide_id, newest, content_of(db, newest.id)).cuts
    return tuple(
        Cut(key, what, count, area, cut_on, None if wkb is None else shapely.from_wkb(wkb), key in counting)
        for key, what, count, area, cut_on, wkb in rows
    )


def _label(db: sqlite3.Connection, hide_id: int) -> str:
    return str(db.execute("SELECT label FROM hide WHERE id = ?", (hide_id,)).fetchone()[0])


def map_bytes(db: sqlite3.Connection, map_id: int) -> bytes:
    """The file of a map on the shelf.

    Raises
    ------
    KeyError
        No map of that id.
    """
    row = db.execute("SELECT json_zlib, sha256, photo_file FROM map WHERE id = ?", (map_id,)).fetchone()
    if row is None:
        raise KeyError(map_id)
    return unpacked(row[0], row[1], f"The map of {row[2]}")


def has_map(db: sqlite3.Connection, sha256: str) -> bool:
    """Whether a map is there, also that of a hide that was removed."""
    return db.execute("SELECT 1 FROM map WHERE sha256 = ?", (sha256,)).fetchone() is not None


def readings_of(db: sqlite3.Connection, hide_id: int) -> dict[str, float]:
    """Gauge readings by zone, mm."""
    return dict(db.execute("SELECT zone, thickness_mm FROM reading WHERE hide_id = ? ORDER BY zone", (hide_id,)))


def id_or_none(db: sqlite3.Connection, label: str, *, removed: bool = False) -> int | None:
    """The id of the hide of a label, on the shelf or removed from it."""
    state = "NOT NULL" if removed else "NULL"
    row = db.execute(f"SELECT id FROM hide WHERE label = ? AND removed_at IS {state}", (label.strip(),)).fetchone()
    return None if row is None else int(row[0])


def id_of(db: sqlite3.Connection, label: str) -> int:
    """The id of the hide of a label.

    Raises
    ------
    BadInput
        No such hide.
    """
    found = id_or_none(db, label)
    if found is None:
        known = [str(row[0]) for row in db.execute("SELECT label FROM hide WHERE removed_at IS NULL")]
        near = {name.lower(): name for name in known}
        meant = [near[name] for name in difflib.get_close_matches(label.strip().lower(), near, n=3, cutoff=0.5)]
        advice = f"Did you mean {' or '.join(meant)}?" if meant else "See them with shelf list."
        raise BadInput(f"{label}: there is no hide of that label on the shelf. {advice}")
    return found
