"""DXF R2010 in millimetres, one layer for each kind of line, closed LWPOLYLINEs.

Cutters choke on thousands of points, so rings are thinned (Douglas and Peucker 1973, with topology kept) to
`SIMPLIFIED_MM`, which no ring leaves by more; the tolerance is in the drawing's comments.
"""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO

from shapely import distance, get_coordinates, points, simplify
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from hidescan.basics.dxf_library import load_ezdxf
from hidescan.exports.formats import ExportOptions
from hidescan.exports.layers import Layers, Shape, layers, polygons
from hidescan.hide_map.model import HideMap

# A knife or a laser follows 0.2 mm; the rim itself is known to a few tenths.
SIMPLIFIED_MM = 0.2
# AutoCAD Color Index, as the format defines it: 7 black or white, 1 red, 3 green, 5 blue, 8 and 9 grey, 30 orange.
_COLOURS = {"outline": 7, "holes": 1, "back-line": 5, "zones": 8, "marks": 30, "cards": 9, "pieces": 3}
_LOCK = threading.Lock()


def to_files(hide_map: HideMap, options: ExportOptions) -> tuple[bytes, ...]:
    """The format's one file."""
    return (to_bytes(hide_map, name=options.name, mirror=options.mirror, pieces=options.pieces),)


def to_bytes(hide_map: HideMap, *, name: str, mirror: bool = False, pieces: tuple[Shape, ...] = ()) -> bytes:
    """The map as DXF.

    Layers are OUTLINE, HOLES, BACK_LINE, ZONES, MARKS, CARDS, TEXT, and PIECES where any are placed; what the drawing
    shows is given in one line of text below it, and what each mark is in a text on it.
    """
    drawn = layers(hide_map, mirror=mirror, pieces=pieces)
    with _repeatable():
        return _drawing(drawn, name, hide_map.photo.sha256)


def _drawing(drawn: Layers, name: str, photo_sha256: str) -> bytes:
    from ezdxf import units
    from ezdxf.filemanagement import new

    document = new("R2010", units=units.MM)  # sets $INSUNITS to mm, and $MEASUREMENT to metric
    document.header.custom_vars.append("title", name)
    document.header.custom_vars.append("shows", drawn.seen_from)
    document.header.custom_vars.append("photo sha256", photo_sha256)
    document.header.custom_vars.append("simplified to", f"{SIMPLIFIED_MM} mm")
    space = document.modelspace()
    for layer in drawn.by_name:
        document.layers.add(_layer(layer), color=_COLOURS[layer])
        for line, closed in _lines(drawn, layer):
            space.add_lwpolyline(line, close=closed, dxfattribs={"layer": _layer(layer)})
    document.layers.add("TEXT", color=8)
    x0, y0, _, _ = drawn.bounds_mm
    words = f"{name}, {drawn.seen_from}, mm, lines simplified to {SIMPLIFIED_MM} mm"
    space.add_text(words, height=15.0, dxfattribs={"layer": "TEXT", "insert": (x0, y0 - 40.0)})
    for shape in drawn.by_name["marks"]:
        at = shape.geometry.representative_point()
        space.add_text(f"{shape.id}: {shape.kind}", height=6.0, dxfattribs={"layer": "TEXT", "insert": (at.x, at.y)})
    stream = StringIO()
    document.write(stream)
    return stream.getvalue().encode("utf-8")


def _layer(name: str) -> str:
    return name.upper().replace("-", "_")


def _lines(drawn: Layers, layer: str) -> list[tuple[list[tuple[float, float]], bool]]:
    """Points of a layer's lines, and whether each closes; a closed LWPOLYLINE does not repeat its first point."""
    if layer not in ("outline", "holes"):
        geometries: list[BaseGeometry] = [_thinned(shape.geometry) for shape in drawn.by_name[layer]]
    else:  # thinned together, so that they cannot come to cross each other
        net = _thinned(drawn.net_mm)
        geometries = [Polygon(ring) for ring in ([net.exterior] if layer == "outline" else net.interiors)]
    lines = []
    for geometry in geometries:
        if isinstance(geometry, LineString):
            lines.append((_rounded(geometry), False))
            continue
        for part in polygons(geometry):
            lines += [(_rounded(ring)[:-1], True) for ring in (part.exterior, *part.interiors)]
    return lines


def _thinned(geometry: BaseGeometry) -> BaseGeometry:
    """Thinned so that no point of the line lies further than the tolerance from what is left.

    GEOS may go past its tolerance where a ring starts; then a finer one is taken.
    """
    line = geometry if isinstance(geometry, LineString) else geometry.boundary
    for share in (1.0, 0.5, 0.25):
        thin = simplify(geometry, share * SIMPLIFIED_MM, preserve_topology=True)
        left = thin if isinstance(thin, LineString) else thin.boundary
        if distance(points(get_coordinates(line)), left).max() <= SIMPLIFIED_MM:
            return thin
    return geometry


def _rounded(line: LineString) -> list[tuple[float, float]]:
    return [(round(x, 3), round(y, 3)) for x, y in line.coords]


@contextmanager
def _repeatable() -> Iterator[None]:
    """Without the clock and random ids that the library stamps; its switch is global, so it is set for one drawing."""
    load_ezdxf()
    from ezdxf._options import options  # ezdxf.options, as the type checker can see it

    with _LOCK:
        before = options.write_fixed_meta_data_for_testing
        options.write_fixed_meta_data_for_testing = True
        try:
            yield
        finally:
            options.write_fixed_meta_data_for_testing = before
