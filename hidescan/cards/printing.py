"""Reference cards to print: a PDF at true scale.

The pattern is drawn as filled squares, not as a picture, so that the printer's own resolution decides its edges. Beside
it stand what a person needs to check the print: a bar of 150 mm across and one of 200 mm along, since printers scale
the two directions differently.
"""

from io import BytesIO
from typing import TYPE_CHECKING, Literal

import numpy as np

from hidescan.cards.pattern import (
    A4_MM,
    COLUMNS,
    LETTER_MM,
    MARKER_MM,
    MARKERS,
    PATTERN_MM,
    ROWS,
    SQUARE_MM,
    TAPE_MARK_MM,
    dictionary,
)

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

Paper = Literal["a4", "letter"]
ACROSS_MM, ALONG_MM = 150.0, 200.0
_POINTS_PER_MM = 72.0 / 25.4
_CELLS = 7  # a 5 x 5 marker with its black border
_LINE = (
    "Print at 100 % (no 'fit to page'). Measure both bars. Lay flat beside the hide, arrow toward the neck if you like."
)


def cards_pdf(numbers: tuple[int, ...], paper: Paper) -> bytes:
    """A PDF with one page for each card; the same input gives the same bytes.

    Parameters
    ----------
    numbers
        Card numbers, 0 to 9.
    paper
        Both papers carry the same pattern, centred.
    """
    from reportlab.pdfgen.canvas import Canvas

    size_mm = A4_MM if paper == "a4" else LETTER_MM
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=(size_mm[0] * _POINTS_PER_MM, size_mm[1] * _POINTS_PER_MM), invariant=1)
    canvas.setTitle("hidescan reference cards " + ", ".join(str(number) for number in numbers))
    canvas.setViewerPreference("PrintScaling", "None")
    for number in numbers:
        canvas.saveState()
        canvas.scale(_POINTS_PER_MM, _POINTS_PER_MM)  # from here on everything is in mm, y up
        canvas.translate((size_mm[0] - PATTERN_MM[0]) / 2, (size_mm[1] + PATTERN_MM[1]) / 2)
        _pattern(canvas, number)
        _bars(canvas)
        _tape_mark(canvas)
        _arrow(canvas)
        _words(canvas, number, size_mm)
        canvas.restoreState()
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _pattern(canvas: "Canvas", number: int) -> None:
    """Black squares and markers; origin at the pattern's top left corner, y up, so rows go down by -y."""
    canvas.setFillGray(0)
    margin, cell = (SQUARE_MM - MARKER_MM) / 2, MARKER_MM / _CELLS
    markers = iter(range(MARKERS * number, MARKERS * (number + 1)))
    for row in range(ROWS):
        for column in range(COLUMNS):
            x, y = column * SQUARE_MM, -(row + 1) * SQUARE_MM
            if (row + column) % 2 == 0:
                canvas.rect(x, y, SQUARE_MM, SQUARE_MM, stroke=0, fill=1)
                continue
            bits = dictionary().generateImageMarker(next(markers), _CELLS) == 0
            for r, c, run in _runs(bits):
                canvas.rect(
                    x + margin + c * cell, y + SQUARE_MM - margin - (r + 1) * cell, run * cell, cell, stroke=0, fill=1
                )


def _runs(bits: "np.ndarray[tuple[int, int], np.dtype[np.bool_]]") -> list[tuple[int, int, int]]:
    """Black cells row by row as (row, first column, length), so that no hairline shows between neighbours."""
    runs = []
    for r, line in enumerate(bits):
        edges = np.flatnonzero(np.diff(np.r_[False, line, False].astype(int)))
        runs += [(r, int(a), int(b - a)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return runs


def _bars(canvas: "Canvas") -> None:
    """150 mm across below the pattern, 200 mm along right of it: thin lines with ticks at both ends.

    All of it stays 6 mm clear of the sheet's edge, where most printers cannot print.
    """
    canvas.setLineWidth(0.15)
    x, y = (PATTERN_MM[0] - ACROSS_MM) / 2, -PATTERN_MM[1] - 9.0
    canvas.lines([(x, y, x + ACROSS_MM, y), *((x + d, y - 2.5, x + d, y + 2.5) for d in (0.0, ACROSS_MM))])
    canvas.setFont("Helvetica", 3.0)
    canvas.drawCentredString(PATTERN_MM[0] / 2, y + 1.2, f"{ACROSS_MM:.0f} mm between the ticks' middles")
    x, y = PATTERN_MM[0] + 6.5, -(PATTERN_MM[1] + ALONG_MM) / 2
    canvas.lines([(x, y, x, y + ALONG_MM), *((x - 2.0, y + d, x + 2.0, y + d) for d in (0.0, ALONG_MM))])
    canvas.saveState()
    canvas.translate(x - 1.2, -PATTERN_MM[1] / 2)
    canvas.rotate(90)
    canvas.drawCentredString(0, 0, f"{ALONG_MM:.0f} mm between the ticks' middles")
    canvas.restoreState()


def _tape_mark(canvas: "Canvas") -> None:
    """A cross in a ring: the end of a tape from card to card."""
    x, y = TAPE_MARK_MM[0], -TAPE_MARK_MM[1]
    canvas.setLineWidth(0.15)
    canvas.circle(x, y, 2.5, stroke=1, fill=0)
    canvas.lines([(x - 3.5, y, x + 3.5, y), (x, y - 3.5, x, y + 3.5)])


def _arrow(canvas: "Canvas") -> None:
    x, y = 130.0, 8.0
    canvas.setLineWidth(0.3)
    canvas.lines([(x, y, x, y + 13), (x, y + 13, x - 2.5, y + 8.5), (x, y + 13, x + 2.5, y + 8.5)])


def _words(canvas: "Canvas", number: int, size_mm: tuple[float, float]) -> None:
    canvas.setFont("Helvetica", 6.0)
    canvas.drawString(0.0, 11.0, f"card {number}")
    canvas.setFont("Helvetica", 2.8)
    canvas.drawString(0.0, 6.5, "tape from the ring's middle")
    below = (size_mm[1] - PATTERN_MM[1]) / 2
    canvas.drawCentredString(PATTERN_MM[0] / 2, -PATTERN_MM[1] - min(below - 8.0, 20.0), _LINE)
