"""Questions to the shelf as people write them, read into values; each reader raises BadInput with one line."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely import affinity
from shapely.errors import GEOSException
from shapely.geometry import Polygon, shape
from shapely.geometry.base import BaseGeometry

from hidescan.basics.errors import BadInput
from hidescan.basics.geometry import FARTHEST_MM
from hidescan.basics.units import parse_length_mm, parse_thickness_mm
from hidescan.basics.vocabulary import MARKS, ZONES
from hidescan.shelf.finding import ThicknessWanted

_THICKEST_MM = 30.0


def rectangle_mm(text: str) -> tuple[float, float]:
    """Length along the back and width, as in 800mmx400mm or 30in x 12in."""
    first, cross, second = text.lower().partition("x")
    if not cross:
        raise BadInput(f"--fits {text}: expected length along the back and width, as in 800mmx400mm.")
    return parse_length_mm(first), parse_length_mm(second)


def thickness_wanted(text: str) -> ThicknessWanted:
    """A zone and what its thickness must be, as in butt:1.8mm-2.4mm; one figure alone is the least."""
    zone, colon, bounds = text.partition(":")
    if not colon or not zone.strip():
        raise BadInput(f"--thickness {text}: expected a zone and a thickness, as in butt:1.8mm-2.4mm.")
    least, dash, most = bounds.partition("-")
    wanted = ThicknessWanted(
        ZONES.read(zone, where="--thickness"),
        parse_thickness_mm(least),
        parse_thickness_mm(most) if dash else _THICKEST_MM,
    )
    if wanted.least_mm > wanted.most_mm:
        raise BadInput(f"--thickness {text}: the least is more than the most.")
    return wanted


def reading(text: str) -> tuple[str, float]:
    """A zone and its gauge reading, as in butt:1.8mm."""
    zone, colon, value = text.partition(":")
    if not colon or not zone.strip():
        raise BadInput(f"--reading {text}: expected a zone and a thickness, as in butt:1.8mm.")
    return ZONES.read(zone, where="--reading"), parse_thickness_mm(value)


def mark_kinds(text: str) -> tuple[str, ...]:
    """Kinds of mark, as in hole,scratch; none for none at all."""
    if text.strip().lower() == "none":
        return ()
    return tuple(MARKS.read(part, where="--allow", keep="Or write none.") for part in text.split(","))


@dataclass(frozen=True, slots=True, eq=False)
class PlacedPieces:
    """Where pieces lie on a hide, in the hide frame of a map: the one named, else the newest of the photo named."""

    hide_mm: BaseGeometry
    map_sha256: str | None = None
    photo_sha256: str | None = None


def placed_pieces(data: bytes, name: str) -> tuple[PlacedPieces, ...]:
    """The pieces in a placing.json, for each of its hides, or in a GeoJSON that `place` wrote for one.

    Of a GeoJSON with layers only the layer of pieces counts; of another one all polygons. What is mirrored there is
    turned back.

    Raises
    ------
    BadInput
        Neither, or no sound polygon in it.
    """
    try:
        plain = json.loads(data)
        with np.errstate(invalid="ignore"):  # what is no number is refused below
            found = _in_placing(plain) if plain.get("format") == "hidescan-placing" else (_in_geojson(plain),)
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError, GEOSException) as error:
        raise BadInput(f"{name}: is not GeoJSON. Give placing.json, or the GeoJSON that place wrote.") from error
    found = tuple(placed for placed in found if not placed.hide_mm.is_empty)
    near = all((np.abs(shapely.get_coordinates(placed.hide_mm)) < FARTHEST_MM).all() for placed in found)
    if not found or not near:
        raise BadInput(f"{name}: holds no sound polygon. Give placing.json, or the GeoJSON that place wrote.")
    return found


def _in_placing(plain: Any) -> tuple[PlacedPieces, ...]:
    return tuple(
        PlacedPieces(
            _union(shape(piece["hide_mm"]) for piece in plain["placed"] if piece["hide"] == hide["name"]),
            str(hide["map_sha256"]),
        )
        for hide in plain["hides"]
    )


def _in_geojson(plain: Any) -> PlacedPieces:
    features = plain.get("features", [{"geometry": plain}])
    layered = any("layer" in (feature.get("properties") or {}) for feature in features)
    if layered:
        features = [feature for feature in features if feature["properties"].get("layer") == "pieces"]
    geometries = [feature["geometry"] for feature in features]
    pieces = _union(shape(geometry) for geometry in geometries if geometry["type"] in ("Polygon", "MultiPolygon"))
    if plain.get("mirrored") is True:
        pieces = affinity.scale(pieces, -1.0, 1.0, origin=(0, 0))
    photo = plain.get("photo_sha256")
    return PlacedPieces(pieces, photo_sha256=None if photo is None else str(photo))


def _union(shapes: Iterable[BaseGeometry]) -> BaseGeometry:
    """All of it as one geometry; empty where one of them is not sound."""
    sound = list(shapes)
    return shapely.union_all(sound) if all(piece.is_valid for piece in sound) else Polygon()
