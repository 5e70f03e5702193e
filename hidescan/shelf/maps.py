"""A hide's maps on the shelf: which hide a map is of, and which of its maps is the newest.

The newest map is that of the photo taken last, and of its maps the one of the highest revision. A photo that does not
say when it was taken counts as taken with the last of those that were there before it. So the order in which dated maps
are added does not matter, and no clock of this program does.
"""

import sqlite3
from dataclasses import dataclass

from hidescan.hide_map.identity import is_offcut, is_same_hide
from hidescan.hide_map.json_io import from_json
from hidescan.hide_map.model import HideMap
from hidescan.shelf.database import unpacked
from hidescan.shelf.facts import Stretching

_COLUMNS = "id, sha256, photo_sha256, revision, stretching, taken, hide_uid, parent_uid"


@dataclass(frozen=True, slots=True)
class MapRow:
    """A map on the shelf without its content. `hide_uid` and `parent_uid` are the ids that the map itself carries."""

    id: int
    sha256: str
    photo_sha256: str
    revision: int
    stretching: Stretching | None
    taken: str | None
    hide_uid: str
    parent_uid: str | None

    @property
    def taken_on(self) -> str | None:
        """The day on which the photo was taken, ISO 8601; None where the photo does not say."""
        return None if self.taken is None else self.taken[:10].replace(":", "-")


def maps_of(db: sqlite3.Connection, hide_id: int) -> tuple[MapRow, ...]:
    """Return a hide's maps, the newest last."""
    added = [
        MapRow(*row) for row in db.execute(f"SELECT {_COLUMNS} FROM map WHERE hide_id = ? ORDER BY id", (hide_id,))
    ]
    photos: dict[str, tuple[str, int, int]] = {}
    last = ""
    for number, row in enumerate(added):
        if row.photo_sha256 not in photos:
            time = row.taken or last
            photos[row.photo_sha256] = time, {"before": -1, "after": 1}.get(row.stretching or "", 0), number
            last = max(last, time)
    return tuple(sorted(added, key=lambda row: (*photos[row.photo_sha256], row.revision, row.id)))


def newest_of(db: sqlite3.Connection, hide_id: int) -> MapRow | None:
    """Return a hide's newest map; None where it has none."""
    rows = maps_of(db, hide_id)
    return rows[-1] if rows else None


def content_of(db: sqlite3.Connection, map_id: int) -> HideMap:
    """Return a map on the shelf."""
    packed, file = db.execute("SELECT json_zlib, photo_file FROM map WHERE id = ?", (map_id,)).fetchone()
    return from_json(unpacked(packed, None, f"The map of {file}"), "the shelf")


def hide_of(db: sqlite3.Connection, hide_map: HideMap) -> int | None:
    """Return the hide, on the shelf or removed from it, that a map is of; None where it is not there.

    It is known by the map's own id; the map of a photo that is there already also by its outline, which a second hide
    in the photo does not share.
    """
    row = db.execute(
        "SELECT hide.id FROM map JOIN hide ON hide.id = map.hide_id WHERE map.hide_uid = ?"
        " ORDER BY hide.removed_at IS NOT NULL, map.id DESC LIMIT 1",
        (hide_map.hide_id,),
    ).fetchone()
    if row is not None or is_offcut(hide_map):
        return None if row is None else int(row[0])
    same_photo = db.execute(
        "SELECT hide.id, max(map.id) FROM map JOIN hide ON hide.id = map.hide_id"
        " WHERE map.photo_sha256 = ? AND map.parent_uid IS NULL GROUP BY hide.id ORDER BY hide.removed_at IS NOT NULL",
        (hide_map.photo.sha256,),
    ).fetchall()
    return next((int(hide) for hide, map_id in same_photo if is_same_hide(content_of(db, map_id), hide_map)), None)


def parents_of(db: sqlite3.Connection, hide_id: int) -> list[int]:
    """Return the hides on the shelf, or removed from it, that a hide is an offcut of."""
    rows = db.execute(
        "SELECT DISTINCT parent.hide_id FROM map JOIN map AS parent ON parent.hide_uid = map.parent_uid"
        " WHERE map.hide_id = ? AND parent.hide_id <> map.hide_id",
        (hide_id,),
    )
    return [int(row[0]) for row in rows]


def offcuts_of(db: sqlite3.Connection, hide_id: int) -> list[int]:
    """Return the offcuts of a hide, on the shelf or removed from it, in the order they were added."""
    rows = db.execute(
        "SELECT DISTINCT offcut.hide_id FROM map JOIN map AS offcut ON offcut.parent_uid = map.hide_uid"
        " WHERE map.hide_id = ? AND offcut.hide_id <> map.hide_id ORDER BY offcut.hide_id",
        (hide_id,),
    )
    return [int(row[0]) for row in rows]
