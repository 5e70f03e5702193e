"""NAME.marks.png: the hide from straight above on white, neck up, its marks numbered, and a list below.

Numbers are those of the ids. Each is placed where it covers no mark, no other number and no other number's leader line,
as near to its mark as that allows; readable on a phone.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from hidescan.basics.geometry import Points
from hidescan.basics.units import format_length
from hidescan.exports.rectified import Raster, raster_of, straight_down
from hidescan.hide_map.model import HideMap, MarkEntry
from hidescan.marks.placement import number_of
from hidescan.pictures.strokes import LineStyle, font, mark_style, png, styled
from hidescan.settings import MarksPictureSettings

_INK, _SOFT, _PAPER = (20, 20, 20), (110, 110, 110), (255, 255, 255)
# Places for numbers are sought on a copy this much smaller; and how many of the nearest are looked at.
_COARSE, _MOST_TRIED = 3, 200
_BACK_LINE = LineStyle((64, 224, 255), (8.0, 6.0))


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a number is placed and where its leader line meets its mark, picture px."""

    at: tuple[float, float]
    foot: tuple[float, float]


def marks_picture(rgb: NDArray[np.uint8], hide_map: HideMap, units: str, settings: MarksPictureSettings) -> bytes:
    """Draw NAME.marks.png.

    Parameters
    ----------
    rgb
        The upright photo, (H, W, 3).
    units
        "ft" or "metric", for sizes.
    """
    outer = np.array(hide_map.outline.hide_mm.coordinates[0])
    raster = raster_of(hide_map, px_per_m=int(1000 * settings.hide_px / np.ptp(outer, axis=0).max()))
    letters, radius = font(settings.letter_px), 0.72 * settings.letter_px
    margin = round(3.2 * radius)
    width = max(raster.width_px + 2 * margin, settings.least_width_px)
    left, top = (width - raster.width_px) // 2, margin
    marks = sorted((m for m in hide_map.marks if m.status != "rejected"), key=lambda m: -m.area_mm2)
    listed = sorted(marks[: settings.most_marks], key=number_of)
    rows = max(1, -(-len(listed) // 2)) + (len(marks) > len(listed))
    line_px = round(1.35 * settings.letter_px)
    below = raster.height_px + 2 * margin + 2 * line_px
    image = Image.new("RGB", (width, below + rows * line_px + margin // 2), _PAPER)
    image.paste(*_hide(rgb, hide_map, raster, (left, top)))

    def at(points_mm: Points) -> Points:
        return raster.px(points_mm) + (left, top)

    pen = ImageDraw.Draw(image)
    pen.line([tuple(p) for p in at(outer).tolist()], fill=_SOFT, width=2)
    if hide_map.back_line.source != "none":
        curve = at(np.array(hide_map.back_line.curve_mm.coordinates))
        styled(image, curve, _BACK_LINE, 2)
        pen.text((curve[-1, 0], top - 4), "neck", font=letters, fill=_INK, anchor="ms")
    rings = [at(np.array(mark.hide_mm.coordinates[0])) for mark in marks]
    for mark, ring in zip(marks, rings, strict=True):
        styled(image, ring, mark_style(mark.kind), settings.line_px)
    spots = place_numbers(rings, settings.most_marks, (width, raster.height_px + 2 * margin), radius)
    for spot in spots:
        pen.line([spot.at, spot.foot], fill=_INK, width=3)
        pen.line([spot.at, spot.foot], fill=_PAPER, width=1)
    for mark, spot in zip(marks, spots, strict=False):
        _number(pen, spot.at, radius, mark, settings.letter_px)
    _scale(pen, raster, (margin, raster.height_px + 2 * margin + line_px // 2), units, settings.letter_px)
    if any(mark.status != "found" for mark in listed):
        end = (width - margin // 2, raster.height_px + 2 * margin + line_px // 2)
        pen.text(end, "black: confirmed, square: added", font=letters, fill=_SOFT, anchor="rm")
    _list(image, listed, len(marks) - len(listed), (margin // 2, below), line_px, units, settings)
    return png(image)


def place_numbers(rings: list[Points], count: int, size_px: tuple[int, int], radius: float) -> list[Spot]:
    """Spots for numbers beside the first `count` rings.

    Parameters
    ----------
    rings
        All marks, (M, 2) px each, closed.
    size_px
        Width and height of the picture.
    radius
        Of the disc that a number fills, px.

    Returns
    -------
    For each of those rings the nearest spot of a grid whose disc lies in the picture, covers no mark, no other disc
    and no other leader line, and whose own leader line crosses no other mark, disc or line. Where there is none, lines
    may cross, but a disc still covers nothing while there is space.
    """
    import cv2

    width, height = size_px
    gap = radius + 3
    owner = np.zeros((height // _COARSE + 1, width // _COARSE + 1), dtype=np.int32)
    for k, ring in enumerate(rings):
        cv2.fillPoly(owner, [np.rint(ring / _COARSE).astype(np.int32)], k + 1)
    clear = cv2.distanceTransform((owner == 0).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    step = max(2, int(0.8 * radius))
    x, y = np.meshgrid(np.arange(gap, width - gap, step), np.arange(gap, height - gap, step))
    everywhere = np.column_stack([x.ravel(), y.ravel()])
    open_to_all = everywhere[clear[tuple((everywhere[:, ::-1] / _COARSE).astype(int).T)] > gap / _COARSE + 1]
    spots: list[Spot] = []
    for k, ring in enumerate(rings[:count]):
        free = open_to_all
        for spot in spots:
            free = free[np.hypot(*(free - spot.at).T) > 2 * radius + 3]
            free = free[_from_segment(free, spot) > gap]
        if not len(free):  # more marks than the picture has space for
            free = everywhere
        off = np.min([np.hypot(*(free - p).T) for p in ring[:: max(1, len(ring) // 12)]], axis=0)
        nearest = free[np.argsort(off)[:_MOST_TRIED]]
        tried = (_spot(place, ring) for place in nearest)
        chosen = next((spot for spot in tried if _line_is_free(spot, spots, owner, k + 1, gap)), None)
        spots.append(chosen or _spot(nearest[0], ring))
    return spots


def _spot(place: Points, ring: Points) -> Spot:
    """A place for a number with its leader line to the nearest point of its mark."""
    foot = ring[np.argmin(np.hypot(*(ring - place).T))]
    return Spot((float(place[0]), float(place[1])), (float(foot[0]), float(foot[1])))


def _line_is_free(spot: Spot, others: list[Spot], owner: NDArray[np.int32], ours: int, gap: float) -> bool:
    """Whether a leader line crosses no other mark, number or line."""
    a, b = np.array(spot.at), np.array(spot.foot)
    points = a + np.linspace(0.0, 0.95, 40)[:, None] * (b - a)
    x, y = np.clip((points / _COARSE).astype(int), 0, np.array(owner.shape[::-1]) - 1).T
    if not np.isin(owner[y, x], (0, ours)).all():
        return False
    return all(_from_segment(np.array([other.at]), spot)[0] > gap and not _cross(spot, other) for other in others)


def _from_segment(points: Points, spot: Spot) -> NDArray[np.float64]:
    """Distance of points from a leader line, (N,)."""
    a, b = np.array(spot.at), np.array(spot.foot)
    along = np.clip((points - a) @ (b - a) / max(float((b - a) @ (b - a)), 1e-9), 0.0, 1.0)
    return np.asarray(np.hypot(*(points - (a + along[:, None] * (b - a))).T))


def _cross(one: Spot, other: Spot) -> bool:
    def side(p: tuple[float, float], q: tuple[float, float], r: tuple[float, float]) -> bool:
        return (q[0] - p[0]) * (r[1] - p[1]) > (q[1] - p[1]) * (r[0] - p[0])

    a, b, c, d = one.at, one.foot, other.at, other.foot
    return side(a, c, d) != side(b, c, d) and side(a, b, c) != side(a, b, d)


def _hide(
    rgb: NDArray[np.uint8], hide_map: HideMap, raster: Raster, corner: tuple[int, int]
) -> tuple[Image.Image, tuple[int, int], Image.Image]:
    """The hide to paste: its picture, where, and which of its pixels."""
    mask = Image.new("L", (raster.width_px, raster.height_px), 0)
    pen = ImageDraw.Draw(mask)
    for k, ring in enumerate(hide_map.outline.hide_mm.coordinates):
        pen.polygon([tuple(p) for p in raster.px(np.array(ring)).tolist()], fill=0 if k else 255)
    return Image.fromarray(straight_down(rgb, hide_map, raster)), corner, mask


def _number(
    pen: ImageDraw.ImageDraw, at: tuple[float, float], radius: float, mark: MarkEntry, letter_px: float
) -> None:
    """White disc: found; black disc: confirmed; white square: a person's own."""
    box = (at[0] - radius, at[1] - radius, at[0] + radius, at[1] + radius)
    paper, ink = (_INK, _PAPER) if mark.status == "confirmed" else (_PAPER, _INK)
    (pen.rectangle if mark.status == "added" else pen.ellipse)(box, fill=paper, outline=_INK, width=2)
    text = str(number_of(mark))
    pen.text(at, text, font=font(letter_px * (0.95 if len(text) < 3 else 0.7)), fill=ink, anchor="mm")


def _scale(pen: ImageDraw.ImageDraw, raster: Raster, at: tuple[int, int], units: str, letter_px: float) -> None:
    length, text = (304.8, "1 ft") if units == "ft" else (200.0, "200 mm")
    x, y, end = at[0], at[1], at[0] + length / raster.mm_per_px
    pen.line([(x, y), (end, y)], fill=_INK, width=4)
    for tick in (x, end):
        pen.line([(tick, y - 8), (tick, y + 8)], fill=_INK, width=4)
    pen.text((end + 0.5 * letter_px, y), text, font=font(letter_px), fill=_INK, anchor="lm")


def _list(
    image: Image.Image,
    listed: list[MarkEntry],
    unlisted: int,
    corner: tuple[int, int],
    line_px: int,
    units: str,
    settings: MarksPictureSettings,
) -> None:
    """Two columns: number, the kind's line, its name, size, and its probability where nobody has confirmed it."""
    pen, letters = ImageDraw.Draw(image), font(settings.letter_px)
    left, top = corner
    column = (image.width - 2 * left) // 2
    rows = max(1, -(-len(listed) // 2))
    for k, mark in enumerate(listed):
        x, y = left + (k // rows) * column, top + (k % rows) * line_px + line_px // 2
        swatch = x + 1.7 * settings.letter_px
        pen.text((swatch - 0.3 * settings.letter_px, y), str(number_of(mark)), font=letters, fill=_INK, anchor="rm")
        styled(image, np.array([[swatch, y], [swatch + 60.0, y]]), mark_style(mark.kind), settings.line_px)
        size = f"{format_length(mark.length_mm, units).split()[0]} x {format_length(mark.width_mm, units)}"
        sure = f", {min(99.0, 100 * mark.confidence):.0f} %" if mark.status == "found" else ""
        pen.text((swatch + 72, y), f"{mark.kind} {size}{sure}", font=letters, fill=_INK, anchor="lm")
    if not listed:
        pen.text((left, top + line_px // 2), "no marks found", font=letters, fill=_INK, anchor="lm")
    if unlisted:
        words = f"and {unlisted} smaller marks, drawn without numbers"
        pen.text((left, top + rows * line_px + line_px // 2), words, font=letters, fill=_INK, anchor="lm")
