"""What a person gave at places of a photo: of two statements at one place the later one counts."""

from collections.abc import Iterable
from math import dist
from typing import Protocol, TypeVar

from hidescan.hide_map.model import XY

# A finger or a mouse comes back to a place within some pixels; rims and readings are meant to lie farther apart.
SAME_PLACE_PX = 10.0


class _Placed(Protocol):
    @property
    def photo_px(self) -> XY: ...


P = TypeVar("P", bound=_Placed)


def latest_at_each_place(items: Iterable[P]) -> tuple[P, ...]:
    """Return the items, in the order given, without those that a later one at the same place replaces.

    Examples
    --------
    >>> from hidescan.hide_map.model import HintInput
    >>> [hint.inside for hint in latest_at_each_place([HintInput((5.0, 5.0), False), HintInput((7.0, 5.0), True)])]
    [True]
    """
    kept: list[P] = []
    for item in items:
        kept = [*without(kept, item.photo_px), item]
    return tuple(kept)


def without(items: Iterable[P], at_px: XY) -> tuple[P, ...]:
    """Return the items that do not lie at a photo pixel."""
    return tuple(item for item in items if dist(item.photo_px, at_px) > SAME_PLACE_PX)
