"""Typesetting for the sheets: a page in mm with y down, text that wraps, tables, pictures, the hide in small."""

import re
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from hidescan.exports.layers import Layers
from hidescan.exports.pdf.canvas import PAPERS_MM, POINTS_PER_MM, draw_geometry, draw_layers

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

__all__ = [
    "NOT_AN_INSTRUMENT",
    "PAPERS_MM",
    "SOFT",
    "SOURCES_SHOWN",
    "Page",
    "Small",
    "draw_hide",
    "fitted",
    "new_page",
    "scale_bar",
]

INK, SOFT, RULE = 0.1, 0.4, 0.75
# What the parts of the ± are called on paper, where the map file's own name is a term of the program's.
SOURCES_SHOWN = {"corner noise": "card read unsharply", "sampling": "steps along the rim"}
NOT_AN_INSTRUMENT = "hidescan is not a type-approved measuring instrument. Its figures are not for legal trade."


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """A page being set: places are mm from its top left corner."""

    canvas: "Canvas"
    width: float
    height: float

    def text(self, x: float, y: float, text: str, size: float = 3.1, *, bold: bool = False, grey: float = INK) -> None:
        """One line; `y` is its base line, `size` in mm."""
        self._pen(size, bold, grey)
        self.canvas.drawString(x, self.height - y, text)

    def right(self, x: float, y: float, text: str, size: float = 3.1, *, bold: bool = False, grey: float = INK) -> None:
        """One line that ends at `x`."""
        self._pen(size, bold, grey)
        self.canvas.drawRightString(x, self.height - y, text)

    def centred(self, x: float, y: float, text: str, size: float, *, bold: bool = False, grey: float = INK) -> None:
        """One line with its middle at `x`."""
        self._pen(size, bold, grey)
        self.canvas.drawCentredString(x, self.height - y, text)

    def wrapped(
        self, x: float, y: float, text: str, width: float, *, size: float = 3.1, grey: float = INK, most: int = 99
    ) -> float:
        """Several lines; returns the base line that would come next. What is over `most` lines ends in dots."""
        from reportlab.lib.utils import simpleSplit

        lines = simpleSplit(text, "Helvetica", size, width)
        if len(lines) > most:
            lines = [*lines[: most - 1], lines[most - 1].rstrip(" .") + " ..."]
        for line in lines:
            self.text(x, y, line, size, grey=grey)
            y += 1.35 * size
        return y

    def rule(self, x0: float, x1: float, y: float) -> None:
        """A thin line across."""
        self.canvas.setStrokeGray(RULE)
        self.canvas.setLineWidth(0.2)
        self.canvas.line(x0, self.height - y, x1, self.height - y)

    def heading(self, x0: float, x1: float, y: float, text: str) -> float:
        """A section's name over a thin line; returns the first base line under it."""
        self.text(x0, y, text, 3.4, bold=True)
        self.rule(x0, x1, y + 1.5)
        return y + 6.0

    def picture(self, x: float, y: float, width: float, height: float, rgb: NDArray[np.uint8]) -> None:
        """A picture with its top left corner at (x, y)."""
        from PIL import Image
        from reportlab.lib.utils import ImageReader

        data = BytesIO()
        Image.fromarray(rgb).save(data, format="JPEG", quality=88)
        data.seek(0)
        self.canvas.drawImage(ImageReader(data), x, self.height - y - height, width, height)

    def _pen(self, size: float, bold: bool, grey: float) -> None:
        self.canvas.setFillGray(grey)
        self.canvas.setFont("Helvetica-Bold" if bold else "Helvetica", size)


@dataclass(frozen=True, slots=True)
class Small:
    """A small picture of the hide: scale (page mm a hide mm), and hide (0, 0) in mm from the page's top left."""

    scale: float
    x: float
    y: float

    def at(self, hide_mm: tuple[float, float]) -> tuple[float, float]:
        """Page place of a hide point."""
        return self.x + self.scale * hide_mm[0], self.y - self.scale * hide_mm[1]


def without_commands(text: str) -> str:
    """A message without what only the command line can do: brackets, sentences and clauses that name a command."""
    text = re.sub(r" ?\([^()]*(?:--|hidescan )[^()]*\)", "", text)
    parts = [
        part
        for part in re.split(r"(?<=[.:;])\s+", text)
        if not re.search(r"--[a-z]|hidescan (?:card|lens|map|edit)\b", part)
    ]
    return re.sub(r"[:;]$", ".", " ".join(parts))


def new_page(canvas: "Canvas", size_mm: tuple[float, float]) -> Page:
    """A page on the canvas, in mm."""
    canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
    return Page(canvas, *size_mm)


def fitted(drawn: Layers, x: float, y: float, width: float, height: float, scale: float | None = None) -> Small:
    """The hide in the middle of a box, as large as fits or at a given scale."""
    x0, y0, x1, y1 = drawn.net_mm.bounds
    scale = scale or min(width / (x1 - x0), height / (y1 - y0))
    return Small(scale, x + width / 2 - scale * (x0 + x1) / 2, y + height / 2 + scale * (y0 + y1) / 2)


def draw_hide(page: Page, drawn: Layers, small: Small, names: tuple[str, ...], *, filled: bool) -> None:
    """The hide's lines in small; `filled` with pale grey where there is no picture below."""
    canvas = page.canvas
    canvas.saveState()
    canvas.translate(small.x, page.height - small.y)
    canvas.scale(small.scale, small.scale)
    if filled:
        canvas.setFillGray(0.9)
        draw_geometry(canvas, drawn.net_mm, fill=True)
    canvas.setStrokeGray(1.0)  # white below the back line, or it cannot be seen on dark leather
    canvas.setLineWidth(0.9 / small.scale)
    for shape in drawn.by_name["back-line"]:
        draw_geometry(canvas, shape.geometry)
    draw_layers(canvas, drawn, names, width=0.5 / small.scale)
    canvas.restoreState()


def scale_bar(page: Page, small: Small, x: float, y: float, units: str) -> None:
    """A bar of a round length at the picture's scale."""
    length, text = (304.8, "1 ft") if units == "ft" else (300.0, "300 mm")
    end = x + length * small.scale
    page.canvas.setStrokeGray(INK)
    page.canvas.setLineWidth(0.4)
    page.canvas.lines(
        [(x, page.height - y, end, page.height - y)]
        + [(at, page.height - y - 1, at, page.height - y + 1) for at in (x, end)]
    )
    page.text(end + 1.5, y + 1.0, text, 2.8)
