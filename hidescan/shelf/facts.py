"""The facts of a hide on the shelf, how people write them, and how a price is kept: exactly."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date
from decimal import Decimal
from typing import Annotated, Literal

from hidescan.basics.errors import BadInput
from hidescan.basics.units import decimal_point
from hidescan.hide_map.facts import SPECIES, STATE, TANNAGE, THICKNESS, Fact, read_facts

Stretching = Literal["before", "after"]
_PRICE_UNIT = Decimal("0.0001")
_PRICE = re.compile(r"(?:([A-Za-z]{1,4}|[$£€¥]) *)?(\d{1,12}(?:[.,]\d{1,4})?)(?: *([A-Za-z]{1,4}|[$£€¥]))?", re.ASCII)


def day(text: str) -> str:
    """A date as 2026-11-02, or a month or a year alone, where that is all that is known."""
    if re.fullmatch(r"\d{4}(-(0[1-9]|1[0-2]))?", text.strip(), re.ASCII):
        return text.strip()
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        raise BadInput(f"{text}: is not a date. Write it as 2026-11-02.") from None


def read_price(text: str) -> tuple[Decimal, str | None]:
    """A price with its currency, where one is given.

    Examples
    --------
    >>> read_price("120.50 EUR"), read_price("120.50")
    ((Decimal('120.50'), 'EUR'), (Decimal('120.50'), None))
    """
    match = _PRICE.fullmatch(text.strip())
    if match is None or (match[1] and match[3]):
        raise BadInput(f'--price {text}: write a number, with its currency where you like: "120.50 EUR".')
    currency = match[1] or match[3]
    return Decimal(decimal_point(match[2])), None if currency is None else currency.upper()


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of a hide on the shelf; None where nothing is.

    `taken_on`, `taken_where`, `taken_by`, `licence` and `received_from` are what wildlife law asks to be kept with a
    hide in many places: rules differ, the agency knows. Dates are ISO 8601.
    """

    species: Annotated[str | None, SPECIES] = None
    tannage: Annotated[str | None, TANNAGE] = None
    state: Annotated[str | None, STATE] = None
    thickness_mm: Annotated[float | None, THICKNESS] = None
    taken_on: Annotated[str | None, Fact("Taken on", "Date the animal was taken: 2026-11-02.", read=day)] = None
    taken_where: Annotated[str | None, Fact("Taken where", "Place it was taken.")] = None
    taken_by: Annotated[str | None, Fact("Taken by", "Who took it.")] = None
    licence: Annotated[str | None, Fact("Licence", "Licence or tag number.")] = None
    received_from: Annotated[str | None, Fact("From", "From whom you had it.", option="from")] = None
    seller: Annotated[str | None, Fact("Seller", "Who sold it.")] = None
    price: Annotated[
        Decimal | None, Fact("Price", 'Price, with its currency where you like: "120.50 EUR".', read=read_price)
    ] = None
    currency: str | None = None
    bought_on: Annotated[str | None, Fact("Bought", "Date it was bought.", read=day)] = None
    notes: Annotated[str | None, Fact("Notes", "Anything else.")] = None


def facts_from(texts: Mapping[str, str | None]) -> Facts:
    """The facts as a person wrote them, by field as for `read_facts`.

    Raises
    ------
    BadInput
        One cannot be read.
    """
    values = read_facts(Facts, texts)
    if "price" in values:
        values["price"], values["currency"] = values["price"]
    return Facts(**values)


def columns_of(facts: Facts) -> dict[str, str | float | int]:
    """The facts that are given, as columns."""
    given = {f.name: v for f in fields(facts) if (v := getattr(facts, f.name)) is not None and f.name != "price"}
    if facts.price is not None:
        given["price_e4"] = price_e4(facts.price)
    return given


def price_of(price_e4: int | None) -> Decimal | None:
    """A price as kept, in ten-thousandths, as a decimal: plain digits, never with an exponent.

    Examples
    --------
    >>> price_of(600_000), price_of(801_000)
    (Decimal('60'), Decimal('80.1'))
    """
    return None if price_e4 is None else Decimal(f"{(price_e4 * _PRICE_UNIT).normalize():f}")


def price_e4(price: Decimal) -> int:
    """A price in ten-thousandths, as kept.

    Raises
    ------
    BadInput
        Below zero, too large, or finer than a ten-thousandth.
    """
    units = price / _PRICE_UNIT
    if not 0 <= units < 2**62 or units != int(units):
        raise BadInput(f"a price of {price}: expected zero or more, with at most four decimals.")
    return int(units)
