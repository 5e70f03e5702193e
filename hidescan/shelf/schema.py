"""The shelf's tables. A step that has been released is never changed: a change is a further step.

What a question is asked about (the last columns of `hide`, and `fit`, `zone`, `mark`) is derived from the newest map,
the readings and the cuts, and written anew whenever one of them changes.
"""

_HIDE = """CREATE TABLE hide (
    id INTEGER PRIMARY KEY,
    label TEXT NOT NULL UNIQUE COLLATE NOCASE CHECK (label <> ''),
    species TEXT COLLATE NOCASE,
    tannage TEXT COLLATE NOCASE,
    state TEXT COLLATE NOCASE,
    thickness_mm REAL CHECK (thickness_mm > 0),
    shade_l REAL, shade_a REAL, shade_b REAL,
    taken_on TEXT, taken_where TEXT, taken_by TEXT, licence TEXT, received_from TEXT,
    seller TEXT,
    price_e4 INTEGER CHECK (price_e4 >= 0),
    currency TEXT,
    bought_on TEXT,
    notes TEXT,
    added_at TEXT NOT NULL,
    removed_at TEXT,
    form TEXT, length_mm REAL, width_mm REAL,
    area_net_mm2 REAL, area_net_expanded_mm2 REAL, area_usable_mm2 REAL, area_left_mm2 REAL
) STRICT"""

_MAP = """CREATE TABLE map (
    id INTEGER PRIMARY KEY,
    hide_id INTEGER NOT NULL REFERENCES hide ON DELETE CASCADE,
    sha256 TEXT NOT NULL,
    photo_sha256 TEXT NOT NULL,
    photo_file TEXT NOT NULL,
    revision INTEGER NOT NULL,
    stretching TEXT CHECK (stretching IN ('before', 'after')),
    added_at TEXT NOT NULL,
    area_net_mm2 REAL NOT NULL,
    json_zlib BLOB NOT NULL,
    UNIQUE (hide_id, sha256)
) STRICT"""

_READING = """CREATE TABLE reading (
    id INTEGER PRIMARY KEY,
    hide_id INTEGER NOT NULL REFERENCES hide ON DELETE CASCADE,
    zone TEXT NOT NULL COLLATE NOCASE,
    thickness_mm REAL NOT NULL CHECK (thickness_mm > 0),
    UNIQUE (hide_id, zone)
) STRICT"""

_CUT = """CREATE TABLE cut (
    id INTEGER PRIMARY KEY,
    hide_id INTEGER NOT NULL REFERENCES hide ON DELETE CASCADE,
    what TEXT NOT NULL,
    count INTEGER NOT NULL CHECK (count > 0),
    area_mm2 REAL NOT NULL CHECK (area_mm2 > 0),
    map_id INTEGER REFERENCES map,
    hide_wkb BLOB,
    cut_on TEXT NOT NULL
) STRICT"""

_FIT = """CREATE TABLE fit (
    hide_id INTEGER NOT NULL REFERENCES hide ON DELETE CASCADE,
    length_mm REAL NOT NULL,
    width_mm REAL NOT NULL,
    PRIMARY KEY (hide_id, length_mm)
) STRICT, WITHOUT ROWID"""

_ZONE = """CREATE TABLE zone (
    hide_id INTEGER NOT NULL REFERENCES hide ON DELETE CASCADE,
    name TEXT NOT NULL COLLATE NOCASE,
    area_mm2 REAL NOT NULL,
    thickness_mm REAL NOT NULL,
    thickness_u_mm REAL,
    source TEXT NOT NULL,
    PRIMARY KEY (hide_id, name)
) STRICT, WITHOUT ROWID"""

_MARK = """CREATE TABLE mark (
    hide_id INTEGER NOT NULL REFERENCES hide ON DELETE CASCADE,
    kind TEXT NOT NULL,
    count INTEGER NOT NULL,
    PRIMARY KEY (hide_id, kind)
) STRICT, WITHOUT ROWID"""

# Version 0.1.0 took an offcut for a further map of its parent, or of another offcut: it becomes a hide of its own, with
# what was cut by its map.
_OFFCUTS_APART = (
    "CREATE TEMPORARY TABLE apart AS SELECT map.id AS map_id, map.hide_id AS old_id, hide.label || ' offcut ' ||"
    " (SELECT min(id) FROM map AS one WHERE one.hide_id = map.hide_id AND one.hide_uid = map.hide_uid) AS label"
    " FROM map JOIN hide ON hide.id = map.hide_id WHERE map.parent_uid IS NOT NULL AND EXISTS (SELECT 1 FROM map AS"
    " other WHERE other.hide_id = map.hide_id AND other.hide_uid <> map.hide_uid AND (other.parent_uid IS NULL OR"
    " other.id < map.id))",
    "INSERT INTO hide (label, species, tannage, state, thickness_mm, added_at, removed_at) SELECT DISTINCT apart.label,"
    " species, tannage, state, thickness_mm, hide.added_at, removed_at FROM apart JOIN hide ON hide.id = apart.old_id",
    "UPDATE map SET hide_id = (SELECT hide.id FROM hide JOIN apart ON apart.label = hide.label WHERE apart.map_id ="
    " map.id) WHERE id IN (SELECT map_id FROM apart)",
    "UPDATE cut SET hide_id = (SELECT map.hide_id FROM map WHERE map.id = cut.map_id) WHERE map_id IN (SELECT map_id"
    " FROM apart)",
    "DROP TABLE apart",
)

STEPS: tuple[tuple[str, ...], ...] = (
    (
        _HIDE,
        _MAP,
        _READING,
        _CUT,
        _FIT,
        _ZONE,
        _MARK,
        "CREATE INDEX map_of_hide ON map (hide_id)",
        "CREATE INDEX map_of_photo ON map (photo_sha256)",
        "CREATE INDEX map_by_content ON map (sha256)",
        "CREATE INDEX cut_of_hide ON cut (hide_id)",
    ),
    (
        # The ids that a map itself carries, when its photo was taken, and the day it was added by the local calendar;
        # `fact_of_map` is ours (`database`).
        "ALTER TABLE map ADD COLUMN hide_uid TEXT NOT NULL DEFAULT ''",
        "ALTER TABLE map ADD COLUMN parent_uid TEXT",
        "ALTER TABLE map ADD COLUMN taken TEXT",
        "ALTER TABLE map ADD COLUMN added_on TEXT NOT NULL DEFAULT ''",
        "UPDATE map SET hide_uid = fact_of_map(json_zlib, 'hide_id'),"
        " parent_uid = fact_of_map(json_zlib, 'parent_id'), taken = fact_of_map(json_zlib, 'taken'),"
        " added_on = date(added_at, 'localtime')",
        "CREATE INDEX map_of_uid ON map (hide_uid)",
        "CREATE INDEX map_of_parent ON map (parent_uid)",
        *_OFFCUTS_APART,
    ),
)
