"""What people write on the command line, read into values; each reader raises BadInput with one line."""

import re
from typing import cast, get_args

from hidescan.hidemap import XY, Face, FormName, TapeInput
from hidescan.problems import BadInput
from hidescan.units import parse_length_mm

_TAPE = re.compile(r"(\d)-(\d):(.+)")


def pair(text: str, option: str) -> XY:
    """Two numbers with a comma between, as in `1520,803.5`."""
    try:
        first, second = (float(part) for part in text.split(","))
    except ValueError:
        raise BadInput(f"{option} {text}: expected two numbers with a comma between, as in 1520,803.") from None
    if not all(abs(value) < 1e6 for value in (first, second)):  # also refuses NaN
        raise BadInput(f"{option} {text}: out of range.")
    return first, second


def card_scale(text: str) -> XY:
    """Measured over nominal length of the two check bars, as in `0.998,1.001`."""
    scale = pair(text, "--card-scale")
    if not all(0.9 < s < 1.1 for s in scale):
        raise BadInput(f"--card-scale {text}: a print is never that far off 1. Give measured / 150 and measured / 200.")
    return scale


def measured_bars(text: str) -> XY:
    """The two check bars' measured lengths in mm, as in `149.2,198.9`, to a print scale."""
    across, along = pair(text, "--measured")
    scale = across / 150.0, along / 200.0
    if not all(0.9 < s < 1.1 for s in scale):
        raise BadInput(f"--measured {text}: expected about 150 and 200 mm, the bar across and the bar along.")
    return scale


def tape(text: str) -> TapeInput:
    """A taped distance, as in `1-3:1842mm`."""
    match = _TAPE.fullmatch(text.strip())
    if match is None or match[1] == match[2]:
        raise BadInput(f"--tape {text}: expected two card numbers and a distance, as in 1-3:1842mm.")
    return TapeInput(int(match[1]), int(match[2]), parse_length_mm(match[3]))


def card_numbers(text: str) -> tuple[int, ...]:
    """Card numbers, as in `1-4` or `0,2,7-9`.

    Examples
    --------
    >>> card_numbers("0,2,7-9")
    (0, 2, 7, 8, 9)
    """
    numbers: set[int] = set()
    for part in text.split(","):
        ends = part.strip().split("-")
        if len(ends) > 2 or not all(end.isdigit() and len(end) == 1 for end in ends) or ends[0] > ends[-1]:
            raise BadInput(f"--numbers {text}: cards are numbered 0 to 9; write 1-4 or 0,2,7.")
        numbers.update(range(int(ends[0]), int(ends[-1]) + 1))
    return tuple(sorted(numbers))


def form(text: str | None) -> FormName | None:
    """A form's name."""
    if text is not None and text not in get_args(FormName):
        raise BadInput(f"--form {text}: use one of {', '.join(get_args(FormName))}.")
    return cast(FormName | None, text)


def face(text: str) -> Face:
    """Which face of the leather was photographed."""
    if text not in get_args(Face):
        raise BadInput(f"--face {text}: use one of {', '.join(get_args(Face))}.")
    return cast(Face, text)
