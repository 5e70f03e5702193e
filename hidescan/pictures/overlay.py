"""The overlay: the photo with outline, back line, holes, scale bar and figures, readable on a phone."""

import math
from dataclasses import dataclass
from itertools import cycle

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from hidescan.basics.geometry import Points
from hidescan.basics.opencv import reduced
from hidescan.basics.units import format_thickness
from hidescan.figures.summary import figure_lines
from hidescan.hide_map.model import HideMap, MultiPolygonGeometry, PolygonGeometry
from hidescan.pictures.strokes import HALO, LineStyle, font, mark_style, png, stroke, styled
from hidescan.settings import DrawSettings

_ZONE_TINTS = ((214, 120, 60), (70, 130, 180), (90, 160, 90), (180, 90, 150), (200, 180, 70), (90, 170, 170))
_OUTLINE, _AXIS = (255, 214, 64), (64, 224, 255)
_DOUBT = LineStyle((255, 96, 64), (6.0, 6.0))


@dataclass(frozen=True, slots=True, eq=False)
class _Sheet:
    """A reduced photo being drawn on: `scale` is sheet px per photo px, `line` the width of a main line."""

    image: Image.Image
    scale: float
    line: int

    def at(self, px: Points) -> list[tuple[float, float]]:
        return [(x, y) for x, y in ((np.asarray(px, dtype=np.float64) + 0.5) * self.scale - 0.5).tolist()]


def map_picture(rgb: NDArray[np.uint8], hide_map: HideMap, units: str, settings: DrawSettings) -> bytes:
    """Draw NAME.map.png.

    Parameters
    ----------
    rgb
        The upright photo, (H, W, 3), or a reduced copy.
    units
        "ft" or "metric", for the figures.

    Returns
    -------
    PNG bytes, long side at most `settings.long_side_px`.
    """
    sheet = _sheet(rgb, hide_map, settings)
    _dim_outside(sheet, hide_map.outline.photo_px)
    _closed(sheet, _points(hide_map.outline.photo_px.coordinates[0]), _OUTLINE, sheet.line)
    for stretch in hide_map.outline.doubtful:
        styled(sheet.image, np.array(sheet.at(_points(stretch.photo_px.coordinates))), _DOUBT, sheet.line + 1)
    for mark in hide_map.marks:
        if mark.status != "rejected":
            ring = np.array(sheet.at(_points(mark.photo_px.coordinates[0])))
            styled(sheet.image, ring, mark_style(mark.kind), max(2, sheet.line - 1))
    if hide_map.back_line.source != "none":
        neck, head = _arrow(sheet, _points((hide_map.back_line.tail_px, hide_map.back_line.neck_px)))
        _label(sheet, tuple(neck - 1.8 * head), "neck", "mm", _font(sheet, 1.0))
    _scale_bar(sheet, hide_map, units)
    _caption(sheet, figure_lines(hide_map, units), sheet.at(_points(hide_map.outline.photo_px.coordinates[0])))
    return png(sheet.image)


def zones_picture(rgb: NDArray[np.uint8], hide_map: HideMap, units: str, settings: DrawSettings) -> bytes:
    """Draw NAME.zones.png: the parts of the hide, each with its name, share and thickness, for a look at arm's length.

    Parameters
    ----------
    rgb
        The upright photo, (H, W, 3), or a reduced copy.
    units
        "ft" or "metric", for thickness.
    """
    sheet = _sheet(rgb, hide_map, settings)
    camera, letters = hide_map.camera_over_hide(), _font(sheet, 1.2)
    total = sum(zone.area_mm2 for zone in hide_map.zones)
    tint = Image.new("RGBA", sheet.image.size)
    outlines, labels = [], []
    for colour, zone in zip(cycle(_ZONE_TINTS), hide_map.zones, strict=False):
        parts = (
            zone.hide_mm.coordinates if isinstance(zone.hide_mm, MultiPolygonGeometry) else (zone.hide_mm.coordinates,)
        )
        rings = [sheet.at(camera.px_from_mm(_points(part[0]))) for part in parts]
        for ring in rings:
            ImageDraw.Draw(tint).polygon(ring, fill=(*colour, 110))
        outlines += rings
        largest = max(rings, key=lambda ring: float(np.ptp(np.array(ring), axis=0).prod()))
        text = f"{zone.name} {100 * zone.area_mm2 / total:.0f} %"
        labels.append((_middle(largest), f"{text}\n{format_thickness(zone.thickness_mm, units)}"))
    sheet.image.paste(tint, mask=tint.getchannel("A"))
    for ring in outlines:
        stroke(sheet.image, [*ring, *ring[:2]], (255, 255, 255), max(1, sheet.line - 1))
    if hide_map.back_line.source != "none":
        _arrow(sheet, _points((hide_map.back_line.tail_px, hide_map.back_line.neck_px)))
    for at, text in labels:
        _label(sheet, at, text, "mm", letters)
    if hide_map.sampling_mm is not None:
        (x, y), r = sheet.at(camera.px_from_mm(_points((hide_map.sampling_mm,))))[0], 4.0 * sheet.line
        ImageDraw.Draw(sheet.image).rectangle((x - r, y - r, x + r, y + r), outline="white", width=sheet.line)
    lines = [f"thickness: {hide_map.thickness_source}"]
    if hide_map.sampling_mm is not None:
        lines.append("square: sampling position of ISO 2418")
    _caption(sheet, lines, sheet.at(_points(hide_map.outline.photo_px.coordinates[0])))
    return png(sheet.image)


def _middle(ring: list[tuple[float, float]]) -> tuple[float, float]:
    """A point well inside a ring, for its label."""
    from shapely.geometry import Polygon

    point = Polygon(ring).buffer(0).representative_point()
    return point.x, point.y


def _points(coordinates: "tuple[tuple[float, float], ...]") -> Points:
    return np.array(coordinates, dtype=np.float64)


def for_pictures(rgb: NDArray[np.uint8], settings: DrawSettings) -> NDArray[np.uint8]:
    """The photo in the size of the pictures."""
    scale = min(1.0, settings.long_side_px / max(rgb.shape[:2]))
    return reduced(rgb, (round(rgb.shape[1] * scale), round(rgb.shape[0] * scale)))


def _sheet(rgb: NDArray[np.uint8], hide_map: HideMap, settings: DrawSettings) -> _Sheet:
    small = for_pictures(rgb, settings)
    long = max(small.shape[:2])
    scale = long / max(hide_map.photo.width_px, hide_map.photo.height_px)
    return _Sheet(Image.fromarray(small), scale, max(2, round(long / 500)))


def _dim_outside(sheet: _Sheet, outline: PolygonGeometry) -> None:
    """A slightly darker surround, so that the eye sees at once what was taken for hide."""
    mask = Image.new("L", sheet.image.size, 70)
    ImageDraw.Draw(mask).polygon(sheet.at(_points(outline.coordinates[0])), fill=0)
    sheet.image.paste(Image.new("RGB", sheet.image.size, "black"), mask=mask)


def _closed(sheet: _Sheet, ring_px: Points, colour: tuple[int, int, int], width: int) -> None:
    stroke(sheet.image, sheet.at(np.vstack([ring_px, ring_px[:2]])), colour, width)


def _arrow(sheet: _Sheet, tail_to_neck_px: Points) -> tuple[Points, Points]:
    """The back line with its head at the neck; returns the neck and the head's length as a vector, sheet px."""
    tail, neck = np.array(sheet.at(tail_to_neck_px))
    along = (neck - tail) / max(float(np.linalg.norm(neck - tail)), 1e-9)
    across = np.array([-along[1], along[0]])
    size = 9.0 * sheet.line
    stroke(sheet.image, [tuple(tail), tuple(neck)], _AXIS, sheet.line)
    head = [neck, neck - size * along + 0.5 * size * across, neck - size * along - 0.5 * size * across]
    ImageDraw.Draw(sheet.image).polygon([tuple(p) for p in head], fill=_AXIS, outline=HALO)
    return neck, size * along


def _scale_bar(sheet: _Sheet, hide_map: HideMap, units: str) -> None:
    """A bar of a round length at the scale in the middle of the hide, bottom left."""
    length, text = (304.8, "1 ft") if units == "ft" else (300.0, "300 mm")
    width = length / hide_map.camera.mm_per_px * sheet.scale
    x, y = 0.03 * sheet.image.width, 0.97 * sheet.image.height
    stroke(sheet.image, [(x, y), (x + width, y)], (255, 255, 255), 2 * sheet.line)
    _label(sheet, (x, y - 2 * sheet.line), f"{text} (mid-hide)", "lb", _font(sheet, 0.9))


def _caption(sheet: _Sheet, lines: list[str], rim: list[tuple[float, float]]) -> None:
    """The figures on a dark panel in the upper corner, or lower right, that is furthest from the hide."""
    pen, letters = ImageDraw.Draw(sheet.image), _font(sheet, 1.25)
    text = "\n".join(lines).replace("ft²", "sq ft").replace("dm²", "sq dm").replace("m²", "sq m")  # not in the font
    box = pen.multiline_textbbox((0, 0), text, font=letters)
    pad = 0.4 * letters.size
    width, height = math.ceil(box[2] + 2 * pad), math.ceil(box[3] + 2 * pad)
    right, bottom = sheet.image.width - width - round(pad), sheet.image.height - height - round(pad)
    corners = [(right, round(pad)), (round(pad), round(pad)), (right, bottom)]
    points = np.array(rim)
    x, y = max(
        corners, key=lambda c: float(np.linalg.norm(points - (c[0] + width / 2, c[1] + height / 2), axis=1).min())
    )
    panel = Image.new("RGBA", (width, height), (16, 16, 16, 200))
    sheet.image.paste(panel, (x, y), panel)
    pen.multiline_text((x + pad, y + pad), text, font=letters, fill="white")


def _label(sheet: _Sheet, at: tuple[float, float], text: str, anchor: str, font: ImageFont.FreeTypeFont) -> None:
    ImageDraw.Draw(sheet.image).text(
        at, text, font=font, anchor=anchor, fill="white", stroke_width=max(2, sheet.line), stroke_fill=HALO
    )


def _font(sheet: _Sheet, size: float) -> ImageFont.FreeTypeFont:
    return font(size * max(sheet.image.size) / 55)
