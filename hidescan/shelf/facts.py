"""What a person says of a hide, and how a price is kept: exactly."""

from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Literal

from hidescan.basics.errors import BadInput

Stretching = Literal["before", "after"]
_PRICE_UNIT = Decimal("0.0001")


@dataclass(frozen=True, slots=True)
class Facts:
    """What a person says of a hide; None where nothing was said.

    `taken_on`, `taken_where`, `taken_by`, `licence` and `received_from` are what wildlife law asks to be kept with a
    hide in many places: rules differ, the agency knows. Dates are ISO 8601.
    """

    species: str | None = None
    tannage: str | None = None
    state: str | None = None
    thickness_mm: float | None = None
    taken_on: str | None = None
    taken_where: str | None = None
    taken_by: str | None = None
    licence: str | None = None
    received_from: str | None = None
    seller: str | None = None
    price: Decimal | None = None
    currency: str | None = None
    bought_on: str | None = None
    notes: str | None = None


def columns_of(facts: Facts) -> dict[str, str | float | int]:
    """The facts that were said, as columns."""
    said = {f.name: v for f in fields(facts) if (v := getattr(facts, f.name)) is not None and f.name != "price"}
    if facts.price is not None:
        said["price_e4"] = price_e4(facts.price)
    return said


def price_of(price_e4: int | None) -> Decimal | None:
    """A price as kept, in ten-thousandths, as a decimal."""
    return None if price_e4 is None else (price_e4 * _PRICE_UNIT).normalize()


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
