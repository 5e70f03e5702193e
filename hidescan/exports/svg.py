"""SVG at true scale: width and height in mm, one user unit is one mm, one named group a layer.

SVG 1.1, accessible titles as WAI-ARIA asks (`role="img"`, a title and a description for the whole, a title for each
shape). y runs down in SVG, so the neck is up.
"""

from xml.sax.saxutils import escape, quoteattr

from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from hidescan.basics.vocabulary import MARKS
from hidescan.exports.formats import ExportOptions
from hidescan.exports.layers import Shape, layers, polygons
from hidescan.hide_map.model import HideMap

MARGIN_MM = 10.0
# Nothing differs by colour alone: each layer is a group with a name, and lines that are not to be cut are dashed;
# marks by kind, a cut solid.
_STYLES = {
    "outline": 'stroke="#000000"',
    "holes": 'stroke="#c00000"',
    "back-line": 'stroke="#0050a0" stroke-dasharray="20 5 4 5"',
    "zones": 'stroke="#808080" stroke-dasharray="6 4"',
    "marks": 'stroke="#c05000"',
    "cards": 'stroke="#b0b0b0" stroke-dasharray="1 3"',
    "pieces": 'stroke="#006030"',
}


def to_files(hide_map: HideMap, options: ExportOptions) -> tuple[bytes, ...]:
    """The format's one file."""
    return (to_bytes(hide_map, name=options.name, mirror=options.mirror, pieces=options.pieces),)


def to_bytes(hide_map: HideMap, *, name: str, mirror: bool = False, pieces: tuple[Shape, ...] = ()) -> bytes:
    """The map as SVG.

    Parameters
    ----------
    name
        What to call the hide in the title.
    mirror
        As seen from the other face.
    pieces
        Pieces placed on it.
    """
    drawn = layers(hide_map, mirror=mirror, pieces=pieces)
    x0, y0, x1, y1 = drawn.bounds_mm
    left, top = x0 - MARGIN_MM, y1 + MARGIN_MM
    width, height = x1 - x0 + 2 * MARGIN_MM, y1 - y0 + 2 * MARGIN_MM
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width:.2f}mm" height="{height:.2f}mm"'
        f' viewBox="0 0 {width:.2f} {height:.2f}" role="img" aria-labelledby="title desc">',
        f'<title id="title">{escape(name)}, {escape(drawn.seen_from)}</title>',
        f'<desc id="desc">Outline of a hide at true scale: one unit is one millimetre. {escape(drawn.seen_from)}.'
        f" hidescan {escape(hide_map.program.version)}, photo sha256 {hide_map.photo.sha256}.</desc>",
    ]
    for layer, shapes in drawn.by_name.items():
        lines.append(f'<g id="{layer}" fill="none" stroke-width="0.5" {_STYLES[layer]}>')
        lines.append(f"<title>{layer}</title>")
        lines += [_path(shape, layer, left, top) for shape in shapes]
        lines.append("</g>")
    return "\n".join([*lines, "</svg>", ""]).encode()


def _path(shape: Shape, layer: str, left: float, top: float) -> str:
    title = shape.id if shape.kind in (shape.id, layer) else f"{shape.id}: {shape.kind}"
    own = "" if shape.id == layer else f" id={quoteattr(f'{layer}.{shape.id}')}"
    if shape.kind in MARKS.names and layer == "marks":
        dashes = " ".join(f"{d:g}" for d in MARKS[shape.kind].dashes) or "none"
        own += f' stroke-dasharray="{dashes}"'
    return f'<path{own} d="{_data(shape.geometry, left, top)}"><title>{escape(title)}</title></path>'


def _data(geometry: BaseGeometry, left: float, top: float) -> str:
    if isinstance(geometry, LineString):
        return "M" + _points(list(geometry.coords), left, top)
    rings = [ring for part in polygons(geometry) for ring in (part.exterior, *part.interiors)]
    return " ".join("M" + _points(list(ring.coords)[:-1], left, top) + "Z" for ring in rings)


def _points(coordinates: list[tuple[float, ...]], left: float, top: float) -> str:
    """To 0.01 mm, far below what a cutter can follow."""
    return " ".join(f"{x - left:.2f},{top - y:.2f}" for x, y in coordinates)
