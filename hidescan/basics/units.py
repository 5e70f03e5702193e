"""Units: what people write (`1.8mm`, `4.5oz`, `72.5in`) to millimetres, and areas as people read them.

Inside the program everything is mm and mm2. A length or thickness from a person must carry its unit, because a bare
`4` may be millimetres or ounces. The leather ounce is a thickness: 1 oz = 1/64 in exactly (trade definition), and
the international inch is 25.4 mm exactly, so 1 oz = 0.396875 mm.
"""

from __future__ import annotations

import math
import re

from hidescan.basics.errors import BadInput

__all__ = [
    "AREA_UNITS_MM2",
    "MM2_PER_DM2",
    "MM2_PER_FT2",
    "MM_PER_INCH",
    "MM_PER_OUNCE",
    "format_area",
    "format_length",
    "format_quarter_foot",
    "format_thickness",
    "parse_area_mm2",
    "parse_length_mm",
    "parse_thickness_mm",
    "quarter_feet",
]

MM_PER_INCH = 25.4
MM_PER_FOOT = 12 * MM_PER_INCH
MM_PER_OUNCE = MM_PER_INCH / 64
MM2_PER_FT2 = 92903.04
MM2_PER_DM2 = 1.0e4
MM2_PER_M2 = 1.0e6

# A reading beyond this is a slip of the pen (a tape length given as a thickness): raw bison hide stays below 25 mm.
THICKEST_MM = 30.0
_MOST_AREAS = 1e9  # of any unit
_LONGEST_MM = 1e6
_LONGEST_TEXT = 40  # characters of a number with its unit

_LENGTH_UNITS_MM = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "ft": MM_PER_FOOT,
    "feet": MM_PER_FOOT,
    "'": MM_PER_FOOT,
}
_THICKNESS_UNITS_MM = {
    "mm": 1.0,
    "oz": MM_PER_OUNCE,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    '"': MM_PER_INCH,
}
AREA_UNITS_MM2 = {
    "ft2": MM2_PER_FT2, "ft²": MM2_PER_FT2, "sqft": MM2_PER_FT2, "dm2": MM2_PER_DM2, "dm²": MM2_PER_DM2,
    "m2": MM2_PER_M2, "m²": MM2_PER_M2,
}  # fmt: skip
_AREA = re.compile(r"(\d+(?:[.,]\d+)?) *([a-z]+2?²?)", re.ASCII)
_THOUSANDS = re.compile(r"[1-9]\d{0,2}(?:,\d{3})+(?!\d)", re.ASCII)
# A decimal number, a fraction (5/64) or a whole number with a fraction (72 1/2), then the unit.
_QUANTITY = re.compile(
    r"""(?: (?P<decimal>\d+(?:[.,]\d*)?|[.,]\d+) | (?:(?P<whole>\d+)[ ]+)?(?P<numerator>\d+)/(?P<denominator>\d+) )
        [ ]* (?P<unit>[a-z]+|["'])?""",
    re.VERBOSE | re.ASCII,
)
_QUARTER_SIGNS = ("", "¼", "½", "¾")


def _parse_mm(text: str, units_mm: dict[str, float], what: str, example: str) -> float:
    match = _QUANTITY.fullmatch(text.strip().lower()) if len(text) <= _LONGEST_TEXT else None
    if match is None:
        raise BadInput(f"cannot read {text!r} as a {what}; write it like {example}")
    if match["unit"] is None:
        raise BadInput(f"the {what} {text!r} has no unit; write it like {example}")
    if match["unit"] not in units_mm:
        known = ", ".join(unit for unit in units_mm if unit.isalpha())
        raise BadInput(f"{match['unit']!r} in {text!r} is not a unit of {what}; use one of {known}")
    if match["decimal"] is not None:
        number = float(decimal_point(match["decimal"]))
    elif int(match["denominator"]) == 0:
        raise BadInput(f"cannot read {text!r} as a {what}: it divides by zero")
    else:
        number = int(match["whole"] or 0) + int(match["numerator"]) / int(match["denominator"])
    value_mm = number * units_mm[match["unit"]]
    if not (value_mm > 0 and math.isfinite(value_mm)):
        raise BadInput(f"the {what} {text!r} must be more than zero")
    if value_mm > _LONGEST_MM:
        raise BadInput(f"the {what} {text!r} is over {_LONGEST_MM / 1e6:g} km")
    return value_mm


def decimal_point(number: str) -> str:
    """A decimal number as Python reads it: a decimal comma becomes a point.

    Raises
    ------
    BadInput
        The comma may be a decimal comma or part a thousands (`1,250`): which is not guessed.

    Examples
    --------
    >>> decimal_point("9,5"), decimal_point("0,998"), decimal_point("9.5")
    ('9.5', '0.998', '9.5')
    """
    if _THOUSANDS.match(number):
        plain = number.replace(",", "")
        raise BadInput(f"{number} may be {plain} or a decimal: write {plain}, or the decimal with a point.")
    return number.replace(",", ".", 1)


def parse_length_mm(text: str) -> float:
    """Read a length with its unit.

    Parameters
    ----------
    text : str
        A number and a unit: mm, cm, m, in or ft. Fractions are read (`72 1/2in`).

    Returns
    -------
    float
        Length in mm, more than zero.

    Raises
    ------
    BadInput
        No unit, an unknown unit, not a number, or not more than zero.

    Examples
    --------
    >>> parse_length_mm("72.5in")
    1841.5
    """
    return _parse_mm(text, _LENGTH_UNITS_MM, "length", "1842mm or 72.5in")


def parse_thickness_mm(text: str) -> float:
    """Read a leather thickness with its unit.

    Parameters
    ----------
    text : str
        A number and a unit: mm, oz (leather ounce, 1/64 in) or in. Fractions are read (`5/64in`).

    Returns
    -------
    float
        Thickness in mm, more than zero.

    Raises
    ------
    BadInput
        No unit, an unknown unit, not a number, not more than zero, or thicker than any hide.

    Examples
    --------
    >>> parse_thickness_mm("5/64in") == parse_thickness_mm("5oz") == 1.984375
    True
    """
    value_mm = _parse_mm(text, _THICKNESS_UNITS_MM, "thickness", "1.8mm, 4.5oz or 5/64in")
    if value_mm > THICKEST_MM:
        raise BadInput(f"a thickness of {text!r} is more than any hide has ({THICKEST_MM:g} mm)")
    return value_mm


def parse_area_mm2(text: str) -> float:
    """Read an area with its unit.

    Parameters
    ----------
    text : str
        A number and a unit: ft2, dm2 or m2.

    Returns
    -------
    float
        Area in mm2, more than zero.

    Raises
    ------
    BadInput
        No unit, an unknown unit, not a number, or not more than zero.

    Examples
    --------
    >>> parse_area_mm2("75dm2")
    750000.0
    """
    match = _AREA.fullmatch(text.strip().lower()) if len(text) <= _LONGEST_TEXT else None
    number = 0.0 if match is None else float(decimal_point(match[1]))
    if match is None or match[2] not in AREA_UNITS_MM2 or not 0 < number <= _MOST_AREAS:
        raise BadInput(f"cannot read {text!r} as an area; write it like 8.5ft2 or 75dm2")
    return number * AREA_UNITS_MM2[match[2]]


def quarter_feet(area_mm2: float) -> tuple[int, int]:
    """Round an area to the trade's quarter foot.

    Returns
    -------
    tuple of int
        Whole square feet, and quarters (0 to 3). The rounding itself is up to 0.125 ft2.

    Examples
    --------
    >>> quarter_feet(34.5 * 92903.04)
    (34, 2)
    """
    whole, quarters = divmod(math.floor(4 * area_mm2 / MM2_PER_FT2 + 0.5), 4)
    return whole, quarters


def format_quarter_foot(area_mm2: float) -> str:
    """Write an area to the quarter foot with the fraction spelt out.

    The trade writes the quarters as a small digit (34 with a small 2 is 34.5 ft2), which is easily misread as a
    decimal; the fraction sign is not.

    Examples
    --------
    >>> format_quarter_foot(34.5 * 92903.04)
    '34½ ft²'
    """
    whole, quarters = quarter_feet(area_mm2)
    number = _QUARTER_SIGNS[quarters] if whole == 0 and quarters else f"{whole}{_QUARTER_SIGNS[quarters]}"
    return f"{number} ft²"


def format_area(area_mm2: float, units: str) -> str:
    """Write an area: `ft` gives ft2 to 0.01; `metric` gives dm2 to 0.1, from 1 m2 on m2 to 0.001.

    Examples
    --------
    >>> format_area(929030.4, "ft"), format_area(929030.4, "metric"), format_area(3186716.2, "metric")
    ('10.00 ft²', '92.9 dm²', '3.187 m²')
    """
    if units == "ft":
        return f"{area_mm2 / MM2_PER_FT2:.2f} ft²"
    if area_mm2 < MM2_PER_M2:
        return f"{area_mm2 / MM2_PER_DM2:.1f} dm²"
    return f"{area_mm2 / MM2_PER_M2:.3f} m²"


def format_length(length_mm: float, units: str) -> str:
    """Write a length: `ft` gives inches to 0.1; `metric` gives whole mm.

    Examples
    --------
    >>> format_length(1841.5, "ft"), format_length(1841.5, "metric")
    ('72.5 in', '1842 mm')
    """
    return f"{length_mm / MM_PER_INCH:.1f} in" if units == "ft" else f"{length_mm:.0f} mm"


def format_thickness(thickness_mm: float, units: str) -> str:
    """Write a thickness: `ft` gives leather ounces to 0.1; `metric` gives mm to 0.1.

    Examples
    --------
    >>> format_thickness(1.984375, "ft"), format_thickness(1.984375, "metric")
    ('5.0 oz', '2.0 mm')
    """
    return f"{thickness_mm / MM_PER_OUNCE:.1f} oz" if units == "ft" else f"{thickness_mm:.1f} mm"
