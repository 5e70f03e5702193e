"""Which hides on the shelf will do: questions about what is left of them."""

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np

from hidescan.basics import vocabulary
from hidescan.basics.errors import BadInput
from hidescan.basics.vocabulary import Vocabulary
from hidescan.shelf.facts import price_e4, price_of
from hidescan.shelf.hides import id_of
from hidescan.shelf.shade import Lab, difference


@dataclass(frozen=True, slots=True)
class ThicknessWanted:
    """A part of the hide must be this thick: zone name, bounds in mm."""

    zone: str
    least_mm: float
    most_mm: float


@dataclass(frozen=True, slots=True)
class Criteria:
    """What a hide must be like; None or empty where it does not matter.

    Attributes
    ----------
    least_area_mm2
        Usable area that is left.
    fits_mm
        Length along the back and width of a rectangle that must fit in what is left.
    thickness
        Every one must hold.
    shade_of, within_delta_e
        Label of a hide, and how far in CIEDE2000 the shade may be from its shade.
    marks_allowed
        Kinds of mark that it may have, and no others; None where any will do.
    price_most, currency
        Hides without a price, or priced in another currency where one is named, are left out.
    """

    species: str | None = None
    tannage: str | None = None
    state: str | None = None
    least_area_mm2: float | None = None
    fits_mm: tuple[float, float] | None = None
    thickness: tuple[ThicknessWanted, ...] = ()
    shade_of: str | None = None
    within_delta_e: float = 3.0
    marks_allowed: tuple[str, ...] | None = None
    price_most: Decimal | None = None
    currency: str | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """A hide in a list. `delta_e` is set where a shade was asked for; `notes` say what an answer rests on."""

    id: int
    label: str
    species: str | None
    tannage: str | None
    state: str | None
    form: str | None
    area_net_mm2: float | None
    area_net_expanded_mm2: float | None
    area_left_mm2: float | None
    length_mm: float | None
    width_mm: float | None
    shade: Lab | None
    price: Decimal | None
    currency: str | None
    delta_e: float | None = None
    notes: tuple[str, ...] = ()


_NAMED: dict[str, Vocabulary[Any]] = {
    "species": vocabulary.SPECIES, "tannage": vocabulary.TANNAGES, "state": vocabulary.STATES,
}  # fmt: skip
_SHOWN = (
    "id", "label", "species", "tannage", "state", "form", "area_net_mm2", "area_net_expanded_mm2", "area_left_mm2",
    "length_mm", "width_mm", "currency", "price_e4", "shade_l", "shade_a", "shade_b",
)  # fmt: skip


def find(db: sqlite3.Connection, criteria: Criteria) -> tuple[Row, ...]:
    """The hides that meet every criterion: nearest in shade first where one was asked for, else largest first.

    Raises
    ------
    BadInput
        `shade_of` names no hide, or one whose shade was not measured.
    """
    where, values = ["hide.removed_at IS NULL"], dict[str, str | float | int]()

    def must(condition: str, **given: str | float | int) -> None:
        where.append(condition)
        values.update(given)

    for name in _NAMED:
        if (wanted := getattr(criteria, name)) is not None:
            spellings = {f"{name}{n}": text for n, text in enumerate(_spellings(db, name, wanted))}
            must(f"hide.{name} IN ({', '.join(f':{key}' for key in spellings)})", **spellings)
    if criteria.least_area_mm2 is not None:
        must("hide.area_left_mm2 >= :least_area", least_area=criteria.least_area_mm2)
    if criteria.fits_mm is not None:
        # The rectangles of a hide are sorted by length, and the first that is long enough is the widest such.
        must(
            "(SELECT fit.width_mm FROM fit WHERE hide_id = hide.id AND fit.length_mm >= :long"
            " ORDER BY fit.length_mm LIMIT 1) >= :wide",
            long=criteria.fits_mm[0],
            wide=criteria.fits_mm[1],
        )
        # Where something was cut at a place that is not known, more rectangles are in that table than there is leather.
        must("hide.area_left_mm2 >= :size", size=criteria.fits_mm[0] * criteria.fits_mm[1])
    if criteria.price_most is not None:
        must("hide.price_e4 <= :price", price=price_e4(criteria.price_most))
        if criteria.currency is not None:
            must("hide.currency = :currency", currency=criteria.currency)
    _marks(criteria, must)
    columns, joins = [f"hide.{name}" for name in _SHOWN], list[str]()
    for n, wanted in enumerate(criteria.thickness):
        columns += [f"zone{n}.thickness_mm", f"zone{n}.source"]
        joins.append(f"JOIN zone AS zone{n} ON zone{n}.hide_id = hide.id AND zone{n}.name = :name{n}")
        must(
            f"zone{n}.thickness_mm BETWEEN :thin{n} AND :thick{n}",
            **{f"name{n}": wanted.zone.strip()},
            **{f"thin{n}": wanted.least_mm, f"thick{n}": wanted.most_mm},
        )
    rows = db.execute(
        f"SELECT {', '.join(columns)} FROM hide {' '.join(joins)} WHERE {' AND '.join(where)}"
        " ORDER BY hide.area_left_mm2 DESC, hide.label",
        values,
    )
    found = tuple(_row(criteria.thickness, *row) for row in rows)
    return found if criteria.shade_of is None else _near(db, criteria, found)


# The option of the command line that sets each criterion.
_OPTIONS = {
    "species": "--species", "tannage": "--tannage", "state": "--state", "least_area_mm2": "--area", "fits_mm": "--fits",
    "thickness": "--thickness", "shade_of": "--shade-of", "marks_allowed": "--allow", "price_most": "--price",
}  # fmt: skip


def nearest_miss(db: sqlite3.Connection, criteria: Criteria) -> tuple[Row, tuple[str, ...]] | None:
    """The hide that meets the most criteria, the largest of those, and the options that it does not meet.

    None where the shelf is empty.
    """
    unset = Criteria()
    with_currency = {"price_most": "currency", "shade_of": "within_delta_e"}
    missed: dict[str, list[str]] = {}
    rows = {row.label: row for row in find(db, unset)}
    for name, option in _OPTIONS.items():
        if (wanted := getattr(criteria, name)) == getattr(unset, name):
            continue
        also = {other: getattr(criteria, other) for key, other in with_currency.items() if key == name}
        met = {row.label for row in find(db, replace(unset, **{name: wanted}, **also))}
        for label in rows.keys() - met:
            missed.setdefault(label, []).append(option)
    if not rows:
        return None
    best = min(rows.values(), key=lambda row: (len(missed.get(row.label, ())), -(row.area_left_mm2 or 0.0), row.label))
    return best, tuple(missed.get(best.label, ()))


def _spellings(db: sqlite3.Connection, name: str, wanted: str) -> list[str]:
    """How the shelf spells what is wanted, and kinds of it.

    Raises
    ------
    BadInput
        The word is not known, and no hide on the shelf has it.
    """
    kept = [text for (text,) in db.execute(f"SELECT DISTINCT {name} FROM hide WHERE {name} IS NOT NULL")]
    found = [text for text in kept if _NAMED[name].same(text, wanted)]
    if not found:
        _NAMED[name].read(wanted)
    return found


def _marks(criteria: Criteria, must: Callable[..., None]) -> None:
    if criteria.marks_allowed is None:
        return
    allowed = {f"mark{n}": kind for n, kind in enumerate(criteria.marks_allowed)}
    names = ", ".join(f":{name}" for name in allowed)
    must(
        "hide.area_left_mm2 IS NOT NULL"
        f" AND NOT EXISTS (SELECT 1 FROM mark WHERE hide_id = hide.id AND kind NOT IN ({names}))",
        **allowed,
    )


def _row(thickness: tuple[ThicknessWanted, ...], *row: Any) -> Row:
    *first, currency, price, light, red_green, yellow_blue = row[: len(_SHOWN)]
    known = row[len(_SHOWN) :]
    notes = tuple(
        f"{wanted.zone} {value:.1f} mm, {source}"
        for wanted, value, source in zip(thickness, known[::2], known[1::2], strict=True)
    )
    shade = None if light is None else (light, red_green, yellow_blue)
    return Row(*(*first, shade, price_of(price), currency, None, notes))


def _near(db: sqlite3.Connection, criteria: Criteria, found: tuple[Row, ...]) -> tuple[Row, ...]:
    """Those within the difference in shade, nearest first."""
    assert criteria.shade_of is not None
    shade = db.execute("SELECT shade_l, shade_a, shade_b FROM hide WHERE id = ?", (id_of(db, criteria.shade_of),))
    like = shade.fetchone()
    if like[0] is None:
        raise BadInput(f"{criteria.shade_of}: its shade was not measured. Add its map with the photo beside it.")
    measured = [row for row in found if row.shade is not None and row.label.lower() != criteria.shade_of.lower()]
    if not measured:
        return ()
    apart = difference(like, np.array([row.shade for row in measured]))
    near = [
        replace(row, delta_e=float(d)) for row, d in zip(measured, apart, strict=True) if d <= criteria.within_delta_e
    ]
    return tuple(sorted(near, key=lambda row: (row.delta_e, row.label)))
