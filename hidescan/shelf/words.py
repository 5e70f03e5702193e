"""What people write of hides, read into values; each reader raises BadInput with one line."""

import json
import re
from datetime import date
from decimal import Decimal
from typing import get_args

import numpy as np
import shapely
from shapely.errors import GEOSException
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from hidescan.basics.errors import BadInput
from hidescan.basics.geometry import FARTHEST_MM
from hidescan.basics.units import parse_length_mm, parse_thickness_mm
from hidescan.hide_map.model import MarkKind
from hidescan.shelf.facts import Facts
from hidescan.shelf.finding import ThicknessWanted

_PRICE = re.compile(r"(?:([A-Za-z]{1,4}|[$£€¥]) *)?(\d+(?:\.\d{1,4})?)(?: *([A-Za-z]{1,4}|[$£€¥]))?", re.ASCII)
_THICKEST_MM = 30.0


def facts(
    *,
    species: str | None,
    tannage: str | None,
    state: str | None,
    thickness: str | None,
    taken_on: str | None,
    taken_where: str | None,
    taken_by: str | None,
    licence: str | None,
    received_from: str | None,
    seller: str | None,
    price: str | None,
    bought_on: str | None,
    notes: str | None,
) -> Facts:
    """What was said of a hide."""
    amount, currency = (None, None) if price is None else read_price(price)
    return Facts(
        species=species,
        tannage=tannage,
        state=state,
        thickness_mm=None if thickness is None else parse_thickness_mm(thickness),
        taken_on=day(taken_on),
        taken_where=taken_where,
        taken_by=taken_by,
        licence=licence,
        received_from=received_from,
        seller=seller,
        price=amount,
        currency=currency,
        bought_on=day(bought_on),
        notes=notes,
    )


def read_price(text: str) -> tuple[Decimal, str | None]:
    """A price with its currency, where one is said.

    Examples
    --------
    >>> read_price("120.50 EUR"), read_price("120.50")
    ((Decimal('120.50'), 'EUR'), (Decimal('120.50'), None))
    """
    match = _PRICE.fullmatch(text.strip())
    if match is None or (match[1] and match[3]):
        raise BadInput(f'--price {text}: write a number, with its currency where you like: "120.50 EUR".')
    currency = match[1] or match[3]
    return Decimal(match[2]), None if currency is None else currency.upper()


def day(text: str | None) -> str | None:
    """A date as 2026-11-02, or a month or a year alone, where that is all that is known."""
    if text is None or re.fullmatch(r"\d{4}(-(0[1-9]|1[0-2]))?", text.strip(), re.ASCII):
        return None if text is None else text.strip()
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        raise BadInput(f"{text}: is not a date. Write it as 2026-11-02.") from None


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
        zone.strip(), parse_thickness_mm(least), parse_thickness_mm(most) if dash else _THICKEST_MM
    )
    if wanted.least_mm > wanted.most_mm:
        raise BadInput(f"--thickness {text}: the least is more than the most.")
    return wanted


def reading(text: str) -> tuple[str, float]:
    """A zone and its gauge reading, as in butt:1.8mm."""
    zone, colon, value = text.partition(":")
    if not colon or not zone.strip():
        raise BadInput(f"--reading {text}: expected a zone and a thickness, as in butt:1.8mm.")
    return zone.strip(), parse_thickness_mm(value)


def mark_kinds(text: str) -> tuple[str, ...]:
    """Kinds of mark, as in hole,scratch; none for none at all."""
    kinds = tuple(part.strip().lower() for part in text.split(",")) if text.strip().lower() != "none" else ()
    if unknown := set(kinds) - set(get_args(MarkKind)):
        raise BadInput(
            f"--allow {text}: {min(unknown)} is no kind of mark. Use {', '.join(get_args(MarkKind))} or none."
        )
    return kinds


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
