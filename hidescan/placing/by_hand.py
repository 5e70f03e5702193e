"""Pieces laid by hand: the figures of each where it lies, and the rules it breaks there."""

from dataclasses import dataclass, replace

import numpy as np

from hidescan.basics.errors import BadInput
from hidescan.basics.geometry import Points
from hidescan.hide_map.model import XY, HideMap, Number
from hidescan.pieces.file import Piece
from hidescan.placing.file import PlacedPiece, Placing
from hidescan.placing.items import Item, items_of
from hidescan.placing.layout import described, placing_of
from hidescan.placing.leather import Leather
from hidescan.placing.no_fit_polygon import PER_MM
from hidescan.placing.rules import broken_rules
from hidescan.placing.shapes import Pose
from hidescan.placing.table import Spot
from hidescan.settings.uses import PlaceSettings

# Finer than a hand turns: a turn of nothing stays nothing on the way through the photo.
_DEG_DECIMALS = 6


@dataclass(frozen=True, slots=True)
class HandSpot:
    """Where one piece lies: hide frame, mm; `kept` where a person put it there."""

    id: str
    at_mm: tuple[Number, Number]
    turned_deg: Number
    kept: bool = True


def spots_of(placing: Placing) -> tuple[HandSpot, ...]:
    """Where the pieces of a placing lie."""
    return tuple(HandSpot(p.id, p.at_mm, p.turned_deg, p.kept) for p in placing.placed)


def carried_spots(spots: tuple[HandSpot, ...], old: HideMap, new: HideMap) -> tuple[HandSpot, ...]:
    """Return spots in the hide frame of another map of the same photo: pieces stay where they lie on the leather."""
    seen, measured = old.camera_over_hide(), new.camera_over_hide()

    def there(points_mm: Points) -> Points:
        return measured.mm_from_px(seen.px_from_mm(points_mm, old.upper_face_mm()), new.upper_face_mm())

    moved = []
    for spot in spots:
        turn = np.deg2rad(spot.turned_deg)
        grain = 100.0 * np.array([-np.sin(turn), np.cos(turn)])
        ends = there(np.array([spot.at_mm, spot.at_mm + grain]))
        (x, y), along = ends[0].tolist(), ends[1] - ends[0]
        turned_deg = float(np.rad2deg(np.arctan2(-along[0], along[1])))
        moved.append(replace(spot, at_mm=(x, y), turned_deg=round(turned_deg, _DEG_DECIMALS) + 0.0))
    return tuple(moved)


def laid_by_hand(
    leather: Leather, digest: str, pieces: tuple[Piece, ...], spots: tuple[HandSpot, ...], before: Placing | None = None
) -> Placing:
    """Pieces where they were put, rules kept or not.

    Parameters
    ----------
    digest
        SHA-256 of the hide's map file.
    before
        An earlier placing on this same leather with these same pieces: what has not moved since is not looked at anew.

    Raises
    ------
    BadInput
        A spot of a piece that is not among these, or two of one piece.
    """
    items = {item.id: item for item in items_of(pieces)}
    if len({spot.id for spot in spots}) < len(spots):
        raise BadInput("A piece lies in two places.")
    known = {} if before is None else {(p.id, p.at_mm, p.turned_deg): p for p in before.placed}
    return placing_of((leather,), (digest,), pieces, tuple(_placed(leather, items, spot, known) for spot in spots))


def _placed(
    leather: Leather, items: dict[str, Item], spot: HandSpot, known: dict[tuple[str, XY, float], PlacedPiece]
) -> PlacedPiece:
    if spot.id not in items:
        raise BadInput(f"There is no piece {spot.id}.")
    item = items[spot.id]
    pose = Pose(spot.turned_deg, item.side == "right")
    at = Spot(0, pose, *(round(v * PER_MM) for v in spot.at_mm)).at_mm
    there = known.get((spot.id, (float(at[0]), float(at[1])), spot.turned_deg))
    if there is not None and there.kept == spot.kept:
        return there
    return described(leather, item, pose, at, kept=spot.kept)


def broken_by(
    leather: Leather,
    one: PlacedPiece,
    placed: tuple[PlacedPiece, ...],
    pieces: tuple[Piece, ...],
    settings: PlaceSettings,
) -> tuple[str, ...]:
    """Which rules a piece breaks among the others, a line each."""
    others = [p for p in placed if p.id != one.id]
    faults = broken_rules(leather, [one], others, pieces, settings)
    return tuple(fault.removeprefix(f"{one.id}: ") for fault in faults)
