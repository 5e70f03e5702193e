"""What a hide offers to pieces: where they may lie, how thick it is there, which marks are near."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from shapely import union_all
from shapely.geometry import LineString, MultiPolygon, Polygon, box
from shapely.geometry.base import BaseGeometry

from hidescan.anatomy.thickness import Thickness, TypicalThickness
from hidescan.anatomy.zones import Zone
from hidescan.exports.layers import layers
from hidescan.figures.usable import counted_marks, lost_to_marks
from hidescan.hide_map.model import HideMap, MarkEntry
from hidescan.marks.placement import EDGES
from hidescan.marks.thickness import thickness_over
from hidescan.pieces.file import PieceRules
from hidescan.settings import Settings
from hidescan.settings.uses import PlaceSettings


@dataclass(frozen=True, slots=True, eq=False)
class Leather:
    """A hide as pieces see it, hide frame, mm.

    `net` is the outline with its through holes, `usable` that less the counted marks with their margins. `marks` are
    the counted ones. `back_line` is None where none is known: then grain directions mean nothing.
    """

    name: str
    hide_map: HideMap
    net: Polygon
    usable: BaseGeometry
    zones: tuple[Zone, ...]
    thickness: Thickness
    marks: tuple[MarkEntry, ...]
    back_line: LineString | None


def leather_of(name: str, hide_map: HideMap, settings: Settings) -> Leather:
    """Make a map ready for placing.

    Raises
    ------
    BadInput
        The map's outline crosses itself.
    """
    drawn = layers(hide_map)
    zones = tuple(Zone(shape.id, shape.geometry) for shape in drawn.by_name["zones"])
    marks = tuple(counted_marks(hide_map.marks, settings.usable))
    lost = lost_to_marks(drawn.net_mm, ((m.kind, mark_polygon(m)) for m in marks), settings.usable)
    back = drawn.by_name["back-line"]
    return Leather(
        name,
        hide_map,
        drawn.net_mm,
        drawn.net_mm.difference(lost),
        zones,
        _thickness(hide_map, drawn.net_mm, zones, settings),
        marks,
        back[0].geometry if back else None,
    )


def _thickness(hide_map: HideMap, net: Polygon, zones: tuple[Zone, ...], settings: Settings) -> Thickness:
    """The map's own thickness: its gauge readings interpolated again, or its zones' figures."""
    if hide_map.inputs.gauge:
        return thickness_over(hide_map, net, zones, settings)
    return TypicalThickness(
        zones,
        tuple(zone.thickness_mm for zone in hide_map.zones),
        tuple(zone.thickness_u_mm for zone in hide_map.zones),
    )


def allowed_region(
    leather: Leather, rules: PieceRules, settings: PlaceSettings, *, grown_mm: float = 0.0
) -> MultiPolygon:
    """Where a piece with these rules may lie, grown on all sides by `grown_mm` of its margin.

    The margin holds to the rim, to holes and to marks; a mark's own margin holds where it is wider. Zones and thickness
    hold for the grown piece, which is a little stricter than asked.
    """
    region: BaseGeometry = leather.net.buffer(grown_mm - rules.margin_mm)
    taken = []
    for mark in leather.marks:
        if mark.kind not in rules.may_cover:
            own = settings.usable.hole_margin_mm if mark.kind in EDGES else settings.usable.other_margin_mm
            taken.append(mark_polygon(mark).buffer(max(own, rules.margin_mm) - grown_mm))
    region = region.difference(union_all(taken)) if taken else region
    if rules.zones:
        region = region.intersection(union_all([z.polygon for z in leather.zones if z.name in rules.zones]))
    if rules.min_thickness_mm > 0:
        region = region.intersection(thick_region(leather, rules.min_thickness_mm, settings))
    return MultiPolygon([part for part in shapely.get_parts(region) if part.geom_type == "Polygon" and part.area > 0])


@lru_cache(maxsize=16)
def thick_region(leather: Leather, least_mm: float, settings: PlaceSettings) -> BaseGeometry:
    """Where the leather is thick enough at all four corners of each small square."""
    if isinstance(leather.thickness, TypicalThickness):
        means = leather.thickness.mean_mm
        return union_all([zone.polygon for zone, mean in zip(leather.zones, means, strict=True) if mean >= least_mm])
    step = settings.thickness_step_mm
    x0, y0, x1, y1 = leather.net.bounds
    xs, ys = np.arange(x0, x1 + step, step), np.arange(y0, y1 + step, step)
    grid = np.stack(np.meshgrid(xs, ys), axis=-1)
    mean = leather.thickness.predict(grid.reshape(-1, 2))[0].reshape(grid.shape[:2])
    thick = mean >= least_mm
    cells = thick[:-1, :-1] & thick[1:, :-1] & thick[:-1, 1:] & thick[1:, 1:]
    rows, columns = np.nonzero(cells)
    return union_all([box(xs[c], ys[r], xs[c + 1], ys[r + 1]) for r, c in zip(rows, columns, strict=True)])


def mark_polygon(mark: MarkEntry) -> Polygon:
    """A mark's own outline."""
    return Polygon(mark.hide_mm.coordinates[0]).buffer(0)
