"""The picture of a stretch: both outlines, and arrows from where spots lay to where they lie."""

import io

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from hidescan.basics.geometry import Points
from hidescan.basics.own_pictures import stamped
from hidescan.exports.layers import layers
from hidescan.stretch.comparison import Gain
from hidescan.stretch.report import percent

_SIDE_PX, _PANEL_PX, _MARGIN_PX = 1400, 560, 40
_BEFORE, _AFTER, _ARROW, _DOT, _ZONE = (150, 150, 150), (20, 90, 160), (190, 70, 20), (0, 0, 0), (205, 205, 205)


def picture(gain: Gain) -> bytes:
    """Draw it.

    Returns
    -------
    PNG bytes.
    """
    first, second = gain.first.ring_mm, gain.registered.second_mm
    low, high = np.minimum(first.min(axis=0), second.min(axis=0)), np.maximum(first.max(axis=0), second.max(axis=0))
    per_mm = (_SIDE_PX - 2 * _MARGIN_PX) / float(np.max(high - low))
    width, height = (np.ceil((high - low) * per_mm) + 2 * _MARGIN_PX).astype(int).tolist()
    image = Image.new("RGB", (width + _PANEL_PX, max(height, 900)), "white")
    pen, font = ImageDraw.Draw(image), ImageFont.load_default(22)

    def at(mm: Points) -> list[tuple[float, float]]:
        px = np.column_stack([mm[:, 0] - low[0], high[1] - mm[:, 1]]) * per_mm + _MARGIN_PX
        return [(float(x), float(y)) for x, y in px]

    for zone in layers(gain.first.hide_map).by_name["zones"]:
        for part in getattr(zone.geometry, "geoms", [zone.geometry]):
            pen.line(at(np.array(part.exterior.coords)), fill=_ZONE, width=2)
    pen.line(at(np.vstack([first, first[:1]])), fill=_BEFORE, width=4, joint="curve")
    pen.line(at(np.vstack([second, second[:1]])), fill=_AFTER, width=4, joint="curve")
    times = _times(gain.moved_mm)
    for start, end in zip(at(gain.at_mm), at(gain.at_mm + times * gain.moved_mm), strict=True):
        _arrow(pen, np.array(start), np.array(end))
    for x, y in at(gain.dots_mm[0]):
        pen.ellipse((x - 6, y - 6, x + 6, y + 6), outline=_DOT, width=2)
    for zone in layers(gain.first.hide_map).by_name["zones"]:
        parts = list(getattr(zone.geometry, "geoms", [zone.geometry]))
        x, y = at(np.array(max(parts, key=lambda p: float(p.area)).representative_point().coords))[0]
        pen.text((x, y), zone.id, font=font, fill="black", anchor="mm", stroke_width=4, stroke_fill="white")
    _panel(pen, gain, times, width)
    data = io.BytesIO()
    image.save(data, "PNG")
    return stamped(data.getvalue())


def _times(moved_mm: Points) -> int:
    """How much longer than true arrows are drawn: whole, so that the longest spans some 40 mm or more."""
    longest = float(np.linalg.norm(moved_mm, axis=1).max())
    return max(1, round(40.0 / max(longest, 1.0)))


def _arrow(pen: ImageDraw.ImageDraw, start: Points, end: Points) -> None:
    along = end - start
    length = float(np.linalg.norm(along))
    pen.line([tuple(start), tuple(end)], fill=_ARROW, width=3)
    if length < 4:
        return
    along = along / length * min(12.0, length)
    across = np.array([-along[1], along[0]]) * 0.4
    pen.polygon([tuple(end), tuple(end - along + across), tuple(end - along - across)], fill=_ARROW)


def _panel(pen: ImageDraw.ImageDraw, gain: Gain, times: int, left: int) -> None:
    """Legend and figures beside the drawing."""
    font, small = ImageFont.load_default(26), ImageFont.load_default(21)
    x, y = left + 10, _MARGIN_PX
    scale = "true length" if times == 1 else f"drawn {times} times longer"
    legend = [(gain.first.name, _BEFORE), (gain.second.name, _AFTER), (f"movement, {scale}", _ARROW)]
    for text, colour in legend:
        pen.line([(x, y + 14), (x + 40, y + 14)], fill=colour, width=5)
        pen.text((x + 55, y), text, font=small, fill="black")
        y += 36
    if len(gain.dots_mm[0]):
        pen.ellipse((x + 14, y + 8, x + 26, y + 20), outline=_DOT, width=2)
        pen.text((x + 55, y), f"{len(gain.dots_mm[0])} dots or crosses", font=small, fill="black")
        y += 36
    y += 20
    for name, change in (("area", gain.area), ("length", gain.length), ("width", gain.width)):
        pen.text((x, y), name, font=font, fill="black")
        pen.text((x + 120, y), percent(change), font=font, fill="black")
        y += 36
    y += 20
    for column, text in ((120, "along the back"), (340, "across it")):
        pen.text((x + column, y), text, font=small, fill="black")
    for strain in (gain.whole, *gain.zones):
        y += 34
        pen.text((x, y), strain.part, font=small, fill="black")
        pen.text((x + 120, y), percent(strain.along), font=small, fill="black")
        pen.text((x + 340, y), percent(strain.across), font=small, fill="black")
    pen.text((x, y + 50), "± is 95 %", font=small, fill="black")
