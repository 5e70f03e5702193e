"""PDF at full size: the whole hide on one page, for plotters and cutters that take a roll."""

from io import BytesIO

from hidescan.basics.errors import BadInput
from hidescan.exports.formats import ExportOptions
from hidescan.exports.layers import Shape, layers
from hidescan.exports.pdf import tiles
from hidescan.exports.pdf.canvas import (
    BAR_MM,
    DRAWN,
    LONGEST_PAGE_MM,
    POINTS_PER_MM,
    draw_bar,
    draw_layers,
    draw_pieces,
    new_canvas,
)
from hidescan.hide_map.model import HideMap

MARGIN_MM = 10.0
FOOT_MM = 16.0  # below the hide: the bar and one line of text


def to_files(hide_map: HideMap, options: ExportOptions) -> tuple[bytes, ...]:
    """The one PDF: a page as large as the hide, or as many sheets of paper as that takes."""
    name, mirror, pieces = options.name, options.mirror, options.pieces
    if options.paper is not None:
        return (tiles.to_bytes(hide_map, name=name, paper=options.paper, mirror=mirror, pieces=pieces),)
    return (to_bytes(hide_map, name=name, mirror=mirror, pieces=pieces),)


def to_bytes(hide_map: HideMap, *, name: str, mirror: bool = False, pieces: tuple[Shape, ...] = ()) -> bytes:
    """The hide at 1:1 on one page.

    Raises
    ------
    BadInput
        Longer than a PDF page can be; tiles still work.
    """
    drawn = layers(hide_map, mirror=mirror, pieces=pieces)
    x0, y0, x1, y1 = drawn.net_mm.bounds
    width = max(x1 - x0, BAR_MM) + 2 * MARGIN_MM
    height = y1 - y0 + 2 * MARGIN_MM + FOOT_MM
    if max(width, height) > LONGEST_PAGE_MM:
        raise BadInput(
            f"the hide is longer than a PDF page can be ({LONGEST_PAGE_MM:.0f} mm). Print tiles: --paper a4 or letter."
        )
    buffer = BytesIO()
    canvas = new_canvas(buffer, (width, height), f"{name}, full size, {drawn.seen_from}")
    canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
    canvas.saveState()
    canvas.translate(MARGIN_MM - x0, MARGIN_MM + FOOT_MM - y0)
    draw_layers(canvas, drawn, DRAWN)
    draw_pieces(canvas, drawn)
    canvas.restoreState()
    draw_bar(canvas, MARGIN_MM, MARGIN_MM)
    canvas.drawString(
        MARGIN_MM, MARGIN_MM - 5.0, f"{name}, full size, {drawn.seen_from}. hidescan {hide_map.program.version}"
    )
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()
