"""A hide on the shelf as it is now, as a map: holes where pieces were cut, zones as thick as they were read."""

import sqlite3
from dataclasses import replace

import shapely
from shapely.geometry import Polygon

from hidescan.hide_map.model import HideMap, MarkEntry, PolygonGeometry, Ring
from hidescan.shelf.maps import content_of, newest_of
from hidescan.shelf.taken_out import taken_out


def remaining(db: sqlite3.Connection, hide_id: int) -> HideMap | None:
    """The newest map of a hide, less what was cut from it at known places; None where it has no map."""
    newest = newest_of(db, hide_id)
    if newest is None:
        return None
    hide_map = content_of(db, newest.id)
    pieces = shapely.get_parts(taken_out(db, hide_id, newest, hide_map).placed_mm)
    known = dict(db.execute("SELECT name, thickness_mm FROM zone WHERE hide_id = ?", (hide_id,)))
    return replace(
        hide_map,
        marks=(*hide_map.marks, *(_as_hole(piece, number) for number, piece in enumerate(pieces, start=1))),
        zones=tuple(replace(zone, thickness_mm=known.get(zone.name, zone.thickness_mm)) for zone in hide_map.zones),
    )


def _as_hole(piece: Polygon, number: int) -> MarkEntry:
    ring: Ring = tuple((float(x), float(y)) for x, y in piece.exterior.coords)
    x0, y0, x1, y1 = piece.bounds
    return MarkEntry(
        id=f"cut-out-{number}",
        kind="hole",
        hide_mm=PolygonGeometry((ring,)),
        photo_px=PolygonGeometry((ring,)),  # where in a photo is not asked of what was cut after it
        area_mm2=piece.area,
        length_mm=max(x1 - x0, y1 - y0),
        width_mm=min(x1 - x0, y1 - y0),
        zone=None,
        confidence=1.0,
        status="added",
    )
