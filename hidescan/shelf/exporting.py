"""The whole shelf as a file: CSV with a line a hide, or JSON with everything but what can be derived."""

import json
import sqlite3
from dataclasses import asdict, fields

from shapely.geometry import mapping

from hidescan.basics.tables import csv_bytes
from hidescan.shelf.facts import Facts
from hidescan.shelf.hides import FIGURES, Hide, hide, map_bytes


def to_csv(db: sqlite3.Connection) -> bytes:
    """A line for each hide: what was said of it, and its figures in mm and mm2."""
    facts = [f.name for f in fields(Facts)]
    rows: list[tuple[object, ...]] = [("label", *facts, "shade_l", "shade_a", "shade_b", *FIGURES)]
    for found in _hides(db):
        said = [getattr(found.facts, name) for name in facts]
        figures = [getattr(found, name) for name in FIGURES]
        rows.append((found.label, *said, *(found.shade or (None,) * 3), *figures))
    return csv_bytes(rows)


def to_json(db: sqlite3.Connection) -> bytes:
    """Every hide with its readings, its maps whole, and what was cut from it."""
    plain = [
        {
            "label": found.label,
            **{name: value for name, value in asdict(found.facts).items() if name != "price"},
            "price": None if found.facts.price is None else str(found.facts.price),  # a number would not stay exact
            "shade_lab": found.shade,
            "readings_mm": dict(found.readings),
            "maps": [
                {"stretching": kept.stretching, "added_at": kept.added_at, "map": json.loads(map_bytes(db, kept.id))}
                for kept in found.maps
            ],
            "cuts": [
                {
                    "what": cut.what,
                    "count": cut.count,
                    "area_mm2": cut.area_mm2,
                    "cut_on": cut.cut_on,
                    "hide_mm": None if cut.hide_mm is None else mapping(cut.hide_mm),
                }
                for cut in found.cuts
            ],
        }
        for found in _hides(db)
    ]
    return (json.dumps({"format": "hidescan-shelf", "hides": plain}, indent=1, allow_nan=False) + "\n").encode()


def _hides(db: sqlite3.Connection) -> list[Hide]:
    labels = db.execute("SELECT label FROM hide WHERE removed_at IS NULL ORDER BY label").fetchall()
    return [hide(db, label) for (label,) in labels]
