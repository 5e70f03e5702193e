"""What the wall of hides shows of each: a few figures, kept on the disk so that no photo is opened for it."""

import json
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from hidescan.basics.atomic_files import write_whole
from hidescan.basics.units import MM2_PER_FT2
from hidescan.costing.cost import price_from
from hidescan.costing.report import shown
from hidescan.figures.marked_area import marked_area
from hidescan.page.journal import Given
from hidescan.page.notes import Notes

_FIGURES = ("area_net", "area_usable", "length", "width")


@dataclass(frozen=True, slots=True)
class UsableFoot:
    """What a usable square foot costs: currency, amount and its ± (k = 2; None where that is unknown)."""

    currency: str
    amount: Decimal
    expanded: Decimal | None

    @property
    def plain(self) -> dict[str, str | None]:
        """For the page, to the hundredth."""
        expanded = None if self.expanded is None else shown(self.expanded)
        return {"currency": self.currency, "amount": shown(self.amount), "u": expanded}


def keep_glance(work: Path, view: bytes, given: Given, at: int) -> None:
    """Keep what the wall shows of a work.

    Parameters
    ----------
    view
        The worker's answer, JSON.
    at
        Number of the journal's lines that it belongs to.
    """
    shown_map = json.loads(view)
    plain: dict[str, Any] = {"at": at, "taken": shown_map["photo"]["taken"], "species": given.inputs.species}
    if "problem" in shown_map:
        plain["problem"] = shown_map["problem"]["code"]
    else:
        figures = shown_map["figures"]
        plain |= {name: _whole(figures[name]) for name in _FIGURES}
        marks = [mark for mark in shown_map["marks"] if mark["status"] != "rejected"]
        plain |= {
            "thickness_mm": given.inputs.thickness_mm,
            "form": shown_map["form"]["name"],
            "marks": len(marks),
            "holes": sum(mark["kind"] == "hole" for mark in marks),
            "doubts": len(shown_map["doubtful"]),
            "above": shown_map["above"],
        }
    write_whole(work / "glance.json", json.dumps(plain, separators=(",", ":")).encode())


def glance_of(work: Path) -> dict[str, Any] | None:
    """What was kept; None where the hide was not mapped yet, or it cannot be read."""
    try:
        plain = json.loads((work / "glance.json").read_bytes())
        return plain if isinstance(plain, dict) else None
    except (OSError, ValueError, RecursionError):
        return None


def usable_foot(notes: Notes, seen: dict[str, Any] | None) -> UsableFoot | None:
    """What a usable foot costs; None where no price is known or nothing is usable.

    A price of a foot counts for the marked area where the seller wrote one, else for the area measured.

    Parameters
    ----------
    seen
        As `glance_of` returns it.
    """
    if seen is None or not notes.price or not seen.get("area_usable", [0])[0]:
        return None
    price = price_from(notes.price)
    per_ft2 = Decimal(str(MM2_PER_FT2))
    usable, usable_expanded = seen["area_usable"]
    sold = Decimal(str(marked_area(notes.marked).area_mm2)) if notes.marked else Decimal(seen["area_net"][0])
    paid = price.amount * sold / per_ft2 if price.a_foot else price.amount
    each = paid / (Decimal(usable) / per_ft2)
    # the price is exact, the usable area is not: the relative uncertainty of a quotient (JCGM 100, 5.1.6)
    expanded = None if usable_expanded is None else each * usable_expanded / usable
    return UsableFoot(price.currency, each, expanded)


def _whole(figure: dict[str, float | None]) -> list[int | None]:
    return [None if number is None else round(number) for number in (figure["value"], figure["u"])]
