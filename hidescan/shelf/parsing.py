"""Questions to the shelf as people write them, read into values; each reader raises BadInput with one line."""

import json

import numpy as np
import shapely
from shapely.errors import GEOSException
from shapely.geometry import shape
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


def placed_pieces(data: bytes, name: str) -> BaseGeometry:
    """The polygons of a GeoJSON file, as one geometry, in the hide frame.

    Raises
    ------
    BadInput
        No GeoJSON, or no polygon in it.
    """
    try:
        plain = json.loads(data)
        geometries = [feature["geometry"] for feature in plain["features"]] if "features" in plain else [plain]
        with np.errstate(invalid="ignore"):  # what is no number is refused below
            shapes = [shape(geometry) for geometry in geometries if geometry["type"] in ("Polygon", "MultiPolygon")]
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError, GEOSException) as error:
        raise BadInput(f"{name}: is not GeoJSON. Give the placed pieces as place wrote them.") from error
    near = all((np.abs(shapely.get_coordinates(piece)) < FARTHEST_MM).all() for piece in shapes)
    if not shapes or not near or not all(piece.is_valid for piece in shapes):
        raise BadInput(f"{name}: holds no sound polygon. Give the placed pieces as place wrote them.")
    return shapely.union_all(shapes)
