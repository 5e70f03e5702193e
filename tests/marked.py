"""Maps with marks where a test wants them: a hide of 600 x 1000 mm, tail at (0, 0), seen straight from above."""

from dataclasses import replace

import numpy as np
from shapely.geometry import Point, Polygon, box

from hidescan.hide_map.model import HideMap, Inputs, MarkEntry, MarkKind, MarkStatus, PolygonGeometry, Ring
from hidescan.marks.corrections import with_marks
from hidescan.marks.derived import with_figures
from hidescan.marks.placement import mark_entry, surroundings_of
from hidescan.settings import Settings, settings_as_saved
from tests.samples import SQUARE, rectangle_map

_LINES = (("shoulder", 0.6), ("neck", 2.0), ("belly", 2.0), ("shank", 2.5))


def bare_map() -> HideMap:
    """The hide without a mark; butt up to y = 600, shoulder beyond."""
    made = rectangle_map(marks=(), inputs=Inputs(zone_lines=_LINES))
    bare = replace(
        made,
        program=replace(made.program, settings=settings_as_saved(Settings())),
        outline=replace(made.outline, hide_mm=PolygonGeometry((SQUARE,)), photo_px=PolygonGeometry((_seen(made),))),
        measures=replace(made.measures, area_net=made.measures.area_gross),  # as its budget adds up to
    )
    return with_figures(bare, Settings())


def _seen(made: HideMap) -> Ring:
    """The rim where the map's own camera sees it, as it sees the marks."""
    ring = made.camera_over_hide().px_from_mm(np.array(SQUARE), made.upper_face_mm())
    return tuple((float(x), float(y)) for x, y in ring)


def mark(
    name: str, shape: Polygon, kind: MarkKind, *, status: MarkStatus = "found", confidence: float = 0.9
) -> MarkEntry:
    base = bare_map()
    ring_mm = np.array(shape.exterior.coords)[:-1]
    ring_px = base.camera_over_hide().px_from_mm(ring_mm, base.upper_face_mm())
    return mark_entry(name, kind, ring_mm, ring_px, surroundings_of(base), confidence=confidence, status=status)


def marked_map(*marks: MarkEntry) -> HideMap:
    return with_marks(bare_map(), marks, Settings())


def disc(x: float, y: float, r: float) -> Polygon:
    return Point(x, y).buffer(r, quad_segs=32)


def some_marks() -> HideMap:
    """One of each of four kinds."""
    return marked_map(
        mark("hole-1", disc(100, 800, 10), "hole"),
        mark("cut-2", box(240, 500, 300, 506), "cut"),
        mark("stain-3", disc(-150, 300, 40), "stain", confidence=0.7),
        mark("brand-4", box(-200, 650, -100, 730), "brand", confidence=0.8),
    )
