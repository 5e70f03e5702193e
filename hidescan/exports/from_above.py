"""A map joined from several photos, with one picture: straight down on the hide, each place from its best view.

What needs a photo's pixels (overlays, crops, the sheet, the rectified picture) then works as with one photo: the map
that is given back names the picture's pixels wherever it named a photo's.
"""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points
from hidescan.camera.model import Camera
from hidescan.hide_map.model import (
    BackLineEntry,
    CameraEntry,
    DoubtfulStretch,
    HideMap,
    LineGeometry,
    OutlineEntry,
    PhotoView,
    PolygonGeometry,
    Ring,
)

_ABOVE_MM = 1e9  # from up there every ray is plumb to a nanometre
_AROUND = 0.12  # of the hide's length: floor and cards around it
_NODE_PX = 16
_BAND_PX = 128
_SHARPNESS = 4  # power of a view's pixels to the mm2: nearly only the best, without a visible seam
_FADE_SHARE = 0.06  # of a photo's long side: its border fades out
_UNSEEN = 40  # grey where no photo sees


def from_above(
    hide_map: HideMap, photos: Iterable[NDArray[np.uint8]], most_px: int
) -> tuple[HideMap, NDArray[np.uint8]]:
    """The picture and the map over it.

    Parameters
    ----------
    photos
        The map's photos in order, upright, each (H, W, 3), perhaps reduced; taken one at a time.
    most_px
        Pixels of the picture at most; else as fine as the finest photo in the middle of the hide.
    """
    import cv2

    ring = np.array(hide_map.outline.hide_mm.coordinates[0])
    low, high = ring.min(axis=0), ring.max(axis=0)
    around = _AROUND * float((high - low).max())
    low, high = low - around, high + around
    finest = min(view.camera.mm_per_px for view in hide_map.photos)
    mm = max(finest, float(np.sqrt(np.prod(high - low) / most_px)))
    width, height = (int(n) for n in np.ceil((high - low) / mm))
    rotation = np.diag([1.0, -1.0, -1.0])
    centre = np.array([*(low + (0.0, (height - 1) * mm)), _ABOVE_MM])
    camera = Camera(_ABOVE_MM / mm, 0.0, 0.0, np.zeros(2), rotation, -rotation @ centre)
    picture = np.zeros((height, width, 3), np.float32)
    weights = np.zeros((height, width), np.float32)
    bands = [slice(top, top + _BAND_PX) for top in range(0, height, _BAND_PX)]  # whole pictures of floats take memory
    nodes = [np.arange(0, n + _NODE_PX, _NODE_PX) for n in (width, height)]
    x, y = np.meshgrid(*nodes)
    floor = camera.mm_from_px(np.column_stack([x.ravel(), y.ravel()]).astype(np.float64))
    for view, rgb in zip(hide_map.photos, photos, strict=True):
        maps, weight = _view(view, rgb.shape[:2], floor, hide_map.upper_face_mm(), x.shape, (width, height))
        coarser = mm / view.camera.mm_per_px * max(rgb.shape[:2]) / max(view.width_px, view.height_px)
        if coarser > 1.5:
            rgb = np.asarray(cv2.GaussianBlur(rgb, (0, 0), 0.4 * coarser), dtype=np.uint8)
        for rows in bands:
            seen = cv2.remap(rgb, maps[0][rows], maps[1][rows], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            picture[rows] += np.asarray(seen, np.uint8) * weight[rows, :, None]
        weights += weight
    made = np.empty(picture.shape, np.uint8)
    for rows in bands:
        mean = picture[rows] / np.maximum(weights[rows], 1e-12)[..., None]
        mean[weights[rows] <= 0] = _UNSEEN
        made[rows] = np.clip(np.rint(mean), 0, 255)
    return _over(hide_map, camera, (width, height), mm), made


def _view(
    view: PhotoView, shape: tuple[int, int], floor: Points, z_mm: float, nodes: tuple[int, ...], size: tuple[int, int]
) -> tuple[tuple[NDArray[np.float32], NDArray[np.float32]], NDArray[np.float32]]:
    """Where each pixel of the picture lies in a photo of this shape, and how much that photo counts there."""
    import cv2

    camera, long = view.camera.over_hide(), max(view.width_px, view.height_px)
    px = camera.px_from_mm(floor, z_mm)
    inside = np.nan_to_num(np.minimum(px, np.array([view.width_px, view.height_px]) - 1.0 - px).min(axis=1), nan=-1.0)
    weight = np.clip(inside / (_FADE_SHARE * long), 0.0, 1.0)
    shown = weight > 0
    weight[shown] *= (view.camera.mm_per_px / camera.mm_per_px(px[shown])) ** (2 * _SHARPNESS)
    weight = np.where(np.isfinite(weight), weight, 0.0) / view.camera.mm_per_px ** (2 * _SHARPNESS)
    scale = max(shape) / long
    small = np.nan_to_num((px + 0.5) * scale - 0.5, nan=-1e4)
    columns, rows = (np.arange(n, dtype=np.float32) / _NODE_PX for n in size)
    at = tuple(np.asarray(part, np.float32) for part in np.meshgrid(columns, rows))
    x, y, w = (
        np.asarray(cv2.remap(part.reshape(nodes).astype(np.float32), at[0], at[1], cv2.INTER_LINEAR), dtype=np.float32)
        for part in (small[:, 0], small[:, 1], weight)
    )
    return (x, y), w


def _over(hide_map: HideMap, camera: Camera, size: tuple[int, int], mm: float) -> HideMap:
    """The map with everything in px where it lies in the picture."""

    def polygon(geometry: PolygonGeometry) -> PolygonGeometry:
        return PolygonGeometry(tuple(_line(camera.px_from_mm(np.array(ring))) for ring in geometry.coordinates))

    def stretch(found: DoubtfulStretch) -> DoubtfulStretch:
        seen_by = hide_map.photos[found.photo].camera.over_hide()
        floor = seen_by.mm_from_px(np.array(found.photo_px.coordinates))
        return replace(found, photo=0, photo_px=LineGeometry(_line(camera.px_from_mm(floor))))

    entry = CameraEntry(
        camera.focal_px, (0.0, 0.0), (0.0, 0.0),
        tuple((float(a), float(b), float(c)) for a, b, c in camera.rotation),
        (float(camera.translation_mm[0]), float(camera.translation_mm[1]), float(camera.translation_mm[2])),
        0.0, mm,
    )  # fmt: skip
    outline: OutlineEntry = hide_map.outline
    back: BackLineEntry = hide_map.back_line
    tail, neck = _line(camera.px_from_mm(np.array([back.tail_mm, back.neck_mm])))
    return replace(
        hide_map,
        photo=replace(hide_map.photo, width_px=size[0], height_px=size[1]),
        camera=entry,
        photos=(),
        outline=replace(
            outline, photo_px=polygon(outline.hide_mm), doubtful=tuple(stretch(found) for found in outline.doubtful)
        ),
        back_line=replace(back, tail_px=tail, neck_px=neck),
        marks=tuple(replace(mark, photo=0, photo_px=polygon(mark.hide_mm)) for mark in hide_map.marks),
    )


def _line(points: Points) -> Ring:
    return tuple((x, y) for x, y in points.tolist())
