"""The picture of a placing: the hide from above with its pieces, marks and back line."""

from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from hidescan.basics.own_pictures import stamped
from hidescan.exports.layers import Shape, layers, polygons
from hidescan.exports.rectified import raster_of, rectified
from hidescan.hide_map.model import HideMap
from hidescan.placing.file import PlacedPiece, Placing
from hidescan.placing.rules import outline_of
from hidescan.settings.uses import PlaceDrawSettings

_LEATHER, _FLOOR, _INK = (222, 200, 165), (250, 250, 250), (24, 24, 24)
_MARK, _AXIS = (190, 60, 20), (0, 80, 160)
# Pieces of a kind share a tint; names tell them apart too.
_TINTS = ((90, 160, 210), (120, 180, 110), (225, 175, 70), (190, 125, 190), (230, 130, 110), (130, 190, 190))


def picture(
    hide_map: HideMap, name: str, placing: Placing, settings: PlaceDrawSettings, rgb: NDArray[np.uint8] | None = None
) -> bytes:
    """Draw DIR/NAME.placing.png.

    Parameters
    ----------
    rgb
        The map's photo, upright; without it the leather is one flat colour.
    """
    drawn = layers(hide_map)
    x0, y0, x1, y1 = drawn.bounds_mm if not drawn.by_name["cards"] else drawn.net_mm.bounds
    scale = settings.long_side_px / max(x1 - x0, y1 - y0, 1.0)
    pad, head = round(0.03 * settings.long_side_px), round(0.06 * settings.long_side_px)
    size = (round((x1 - x0) * scale) + 2 * pad, round((y1 - y0) * scale) + 2 * pad + head)

    def px(coords: object) -> list[tuple[float, float]]:
        at = (np.array(coords) - (x0, y1)) * (scale, -scale) + (pad, pad + head)
        return [(float(x), float(y)) for x, y in at]

    image = Image.new("RGB", size, _FLOOR)
    pen = ImageDraw.Draw(image)
    outer = px(drawn.net_mm.exterior.coords)
    if rgb is None:
        pen.polygon(outer, fill=_LEATHER)
    else:
        raster = raster_of(hide_map, px_per_m=max(1, round(1000 * scale)))
        seen = Image.fromarray(rectified(rgb, hide_map, raster))
        (x, y), *_ = px([(raster.left_mm, raster.top_mm)])
        image.paste(
            seen.resize((round(seen.width * raster.mm_per_px * scale), round(seen.height * raster.mm_per_px * scale))),
            (round(x), round(y)),
            seen.getchannel("A").resize(
                (round(seen.width * raster.mm_per_px * scale), round(seen.height * raster.mm_per_px * scale))
            ),
        )
    line = max(2, round(settings.long_side_px / 700))
    for shape in drawn.by_name["marks"]:
        for part in polygons(shape.geometry):
            pen.line(px(part.exterior.coords), fill=_MARK, width=line)
    for hole in drawn.net_mm.interiors:
        pen.polygon(px(hole.coords), fill=_FLOOR, outline=_MARK)
    tint = Image.new("RGBA", image.size)
    kinds = [kind.id for kind in placing.pieces]
    here = [piece for piece in placing.placed if piece.hide == name]
    for piece in here:
        colour = _TINTS[kinds.index(piece.piece) % len(_TINTS)]
        ImageDraw.Draw(tint).polygon(px(outline_of(piece).exterior.coords), fill=(*colour, 205))
    image.paste(tint, mask=tint.getchannel("A"))
    pen.line([*outer, outer[0]], fill=_INK, width=line)
    for shape in drawn.by_name["back-line"]:
        pen.line(px(shape.geometry.coords), fill=_AXIS, width=line)
        pen.text(px(shape.geometry.coords)[-1], "neck", font=_font(settings, 1.0), fill=_AXIS, anchor="mb")
    for piece in here:
        _piece(pen, piece, px, scale, line, settings)
    _heading(pen, name, placing, here, pad, settings)
    buffer = BytesIO()
    image.save(buffer, format="PNG", compress_level=3)
    return stamped(buffer.getvalue())


def _piece(
    pen: ImageDraw.ImageDraw, piece: PlacedPiece, px: object, scale: float, line: int, settings: PlaceDrawSettings
) -> None:
    """A piece's line, its grain, its name."""
    outline = outline_of(piece)
    assert callable(px)
    pen.line(px(outline.exterior.coords), fill=_INK, width=line)
    middle = outline.representative_point()
    turn = np.deg2rad(piece.turned_deg)
    along = np.array([-np.sin(turn), np.cos(turn)])
    x0, y0, x1, y1 = outline.bounds
    reach = 0.16 * min(x1 - x0, y1 - y0)
    centre = np.array(piece.at_mm) if outline.contains(middle) else np.array([middle.x, middle.y])
    pen.line(
        px([centre - reach * along - (0, 0.1 * (y1 - y0)), centre + reach * along - (0, 0.1 * (y1 - y0))]),
        fill=_INK,
        width=line,
    )
    text = piece.id.replace("-left", "\nleft").replace("-right", "\nright")
    longest = max(len(line) for line in text.split("\n"))
    size = min(1.0, 1.3 * (x1 - x0) * scale / longest / (settings.long_side_px / 65))
    pen.multiline_text(
        px([(middle.x, middle.y)])[0],
        text,
        font=_font(settings, max(size, 0.45)),
        fill=_INK,
        anchor="mm",
        align="center",
    )


def _heading(
    pen: ImageDraw.ImageDraw,
    name: str,
    placing: Placing,
    here: list[PlacedPiece],
    pad: int,
    settings: PlaceDrawSettings,
) -> None:
    hide = next(hide for hide in placing.hides if hide.name == name)
    text = f"{name}: {len(here)} pieces, {100 * hide.used_share:.1f} % of the usable area"
    if placing.missed:
        text += f"; {len(placing.missed)} found no place"
    pen.text((pad, pad // 2), text, font=_font(settings, 1.3), fill=_INK)


def shapes_of(placing: Placing, name: str) -> tuple[Shape, ...]:
    """The pieces on one hide, as the exports draw them."""
    return tuple(
        Shape(piece.id, f"piece {piece.piece}", outline_of(piece)) for piece in placing.placed if piece.hide == name
    )


def _font(settings: PlaceDrawSettings, size: float) -> ImageFont.FreeTypeFont:
    font = ImageFont.load_default(size * settings.long_side_px / 65)
    if not isinstance(font, ImageFont.FreeTypeFont):
        raise RuntimeError("Pillow was built without FreeType.")
    return font
