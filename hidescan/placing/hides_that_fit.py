"""Which hides on the shelf hold all of a set of pieces: by size first, then by placing them."""

import math
import sqlite3
from dataclasses import replace

import numpy as np

from hidescan.basics.errors import BadInput
from hidescan.pieces.file import Piece
from hidescan.placing.layout import place_pieces
from hidescan.placing.leather import leather_of
from hidescan.placing.search import Effort
from hidescan.settings import Settings
from hidescan.settings.uses import EnoughSettings, PlaceSettings
from hidescan.shelf.finding import Row
from hidescan.shelf.remaining import remaining


def may_hold(row: Row, pieces: tuple[Piece, ...], settings: EnoughSettings) -> bool:
    """Whether a hide is large enough for a set of pieces by area, and for each by length and width.

    True for every hide that would do, and for many that would not.
    """
    if row.area_left_mm2 is None or row.length_mm is None or row.width_mm is None:
        return False
    if sum(piece.area_mm2 * piece.pieces for piece in pieces) > row.area_left_mm2:
        return False
    long, wide = row.length_mm + settings.slack_mm, row.width_mm + settings.slack_mm
    return all(_lies_within(piece, long, wide) for piece in pieces)


def hides_that_fit(
    db: sqlite3.Connection, rows: tuple[Row, ...], pieces: tuple[Piece, ...], settings: EnoughSettings
) -> tuple[Row, ...]:
    """The hides that hold all the pieces, in their order, each with a note of what that rests on.

    The first `settings.most_placed` that may hold them are tried by placing the pieces on what is left of them; a hide
    on which no places were found is left out. The rest are judged by size alone, and marked so.
    """
    found: list[Row] = []
    everything = Settings()
    for number, row in enumerate(row for row in rows if may_hold(row, pieces, settings)):
        hide_map = remaining(db, row.id) if number < settings.most_placed else None
        if hide_map is None:
            found.append(replace(row, notes=(*row.notes, "large enough, pieces not placed")))
            continue
        leather = leather_of(row.label, hide_map, everything)
        try:
            placing = place_pieces(
                (leather,),
                ("",),
                pieces,
                PlaceSettings(usable=everything.usable),
                effort=Effort(rounds=settings.rounds_each, seconds=None),
            )
        except BadInput as error:  # no back line to lay a grain along
            found.append(replace(row, notes=(*row.notes, f"large enough, but {error}")))
            continue
        if not placing.missed:
            share = f"all {len(placing.placed)} pieces placed on {100 * placing.yield_share:.0f} % of it"
            found.append(replace(row, notes=(*row.notes, share)))
    return tuple(found)


def _lies_within(piece: Piece, long_mm: float, wide_mm: float) -> bool:
    """Whether a piece, turned as far as it may be, is no longer and no wider than the hide.

    The least length and the least width are taken each at its own turn.
    """
    most = 90.0 if piece.rules.turn_deg is None else piece.rules.turn_deg
    lengths, widths = [], []
    for turn in np.linspace(-most, most, 1 + 2 * math.ceil(most)):
        along = np.deg2rad(piece.grain_deg + turn)
        lengths.append(float(np.ptp(piece.ring_mm @ (np.cos(along), np.sin(along)))))
        widths.append(float(np.ptp(piece.ring_mm @ (-np.sin(along), np.cos(along)))))
    return min(lengths) <= long_mm and min(widths) <= wide_mm
