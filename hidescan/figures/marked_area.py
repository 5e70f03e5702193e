"""The area that a seller wrote on a hide, and how ours compares with it."""

import re
from dataclasses import dataclass

from hidescan.basics.errors import BadInput
from hidescan.basics.units import AREA_UNITS_MM2, MM2_PER_FT2, format_area, parse_area_mm2
from hidescan.hide_map.model import MeasureEntry

# Quarter marks are rounded to the nearest quarter foot, so they are off by up to an eighth.
QUARTER_ROUNDING_MM2 = MM2_PER_FT2 / 8
_FRACTION = re.compile(r"(?:(\d{1,6}) +)?(\d)/([24])(?: *(?:ft2|ft²|sqft))?", re.ASCII)


@dataclass(frozen=True, slots=True)
class MarkedArea:
    """What is written on the hide: its words, the area, and whether it is a quarter mark."""

    words: str
    area_mm2: float
    quarters: bool


def marked_area(text: str) -> MarkedArea:
    """Read a marked area.

    The trade marks whole feet and a small digit for quarters, 11 with a small 2 for 11½ ft². Written `11.2` it cannot
    be told from a decimal, so that is asked back and never guessed.

    Examples
    --------
    >>> marked_area("11 2/4").area_mm2 == marked_area("11.5ft2").area_mm2 == marked_area("11 1/2").area_mm2
    True
    """
    words = text.strip().lower()
    if match := _FRACTION.fullmatch(words):
        whole, top, bottom = int(match[1] or 0), int(match[2]), int(match[3])
        area = (whole + top / bottom) * MM2_PER_FT2
        if top < bottom and (area > 0):
            return MarkedArea(text.strip(), area, True)
    if words.endswith(tuple(AREA_UNITS_MM2)):
        try:
            return MarkedArea(text.strip(), parse_area_mm2(words), False)
        except BadInput as error:
            raise _unread(text) from error
    if match := re.fullmatch(r"(\d{1,6})[.,]([123])", words, re.ASCII):
        raise BadInput(
            f"--marked {text}: is that {match[1]} and {match[2]} quarters, or a decimal?"
            f' Write "{match[1]} {match[2]}/4" or {text}ft2.'
        )
    raise _unread(text)


def compared(marked: MarkedArea, ours: MeasureEntry, units: str = "ft") -> str:
    """Whether the marked area lies inside our ±, in words."""
    off = marked.area_mm2 - ours.value
    percent = f"{'-' if off < 0 else '+'}{format_area(abs(off), units)} ({100 * off / ours.value:+.1f} %) against ours"
    if ours.expanded_uncertainty is None:
        return f"{percent}; our ± is unknown"
    if abs(off) <= ours.expanded_uncertainty:
        return f"{percent}: inside our ±"
    if marked.quarters and abs(off) <= ours.expanded_uncertainty + QUARTER_ROUNDING_MM2:
        return f"{percent}: outside our ±, but rounding to quarters explains it"
    return f"{percent}: outside our ±"


def _unread(text: str) -> BadInput:
    return BadInput(f'--marked {text}: write quarters as "11 2/4", or a number with its unit: 11.5ft2, 107dm2.')
