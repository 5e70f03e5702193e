"""What people write on the command line, read into values; each reader raises BadInput with one line."""

import csv
import math
import re
from dataclasses import dataclass, fields
from typing import cast, get_args

from hidescan.basics.errors import BadInput
from hidescan.basics.units import parse_length_mm, parse_thickness_mm
from hidescan.hide_map.model import XY, Face, FormName, GaugeInput, HintInput, Inputs, MarkKind, TapeInput
from hidescan.settings import ZoneLines

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


def gauge(text: str, reading_u_mm: float) -> GaugeInput:
    """A thickness gauge reading at a photo pixel, as in `1520,803:1.8mm`."""
    at, _, value = text.partition(":")
    return GaugeInput(pair(at, "--gauge"), parse_thickness_mm(value), reading_u_mm)


def gauge_table(text: str, name: str, reading_u_mm: float) -> tuple[GaugeInput, ...]:
    """Gauge readings from a CSV with the columns x_px, y_px, value, unit."""
    rows = csv.DictReader(text.splitlines())
    missing = {"x_px", "y_px", "value", "unit"} - set(rows.fieldnames or ())
    if missing:
        raise BadInput(f"{name}: the column {min(missing)} is missing; the table needs x_px, y_px, value, unit.")
    readings = []
    for number, row in enumerate(rows, start=2):
        try:
            at = pair(f"{row['x_px']},{row['y_px']}", "x_px,y_px")
            readings.append(GaugeInput(at, parse_thickness_mm(f"{row['value']}{row['unit']}"), reading_u_mm))
        except BadInput as error:
            raise BadInput(f"{name}, line {number}: {error}") from error
    return tuple(readings)


def zone_line(text: str) -> tuple[str, float]:
    """A zone line moved, as in `shoulder=0.6`."""
    known = {f.name for f in fields(ZoneLines)}
    name, _, value = text.partition("=")
    try:
        place = float(value)
    except ValueError:
        place = math.nan
    if name not in known or not 0 < place < 3:
        raise BadInput(
            f"--zone-line {text}: expected one of {', '.join(sorted(known))} and a place, as in shoulder=0.6."
        )
    return name, place


def mark_word(text: str) -> tuple[str, str]:
    """What a person says of a mark, as in `hole-2:rejected` or `stain-5:brand`."""
    name, _, word = text.rpartition(":")
    if not name or word not in ("confirmed", "rejected", *get_args(MarkKind)):
        raise BadInput(
            f"--mark {text}: expected ID:confirmed, ID:rejected or ID:KIND, as in hole-2:rejected;"
            f" kinds are {', '.join(get_args(MarkKind))}."
        )
    return name, word


@dataclass(frozen=True, slots=True)
class Words:
    """What a person wrote of one hide on the command line, unread; None or empty where nothing was."""

    thickness: str | None
    card_scale: str | None
    tape: tuple[str, ...]
    lens: str | None
    neck: str | None
    arrow: int | None
    form: str | None
    face: str
    species: str | None
    inside: tuple[str, ...]
    outside: tuple[str, ...]
    gauge: tuple[str, ...]
    gauge_table: str | None
    gauge_file: str
    hide: str | None = None
    state: str | None = None
    tannage: str | None = None
    zone_line: tuple[str, ...] = ()
    conditioning: str | None = None

    def name_pixels(self) -> str | None:
        """The first option given that names a pixel of one photo; None where there is none."""
        pixels = {
            "--neck": self.neck,
            "--hide": self.hide,
            "--inside": self.inside,
            "--outside": self.outside,
            "--gauge": self.gauge,
            "--gauge-file": self.gauge_table,
        }
        return next((name for name, value in pixels.items() if value), None)

    def read(self, reading_u_mm: float) -> Inputs:
        """The words as values.

        Raises
        ------
        BadInput
            A word that cannot be read.
        """
        readings = tuple(gauge(text, reading_u_mm) for text in self.gauge)
        if self.gauge_table is not None:
            readings += gauge_table(self.gauge_table, self.gauge_file, reading_u_mm)
        return Inputs(
            thickness_mm=None if self.thickness is None else parse_thickness_mm(self.thickness),
            card_scale=None if self.card_scale is None else card_scale(self.card_scale),
            tapes=tuple(tape(text) for text in self.tape),
            lens=self.lens,
            neck_px=None if self.neck is None else pair(self.neck, "--neck"),
            arrow=self.arrow,
            hide_at_px=None if self.hide is None else pair(self.hide, "--hide"),
            form=form(self.form),
            face=face(self.face),
            species=self.species,
            tannage=self.tannage,
            state=self.state,
            conditioning=self.conditioning,
            hints=(
                *(HintInput(pair(text, "--inside"), True) for text in self.inside),
                *(HintInput(pair(text, "--outside"), False) for text in self.outside),
            ),
            gauge=readings,
            zone_lines=tuple(zone_line(text) for text in self.zone_line),
        )
