"""The photo brought to true scale: straight down on the hide, one pixel the same length everywhere."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.geometry import Points
from hidescan.camera.model import Camera
from hidescan.exports.layers import layers
from hidescan.hide_map.model import HideMap

MOST_PX = 16_000_000  # keeps time and memory in bounds; a 12 MP photo of a hide needs about 8
_NODE_PX = 16  # between nodes the camera is straight to 0.001 px
_ROUND_PX = 8  # of the photo, round the part that is needed: for the interpolation and the averaging before it


@dataclass(frozen=True, slots=True)
class Raster:
    """Where pixels lie in the hide frame.

    `px_per_m` is whole, because PNG keeps it so; `left_mm` and `top_mm` are the middle of the top left pixel.
    """

    px_per_m: int
    left_mm: float
    top_mm: float
    width_px: int
    height_px: int
    mirror: bool

    @property
    def mm_per_px(self) -> float:
        """Size of a pixel."""
        return 1000.0 / self.px_per_m

    def px(self, mm: Points) -> Points:
        """Hide frame (mirrored if the picture is) to pixels, centres at integers, (N, 2)."""
        return (mm - (self.left_mm, self.top_mm)) * (1.0, -1.0) / self.mm_per_px


def raster_of(hide_map: HideMap, *, mirror: bool = False, px_per_m: int | None = None) -> Raster:
    """The raster that holds the hide, by default as fine as the photo is in the middle of the hide."""
    outer = np.array(hide_map.outline.hide_mm.coordinates[0]) * (-1.0 if mirror else 1.0, 1.0)
    (x0, y0), (x1, y1) = outer.min(axis=0).tolist(), outer.max(axis=0).tolist()
    most = math.sqrt(MOST_PX / ((x1 - x0) * (y1 - y0))) * 1000.0
    fine = px_per_m or 1000.0 / max(hide_map.camera.mm_per_px, 1e-3)
    whole = max(1, math.floor(min(fine, most)))
    size = 1000.0 / whole
    width, height = math.ceil((x1 - x0) / size) + 2, math.ceil((y1 - y0) / size) + 2
    return Raster(whole, x0 - size / 2, y1 + size / 2, width, height, mirror)


def rectified(rgb: NDArray[np.uint8], hide_map: HideMap, raster: Raster) -> NDArray[np.uint8]:
    """The hide from the photo, (H, W, 4) uint8; transparent outside the outline and in through holes."""
    out = np.zeros((raster.height_px, raster.width_px, 4), dtype=np.uint8)
    covered = coverage_of(hide_map, raster)
    np.copyto(out[..., :3], straight_down(rgb, hide_map, raster), where=covered[..., None] > 0)
    out[..., 3] = np.rint(255.0 * covered)
    return out


def straight_down(rgb: NDArray[np.uint8], hide_map: HideMap, raster: Raster) -> NDArray[np.uint8]:
    """The photo as seen from straight above, (H, W, 3), at the height of the hide's upper face.

    That height is the leather's thickness above the floor.
    """
    import cv2

    map_x, map_y = _photo_px(hide_map.camera_over_hide(), raster, hide_map.upper_face_mm())
    left, top = (max(int(m.min()) - _ROUND_PX, 0) for m in (map_x, map_y))
    part = rgb[top : int(map_y.max()) + _ROUND_PX, left : int(map_x.max()) + _ROUND_PX]
    if not part.size:
        return np.zeros((raster.height_px, raster.width_px, 3), dtype=np.uint8)
    map_x, map_y = map_x - np.float32(left), map_y - np.float32(top)
    kernel = cv2.INTER_CUBIC
    # Much smaller than the photo: average first, by a whole number, which is ten times faster than any other.
    if (times := int(raster.mm_per_px / hide_map.camera.mm_per_px / 1.1)) > 1:
        height, width = (max(1, n // times) for n in part.shape[:2])
        shrunk = cv2.resize(part[: height * times, : width * times], (width, height), interpolation=cv2.INTER_AREA)
        part = shrunk.astype(np.uint8, copy=False)
        share, shift = np.float32(1 / times), np.float32(0.5 / times - 0.5)
        map_x, map_y = map_x * share + shift, map_y * share + shift
        kernel = cv2.INTER_LINEAR
    picture = cv2.remap(part, map_x, map_y, kernel, borderMode=cv2.BORDER_REPLICATE)
    return picture.astype(np.uint8, copy=False)


def coverage_of(hide_map: HideMap, raster: Raster) -> NDArray[np.float32]:
    """Share of each pixel that is leather, (H, W), 0 to 1, exact but for rounding.

    OpenCV's and Pillow's polygons also fill the pixels that the line touches, half a pixel too much all round. Here the
    rings are cut where they cross the pixels' sides; each piece adds its height to all pixels right of it and the part
    of its own pixel that lies right of it, signed by its direction (Green's theorem, pixel by pixel).
    """
    net = layers(hide_map, mirror=raster.mirror).net_mm
    rings = [raster.px(np.array(ring.coords)) + 0.5 for ring in (net.exterior, *net.interiors)]
    start, end = (np.vstack([ring[side] for ring in rings]) for side in (slice(None, -1), slice(1, None)))
    a, b = _cut_at_integers(start, end)
    middle, rise = (a + b) / 2, b[:, 1] - a[:, 1]
    column, row = np.floor(middle).astype(int).T
    right = rise * (middle[:, 0] - column)  # what the piece leaves to the pixels beyond its own
    cells = np.zeros((raster.height_px, raster.width_px + 1))
    np.add.at(cells, (row, column), rise - right)
    np.add.at(cells, (row, column + 1), right)
    covered: NDArray[np.float32] = np.cumsum(cells[:, :-1].astype(np.float32), axis=1)
    return np.clip(covered, 0.0, 1.0, out=covered)  # outer rings run clockwise with y down: down on their right side


def _cut_at_integers(start: Points, end: Points) -> tuple[Points, Points]:
    """Segments cut wherever x or y is whole: starts and ends of the pieces, (M, 2) each."""
    edges, shares = [np.arange(len(start)), np.arange(len(start))], [np.zeros(len(start)), np.ones(len(start))]
    for axis in (0, 1):
        from_, to = start[:, axis], end[:, axis]
        first, last = np.ceil(np.minimum(from_, to)), np.floor(np.maximum(from_, to))
        count = np.where(to == from_, 0, np.maximum(last - first + 1, 0)).astype(int)
        edge = np.repeat(np.arange(len(start)), count)
        whole = first[edge] + np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        edges.append(edge)
        shares.append((whole - from_[edge]) / (to - from_)[edge])
    edge, share = np.concatenate(edges), np.concatenate(shares)
    order = np.lexsort((share, edge))
    edge, share = edge[order], share[order]
    points = start[edge] + share[:, None] * (end - start)[edge]
    same = edge[1:] == edge[:-1]
    return points[:-1][same], points[1:][same]


def _photo_px(camera: Camera, raster: Raster, z_mm: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Photo pixel of every raster pixel: computed at nodes, linear in between."""
    columns, rows = (np.arange(0, n + _NODE_PX, _NODE_PX) for n in (raster.width_px, raster.height_px))
    x = (raster.left_mm + columns * raster.mm_per_px) * (-1.0 if raster.mirror else 1.0)
    y = raster.top_mm - rows * raster.mm_per_px
    grid = np.column_stack([np.tile(x, len(y)), np.repeat(y, len(x))])
    nodes = camera.px_from_mm(grid, z_mm).reshape(len(y), len(x), 2)
    down, across = _hats(raster.height_px, len(rows)), _hats(raster.width_px, len(columns)).T
    return down @ nodes[..., 0].astype(np.float32) @ across, down @ nodes[..., 1].astype(np.float32) @ across


def _hats(size: int, nodes: int) -> NDArray[np.float32]:
    """Weights of linear interpolation, (size, nodes)."""
    at = np.arange(size) / _NODE_PX
    weights: NDArray[np.float32] = np.maximum(0.0, 1.0 - np.abs(at[:, None] - np.arange(nodes))).astype(np.float32)
    return weights
