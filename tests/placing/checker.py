"""An independent check of a placing: from the map's coordinates and the piece's own drawing, by Shapely alone."""

import shapely
from shapely import affinity
from shapely.geometry import MultiPolygon, Polygon

from hidescan.hide_map.model import HideMap, MultiPolygonGeometry
from hidescan.pieces.file import Piece
from hidescan.placing.file import PlacedPiece, Placing

MOST_MM = 0.1


def own_outline(piece: Piece, placed: PlacedPiece) -> Polygon:
    """The drawing turned grain up about the middle of its area, mirrored, turned, moved: Shapely's own transforms."""
    ring = Polygon(piece.ring_mm)
    ring = affinity.rotate(ring, 90.0 - piece.grain_deg, origin="centroid")
    ring = affinity.translate(ring, -ring.centroid.x, -ring.centroid.y)
    if placed.mirrored:
        ring = affinity.scale(ring, -1.0, 1.0, origin=(0, 0))
    return affinity.translate(affinity.rotate(ring, placed.turned_deg, origin=(0, 0)), *placed.at_mm)


def faults(
    placing: Placing, maps: dict[str, HideMap], pieces: tuple[Piece, ...], *, marks_mm: dict[str, float]
) -> list[str]:
    """Every rule that is broken by more than 0.1 mm. `marks_mm` is the margin of each kind of mark."""
    found = []
    kinds = {piece.id: piece for piece in pieces}
    outlines = {p.id: own_outline(kinds[p.piece], p) for p in placing.placed}
    if len(outlines) != len(placing.placed):
        found.append("two pieces with one id")
    for p in placing.placed:
        shape, rules, m = outlines[p.id], kinds[p.piece].rules, maps[p.hide]
        net = Polygon(m.outline.hide_mm.coordinates[0], m.outline.hide_mm.coordinates[1:])
        if shape.hausdorff_distance(Polygon(p.hide_mm.coordinates[0])) > 0.01:
            found.append(f"{p.id}: its outline is not the piece's")
        if not net.covers(shape.buffer(-MOST_MM)) or shape.distance(net.boundary) < rules.margin_mm - MOST_MM:
            found.append(f"{p.id}: over the rim, or within its margin")
        for mark in m.marks:
            if mark.kind in rules.may_cover or mark.status == "rejected" or mark.kind == "wrinkle":
                continue
            keep = max(rules.margin_mm, marks_mm[mark.kind])
            if shape.distance(Polygon(mark.hide_mm.coordinates[0])) < keep - MOST_MM:
                found.append(f"{p.id}: too near to {mark.id}")
        if rules.turn_deg is not None:
            turn = abs((p.turned_deg + 90.0) % 180.0 - 90.0)
            if turn > rules.turn_deg + 1e-6 or abs(turn - abs(p.angle_deg)) > 1e-6:
                found.append(f"{p.id}: turned by {turn}")
        if rules.zones:
            zones = shapely.union_all([_zone(z.hide_mm) for z in m.zones if z.name in rules.zones])
            if not zones.buffer(MOST_MM).covers(shape):
                found.append(f"{p.id}: outside its zones")
        if rules.min_thickness_mm and not m.inputs.gauge:
            thin = [z for z in m.zones if z.thickness_mm < rules.min_thickness_mm]
            if any(_zone(z.hide_mm).buffer(-MOST_MM).intersects(shape.buffer(-MOST_MM)) for z in thin):
                found.append(f"{p.id}: on thin leather")
        if kinds[p.piece].rules.pair != (p.side != "single") or (p.side == "right") != p.mirrored:
            found.append(f"{p.id}: left and right are mixed up")
    for n, a in enumerate(placing.placed):
        for b in placing.placed[n + 1 :]:
            if a.hide != b.hide:
                continue
            gap = max(kinds[a.piece].rules.margin_mm, kinds[b.piece].rules.margin_mm)
            s, t = outlines[a.id], outlines[b.id]
            apart = s.distance(t)
            if apart < gap - MOST_MM or (apart == 0 and s.buffer(-MOST_MM / 2).intersects(t.buffer(-MOST_MM / 2))):
                found.append(f"{a.id} and {b.id}: overlap, or nearer than their margins")
    pairs: dict[tuple[str, int], list[PlacedPiece]] = {}
    for p in placing.placed:
        if p.side != "single":
            pairs.setdefault((p.piece, p.number), []).append(p)
    for key, both in pairs.items():
        if sorted(p.side for p in both) != ["left", "right"]:
            found.append(f"{key}: not a pair")
        elif both[0].hide != both[1].hide:
            found += [f"{key}: {fault}" for fault in _unlike(both[0], both[1], maps)]
    return found


def _unlike(one: PlacedPiece, other: PlacedPiece, maps: dict[str, HideMap]) -> list[str]:
    """In what the places of a pair on two hides differ: in shares of back line and width, in zone, turn, thickness."""
    at = []
    for p in (one, other):
        x0, _, x1, _ = Polygon(maps[p.hide].outline.hide_mm.coordinates[0]).bounds
        at.append((p.at_mm[0] / (x1 - x0), p.at_mm[1] / maps[p.hide].back_line.neck_mm[1], x1 - x0))
    (ax, ay, _), (bx, by, width) = at
    found = []
    if abs(ax + bx) * width > 100.0 + MOST_MM or abs(ay - by) * maps[other.hide].back_line.neck_mm[1] > 100.0 + MOST_MM:
        found.append("not at mirrored places")
    if one.zone != other.zone:
        found.append(f"in {one.zone} and {other.zone}")
    if abs((one.turned_deg + other.turned_deg + 180.0) % 360.0 - 180.0) > 1e-6:
        found.append("turned alike, not mirrored")
    thick = [next(z.thickness_mm for z in maps[p.hide].zones if z.name == p.zone) for p in (one, other)]
    if not any(maps[p.hide].inputs.gauge for p in (one, other)) and abs(thick[0] - thick[1]) > 0.2:
        found.append(f"{thick[0]} and {thick[1]} mm thick")
    return found


def _zone(geometry: object) -> MultiPolygon:
    assert isinstance(geometry, MultiPolygonGeometry)
    return MultiPolygon([(part[0], part[1:]) for part in geometry.coordinates])
