"""Pattern pieces: their outlines from a drawing, their rules from the TOML file beside it.

PIECES.toml has one table a piece, named as the SVG id or the DXF layer::

    unit = "mm"                 # only where the drawing states none

    [pieces.vamp]
    count = 2                   # two, or two pairs
    pair = true                 # left as drawn, right mirrored
    turn_deg = 5                # largest angle between grain line and back line, or "any"
    min_thickness_mm = 1.2
    thick_parts = ["toe"]       # shapes vamp-toe in the drawing: the spots that need thickness most
    zones = ["butt", "shoulder"]
    margin_mm = 2               # to the rim, to marks, to other pieces
    may_cover = ["stain"]       # kinds of mark

The grain is a line named ID-grain, else the drawing's +y. A grain has no head: turned by half a turn it is the same.
"""

import difflib
import math
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, cast

import numpy as np
from shapely.geometry import Polygon

from hidescan.basics.errors import BadInput
from hidescan.basics.geometry import Points
from hidescan.basics.reading import read_bytes
from hidescan.basics.vocabulary import MARKS, ZONES, MarkKind
from hidescan.hide_map.model import XY, Number
from hidescan.pieces.apart import drawing_apart
from hidescan.pieces.drawing import UNITS_MM, Drawing, read_drawing
from hidescan.settings.uses import PieceSettings

# A piece over a hole has a hole.
COVERABLE = tuple(cast(MarkKind, kind) for kind in MARKS.names if kind != "hole")
MOST_BYTES = 10_000_000
Reader = Callable[[bytes, str, str | None, PieceSettings], Drawing]


@dataclass(frozen=True, slots=True)
class PieceRules:
    """What a piece asks of the leather. `turn_deg` None: any angle. `zones` empty: any zone.

    With `pair`, `count` is the number of pairs.
    """

    count: int = 1
    pair: bool = False
    turn_deg: Number | None = 5.0
    min_thickness_mm: Number = 0.0
    thick_parts: tuple[str, ...] = ()
    zones: tuple[str, ...] = ()
    margin_mm: Number = 2.0
    may_cover: tuple[MarkKind, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """A pattern piece as drawn.

    Attributes
    ----------
    ring_mm
        Outline (N, 2), counter-clockwise, y up, first point not repeated.
    grain_deg
        Direction of the grain in the drawing, counter-clockwise from +x; 90 is +y.
    spots_mm
        Where the `thick_parts` are in the drawing, in their order.
    """

    id: str
    ring_mm: Points
    grain_deg: float
    rules: PieceRules
    spots_mm: tuple[XY, ...] = ()

    @property
    def area_mm2(self) -> float:
        """Area, mm2."""
        return float(Polygon(self.ring_mm).area)

    @property
    def pieces(self) -> int:
        """How many are to be cut."""
        return self.rules.count * (2 if self.rules.pair else 1)


def read_pieces(path: Path, settings: PieceSettings) -> tuple[Piece, ...]:
    """Read the pieces of an SVG or DXF and the rules in the TOML file of the same name beside it.

    Without a TOML file every closed outline is a piece with the default rules; with one, those it names are.

    Raises
    ------
    BadInput
        A file that cannot be read, an outline that is open or crosses itself, a rule that does not exist.
    """
    beside = path.with_suffix(".toml")
    text = _read(beside).decode("utf-8", errors="replace") if beside.exists() else None
    return pieces_from(_read(path), path.name, text, beside.name, settings, read=drawing_apart)


def pieces_from(
    drawing: bytes,
    name: str,
    rules: str | None,
    rules_name: str,
    settings: PieceSettings,
    *,
    read: Reader = read_drawing,
) -> tuple[Piece, ...]:
    """`read_pieces` on contents instead of files; the ending of `name` decides between SVG and DXF.

    Parameters
    ----------
    read
        Reads the drawing: here, or in a process of its own (`drawing_apart`).
    """
    unit, tables = (None, {}) if rules is None else _parsed(rules, rules_name)
    drawn = read(drawing, name, unit, settings)
    if rules is None:
        tables = {label: PieceRules() for label in _without_rules(drawn, settings)}
    for label in tables:
        _known(label, (*drawn.rings, *drawn.problems), f"{rules_name}: [pieces.{label}]: {name}", "shape")
    pieces = tuple(_piece(label, rule, drawn, name) for label, rule in tables.items())
    small = next((piece for piece in pieces if piece.area_mm2 < settings.least_area_mm2), None)
    if small is not None:
        raise BadInput(f"{name}: {small.id} has an area of {small.area_mm2:.1f} mm2 only. Is the unit right?")
    if (count := sum(piece.pieces for piece in pieces)) > settings.most_pieces:
        raise BadInput(f"{rules_name}: asks for {count} pieces, over {settings.most_pieces}. Place fewer at a time.")
    if not pieces:
        raise BadInput(f"{name}: there is no closed outline with an id. Give each piece's outline an id.")
    return pieces


def _without_rules(drawn: Drawing, settings: PieceSettings) -> list[str]:
    """Names of the pieces where no rules are given: closed outlines, also ones that need mending, but no line.

    A shape ID-PART inside the outline ID is a part of that piece, as in `thick_parts`.
    """
    large = [
        label
        for label, ring in drawn.rings.items()
        if Polygon(ring).area >= settings.least_area_mm2 and not _is_part(label, drawn)
    ]
    straight = {label for label, line in drawn.lines.items() if len(line) == 2}
    return large + [label for label in drawn.problems if label not in straight and not label.endswith("-grain")]


def _is_part(label: str, drawn: Drawing) -> bool:
    """Whether a shape lies within the piece that its name begins with."""
    shape = Polygon(drawn.rings[label])
    owners = (ring for owner, ring in drawn.rings.items() if label.startswith(f"{owner}-"))
    return any(Polygon(ring).buffer(0).covers(shape) for ring in owners)


def _piece(label: str, rules: PieceRules, drawn: Drawing, name: str) -> Piece:
    if label not in drawn.rings:
        raise BadInput(f"{name}: {label}: {drawn.problems[label]}. Mend the drawing.")
    line = drawn.lines.get(f"{label}-grain")
    grain = 90.0
    if line is not None:  # of a line with an arrow head the longest stretch counts
        steps = np.diff(line, axis=0)
        x, y = steps[int(np.argmax(np.linalg.norm(steps, axis=1)))]
        grain = math.degrees(math.atan2(y, x))
    spots = []
    for part in rules.thick_parts:
        spot = f"{label}-{part}"
        if spot not in drawn.rings and spot not in drawn.lines:
            raise BadInput(f"{name}: thick_parts of {label}: there is no shape {spot!r}. Draw a small circle there.")
        x, y = drawn.rings.get(spot, drawn.lines.get(spot, np.zeros((1, 2)))).mean(axis=0)
        spots.append((float(x), float(y)))
    return Piece(label, drawn.rings[label], grain, rules, tuple(spots))


def _parsed(text: str, name: str) -> tuple[str | None, dict[str, PieceRules]]:
    try:
        plain = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadInput(f"{name}: is not TOML ({error}). Mend that line.") from error
    for key in plain:
        _known(key, ("unit", "pieces"), name, "key")
    unit = plain.get("unit")
    if unit is not None and unit not in tuple(UNITS_MM):
        raise BadInput(f"{name}: unit = {unit!r}: units are {', '.join(UNITS_MM)}.")
    tables = plain.get("pieces")
    if not isinstance(tables, dict) or not tables:
        raise BadInput(f"{name}: names no piece. Write a table [pieces.ID] for each.")
    return unit, {label: _rules(label, table, name) for label, table in tables.items()}


def _rules(label: str, table: Any, name: str) -> PieceRules:
    where = f"{name}: [pieces.{label}]"
    if not isinstance(table, dict):
        raise BadInput(f"{where}: is not a table. Write [pieces.{label}] and its rules below it.")
    keys = tuple(field.name for field in fields(PieceRules))
    rules = PieceRules()
    for key, value in table.items():
        _known(key, keys, where, "key")
        rules = replace(rules, **{key: _value(key, value, f"{where} {key} = {value!r}")})
    return rules


def _value(key: str, value: Any, where: str) -> Any:
    """One rule's value, checked."""
    number = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if key == "count":
        if not isinstance(value, int) or isinstance(value, bool) or not 1 <= value <= 1000:
            raise BadInput(f"{where}: must be a whole number from 1 to 1000.")
        return value
    if key == "pair":
        if not isinstance(value, bool):
            raise BadInput(f"{where}: must be true or false.")
        return value
    if key == "turn_deg":
        if value == "any":
            return None
        if not number or not 0 <= value <= 90:
            raise BadInput(f'{where}: must be an angle from 0 to 90, or "any".')
        return None if value == 90 else float(value)
    if key in ("min_thickness_mm", "margin_mm"):
        if not number or not 0 <= value <= 100:
            raise BadInput(f"{where}: must be millimetres from 0 to 100.")
        return float(value)
    if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
        raise BadInput(f'{where}: must be a list of words, like ["a", "b"].')
    if key in ("zones", "may_cover"):
        for word in value:
            _known(word, ZONES.names if key == "zones" else COVERABLE, where, "word")
    return tuple(cast(list[str], value))


def _known(word: str, words: tuple[str, ...], where: str, what: str) -> None:
    """Refuse a name that is none of `words`, with the nearest in the message."""
    if word in words:
        return
    near = difflib.get_close_matches(word, words, n=1, cutoff=0.0)
    meant = f" Did you mean {near[0]!r}?" if near else ""
    raise BadInput(f"{where}: there is no {what} {word!r}.{meant}")


def _read(path: Path) -> bytes:
    return read_bytes(path, MOST_BYTES, "Save the outlines alone.")
