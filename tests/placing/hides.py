"""Invented hides with marks and gauge readings, and pieces to place on them, from geometry alone."""

from dataclasses import replace

import numpy as np
from shapely.geometry import Point, Polygon

from hidescan.anatomy.zones import lay_zones
from hidescan.basics.geometry import Points, rotation_2d
from hidescan.hide_map.model import (
    BackLineEntry,
    GaugeInput,
    HideMap,
    LineGeometry,
    MarkEntry,
    MarkKind,
    MultiPolygonGeometry,
    PolygonGeometry,
    Ring,
    ZoneEntry,
)
from hidescan.pieces.file import Piece, PieceRules
from hidescan.settings import ZoneLines
from tests.samples import figure, rectangle_map
from tests.synthetic.hides import any_form

KINDS: tuple[MarkKind, ...] = ("hole", "stain", "brand", "scratch", "cut")


def ring_of(points: Points) -> Ring:
    return tuple((float(x), float(y)) for x, y in np.vstack([points, points[:1]]))


def laid_out(seed: int, *, marks: int = 5, gauged: bool = False, species: str = "deer") -> HideMap:
    """A whole hide in its own frame: tail at the origin, neck up, with zones, marks of all kinds, perhaps gauged."""
    rng = np.random.default_rng(seed)
    hide = any_form(rng, "whole", species)
    turn = rotation_2d(90.0 - hide.axis_angle_deg)
    ring, curve, neck = (
        (np.atleast_2d(p) - hide.tail_mm) @ turn.T for p in (hide.ring_mm, hide.curve_mm, hide.neck_mm)
    )
    outer = Polygon(ring)
    if not outer.exterior.is_ccw:
        ring = ring[::-1]
    entries: list[MarkEntry] = []
    holes: list[Ring] = []
    taken: list[Polygon] = []
    while len(entries) < marks:
        x0, y0, x1, y1 = outer.bounds
        disc = Point(rng.uniform(x0, x1), rng.uniform(y0, y1)).buffer(rng.uniform(4.0, 25.0), 8)
        if not outer.buffer(-8.0).contains(disc) or any(disc.distance(t) < 12 for t in taken):
            continue
        kind = KINDS[len(entries) % len(KINDS)]
        at = ring_of(np.array(disc.exterior.coords)[:-1][::-1])
        entries.append(
            MarkEntry(f"{kind}-{len(entries) + 1}", kind, PolygonGeometry((at,)), PolygonGeometry((at,)), disc.area, 20.0, 20.0, None, 0.9, "found")
        )  # fmt: skip
        taken.append(disc)
        if kind == "hole":
            holes.append(at[::-1])
    net = Polygon(ring, holes)
    zones = []
    for zone in lay_zones(net, "whole", curve, ZoneLines()):
        parts = tuple(
            tuple(tuple((float(x), float(y)) for x, y in r.coords) for r in (p.exterior, *p.interiors))
            for p in zone.polygon.geoms
        )
        thick = {"butt": 1.6, "shoulder": 1.5, "neck": 1.7}.get(zone.name, 1.1)
        zones.append(ZoneEntry(zone.name, MultiPolygonGeometry(parts), zone.area_mm2, thick, 0.3))
    base = rectangle_map()
    gauge: tuple[GaugeInput, ...] = ()
    if gauged:
        spots = [
            np.array(p.coords[0])
            for p in (Point(rng.uniform(*outer.bounds[::2]), rng.uniform(*outer.bounds[1::2])) for _ in range(60))
            if outer.contains(p)
        ][:9]
        gauge = tuple(
            GaugeInput((0.0, 0.0), float(1.5 - 0.9 * abs(x) / 500 + rng.normal(0, 0.05)), 0.03, (float(x), float(y)))
            for x, y in spots
        )
    return replace(
        base,
        inputs=replace(base.inputs, gauge=gauge),
        outline=replace(base.outline, hide_mm=PolygonGeometry((ring_of(ring), *holes))),
        back_line=BackLineEntry(
            (0.0, 0.0), (0.0, float(neck[0, 1])), (400.0, 1100.0), (400.0, 100.0), LineGeometry(tuple((float(x), float(y)) for x, y in curve)), 1.0, 0.9, "shape",
        ),
        zones=tuple(zones),
        marks=tuple(entries),
        measures=replace(base.measures, area_gross=figure(outer.area), area_net=figure(net.area), area_usable=figure(net.area), length=figure(float(neck[0, 1]))),
    )  # fmt: skip


def uppers(count: int = 2, **rules: object) -> tuple[Piece, ...]:
    """Vamp, quarter and tongue of a low shoe, in pairs; invented shapes of the usual size."""
    at = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    vamp = np.column_stack(
        [85 * np.sign(np.cos(at)) * np.abs(np.cos(at)) ** 0.7, 110 * np.sin(at) * (1 + 0.15 * np.cos(at))]
    )
    quarter = np.array(
        [(0, 0), (150, 0), (170, 40), (165, 90), (120, 105), (60, 95), (20, 120), (-15, 110), (-10, 50)], float
    )
    tongue = np.array([(0, 0), (55, 0), (70, 120), (40, 150), (15, 150), (-12, 120)], float)
    asked = replace(PieceRules(count=count, pair=True), **rules)  # type: ignore[arg-type]
    return Piece("vamp", vamp, 90.0, asked, ((0.0, 100.0),) if asked.thick_parts else ()), *(
        Piece(name, ring, 90.0, replace(asked, thick_parts=()))
        for name, ring in (("quarter", quarter), ("tongue", tongue))
    )


def random_piece(rng: np.random.Generator, name: str, rules: PieceRules) -> Piece:
    """A star-shaped piece, often with hollows, 60 to 200 mm long, its grain any way in the drawing."""
    corners = int(rng.integers(5, 30))
    at = (np.arange(corners) + rng.uniform(-0.35, 0.35, corners)) / corners * 2 * np.pi
    ring = np.column_stack([np.cos(at), np.sin(at)]) * (rng.uniform(35, 100) * rng.uniform(0.6, 1.0, corners))[:, None]
    return Piece(
        name, ring * (1.0, rng.uniform(0.45, 1.0)) + rng.uniform(-300, 300, 2), float(rng.uniform(-180, 180)), rules
    )
