"""PNG of the hide at true scale, transparent outside the outline, with its size in the metadata and a world file."""

from io import BytesIO

import numpy as np
from numpy.typing import NDArray

from hidescan.exports.formats import ExportOptions
from hidescan.exports.layers import seen_from
from hidescan.exports.rectified import raster_of, rectified
from hidescan.hide_map.model import HideMap


def to_files(hide_map: HideMap, options: ExportOptions) -> tuple[bytes, ...]:
    """The picture and its world file."""
    assert options.rgb is not None
    picture = to_bytes(hide_map, name=options.name, rgb=options.rgb, mirror=options.mirror)
    return picture, world_file(hide_map, mirror=options.mirror)


def to_bytes(hide_map: HideMap, *, name: str, rgb: NDArray[np.uint8], mirror: bool = False) -> bytes:
    """The rectified hide as PNG; pHYs carries whole pixels a metre (PNG specification, 11.3.4.3).

    Parameters
    ----------
    rgb
        The map's photo, upright, (H, W, 3).
    """
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    raster = raster_of(hide_map, mirror=mirror)
    texts = PngInfo()
    texts.add_itxt("Title", f"{name}, {seen_from(hide_map, mirror=mirror)}")
    texts.add_itxt("Description", f"1 px = {raster.mm_per_px:.6g} mm; photo sha256 {hide_map.photo.sha256}")
    texts.add_itxt("Software", f"hidescan {hide_map.program.version}")
    dpi = raster.px_per_m * 0.0254
    buffer = BytesIO()
    Image.fromarray(rectified(rgb, hide_map, raster)).save(
        buffer, format="PNG", compress_level=1, dpi=(dpi, dpi), pnginfo=texts
    )
    return buffer.getvalue()


def world_file(hide_map: HideMap, *, mirror: bool = False) -> bytes:
    """A world file's six lines, mm in the hide frame: pixel width, two turns, minus pixel height, top left x and y."""
    raster = raster_of(hide_map, mirror=mirror)
    figures = (raster.mm_per_px, 0.0, 0.0, -raster.mm_per_px, raster.left_mm, raster.top_mm)
    return "".join(f"{figure:.9f}\n" for figure in figures).encode()
