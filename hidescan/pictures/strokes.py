"""Lines and letters on pictures: strokes with a dark edge, dash patterns, one line style a kind of mark, PNG bytes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from hidescan.basics import opencv
from hidescan.basics.geometry import Points
from hidescan.basics.own_pictures import stamped
from hidescan.basics.vocabulary import MARKS

Colour = tuple[int, int, int]
HALO: Colour = (16, 16, 16)
_UNSEEN_PX = 0.25  # a line may lie this far off


@dataclass(frozen=True, slots=True)
class LineStyle:
    """How a line is drawn: its colour, its dashes and gaps in widths of the line (none: solid), its relative width."""

    colour: Colour
    dashes: tuple[float, ...] = ()
    width: float = 1.0


def mark_style(kind: str) -> LineStyle:
    """The line of a kind of mark."""
    mark = MARKS[kind]
    return LineStyle(mark.colour, mark.dashes, mark.line_width)


def stroke(image: Image.Image, points: Sequence[tuple[float, float]], colour: Colour, width: int) -> None:
    """A line with a dark edge, which keeps it visible on any leather."""
    import cv2

    # Pillow rounds each joint with a disc of its own: leave out points that do not show.
    line = cv2.approxPolyDP(np.array(points, dtype=np.float32)[:, None], _UNSEEN_PX, closed=False)
    shown = [(x, y) for x, y in opencv.points(line).tolist()]
    pen = ImageDraw.Draw(image)
    pen.line(shown, fill=HALO, width=width + 2, joint="curve")
    pen.line(shown, fill=colour, width=width, joint="curve")


def styled(image: Image.Image, points: Points, style: LineStyle, line: int) -> None:
    """A line in a style, (N, 2) picture px; `line` is the width of a style's line of width 1.

    A line too short for its pattern is drawn solid.
    """
    width = max(2, round(style.width * line))
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]
    period = sum(style.dashes) * width
    if not style.dashes or along[-1] < 1.2 * period:
        stroke(image, [tuple(p) for p in points.tolist()], style.colour, width)
        return
    scale = along[-1] / round(along[-1] / period) / period  # whole patterns, so that a ring closes
    at = 0.0
    while at < along[-1] - 1e-6:
        for k, part in enumerate(style.dashes):
            length = part * width * scale
            if k % 2 == 0:
                inner = along[(along > at) & (along < at + length)]
                where = np.r_[at, inner, min(at + length, along[-1])]
                piece = np.column_stack([np.interp(where, along, points[:, 0]), np.interp(where, along, points[:, 1])])
                stroke(image, [tuple(p) for p in piece.tolist()], style.colour, width)
            at += length


def font(size_px: float) -> ImageFont.FreeTypeFont:
    """Pillow's own font."""
    made = ImageFont.load_default(size_px)
    if not isinstance(made, ImageFont.FreeTypeFont):
        raise RuntimeError("Pillow was built without FreeType.")
    return made


def png(image: Image.Image) -> bytes:
    """PNG bytes of an RGB picture that hidescan made, with its name in them."""
    import cv2

    # A photo hardly compresses: differences in Huffman's code take half the time of level 1 for files 3 % larger.
    how = [cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_HUFFMAN_ONLY]
    how += [cv2.IMWRITE_PNG_FILTER, cv2.IMWRITE_PNG_FILTER_SUB]
    _, encoded = cv2.imencode(".png", cv2.cvtColor(np.asarray(image), cv2.COLOR_RGB2BGR), how)
    return stamped(encoded.tobytes())
