"""What PDF pages share: a canvas in millimetres, the hide's lines, and a bar to check the print by."""

from collections.abc import Iterable
from io import BytesIO
from typing import TYPE_CHECKING

from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from hidescan.basics.vocabulary import MARKS
from hidescan.cards.pattern import A4_MM, LETTER_MM
from hidescan.exports.layers import Layers, polygons

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

POINTS_PER_MM = 72.0 / 25.4
DRAWN = ("zones", "back-line", "marks", "holes", "outline")  # layers of a drawing at full size
PAPERS_MM = {"a4": A4_MM, "letter": LETTER_MM}
BAR_MM = 100.0
NAME_MM = 8.0  # of a piece's name
TICK_MM = 100.0  # between ticks along the back line
LONGEST_PAGE_MM = 5080.0  # 14 400 units of 1/72 inch (ISO 32000-1, annex C.2)

# Line width mm, red, green, blue, dashes mm. What is cut is solid.
_PENS: dict[str, tuple[float, tuple[float, float, float], tuple[float, ...]]] = {
    "outline": (0.5, (0.0, 0.0, 0.0), ()),
    "holes": (0.5, (0.75, 0.0, 0.0), ()),
    "back-line": (0.5, (0.0, 0.3, 0.65), (20, 5, 4, 5)),
    "zones": (0.3, (0.55, 0.55, 0.55), (6, 4)),
    "marks": (0.4, (0.75, 0.3, 0.0), (3, 2)),
    "pieces": (0.5, (0.0, 0.38, 0.19), ()),
}


def new_canvas(buffer: BytesIO, size_mm: tuple[float, float], title: str) -> "Canvas":
    """A canvas that gives the same bytes for the same drawing and asks viewers not to scale when printing."""
    from reportlab.pdfgen.canvas import Canvas

    canvas = Canvas(
        buffer, pagesize=(size_mm[0] * POINTS_PER_MM, size_mm[1] * POINTS_PER_MM), invariant=1, pageCompression=1
    )
    canvas.setTitle(title)
    canvas.setCreator("hidescan")
    canvas.setViewerPreference("PrintScaling", "None")  # ISO 32000-1, 12.2
    return canvas


def draw_pieces(canvas: "Canvas", drawn: Layers) -> None:
    """Placed pieces with their names, and ticks along the back line to line the print up on the leather by."""
    if "pieces" not in drawn.by_name:
        return
    draw_layers(canvas, drawn, ("pieces",))
    canvas.setFillGray(0)
    canvas.setStrokeColorRGB(*_PENS["back-line"][1])
    for shape in drawn.by_name["pieces"]:
        x0, y0, x1, y1 = shape.geometry.bounds
        size = min(NAME_MM, 1.6 * (x1 - x0) / max(len(shape.id), 1), (y1 - y0) / 2)
        canvas.setFont("Helvetica", size)
        at = shape.geometry.representative_point()
        canvas.drawCentredString(at.x, at.y - size / 3, shape.id)
    canvas.setFont("Helvetica", 4.0)
    for shape in drawn.by_name["back-line"]:
        line: LineString = shape.geometry
        for n in range(int(line.length // TICK_MM) + 1):
            at, on = line.interpolate(n * TICK_MM), line.interpolate(n * TICK_MM + 1.0)
            dx, dy = on.x - at.x, on.y - at.y
            norm = max((dx * dx + dy * dy) ** 0.5, 1e-9)
            half = 6.0 if n % 5 else 12.0
            x, y = -half * dy / norm, half * dx / norm
            canvas.line(at.x - x, at.y - y, at.x + x, at.y + y)
            canvas.drawString(at.x + abs(x) + 1.5, at.y - 1.4, f"{n * TICK_MM:.0f}")


def draw_layers(canvas: "Canvas", drawn: Layers, names: Iterable[str], *, width: float = 1.0) -> None:
    """Draw layers in the hide frame, on a canvas in mm; `width` multiplies the pens, for small pictures."""
    for name in names:
        pen_mm, colour, dashes = _PENS[name]
        canvas.setLineWidth(pen_mm * width)
        canvas.setStrokeColorRGB(*colour)
        canvas.setDash([d * width for d in dashes])
        canvas.setLineJoin(1)
        for shape in drawn.by_name[name]:
            if name == "marks":
                canvas.setDash([d * width for d in MARKS[shape.kind].dashes])
            draw_geometry(canvas, shape.geometry)
    canvas.setDash([])


def draw_geometry(canvas: "Canvas", geometry: BaseGeometry, *, fill: bool = False) -> None:
    """Stroke lines and rings, or fill polygons with their holes left out."""
    if isinstance(geometry, LineString):
        path = canvas.beginPath()
        _line(path, list(geometry.coords))
        canvas.drawPath(path, stroke=1, fill=0)
        return
    for part in polygons(geometry):
        rings = (part.exterior, *part.interiors)
        path = canvas.beginPath()
        for ring in rings:
            _line(path, list(ring.coords)[:-1])
            path.close()
        canvas.drawPath(path, stroke=0 if fill else 1, fill=1 if fill else 0, fillMode=0)


def _line(path: "object", points: list[tuple[float, ...]]) -> None:
    path.moveTo(*points[0])  # type: ignore[attr-defined]
    for point in points[1:]:
        path.lineTo(*point)  # type: ignore[attr-defined]


def draw_bar(canvas: "Canvas", x: float, y: float) -> None:
    """A bar of 100 mm from (x, y) to the right, with ticks at both ends and every 10 mm, on a canvas in mm."""
    canvas.setStrokeGray(0)
    canvas.setFillGray(0)
    canvas.setLineWidth(0.2)
    canvas.line(x, y, x + BAR_MM, y)
    for n in range(11):
        tick = 4.0 if n in (0, 10) else 1.5
        canvas.line(x + 10 * n, y, x + 10 * n, y + tick)
    canvas.setFont("Helvetica", 3.0)
    canvas.drawCentredString(x + BAR_MM / 2, y + 3.0, "100 mm: measure it; print at 100 %")
