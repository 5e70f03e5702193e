"""Pictures from straight above, neck up: the leather alone with its outline and marks, and a mark close by."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from hidescan.basics.atomic_files import write_whole
from hidescan.basics.errors import BadInput
from hidescan.exports.rectified import Raster, raster_of, rectified, straight_down
from hidescan.hide_map.model import HideMap, MarkEntry
from hidescan.pictures.strokes import LineStyle, mark_style, styled

# Round a mark, in its own size; and the least side: a smaller one would show more pixels than leather.
_AROUND, _LEAST_SIDE_MM = 1.6, 24.0
_RIM = LineStyle((255, 255, 255))


def write_from_above(rgb: NDArray[np.uint8], hide_map: HideMap, path: Path, long_side_px: int) -> dict[str, int]:
    """Write the picture as WebP, transparent round the leather.

    Parameters
    ----------
    rgb
        The map's photo, upright, (H, W, 3).

    Returns
    -------
    `width_mm` and `height_mm` of what it shows.
    """
    import cv2

    outer = np.array(hide_map.outline.hide_mm.coordinates[0])
    raster = raster_of(hide_map, px_per_m=max(1, int(1000 * long_side_px / float(np.ptp(outer, axis=0).max()))))
    image = Image.fromarray(rectified(rgb, hide_map, raster))
    styled(image, raster.px(outer), _RIM, 2)
    for mark in hide_map.marks:
        if mark.status != "rejected":
            styled(image, raster.px(np.array(mark.hide_mm.coordinates[0])), mark_style(mark.kind), 2)
    bgra = cv2.cvtColor(np.asarray(image), cv2.COLOR_RGBA2BGRA)
    ok, data = cv2.imencode(".webp", bgra, [cv2.IMWRITE_WEBP_QUALITY, 80])
    if not ok:
        raise BadInput("The picture cannot be made.")
    write_whole(path, data.tobytes())
    sides_px = {"width_mm": raster.width_px, "height_mm": raster.height_px}
    return {name: round(side_px * raster.mm_per_px) for name, side_px in sides_px.items()}


def mark_jpeg(rgb: NDArray[np.uint8], hide_map: HideMap, mark: MarkEntry, side_px: int) -> bytes:
    """A square of the photo round a mark, JPEG; without a scale, since the page states its size in words."""
    import cv2

    ring = np.array(mark.hide_mm.coordinates[0])
    left_mm, top_mm = (ring.min(axis=0) + ring.max(axis=0)) / 2
    per_m = max(1, round(1000 * side_px / max(_AROUND * float(np.ptp(ring, axis=0).max()), _LEAST_SIDE_MM)))
    half_mm = side_px / 2 * 1000.0 / per_m
    raster = Raster(per_m, float(left_mm) - half_mm, float(top_mm) + half_mm, side_px, side_px, False)
    bgr = cv2.cvtColor(straight_down(rgb, hide_map, raster), cv2.COLOR_RGB2BGR)
    _, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, 85])
    return data.tobytes()
