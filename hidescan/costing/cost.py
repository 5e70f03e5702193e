"""What leather costs: by the foot that was sold, by the foot that can be used, by the piece and by the set.

Money is decimal throughout, in whatever currency the person names; nothing is rounded before it
is shown. An area becomes a decimal once, in square feet to a millionth.
"""

import re
import tomllib
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation

from hidescan.basics.errors import BadInput
from hidescan.figures.marked_area import QUARTER_ROUNDING_MM2, MarkedArea
from hidescan.hide_map.model import HideMap, MeasureEntry
from hidescan.placing.file import Placing

_WORD = r"[^\d\s.,/+-]{1,8}"
_PRICE = re.compile(
    rf"(?P<before>{_WORD})? *(?P<amount>\d+(?:\.\d+)?) *(?P<after>{_WORD})?(?: */ *(?P<unit>[a-z]+2?²?))?"
)
# How many of a unit make a square foot, exactly: 1 ft = 304.8 mm.
_DM2, _M2 = Decimal("9.290304"), Decimal("0.09290304")
_PER_FT2 = dict.fromkeys(("ft2", "ft²", "ft", "foot", "sqft"), Decimal(1)) | {
    "dm2": _DM2, "dm²": _DM2, "m2": _M2, "m²": _M2,
}  # fmt: skip
_KEYS = ("rate", "materials", "hours")


@dataclass(frozen=True, slots=True)
class Price:
    """A price as given: of everything, or of a square foot. `currency` is only shown."""

    amount: Decimal
    currency: str
    a_foot: bool


@dataclass(frozen=True, slots=True)
class Area:
    """Square feet, and the expanded uncertainty (k = 2); None where it is unknown."""

    ft2: Decimal
    expanded: Decimal | None


@dataclass(frozen=True, slots=True)
class Difference:
    """What measured less marked area is worth, and its ±. `explained`: whether the ± (and quarters) explain it."""

    ft2: Decimal
    worth: Decimal
    worth_expanded: Decimal | None
    explained: bool


@dataclass(frozen=True, slots=True)
class Extras:
    """Other materials and hours of work, by name, for one set; and what an hour costs."""

    materials: tuple[tuple[str, Decimal], ...] = ()
    hours: tuple[tuple[str, Decimal], ...] = ()
    rate: Decimal = Decimal(0)

    @property
    def total(self) -> Decimal:
        """All of it, for one set."""
        return sum((amount for _, amount in self.materials), Decimal(0)) + self.rate * sum(
            (hours for _, hours in self.hours), Decimal(0)
        )


@dataclass(frozen=True, slots=True)
class PieceCost:
    """Leather of one piece, with its share of the waste; and how many a set takes."""

    id: str
    ft2: Decimal
    each: Decimal
    in_a_set: int
    pair: bool


@dataclass(frozen=True, slots=True)
class Cost:
    """What it comes to.

    Attributes
    ----------
    paid
        For all hides.
    marked
        As written on the hides; None where nothing was given.
    measured, usable
        Of the maps.
    difference
        Measured less marked, priced; None without a marked area.
    waste_share
        Leather bought for a usable foot of pieces, less that foot; where it comes from is `waste_source`.
    pieces
        From a placing.
    set_leather, set_total
        Of one set of pieces: leather, and with other materials and hours; None without a placing.
    """

    currency: str
    paid: Decimal
    marked: Area | None
    measured: Area
    usable: Area
    difference: Difference | None
    waste_share: Decimal | None
    waste_source: str
    extras: Extras
    pieces: tuple[PieceCost, ...] = field(default=())
    set_leather: Decimal | None = None
    set_total: Decimal | None = None


def price_from(text: str) -> Price:
    """Read a price: `120 EUR` for everything, `9.50/ft2` or `9.50 EUR/ft2` for a foot, also /dm2 and /m2.

    Raises
    ------
    BadInput
        Not a price above zero, or an unknown unit.

    Examples
    --------
    >>> price_from("9.50 EUR/ft2")
    Price(amount=Decimal('9.50'), currency='EUR', a_foot=True)
    """
    match = _PRICE.fullmatch(text.strip())
    if match is None or (match["before"] and match["after"]):
        raise BadInput(f'--price {text}: write "120 EUR" for all of it or "9.50 EUR/ft2" for a foot (decimal point).')
    unit = match["unit"]
    if unit is not None and unit not in _PER_FT2:
        raise BadInput(f"--price {text}: {unit} is no area. Use ft2, dm2 or m2.")
    amount = Decimal(match["amount"])
    if amount <= 0:
        raise BadInput(f"--price {text}: must be more than zero.")
    if unit is not None:
        amount *= _PER_FT2[unit]
    return Price(amount, match["before"] or match["after"] or "", unit is not None)


def extras_from(text: str, name: str) -> Extras:
    """Read other materials and hours: `rate = 18.00`, tables `[materials]` and `[hours]`, all for one set.

    Raises
    ------
    BadInput
        Not TOML, a key that does not exist, no number, or hours without a rate.
    """
    try:
        plain = tomllib.loads(text, parse_float=Decimal)
    except (ValueError, InvalidOperation, RecursionError) as error:
        raise BadInput(f"{name}: is not TOML ({error}). Mend that line.") from error
    for key in plain:
        if key not in _KEYS:
            raise BadInput(f"{name}: there is no key {key!r}. Keys are {', '.join(_KEYS)}.")
    tables = []
    for key in ("materials", "hours"):
        table = plain.get(key, {})
        if not isinstance(table, dict):
            raise BadInput(f"{name}: {key} is no table. Write [{key}] and a line for each.")
        tables.append(tuple((item, _number(value, f"{name}: {key}.{item}")) for item, value in table.items()))
    if tables[1] and "rate" not in plain:
        raise BadInput(f"{name}: hours need a rate. Write rate = 18.00 on the first line.")
    return Extras(tables[0], tables[1], _number(plain.get("rate", 0), f"{name}: rate"))


def cost(
    maps: tuple[HideMap, ...],
    price: Price,
    *,
    marked: tuple[MarkedArea, ...] = (),
    waste_percent: Decimal | None = None,
    placing: Placing | None = None,
    extras: Extras | None = None,
) -> Cost:
    """Work it out.

    Parameters
    ----------
    marked
        One for each map, or none.
    waste_percent
        Leather bought beyond the pieces' own area, percent of it. None: from the placing, whose hides are then charged
        to the pieces placed, offcuts and all.
    placing
        Pieces placed on these maps and no others.

    Raises
    ------
    BadInput
        Nothing usable, marked areas that are not one for each map, or a placing on other hides.
    """
    if marked and len(marked) != len(maps):
        raise BadInput(f"--marked was given {len(marked)} times for {len(maps)} maps: give it once for each, in order.")
    if placing is not None:
        _check(placing, maps)
    measured, usable = _sum([m.measures.area_net for m in maps]), _sum([m.measures.area_usable for m in maps])
    if not usable.ft2 > 0:
        raise BadInput("the marks leave nothing of this leather, so no foot of it has a price. Reject some with edit.")
    written = Area(sum((_ft2(m.area_mm2) for m in marked), Decimal(0)), None) if marked else None
    sold = measured if written is None else written
    paid = price.amount * sold.ft2 if price.a_foot else price.amount
    difference = None if written is None else _difference(written, measured, marked, paid)
    source, waste = "", None
    if waste_percent is not None:
        source, waste = "given", waste_percent / 100
    elif placing is not None and (used := _ft2(placing.used_mm2)) > 0:
        source, waste = "from the placing", usable.ft2 / used - 1
    extra = extras or Extras()
    made = Cost(price.currency, paid, written, measured, usable, difference, waste, source, extra)
    if placing is None or waste is None:
        return made
    a_foot = paid / usable.ft2 * (1 + waste)
    pieces = tuple(
        PieceCost(
            kind.id, _ft2(kind.area_mm2), _ft2(kind.area_mm2) * a_foot,
            kind.rules.count * (2 if kind.rules.pair else 1), kind.rules.pair,
        )
        for kind in placing.pieces
    )  # fmt: skip
    leather = sum((piece.each * piece.in_a_set for piece in pieces), Decimal(0))
    return Cost(
        price.currency, paid, written, measured, usable, difference, waste, source, extra, pieces, leather,
        leather + extra.total,
    )  # fmt: skip


def shown(amount: Decimal, currency: str = "") -> str:
    """An amount to the hundredth, halves away from zero.

    Examples
    --------
    >>> shown(Decimal("2.345"), "EUR")
    '2.35 EUR'
    """
    rounded = amount.quantize(Decimal("0.01"), ROUND_HALF_UP)
    return f"{rounded} {currency}".rstrip()


def cost_lines(made: Cost) -> list[str]:
    """What is printed."""
    c = made.currency
    sold, name = (made.measured, "measured") if made.marked is None else (made.marked, "marked")
    lines = [f"leather paid {shown(made.paid, c)} for {_area(sold)} ft² {name}"]
    rows = [("marked", made.marked), ("measured", made.measured), ("usable", made.usable)]
    for kind, area in rows:
        if area is not None:
            a_foot = made.paid / area.ft2
            pm = "" if area.expanded is None else f" ± {shown(a_foot * area.expanded / area.ft2)}"
            of = " (less counted marks and their margins)" if kind == "usable" else ""
            lines.append(f"  a {kind} foot{of}: {shown(a_foot, c)}{pm}, of {_area(area)} ft²")
    if (d := made.difference) is not None:
        pm = "; its ± is unknown" if d.worth_expanded is None else f" ± {shown(d.worth_expanded)}"
        way = "more than marked" if d.ft2 >= 0 else "less than marked"
        inside = "the ± explains it" if d.explained else "more than the ± explains"
        lines.append(
            f"  measured is {abs(d.ft2):.2f} ft² {way}, worth {shown(abs(d.worth), c)}{pm} at the marked foot: {inside}"
        )
    if made.waste_share is not None:
        a_foot = made.paid / made.usable.ft2 * (1 + made.waste_share)
        percent = f"{100 * made.waste_share:.1f} % waste ({made.waste_source})"
        lines.append(f"  a foot of pieces, with {percent}: {shown(a_foot, c)}")
    for piece in made.pieces:
        pair = f", a pair {shown(2 * piece.each, c)}" if piece.pair else ""
        lines.append(f"  {piece.id}: {shown(piece.each, c)} each{pair}, {piece.ft2:.3f} ft² before waste")
    if made.set_leather is not None and made.set_total is not None:
        of = ", ".join(f"{piece.in_a_set} {piece.id}" for piece in made.pieces)
        name = "pair" if all(piece.pair and piece.in_a_set == 2 for piece in made.pieces) else "set"
        lines.append(f"  leather of a {name} ({of}): {shown(made.set_leather, c)}")
        lines += [f"    {item}: {shown(amount, c)}" for item, amount in made.extras.materials]
        lines += [
            f"    {item}: {hours} h at {shown(made.extras.rate, c)} = {shown(hours * made.extras.rate, c)}"
            for item, hours in made.extras.hours
        ]
        lines.append(f"  a {name} in all: {shown(made.set_total, c)}")
    return lines


def _difference(written: Area, measured: Area, marked: tuple[MarkedArea, ...], paid: Decimal) -> Difference:
    a_foot, off = paid / written.ft2, measured.ft2 - written.ft2
    explained = measured.expanded
    worth = None if explained is None else a_foot * explained
    if explained is not None:
        explained += sum((_ft2(QUARTER_ROUNDING_MM2) for m in marked if m.quarters), Decimal(0))
    return Difference(off, a_foot * off, worth, explained is not None and abs(off) <= explained)


def _check(placing: Placing, maps: tuple[HideMap, ...]) -> None:
    """The placing must be on these hides: else its waste is that of others."""
    placed, given = {hide.photo_sha256 for hide in placing.hides}, {m.photo.sha256 for m in maps}
    if placed != given:
        names = ", ".join(hide.name for hide in placing.hides)
        raise BadInput(f"the placing is on {names}: give exactly those maps.")


def _sum(figures: list[MeasureEntry]) -> Area:
    """Areas of several hides; their uncertainties are taken as independent."""
    total = sum((_ft2(figure.value) for figure in figures), Decimal(0))
    expanded = [figure.expanded_uncertainty for figure in figures]
    if None in expanded:
        return Area(total, None)
    return Area(total, sum((_ft2(u or 0.0) ** 2 for u in expanded), Decimal(0)).sqrt())


def _ft2(area_mm2: float) -> Decimal:
    return (Decimal(repr(round(area_mm2, 3))) / Decimal("92903.04")).quantize(Decimal("0.000001"))


def _number(value: object, where: str) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, int | Decimal) or not Decimal(value).is_finite() or value < 0:
        raise BadInput(f"{where}: must be a number of zero or more, without a currency.")
    return Decimal(value)


def _area(area: Area) -> str:
    pm = "" if area.expanded is None else f" ± {area.expanded:.2f}"
    return f"{area.ft2:.2f}{pm}"
