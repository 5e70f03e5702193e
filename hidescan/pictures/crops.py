"""A mark cut out of the photo: straight from above, neck up, with a scale in mm."""

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from hidescan.exports.rectified import Raster, straight_down
from hidescan.hide_map.model import HideMap, MarkEntry
from hidescan.pictures.strokes import HALO, font

# Room round a mark, in its own size; and the least side of a crop: smaller ones would show more pixels than leather.
_ROOM, _LEAST_SIDE_MM = 1.6, 24.0
# The scale is the longest of these that takes at most this share of the side.
_BARS_MM, _MOST_SHARE = (5, 10, 20, 50, 100, 200, 500), 0.45


def mark_crop(rgb: NDArray[np.uint8], hide_map: HideMap, mark: MarkEntry, side_px: int) -> NDArray[np.uint8]:
    """A square round a mark.

    Parameters
    ----------
    rgb
        The map's photo, upright.
    side_px
        Side of the crop.

    Returns
    -------
    (side_px, side_px, 3), RGB; the scale is in its lower left corner.
    """
    ring = np.array(mark.hide_mm.coordinates[0])
    middle = (ring.min(axis=0) + ring.max(axis=0)) / 2
    side_mm = max(_ROOM * float(np.ptp(ring, axis=0).max()), _LEAST_SIDE_MM)
    per_m = max(1, round(1000 * side_px / side_mm))
    half = side_px / 2 * 1000.0 / per_m
    raster = Raster(per_m, float(middle[0]) - half, float(middle[1]) + half, side_px, side_px, False)
    image = Image.fromarray(straight_down(rgb, hide_map, raster))
    _scale(image, raster.mm_per_px)
    return np.asarray(image, dtype=np.uint8)


def _scale(image: Image.Image, mm_per_px: float) -> None:
    side = image.width
    length = max((bar for bar in _BARS_MM if bar / mm_per_px <= _MOST_SHARE * side), default=_BARS_MM[0])
    thick = max(2, side // 90)
    x, y = 0.05 * side, 0.95 * side
    end = x + length / mm_per_px
    pen = ImageDraw.Draw(image)
    pen.rectangle((x - 2, y - thick - 2, end + 2, y + 2), fill=HALO)
    pen.rectangle((x, y - thick, end, y), fill="white")
    pen.text(
        (x, y - 2 * thick), f"{length} mm", font=font(side / 8), anchor="ls", fill="white",
        stroke_width=max(2, side // 150), stroke_fill=HALO,
    )  # fmt: skip
