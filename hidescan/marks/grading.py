"""Grades: a table of limits on usable share, on marks in parts of the hide and on kinds of marks, read from TOML.

Best first: a hide has the first whose every rule it meets, or the one called `otherwise`. The share is
usable area over the whole area, holes included: a hole is a fault of the skin as it was bought. With `margins = false`
the marks count as they are, without the strip left round each; published tables mean that.
"""

import importlib.resources
import math
import tomllib
from dataclasses import dataclass, replace
from typing import Any, cast

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from hidescan.basics.errors import BadInput, refuse_unknown
from hidescan.basics.uncertainty import COVERAGE_FACTOR, root_sum_square
from hidescan.basics.vocabulary import MARKS, ZONES, MarkKind, Vocabulary
from hidescan.figures.usable import DOUBT, MISSED, OUTLINES, counted_marks, lost_in_map
from hidescan.hide_map.model import HideMap, MarkEntry
from hidescan.marks.placement import region_of
from hidescan.settings import UsableSettings


@dataclass(frozen=True, slots=True)
class Part:
    """Limits for some zones taken together; None where there is no limit."""

    zones: tuple[str, ...]
    most_marks: int | None
    least_usable_percent: float | None


@dataclass(frozen=True, slots=True)
class Grade:
    """A grade's rules."""

    name: str
    least_usable_percent: float | None
    most_marks: int | None
    not_allowed: tuple[MarkKind, ...]
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class GradeTable:
    """Grades, best first; `otherwise` is what a hide is called that none fits."""

    name: str
    source: str
    note: str
    margins: bool
    otherwise: str
    grades: tuple[Grade, ...]


@dataclass(frozen=True, slots=True)
class Graded:
    """A hide's grade.

    Attributes
    ----------
    grade
        Its name.
    usable_percent, expanded_percent
        Usable share and its expanded uncertainty (None where undefined), percent.
    decided
        The rule that decided, as text.
    remarks
        What could not be checked, and limits that lie within the share's uncertainty.
    """

    grade: str
    usable_percent: float
    expanded_percent: float | None
    decided: str
    remarks: tuple[str, ...]


def read_grades(text: str, name: str) -> GradeTable:
    """Read a table of grades.

    Raises
    ------
    BadInput
        Not TOML, a key that is not known (with the nearest that is), or a value that cannot be.
    """
    try:
        plain = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadInput(f"{name}: is not TOML ({str(error).splitlines()[0]}).") from error
    keys = {"name": str, "source": str, "note": str, "margins": bool, "otherwise": str, "grade": list}
    table = _checked(plain, keys, name)
    if not table.get("grade"):
        raise BadInput(f"{name}: holds no grade; write [[grade]] once for each, best first.")
    return GradeTable(
        table.get("name", name),
        table.get("source", "not stated"),
        table.get("note", ""),
        table.get("margins", True),
        table.get("otherwise", "no grade"),
        tuple(_grade(entry, f"{name}: grade {n}") for n, entry in enumerate(table["grade"], start=1)),
    )


def shipped_grades() -> dict[str, str]:
    """The tables that come with hidescan, by name, as TOML."""
    folder = importlib.resources.files("hidescan.marks").joinpath("grades")
    return {file.name.removesuffix(".toml"): file.read_text("utf-8") for file in folder.iterdir()}


def graded(hide_map: HideMap, table: GradeTable, settings: UsableSettings) -> Graded:
    """The grade of a hide, and which rule decided.

    What decides is the first broken rule of the next better grade; for the best grade, that it meets all of its own.
    """
    rule = settings if table.margins else replace(settings, hole_margin_mm=0.0, other_margin_mm=0.0)
    rings = hide_map.outline.hide_mm.coordinates
    net = Polygon(rings[0], rings[1:])
    hide = _Hide(hide_map, net.difference(lost_in_map(net, hide_map.marks, rule)), counted_marks(hide_map.marks, rule))
    share = 100 * hide.clear.area / Polygon(rings[0]).area
    # What scales the whole hide cancels in a share of it; what the marks themselves leave open does not.
    own = [row.area_percent for row in hide_map.usable_budget if row.source in (OUTLINES, DOUBT, MISSED)]
    known = hide_map.measures.area_usable.expanded_uncertainty is not None
    expanded = COVERAGE_FACTOR * share * root_sum_square(*own) / 100 if known else None
    remarks: list[str] = []
    decided = ""
    for grade in table.grades:
        broken, unchecked = _broken(grade, share, hide)
        remarks += [f"grade {grade.name}: {remark}" for remark in unchecked]
        least = grade.least_usable_percent
        if least is not None and expanded is not None and abs(share - least) <= expanded:
            remarks.append(f"grade {grade.name}: its limit of {least:g} % lies within the share's ±: it may be either")
        if broken is None:
            decided = decided or f"it meets every rule of grade {grade.name}"
            return Graded(grade.name, share, expanded, decided, tuple(remarks))
        decided = f"not grade {grade.name}: {broken}"
    return Graded(table.otherwise, share, expanded, decided, tuple(remarks))


@dataclass(frozen=True, slots=True, eq=False)
class _Hide:
    """What rules are held against: the map, its usable leather, its counted marks."""

    hide_map: HideMap
    clear: BaseGeometry
    marks: list[MarkEntry]


def _broken(grade: Grade, share: float, hide: _Hide) -> tuple[str | None, list[str]]:
    """The first rule that the hide breaks, as text, and what could not be checked."""
    least = grade.least_usable_percent
    if least is not None and share < least:
        return f"usable {share:.1f} % is under {least:g} %", []
    for mark in hide.marks:
        if mark.kind in grade.not_allowed:
            return f"{_called(mark)}, and no {mark.kind} is allowed", []
    if grade.most_marks is not None and len(hide.marks) > grade.most_marks:
        return f"{len(hide.marks)} marks, at most {grade.most_marks} allowed", []
    unchecked = []
    for part in grade.parts:
        where = " and ".join(part.zones)
        zones = [zone for zone in hide.hide_map.zones if zone.name in part.zones]
        if not zones:
            unchecked.append(f"its rule for {where} was not checked, this map has no such part")
            continue
        regions = [region_of(zone.hide_mm) for zone in zones]
        there = [m for m in hide.marks if any(r.intersects(Polygon(m.hide_mm.coordinates[0])) for r in regions)]
        if part.most_marks is not None and len(there) > part.most_marks:
            names = ", ".join(_called(mark) for mark in there)
            return f"{len(there)} in {where} ({names}), at most {part.most_marks} allowed", unchecked
        if part.least_usable_percent is not None:
            names_of_zones = [zone.name for zone in zones]
            holes = sum(m.area_mm2 for m in hide.marks if m.kind == "hole" and m.zone in names_of_zones)
            whole = sum(region.area for region in regions) + holes  # zones are laid on leather, holes left out
            left = 100 * sum(region.intersection(hide.clear).area for region in regions) / whole
            if left < part.least_usable_percent:
                return f"usable {left:.1f} % of {where} is under {part.least_usable_percent:g} %", unchecked
    return None, unchecked


def _called(mark: MarkEntry) -> str:
    if mark.status == "confirmed" or mark.confidence >= 0.995:
        return mark.id
    return f"{mark.id}, sure to {100 * mark.confidence:.0f} %"


def _grade(plain: Any, where: str) -> Grade:
    keys = {"name": str, "least_usable_percent": float, "most_marks": int, "not_allowed": list, "part": list}
    entry = _checked(plain, keys, where)
    kinds = [_name(MARKS, kind, f"{where}, not_allowed") for kind in entry.get("not_allowed", [])]
    if "name" not in entry:
        raise BadInput(f"{where}: has no name.")
    return Grade(
        entry["name"],
        entry.get("least_usable_percent"),
        entry.get("most_marks"),
        tuple(cast(list[MarkKind], kinds)),
        tuple(_part(part, f"{where}, part") for part in entry.get("part", [])),
    )


def _part(plain: Any, where: str) -> Part:
    entry = _checked(plain, {"zones": list, "most_marks": int, "least_usable_percent": float}, where)
    if not entry.get("zones"):
        raise BadInput(f'{where}: names no zones; write zones = ["neck"].')
    zones = tuple(_name(ZONES, zone, f"{where}, zones") for zone in entry["zones"])
    return Part(zones, entry.get("most_marks"), entry.get("least_usable_percent"))


def _name(vocabulary: Vocabulary[Any], text: Any, where: str) -> str:
    return vocabulary.read(str(text), where=f"{where}:")


def _checked(plain: Any, keys: dict[str, type], where: str) -> dict[str, Any]:
    """A table whose keys are known and whose values are of their types; a whole number is taken for any other."""
    if not isinstance(plain, dict):
        raise BadInput(f"{where}: is not a table.")
    for key, value in plain.items():
        refuse_unknown(key, tuple(keys), where)
        wanted = keys[key]
        fits = isinstance(value, int | float) if wanted is float else isinstance(value, wanted)
        if not fits or (isinstance(value, bool) and wanted is not bool):
            types = {str: "text", float: "a number", int: "a whole number", bool: "true or false", list: "a list"}
            raise BadInput(f"{where}: {key} should be {types[wanted]}.")
        if wanted in (float, int) and not 0 <= value <= (100 if wanted is float else math.inf):
            raise BadInput(f"{where}: {key} = {value} is out of range.")
    return plain
