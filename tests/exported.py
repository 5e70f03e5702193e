"""Maps to export, and what a second reader must give back."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from shapely import hausdorff_distance
from shapely.geometry import Point, Polygon

from hidescan.hide_map.model import HideMap, LineGeometry, MarkEntry, PolygonGeometry
from hidescan.hide_map.revisions import read_map
from tests.samples import figure, rectangle_map
from tests.synthetic.hides import any_form

MOST_OFF_MM, MOST_AREA_OFF = 0.25, 0.0005
OLD_MAP = Path(__file__).parent / "data" / "map_of_0.1.0.hide.json"


def old_map() -> HideMap:
    """A sample photo's map as version 0.1.0 wrote it, with rings thinned to keep the file small."""
    return read_map(OLD_MAP)


def invented_map(seed: int, form: str = "whole") -> HideMap:
    """An invented hide with three round holes, from geometry alone."""
    rng = np.random.default_rng(seed)
    hide = any_form(rng, form, "deer")
    outer = Polygon(hide.ring_mm)
    inside = outer.buffer(-40.0)
    holes: list[Polygon] = []
    while len(holes) < 3:
        x0, y0, x1, y1 = outer.bounds
        disc = Point(rng.uniform(x0, x1), rng.uniform(y0, y1)).buffer(rng.uniform(4.0, 15.0))
        if inside.contains(disc) and all(disc.disjoint(hole) for hole in holes):
            holes.append(disc)
    rings = [
        tuple((float(x), float(y)) for x, y in ring.coords) for ring in (outer.exterior, *(h.exterior for h in holes))
    ]
    net = outer.area - sum(hole.area for hole in holes)
    base = rectangle_map()
    marks = tuple(
        MarkEntry(
            f"hole-{n}",
            "hole",
            PolygonGeometry((ring,)),
            PolygonGeometry((ring,)),
            300.0,
            20.0,
            20.0,
            None,
            0.9,
            "found",
        )
        for n, ring in enumerate(rings[1:], start=1)
    )
    back = replace(base.back_line, curve_mm=LineGeometry(tuple((float(x), float(y)) for x, y in hide.curve_mm)))
    return replace(
        base,
        outline=replace(base.outline, hide_mm=PolygonGeometry((rings[0], *(ring[::-1] for ring in rings[1:])))),
        back_line=back,
        marks=marks,
        measures=replace(base.measures, area_net=figure(net), area_gross=figure(outer.area)),
    )


def net_polygon(hide_map: HideMap, *, mirror: bool = False) -> Polygon:
    """The map's leather, straight from its file's coordinates."""
    sign = -1.0 if mirror else 1.0
    outer, *holes = ([(sign * x, y) for x, y in ring] for ring in hide_map.outline.hide_mm.coordinates)
    return Polygon(outer, holes)


def check_rings(read: Polygon, truth: Polygon, *, most_off_mm: float = MOST_OFF_MM) -> None:
    """Net area within 0.05 %, and each ring within 0.25 mm of the map's, wherever the frame's origin went."""
    assert read.is_valid
    assert abs(read.area / truth.area - 1) < MOST_AREA_OFF
    assert len(read.interiors) == len(truth.interiors)
    assert hausdorff_distance(read.exterior, truth.exterior) < most_off_mm
    for ring in truth.interiors:
        assert min(hausdorff_distance(ring, other) for other in read.interiors) < most_off_mm
