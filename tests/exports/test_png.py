import io
from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from shapely import distance, points
from shapely.geometry import Polygon
from skimage.measure import find_contours

from hidescan.exports import png
from hidescan.exports.rectified import MOST_PX, coverage_of, raster_of
from hidescan.hide_map.model import HideMap, PolygonGeometry
from tests.exported import invented_map, net_polygon, old_map
from tests.samples import rectangle_map

BLANK = np.zeros((3000, 4000, 3), dtype=np.uint8)


def read(data: bytes) -> tuple[NDArray[np.uint8], float]:
    """Pixels (H, W, 4) and dots an inch."""
    image = Image.open(io.BytesIO(data))
    assert image.info["dpi"][0] == image.info["dpi"][1]
    return np.asarray(image), float(image.info["dpi"][0])


def world(data: bytes) -> list[float]:
    return [float(line) for line in data.decode().splitlines()]


@pytest.mark.parametrize("mirror", [False, True], ids=["as photographed", "mirrored"])
@pytest.mark.parametrize(
    "hide_map", [rectangle_map(), old_map(), invented_map(4)], ids=["rectangle", "old map", "whole"]
)
def test_the_picture_gives_back_the_hide(hide_map: HideMap, mirror: bool) -> None:
    image, dpi = read(png.to_bytes(hide_map, name="a hide", rgb=BLANK, mirror=mirror))
    a, d, b, e, c, f = world(png.world_file(hide_map, mirror=mirror))
    assert (d, b, e) == (0.0, 0.0, -a)
    assert 25.4 / dpi == pytest.approx(a, rel=1e-6)
    truth = net_polygon(hide_map, mirror=mirror)
    share = image[..., 3] / 255.0
    assert share.sum() * a * a == pytest.approx(truth.area, rel=5e-4)
    assert share.sum() * a * a == pytest.approx(hide_map.measures.area_net.value, rel=5e-4)
    # scikit-image's contours through the half-covered pixels.
    found = [Polygon(ring[:, ::-1] * (a, e) + (c, f)).exterior for ring in find_contours(share, 0.5) if len(ring) > 8]
    for ring in (truth.exterior, *truth.interiors):
        nearest = min(found, key=lambda other: abs(Polygon(other).area - Polygon(ring).area))
        off = distance(points(np.array(ring.segmentize(0.5).coords)), nearest)
        # A pixel rounds the tips of nicks finer than itself; all else is where it should be.
        assert np.quantile(off, 0.98) < 0.25
        assert off.max() < 3 * a


def test_coverage_is_exact_where_the_figure_is_known() -> None:
    # From geometry: a right triangle with legs of 3 and 4 px covers 6 px.
    triangle = PolygonGeometry((((0.0, 0.0), (4000.0, 0.0), (0.0, 3000.0), (0.0, 0.0)),))
    hide_map = rectangle_map(outline=replace(rectangle_map().outline, hide_mm=triangle), marks=())
    raster = raster_of(hide_map, px_per_m=1)
    share = coverage_of(hide_map, raster)
    assert share.sum() == pytest.approx(6.0, abs=1e-5)
    assert np.all((share >= 0) & (share <= 1))
    assert share[3, 1] == pytest.approx(1.0, abs=1e-6)  # the cell at the right angle


def test_pixels_come_from_where_the_photo_shows_them() -> None:
    # Against OpenCV's own undistortion and a plane worked out here, not against our camera.
    hide_map = old_map()
    c = hide_map.camera
    height, width = hide_map.photo.height_px, hide_map.photo.width_px
    v, u = np.mgrid[0:height:1, 0:width:1].astype(np.float32)
    step = 4
    grid = np.column_stack([u[::step, ::step].ravel(), v[::step, ::step].ravel()]).astype(np.float64)
    matrix = np.array([[c.focal_px, 0, c.principal_point_px[0]], [0, c.focal_px, c.principal_point_px[1]], [0, 0, 1.0]])
    flat = cv2.undistortPoints(grid[:, None], matrix, np.array([*c.distortion, 0.0, 0.0]))[:, 0]
    rotation, translation = np.array(c.rotation), np.array(c.translation_mm)
    rays, centre = np.column_stack([flat, np.ones(len(flat))]) @ rotation, -rotation.T @ translation
    z = hide_map.inputs.thickness_mm or 0.0
    mm = centre[:2] + rays[:, :2] * ((z - centre[2]) / rays[:, 2])[:, None]
    painted = 127.0 + 60.0 * np.column_stack([np.sin(mm[:, 0] / 8), np.sin(mm[:, 1] / 9), np.cos(mm.sum(axis=1) / 12)])
    shape = u[::step, ::step].shape
    small = painted.reshape(*shape, 3).astype(np.float32)
    rgb = (
        cv2.remap(small, u / step, v / step, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE).round().astype(np.uint8)
    )
    for mirror in (False, True):
        image, _ = read(png.to_bytes(hide_map, name="x", rgb=rgb, mirror=mirror))
        a, _, _, e, left, top = world(png.world_file(hide_map, mirror=mirror))
        rows, columns = np.mgrid[0 : image.shape[0] : 7, 0 : image.shape[1] : 7]
        x, y = (left + columns * a) * (-1 if mirror else 1), top + rows * e
        expected = 127.0 + 60.0 * np.stack([np.sin(x / 8), np.sin(y / 9), np.cos((x + y) / 12)], axis=-1)
        inside = image[::7, ::7, 3] == 255
        off = np.abs(image[::7, ::7, :3].astype(float) - expected)[inside]
        # The pattern rises by up to 7.5 grey levels a mm, so 2 levels are 0.3 mm; rounding twice takes 1 of them.
        assert np.quantile(off, 0.99) < 2.0


def test_outside_and_in_holes_it_is_clear() -> None:
    image, _ = read(png.to_bytes(rectangle_map(), name="x", rgb=BLANK + np.uint8(200)))
    a, _, _, e, left, top = world(png.world_file(rectangle_map()))
    row, column = round((510.0 - top) / e), round((0.0 - left) / a)
    assert tuple(image[row, column]) == (0, 0, 0, 0)  # the hole's middle
    assert tuple(image[row, column + 100]) == (200, 200, 200, 255)
    assert image[0, 0, 3] == 0


def test_the_same_map_gives_the_same_bytes_and_the_face_is_named() -> None:
    hide_map = rectangle_map(inputs=replace(rectangle_map().inputs, face="flesh"))
    data = png.to_bytes(hide_map, name="deer", rgb=BLANK, mirror=True)
    assert data == png.to_bytes(hide_map, name="deer", rgb=BLANK, mirror=True)
    assert Image.open(io.BytesIO(data)).info["Title"] == "deer, mirrored: seen from the grain side"


def test_a_huge_hide_gets_coarser_pixels_not_a_full_memory() -> None:
    camera = replace(rectangle_map().camera, mm_per_px=0.001)
    raster = raster_of(rectangle_map(camera=camera))
    assert raster.width_px * raster.height_px < 1.02 * MOST_PX
