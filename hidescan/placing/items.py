"""Every single piece to be cut, from the kinds of pieces and how many of each are asked for."""

from dataclasses import dataclass
from typing import Literal

from hidescan.pieces.file import Piece


@dataclass(frozen=True, slots=True, eq=False)
class Item:
    """One piece to be cut: its kind, its number among them, and which of a pair. `mate` is the other's index."""

    piece: Piece
    number: int
    side: Literal["left", "right", "single"]
    mate: int | None

    @property
    def id(self) -> str:
        """`vamp-1-left`, `sole-3`."""
        return f"{self.piece.id}-{self.number}" + ("" if self.side == "single" else f"-{self.side}")


def items_of(
    pieces: tuple[Piece, ...], times: int = 1, kept: frozenset[tuple[str, int]] = frozenset()
) -> tuple[Item, ...]:
    """Every single piece that is asked for, `times` over; `kept` (id, number) are among them, whatever their number."""
    items: list[Item] = []
    for piece in pieces:
        own = sorted(number for label, number in kept if label == piece.id)
        free = (number for number in range(1, times * piece.rules.count + len(own) + 1) if number not in own)
        more = [next(free) for _ in range(times * piece.rules.count - len(own))]
        for number in sorted(own + more):
            at = len(items)
            if piece.rules.pair:
                items += [Item(piece, number, "left", at + 1), Item(piece, number, "right", at)]
            else:
                items.append(Item(piece, number, "single", None))
    return tuple(items)
