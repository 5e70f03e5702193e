"""What every writer draws: the map's geometry by layer, as photographed or mirrored.

Mirrored means x -> -x in the hide frame, for cutting from the other face. Layers hold what a person works with: a mark
that was rejected is left out, and holes stand in their own layer, one made from the outline's inner rings.
"""

from dataclasses import dataclass

from shapely import affinity, orient_polygons
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from hidescan.cards.pattern import PATTERN_MM
from hidescan.hide_map.model import HideMap, MarkEntry, MultiPolygonGeometry, PolygonGeometry

NAMES = ("cards", "zones", "back-line", "marks", "holes", "outline")  # drawn in this order: what is cut lies on top


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """One thing to draw: its id ("hole-1", "butt", "card-2"), its kind, its geometry in mm."""

    id: str
    kind: str
    geometry: BaseGeometry


@dataclass(frozen=True, slots=True, eq=False)
class Layers:
    """The map's geometry.

    Attributes
    ----------
    net_mm
        The outline with its through holes, outer ring counter-clockwise.
    by_name
        The shapes of each layer, keys and order as in `NAMES`; "pieces" after them where any are placed.
    seen_from
        Which face the picture shows: "seen from the flesh side".
    """

    net_mm: Polygon
    by_name: dict[str, tuple[Shape, ...]]
    seen_from: str

    @property
    def bounds_mm(self) -> tuple[float, float, float, float]:
        """Smallest and largest x and y of everything drawn: x0, y0, x1, y1."""
        boxes = [shape.geometry.bounds for shapes in self.by_name.values() for shape in shapes]
        x0, y0, x1, y1 = zip(*boxes, strict=True)
        return min(x0), min(y0), max(x1), max(y1)


def layers(hide_map: HideMap, *, mirror: bool = False, pieces: tuple[Shape, ...] = ()) -> Layers:
    """Sort a map's geometry into layers, with pieces that are placed on it."""
    net = _polygon(hide_map.outline.hide_mm)
    back, marks = hide_map.back_line, [mark for mark in hide_map.marks if mark.status != "rejected"]
    ids = _hole_ids(net, [mark for mark in marks if mark.kind == "hole"])
    found: dict[str, list[Shape]] = {
        "cards": [
            Shape(f"card-{card.number}", "reference card", _card(card.center_mm, card.angle_deg))
            for card in hide_map.cards
        ],
        "zones": [Shape(zone.name, "zone", _shape(zone.hide_mm)) for zone in hide_map.zones],
        "back-line": [],
        "marks": [Shape(mark.id, mark.kind, _polygon(mark.hide_mm)) for mark in marks if mark.kind != "hole"],
        "holes": [Shape(i, "hole", Polygon(ring)) for i, ring in zip(ids, net.interiors, strict=True)],
        "outline": [Shape("outline", "outline", Polygon(net.exterior))],
    }
    if pieces:
        found["pieces"] = list(pieces)
    if back.source != "none":
        found["back-line"].append(Shape("back-line", "back line, tail to neck", LineString(back.curve_mm.coordinates)))
    return Layers(
        _turned(net, mirror),
        {
            name: tuple(Shape(s.id, s.kind, _turned(s.geometry, mirror)) for s in shapes)
            for name, shapes in found.items()
        },
        seen_from(hide_map, mirror=mirror),
    )


def seen_from(hide_map: HideMap, *, mirror: bool) -> str:
    """Which face the drawing shows."""
    face = hide_map.inputs.face
    if face == "unknown":
        return "mirrored: seen from the side that lay on the floor" if mirror else "seen as photographed"
    other = "flesh" if face == "grain" else "grain"
    return f"mirrored: seen from the {other} side" if mirror else f"seen from the {face} side"


def tail_and_neck_mm(hide_map: HideMap, *, mirror: bool) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Both ends of the back line; None where none was found."""
    if hide_map.back_line.source == "none":
        return None
    sign = -1.0 if mirror else 1.0
    (xt, yt), (xn, yn) = hide_map.back_line.tail_mm, hide_map.back_line.neck_mm
    return (sign * xt, yt), (sign * xn, yn)


def polygons(geometry: BaseGeometry) -> list[Polygon]:
    """The polygons of a polygon or multipolygon."""
    return list(geometry.geoms) if isinstance(geometry, MultiPolygon) else [geometry]


def _hole_ids(net: Polygon, marks: list[MarkEntry]) -> list[str]:
    """The id of each inner ring: its mark's; where marks overlap and share a ring, that of the first of them."""
    by_points = {frozenset(mark.hide_mm.coordinates[0]): mark.id for mark in marks}
    middles = [(_polygon(mark.hide_mm).representative_point(), mark.id) for mark in marks]
    ids = []
    for n, ring in enumerate(net.interiors, start=1):
        name = by_points.get(frozenset(ring.coords))
        if name is None:
            region = Polygon(ring)
            name = next((within for middle, within in middles if region.contains(middle)), f"hole-{n}")
        ids.append(name)
    return ids


def _turned(geometry: BaseGeometry, mirror: bool) -> BaseGeometry:
    """Mirrored if asked; rings right-handed (RFC 7946, 3.1.6: outer counter-clockwise, inner clockwise)."""
    if mirror:
        geometry = affinity.scale(geometry, -1.0, 1.0, origin=Point(0, 0))
    return orient_polygons(geometry) if isinstance(geometry, Polygon | MultiPolygon) else geometry


def _polygon(geometry: PolygonGeometry) -> Polygon:
    return Polygon(geometry.coordinates[0], geometry.coordinates[1:])


def _shape(geometry: PolygonGeometry | MultiPolygonGeometry) -> BaseGeometry:
    if isinstance(geometry, PolygonGeometry):
        return _polygon(geometry)
    return MultiPolygon([(part[0], part[1:]) for part in geometry.coordinates])


def _card(center_mm: tuple[float, float], angle_deg: float) -> Polygon:
    """The pattern's rectangle where the card lay."""
    x, y = PATTERN_MM[0] / 2, PATTERN_MM[1] / 2
    flat = Polygon([(-x, -y), (x, -y), (x, y), (-x, y)])
    return affinity.translate(affinity.rotate(flat, angle_deg, origin=(0, 0)), *center_mm)
