"""PDF at full size over sheets of A4 or Letter: a page map first, then one sheet a tile.

Sheets overlap by `OVERLAP_MM`. Each overlap carries ringed crosses, drawn at the same place of the hide on both
sheets: laid cross on cross, the sheets are in place. Each sheet carries a small map and a bar of 100 mm.
"""

import math
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING

from shapely import box, prepare, simplify

from hidescan.exports.layers import Layers, Shape, layers
from hidescan.exports.pdf.canvas import (
    DRAWN,
    PAPERS_MM,
    POINTS_PER_MM,
    draw_bar,
    draw_geometry,
    draw_layers,
    draw_pieces,
    new_canvas,
)
from hidescan.hide_map.model import HideMap

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

MARGIN_MM = 8.0  # most printers leave 4 to 6 mm blank
FOOT_MM = 22.0
OVERLAP_MM = 15.0


@dataclass(frozen=True, slots=True)
class Grid:
    """Tiles over a hide: lower left corner of the first window, window size and step, all mm in the hide frame.

    Rows count from the top, A, B, ...; columns from the left, 1, 2, ...
    """

    left: float
    top: float
    window: tuple[float, float]
    columns: int
    rows: int

    def corner(self, row: int, column: int) -> tuple[float, float]:
        """Lower left corner of a tile's window."""
        w, h = self.window
        return self.left + column * (w - OVERLAP_MM), self.top - h - row * (h - OVERLAP_MM)

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of all windows together."""
        w, h = self.window
        return self.columns * (w - OVERLAP_MM) + OVERLAP_MM, self.rows * (h - OVERLAP_MM) + OVERLAP_MM

    def crosses(self) -> list[tuple[float, float, str]]:
        """Middles and names of the match marks: two on each seam of neighbours, in the middle of the overlap."""
        w, h = self.window
        found = []
        for row in range(self.rows):
            for column in range(self.columns):
                x, y = self.corner(row, column)
                here, right, below = label(row, column), label(row, column + 1), label(row + 1, column)
                for share in (0.3, 0.7):
                    if column + 1 < self.columns:
                        found.append((x + w - OVERLAP_MM / 2, y + share * h, f"{here}-{right}"))
                    if row + 1 < self.rows:
                        found.append((x + share * w, y + OVERLAP_MM / 2, f"{here}-{below}"))
        return found


def grid_over(drawn: Layers, paper: str) -> Grid:
    """Tiles that cover the hide with half an overlap to spare on all sides."""
    x0, y0, x1, y1 = drawn.net_mm.bounds
    width, height = PAPERS_MM[paper]
    window = width - 2 * MARGIN_MM, height - 2 * MARGIN_MM - FOOT_MM
    columns, rows = (
        max(1, math.ceil(extent / (side - OVERLAP_MM))) for extent, side in zip((x1 - x0, y1 - y0), window, strict=True)
    )
    width, height = Grid(0.0, 0.0, window, columns, rows).size
    return Grid((x0 + x1 - width) / 2, (y0 + y1 + height) / 2, window, columns, rows)


def to_bytes(
    hide_map: HideMap, *, name: str, paper: str, mirror: bool = False, pieces: tuple[Shape, ...] = ()
) -> bytes:
    """The hide at 1:1 over sheets of paper.

    Parameters
    ----------
    paper
        "a4" or "letter".
    """
    drawn = layers(hide_map, mirror=mirror, pieces=pieces)
    grid = grid_over(drawn, paper)
    tiles = _with_leather(drawn, grid)
    buffer = BytesIO()
    canvas = new_canvas(buffer, PAPERS_MM[paper], f"{name}, full size on {len(tiles)} sheets, {drawn.seen_from}")
    _forms(canvas, drawn)
    _page_map(canvas, drawn, grid, tiles, name, paper)
    for number, tile in enumerate(tiles, start=1):
        canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
        _tile(canvas, grid, tile)
        _foot(canvas, drawn, grid, tile, f"{name}   sheet {label(*tile)}, {number} of {len(tiles)}")
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def label(row: int, column: int) -> str:
    """A sheet's name: rows A, B, ... Z, AA, ... from the top, columns 1, 2, ... from the left."""
    letters = ""
    row += 1
    while row:
        row, rest = divmod(row - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return f"{letters}{column + 1}"


def _with_leather(drawn: Layers, grid: Grid) -> list[tuple[int, int]]:
    """Tiles that are needed: seams run along the middles of the overlaps, and each tile owns what lies between them."""
    (w, h), half = grid.window, OVERLAP_MM / 2
    prepare(drawn.net_mm)
    return [
        (row, column)
        for row in range(grid.rows)
        for column in range(grid.columns)
        for x, y in [grid.corner(row, column)]
        if drawn.net_mm.intersects(box(x + half, y + half, x + w - half, y + h - half))
    ]


def _forms(canvas: "Canvas", drawn: Layers) -> None:
    """The hide and its silhouette, written once and placed on each sheet."""
    x0, y0, x1, y1 = drawn.bounds_mm
    canvas.beginForm("hide", x0 - 5, y0 - 5, x1 + 5, y1 + 5)
    draw_layers(canvas, drawn, DRAWN)
    draw_pieces(canvas, drawn)
    canvas.endForm()
    canvas.beginForm("silhouette", x0 - 5, y0 - 5, x1 + 5, y1 + 5)
    draw_geometry(canvas, simplify(drawn.net_mm, 2.0), fill=True)
    canvas.endForm()


def _tile(canvas: "Canvas", grid: Grid, at: tuple[int, int]) -> None:
    """The window with its piece of the hide, the neighbours' edges, and the match marks."""
    (w, h), (x, y) = grid.window, grid.corner(*at)
    canvas.saveState()
    canvas.translate(MARGIN_MM, MARGIN_MM + FOOT_MM)
    canvas.setStrokeGray(0.6)
    canvas.setLineWidth(0.15)
    canvas.rect(0, 0, w, h, stroke=1, fill=0)
    clip = canvas.beginPath()
    clip.rect(0, 0, w, h)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.translate(-x, -y)
    canvas.doForm("hide")
    canvas.setStrokeGray(0)
    canvas.setFillGray(0.35)
    canvas.setLineWidth(0.15)
    canvas.setFont("Helvetica", 2.8)
    for cx, cy, text in grid.crosses():
        if x < cx < x + w and y < cy < y + h:
            canvas.circle(cx, cy, 2.5, stroke=1, fill=0)
            canvas.lines([(cx - 4, cy, cx + 4, cy), (cx, cy - 4, cx, cy + 4)])
            canvas.drawCentredString(cx, cy + 4.5, text)
    canvas.restoreState()


def _foot(canvas: "Canvas", drawn: Layers, grid: Grid, at: tuple[int, int], text: str) -> None:
    draw_bar(canvas, MARGIN_MM, MARGIN_MM + 2.0)
    canvas.setFont("Helvetica-Bold", 4.0)
    canvas.drawString(MARGIN_MM, MARGIN_MM + FOOT_MM - 6.0, text)
    canvas.setFont("Helvetica", 3.0)
    canvas.drawString(MARGIN_MM, MARGIN_MM + FOOT_MM - 10.5, f"{drawn.seen_from}. Lay ringed cross on ringed cross.")
    space = 60.0, FOOT_MM - 3.0
    scale = min(space[0] / grid.size[0], space[1] / grid.size[1])
    canvas.saveState()
    canvas.translate(MARGIN_MM + grid.window[0] - scale * grid.size[0], MARGIN_MM)
    canvas.scale(scale, scale)
    canvas.translate(-grid.left, grid.size[1] - grid.top)
    canvas.setFillGray(0.8)
    canvas.doForm("silhouette")
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.4 / scale)
    canvas.rect(*grid.corner(*at), *grid.window, stroke=1, fill=0)
    canvas.restoreState()


def _page_map(canvas: "Canvas", drawn: Layers, grid: Grid, tiles: list[tuple[int, int]], name: str, paper: str) -> None:
    """The first page: every sheet's place, and how to put them together."""
    width, height = PAPERS_MM[paper]
    canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
    canvas.setFont("Helvetica-Bold", 7.0)
    canvas.drawString(MARGIN_MM, height - MARGIN_MM - 7.0, name)
    canvas.setFont("Helvetica", 4.0)
    lines = (
        f"Full size on {len(tiles)} sheets; {drawn.seen_from}.",
        "Print at 100 %, without 'fit to page'. Measure the bar below before you go on: it must be 100 mm.",
        f"Sheets overlap by {OVERLAP_MM:.0f} mm. Cut the right and the lower edge of each sheet along its frame,",
        "lay it over its neighbour so that the ringed crosses with the same name meet, and tape.",
        "A pin through both crosses, or a window behind, helps.",
    )
    for n, line in enumerate(lines):
        canvas.drawString(MARGIN_MM, height - MARGIN_MM - 15.0 - 5.5 * n, line)
    space = width - 2 * MARGIN_MM, height - 2 * MARGIN_MM - 60.0
    scale = min(space[0] / grid.size[0], space[1] / grid.size[1])
    canvas.saveState()
    canvas.translate((width - scale * grid.size[0]) / 2, MARGIN_MM + 16.0)
    canvas.scale(scale, scale)
    canvas.translate(-grid.left, grid.size[1] - grid.top)
    canvas.setFillGray(0.88)
    canvas.doForm("silhouette")
    draw_layers(canvas, drawn, ("holes", "outline"), width=0.6 / scale)
    canvas.setStrokeGray(0.4)
    canvas.setFillGray(0)
    canvas.setLineWidth(0.2 / scale)
    size = min(5.0 / scale, grid.window[1] / 4)
    canvas.setFont("Helvetica-Bold", size)
    for tile in tiles:
        x, y = grid.corner(*tile)
        canvas.rect(x, y, *grid.window, stroke=1, fill=0)
        canvas.drawCentredString(x + grid.window[0] / 2, y + grid.window[1] / 2 - size / 3, label(*tile))
    canvas.restoreState()
    draw_bar(canvas, MARGIN_MM, MARGIN_MM + 2.0)
    canvas.showPage()
