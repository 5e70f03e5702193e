"""What people write on the command line, read into values; each reader raises BadInput with one line."""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import fields

from hidescan.basics.errors import BadInput
from hidescan.basics.tables import rows_of
from hidescan.basics.units import decimal_point, parse_length_mm, parse_thickness_mm
from hidescan.basics.vocabulary import MARKS
from hidescan.cli.options import PhotoOptions, file_text
from hidescan.hide_map.facts import HideFacts, read_facts
from hidescan.hide_map.model import XY, GaugeInput, HintInput, Inputs, TapeInput
from hidescan.hide_map.places import latest_at_each_place
from hidescan.settings import ZoneLines

_TAPE = re.compile(r"(\d)-(\d):(.+)")


def pair(text: str, option: str) -> XY:
    """Two numbers with a comma between, as in `1520,803.5`; with decimal commas four whole ones, `1520,5,803,0`."""
    parts = [part.strip() for part in text.split(",")]
    if len(parts) == 4 and all(part.isdecimal() for part in parts):
        parts = [f"{parts[0]}.{parts[1]}", f"{parts[2]}.{parts[3]}"]
    try:
        first, second = (float(part) for part in parts)
    except ValueError:
        raise BadInput(f"{option} {text}: expected two numbers with a comma between, as in 1520,803.5.") from None
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


def card_numbers(text: str, option: str = "--numbers") -> tuple[int, ...]:
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
            raise BadInput(f"{option} {text}: cards are numbered 0 to 9; write 1-4 or 0,2,7.")
        numbers.update(range(int(ends[0]), int(ends[-1]) + 1))
    return tuple(sorted(numbers))


def gauge(text: str, reading_u_mm: float) -> GaugeInput:
    """A thickness gauge reading at a photo pixel, as in `1520,803:1.8mm`."""
    at, _, value = text.partition(":")
    return GaugeInput(pair(at, "--gauge"), parse_thickness_mm(value), reading_u_mm)


def gauge_table(text: str, name: str, reading_u_mm: float) -> tuple[GaugeInput, ...]:
    """Gauge readings from a CSV with the columns x_px, y_px, value, unit."""
    columns, rows = rows_of(text, name)
    missing = {"x_px", "y_px", "value", "unit"} - set(columns)
    if missing:
        raise BadInput(f"{name}: the column {min(missing)} is missing; the table needs x_px, y_px, value, unit.")
    readings = []
    for number, row in rows:
        try:
            at = pair(f"{decimal_point(row['x_px'])},{decimal_point(row['y_px'])}", "x_px,y_px")
            readings.append(GaugeInput(at, parse_thickness_mm(f"{row['value']}{row['unit']}"), reading_u_mm))
        except BadInput as error:
            raise BadInput(f"{name}, line {number}: {error}") from error
    return tuple(readings)


def zone_line(text: str) -> tuple[str, float]:
    """A zone line moved, as in `shoulder=0.6`."""
    known = {f.name for f in fields(ZoneLines)}
    name, _, value = text.partition("=")
    try:
        place = float(decimal_point(value))
    except ValueError:  # BadInput too
        place = math.nan
    if name not in known or not 0 < place < 3:
        raise BadInput(
            f"--zone-line {text}: expected one of {', '.join(sorted(known))} and a place, as in shoulder=0.6."
        )
    return name, place


def mark_correction(text: str) -> tuple[str, str]:
    """A mark's id, and its status or kind, as in `hole-2:rejected` or `stain-5:brand`."""
    name, _, change = text.rpartition(":")
    if not name or not change:
        raise BadInput(f"--mark {text}: expected ID:confirmed, ID:rejected or ID:KIND, as in hole-2:rejected.")
    if change in ("confirmed", "rejected"):
        return name, change
    return name, MARKS.read(change, where=f"--mark {name}:", keep="Or write confirmed or rejected.")


def inputs_from(
    facts: Mapping[str, str | None],
    of_photo: PhotoOptions,
    reading_u_mm: float,
    *,
    hide: str | None = None,
    zone_lines: Sequence[str] = (),
) -> Inputs:
    """What a person gave, from options as written.

    Parameters
    ----------
    facts
        What was written of the facts, as for `read_facts`.
    reading_u_mm
        Standard uncertainty of a gauge reading.
    hide
        A photo pixel on the hide to map.

    Raises
    ------
    BadInput
        An option that cannot be read.
    """
    readings = tuple(gauge(text, reading_u_mm) for text in of_photo.gauge or ())
    if (path := of_photo.gauge_file) is not None:
        text = file_text(path, "Give a CSV with the columns x_px, y_px, value, unit.")
        readings += gauge_table(text, str(path), reading_u_mm)
    return Inputs(
        **read_facts(HideFacts, facts),
        card_scale=None if of_photo.card_scale is None else card_scale(of_photo.card_scale),
        tapes=tuple(tape(text) for text in of_photo.tape or ()),
        lens=of_photo.lens,
        neck_px=None if of_photo.neck is None else pair(of_photo.neck, "--neck"),
        arrow=of_photo.arrow,
        hide_at_px=None if hide is None else pair(hide, "--hide"),
        hints=latest_at_each_place(
            (
                *(HintInput(pair(text, "--inside"), True) for text in of_photo.inside or ()),
                *(HintInput(pair(text, "--outside"), False) for text in of_photo.outside or ()),
            )
        ),
        gauge=latest_at_each_place(readings),
        zone_lines=tuple(zone_line(text) for text in zone_lines),
    )
