"""Whether pieces lie as their rules ask, by Shapely on their own outlines."""

from collections.abc import Iterable

from shapely import prepare
from shapely.geometry import Polygon

from hidescan.uses.pieces_file import Piece
from hidescan.uses.place_leather import Leather, room_for
from hidescan.uses.placing import PlacedPiece
from hidescan.uses.settings import PlaceSettings


def outline_of(placed: PlacedPiece) -> Polygon:
    """A placed piece's outline."""
    return Polygon(placed.hide_mm.coordinates[0])


def broken_rules(
    leather: Leather,
    placed: Iterable[PlacedPiece],
    others: Iterable[PlacedPiece],
    pieces: tuple[Piece, ...],
    settings: PlaceSettings,
) -> tuple[str, ...]:
    """What is wrong with pieces on a hide, in words; empty if nothing is.

    Parameters
    ----------
    placed
        The pieces to check, against the leather and each other.
    others
        Pieces that lie there already and are only checked against.
    """
    kinds = {piece.id: piece for piece in pieces}
    slack = settings.tolerance_mm
    said: list[str] = []
    there = [(p, outline_of(p)) for p in others if p.hide == leather.name]
    rooms = {}
    for one in placed:
        rules, outline = kinds[one.piece].rules, outline_of(one)
        if one.piece not in rooms:
            rooms[one.piece] = room_for(leather, rules, settings).buffer(slack)
            prepare(rooms[one.piece])
        if not rooms[one.piece].covers(outline):
            said.append(f"{one.id}: {_why_not(leather, one, kinds[one.piece], settings)}")
        if rules.turn_deg is not None and abs(one.angle_deg) > rules.turn_deg + 1e-6:
            said.append(f"{one.id}: turned {abs(one.angle_deg):.1f} degrees from the back line")
        for other, shape in there:
            gap, apart = (rules.margin_mm + kinds[other.piece].rules.margin_mm) / 2, outline.distance(shape)
            overlap = apart == 0 and outline.buffer(-slack).intersects(shape.buffer(-slack))
            if apart < gap - slack or overlap:
                said.append(f"{one.id}: nearer than {gap:g} mm to {other.id}")
        there.append((one, outline))
    return tuple(said)


def _why_not(leather: Leather, one: PlacedPiece, piece: Piece, settings: PlaceSettings) -> str:
    """Which rule keeps a piece off where it lies."""
    outline, rules = outline_of(one), piece.rules
    if not leather.net.buffer(settings.tolerance_mm - rules.margin_mm).covers(outline):
        return (
            "over the rim or a hole" if rules.margin_mm == 0 else f"within {rules.margin_mm:g} mm of the rim or a hole"
        )
    if one.nearest_mark is not None and one.nearest_mark.kind not in rules.may_cover:
        near = max(rules.margin_mm, settings.usable.hole_margin_mm, settings.usable.other_margin_mm)
        if one.nearest_mark.distance_mm < near:
            return f"{one.nearest_mark.distance_mm:.0f} mm from {one.nearest_mark.id}"
    if rules.zones and one.zone not in rules.zones:
        return f"in the {one.zone}"
    if one.least_thickness_mm < rules.min_thickness_mm:
        return f"{one.least_thickness_mm:.1f} mm thick only"
    return "partly outside its zones or thick leather"
