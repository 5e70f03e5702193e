"""What leather costs: by the foot that was sold, by the foot that can be used, by the piece and by the set.

Money is decimal throughout, in whatever currency the person names; nothing is rounded before it
is shown. An area becomes a decimal once, in square feet to a millionth.
"""

import re
import tomllib
from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation

from hidescan.basics.errors import BadInput
from hidescan.basics.units import decimal_point
from hidescan.figures.marked_area import QUARTER_ROUNDING_MM2, MarkedArea
from hidescan.hide_map.model import HideMap, MeasureEntry
from hidescan.placing.file import Placing, in_a_set, whole_sets

_WORD = r"[^\d\s.,/+-]{1,8}"
_PRICE = re.compile(
    rf"(?P<before>{_WORD})? *(?P<amount>\d{{1,12}}(?:[.,]\d{{1,6}})?) *(?P<after>{_WORD})?"
    r"(?: */ *(?P<unit>[a-z]+2?²?))?"
)
# How many of a unit make a square foot, exactly: 1 ft = 304.8 mm.
_DM2, _M2 = Decimal("9.290304"), Decimal("0.09290304")
_PER_FT2 = dict.fromkeys(("ft2", "ft²", "ft", "foot", "sqft"), Decimal(1)) | {
    "dm2": _DM2, "dm²": _DM2, "m2": _M2, "m²": _M2,
}  # fmt: skip
_KEYS = ("rate", "materials", "hours")
_MOST = 10**12


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
class Leather:
    """Where the leather of the hides goes, ft2 of their net area: into pieces, into offcuts worth keeping, to scrap.

    `offcuts` counts the offcuts, `hides` the hides that no piece lies on, which are kept whole; `credit` is what the
    kept leather is worth, at the price of its usable feet.
    """

    cut: Decimal
    kept: Decimal
    lost: Decimal
    offcuts: int
    hides: int
    credit: Decimal


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
        Leather that goes into a foot of pieces, less that foot, zero or more; where it comes from is `waste_source`.
        From a placing, offcuts worth keeping are not waste.
    pieces
        From a placing.
    leather
        What becomes of the hides; None where no placing says what is left of them.
    sets
        How many whole sets are placed.
    set_leather, set_total
        Of one set of pieces: leather, and with other materials and hours; None where no whole set is placed.
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
    leather: Leather | None = None
    sets: int = 0
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
        raise BadInput(f'--price {text}: write "120 EUR" for all of it or "9.50 EUR/ft2" for a foot.')
    unit = match["unit"]
    if unit is not None and unit not in _PER_FT2:
        raise BadInput(f"--price {text}: {unit} is no area. Use ft2, dm2 or m2.")
    amount = Decimal(decimal_point(match["amount"]))
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
    digests: tuple[str, ...] = (),
    extras: Extras | None = None,
) -> Cost:
    """Work it out.

    Parameters
    ----------
    marked
        One for each map, or none.
    waste_percent
        Leather bought beyond the pieces' own area, percent of it. None: from the placing, whose hides are then charged
        to the pieces placed, less the offcuts worth keeping.
    placing
        Pieces placed on these maps and no others.
    digests
        SHA-256 of each map's file, in order: needed with a placing.

    Raises
    ------
    BadInput
        Nothing usable, marked areas that are not one for each map, a placing on other maps, or a waste with which the
        pieces placed would cost more than the hides.
    """
    if marked and len(marked) != len(maps):
        raise BadInput(f"--marked was given {len(marked)} times for {len(maps)} maps: give it once for each, in order.")
    if placing is not None:
        _check(placing, digests)
    measured, usable = _sum([m.measures.area_net for m in maps]), _sum([m.measures.area_usable for m in maps])
    if not usable.ft2 > 0:
        raise BadInput("the marks leave nothing of this leather, so no foot of it has a price. Reject some with edit.")
    written = Area(sum((_ft2(m.area_mm2) for m in marked), Decimal(0)), None) if marked else None
    sold = measured if written is None else written
    paid = price.amount * sold.ft2 if price.a_foot else price.amount
    difference = None if written is None else _difference(written, measured, marked, paid)
    made = Cost(price.currency, paid, written, measured, usable, difference, None, "", extras or Extras())
    if waste_percent is not None:
        made = replace(made, waste_share=waste_percent / 100, waste_source="given")
    return made if placing is None else _with_pieces(made, placing)


def _with_pieces(made: Cost, placing: Placing) -> Cost:
    """The cost of the pieces of a placing: what was paid, less what is kept, spread over their area."""
    used = sum((_ft2(kind.area_mm2) * kind.placed for kind in placing.pieces), Decimal(0))
    usable = sum((_ft2(hide.usable_mm2) for hide in placing.hides), Decimal(0))
    kept_usable = sum((_ft2(hide.offcuts_usable_mm2 or 0.0) for hide in placing.hides), Decimal(0))
    leather = _leather(placing, made.paid * kept_usable / usable if usable > 0 else Decimal(0))
    if not (used > 0 and usable > 0):
        return replace(made, leather=leather)
    left = (made.paid - leather.credit if leather is not None else made.paid) / used
    if made.waste_share is None:
        waste, source = max((usable - kept_usable) / used - 1, Decimal(0)), "from the placing"
        a_foot = left
    else:
        waste, source = made.waste_share, made.waste_source
        a_foot = made.paid / made.usable.ft2 * (1 + waste)
        if a_foot * used > made.paid:
            most = (made.usable.ft2 / used - 1) * 100
            raise BadInput(
                f"--waste {100 * waste:f}%: the pieces placed would then cost more than the hides. Say {most:.1f} % at"
                " most, or leave it away: the placing says it."
            )
    pieces = tuple(
        PieceCost(kind.id, _ft2(kind.area_mm2), _ft2(kind.area_mm2) * a_foot, in_a_set(kind), kind.rules.pair)
        for kind in placing.pieces
    )
    made = replace(made, waste_share=waste, waste_source=source, pieces=pieces, leather=leather)
    sets = whole_sets(placing.pieces)
    if sets == 0:
        return made
    one = sum((piece.each * piece.in_a_set for piece in pieces), Decimal(0))
    return replace(made, sets=sets, set_leather=one, set_total=one + made.extras.total)


def _leather(placing: Placing, credit: Decimal) -> Leather | None:
    """What becomes of the hides; None in a placing that does not say what is left."""
    if any(hide.offcuts_mm2 is None for hide in placing.hides):
        return None
    net, cut, kept = (
        sum((_ft2(getattr(hide, name)) for hide in placing.hides), Decimal(0))
        for name in ("net_mm2", "used_mm2", "offcuts_mm2")
    )
    untouched = sum(not hide.used_mm2 for hide in placing.hides)
    offcuts = sum(len(hide.offcuts) for hide in placing.hides)
    return Leather(cut, kept, max(net - cut - kept, Decimal(0)), offcuts, untouched, credit)


def _difference(written: Area, measured: Area, marked: tuple[MarkedArea, ...], paid: Decimal) -> Difference:
    a_foot, off = paid / written.ft2, measured.ft2 - written.ft2
    explained = measured.expanded
    worth = None if explained is None else a_foot * explained
    if explained is not None:
        explained += sum((_ft2(QUARTER_ROUNDING_MM2) for m in marked if m.quarters), Decimal(0))
    return Difference(off, a_foot * off, worth, explained is not None and abs(off) <= explained)


def _check(placing: Placing, digests: tuple[str, ...]) -> None:
    """The placing must be on these very maps: of another, or one changed since, its waste says nothing."""
    if sorted(hide.map_sha256 for hide in placing.hides) != sorted(digests):
        names = ", ".join(hide.name for hide in placing.hides)
        raise BadInput(
            f"the placing is on {names}, as mapped then: give exactly those maps. Where one was changed, place again."
        )


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
    if isinstance(value, bool) or not isinstance(value, int | Decimal) or not Decimal(value).is_finite():
        raise BadInput(f"{where}: must be a number of zero or more, without a currency.")
    if not 0 <= value <= _MOST:
        raise BadInput(f"{where}: must be from zero to a million million, without a currency.")
    return Decimal(value)
