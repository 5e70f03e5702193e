"""Which leather suits a project: what makers commonly do, as shipped or as the user wrote it, and what is on the shelf.

Everything shipped is common trade practice without a source, and is marked as such.
"""

import difflib
import importlib.resources
import sqlite3
import tomllib
from dataclasses import dataclass, fields, replace
from typing import Annotated, Any, Literal

from pydantic import Field, TypeAdapter, ValidationError

from hidescan.basics.errors import BadInput
from hidescan.basics.units import MM2_PER_FT2, format_area, format_thickness
from hidescan.basics.vocabulary import SPECIES, TANNAGES, ZONES
from hidescan.shelf.finding import Criteria, Row, ThicknessWanted, find

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]

HEAT = "Wet leather and heat: no heater, no sun. It shrinks for good."
KNIFE = "Cut away from yourself, with a glove that resists cuts on the hand that holds; no blade left under a hide."
SOAK = (
    "Soaking to pre-stretch suits commercial and smoked brain-tanned leather; unsmoked brain-tan sets hard after a"
    " soaking: try an offcut first."
)
FIRST_HAND = (
    "For period work go to first-hand sources before this page: surviving pieces with a museum number, excavation"
    " reports with drawings and thicknesses, dated inventories, pictures of the time; later copies copy each other."
)
_STRETCH = {
    "yes": "pre-stretch before cutting",
    "mild": "a pull by hand along and across will do",
    "no": "no pre-stretching",
}


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a project and the leather for it.

    `species` and `tannages` are what the shelf is searched for (any of them), in names of the vocabulary; words of the
    maker's own go into `species_other` and `tannages_other`. `area_ft2` is about what one project takes, waste and all.
    """

    name: str
    leathers: tuple[str, ...]
    thickness_mm: tuple[Positive, Positive]
    zones: tuple[str, ...]
    area_ft2: Positive
    stretch: Literal["yes", "mild", "no"]
    why: str
    lay: str
    species: tuple[str, ...] = ()
    tannages: tuple[str, ...] = ()
    species_other: tuple[str, ...] = ()
    tannages_other: tuple[str, ...] = ()

    @property
    def any_species(self) -> tuple[str, ...]:
        """Every species that will do."""
        return self.species + self.species_other

    @property
    def any_tannages(self) -> tuple[str, ...]:
        """Every tannage that will do."""
        return self.tannages + self.tannages_other


@dataclass(frozen=True, slots=True)
class Project:
    """A kind of project. `source` names where the advice comes from."""

    title: str
    parts: tuple[Part, ...]
    also: tuple[str, ...] = ()
    period: bool = False
    doubts: tuple[str, ...] = ()
    source: str = "common practice, no source"


def shipped() -> dict[str, str]:
    """The shipped projects: TOML by name."""
    folder = importlib.resources.files("hidescan.advice").joinpath("projects")
    return {file.name.removesuffix(".toml"): file.read_text("utf-8") for file in folder.iterdir()}


def project_from(text: str, name: str) -> Project:
    """Read a project.

    Raises
    ------
    BadInput
        Not TOML, a key that does not exist or is missing, a value of the wrong kind.
    """
    try:
        plain = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadInput(f"{name}: is not TOML ({error}). Mend that line.") from error
    _known(plain, Project, name)
    parts = plain.get("parts")
    for n, part in enumerate(parts if isinstance(parts, list) else [], start=1):
        if isinstance(part, dict):
            _known(part, Part, f"{name}: part {n}")
    try:
        project = TypeAdapter(Project).validate_python(plain)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(step) for step in first["loc"])
        raise BadInput(f"{name}: {where}: {first['msg']}.") from error
    if not project.parts or any(part.thickness_mm[0] > part.thickness_mm[1] for part in project.parts):
        raise BadInput(f"{name}: needs a [[parts]] at least, and thickness_mm as [least, most].")
    return replace(project, parts=tuple(_named(part, f"{name}: {part.name}") for part in project.parts))


def _named(part: Part, where: str) -> Part:
    """The part with the vocabulary's names for its zones, species and tannages; asks about one that is not known."""
    return replace(
        part,
        zones=tuple(ZONES.read(zone, where=f"{where}, zones:") for zone in part.zones),
        species=tuple(
            SPECIES.read(text, where=f"{where}, species:", keep="Use species_other to keep it.")
            for text in part.species
        ),
        tannages=tuple(
            TANNAGES.read(text, where=f"{where}, tannages:", keep="Use tannages_other to keep it.")
            for text in part.tannages
        ),
    )


def chosen(word: str, projects: dict[str, str]) -> Project:
    """The project of a name, its own or another that it goes by.

    Raises
    ------
    BadInput
        There is none; the message gives the nearest and all names.
    """
    read = {name: project_from(text, f"{name}.toml") for name, text in sorted(projects.items())}
    wanted = word.strip().lower()
    for name, project in read.items():
        if wanted == name.lower() or wanted in (other.lower() for other in project.also):
            return project
    names = {other.lower(): name for name, project in read.items() for other in (name, *project.also)}
    near = difflib.get_close_matches(wanted, names, n=1)
    meant = f" Did you mean {names[near[0]]}?" if near else ""
    raise BadInput(
        f"advise: there is no project {word!r}.{meant} There are: {', '.join(read)}; or give a TOML of your own."
    )


@dataclass(frozen=True, slots=True)
class OnShelf:
    """Hides for a part: those that qualify, and those of which not enough is known."""

    fit: tuple[Row, ...]
    perhaps: tuple[tuple[Row, str], ...]


def on_shelf(db: sqlite3.Connection, part: Part) -> OnShelf:
    """Hides whose kind, tannage, thickness in the part's first zone, and area left suit it."""
    low, high = part.thickness_mm
    area = part.area_ft2 * MM2_PER_FT2
    thick = (ThicknessWanted(part.zones[0], low, high),) if part.zones else ()
    enough = find(db, Criteria(least_area_mm2=area))
    right = {row.id: row for row in find(db, Criteria(least_area_mm2=area, thickness=thick))}
    any_thickness = ThicknessWanted(part.zones[0], 0.0, 1e9) if part.zones else None
    gauged = {row.id for row in find(db, Criteria(thickness=(any_thickness,)))} if any_thickness else set(right)
    fit, perhaps = [], []
    for row in enough:
        unknown = []
        if part.any_species and not any(SPECIES.same(row.species, wanted) for wanted in part.any_species):
            if row.species is not None:
                continue
            unknown.append("species")
        if part.any_tannages and not any(TANNAGES.same(row.tannage, wanted) for wanted in part.any_tannages):
            if row.tannage is not None:
                continue
            unknown.append("tannage")
        if row.id not in right:
            if row.id in gauged:
                continue
            unknown.append("thickness")
        if unknown:
            perhaps.append((row, " and ".join(unknown)))
        else:
            fit.append(right[row.id])
    return OnShelf(tuple(fit), tuple(perhaps))


def advice_lines(project: Project, shelf: tuple[OnShelf, ...] | None, units: str) -> list[str]:
    """What is printed; `shelf` has one entry for each part, None where there is no shelf."""
    lines = [f"{project.title} ({project.source})"]
    for n, part in enumerate(project.parts):
        low, high = (format_thickness(mm, units) for mm in part.thickness_mm)
        lines += [
            f"{part.name}: {'; '.join(part.leathers)}",
            f"  thickness {low} to {high}, from {', '.join(part.zones) or 'anywhere'};"
            f" about {format_area(part.area_ft2 * MM2_PER_FT2, units)} with waste",
            f"  {_STRETCH[part.stretch]}. {part.why}",
            f"  laid: {part.lay}",
        ]
        if shelf is not None:
            lines += _shelf_lines(shelf[n], units)
    lines += [f"not sure: {doubt}" for doubt in project.doubts]
    if any(part.stretch != "no" for part in project.parts):
        lines += [f"mind: {SOAK}", f"mind: {HEAT}"]
    lines.append(f"mind: {KNIFE}")
    if project.period:
        lines.append(FIRST_HAND)
    return lines


def _shelf_lines(there: OnShelf, units: str) -> list[str]:
    lines = []
    for row in there.fit:
        lines.append(f"  on the shelf: {_hide(row, units)}{''.join(f'; {note}' for note in row.notes)}")
    for row, unknown in there.perhaps:
        lines.append(f"  perhaps: {_hide(row, units)}; its {unknown} is not known")
    return lines or ["  on the shelf: nothing that suits"]


def _hide(row: Row, units: str) -> str:
    kind = ", ".join(word for word in (row.species, row.tannage, row.state) if word)
    left = "" if row.area_left_mm2 is None else f"{format_area(row.area_left_mm2, units)} left"
    return f"{row.label} ({', '.join(word for word in (kind, left) if word)})"


def _known(plain: dict[str, Any], model: type[Part] | type[Project], where: str) -> None:
    keys = [field.name for field in fields(model)]
    for key in plain:
        if key not in keys:
            near = difflib.get_close_matches(key, keys, n=1, cutoff=0.0)[0]
            raise BadInput(f"{where}: there is no key {key!r}. Did you mean {near!r}?")
