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
)
