"""Photos of one hide from several sides: the same floor, cards and leather in each, its rim standing over the floor.

Every pixel looks up the floor where its ray meets it; the leather where its ray meets the leather's upper face, a height
field found by fixed-point iteration. Between the two stands the wall of the leather's edge. OpenCV does the sampling.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely.geometry import Polygon

from tests.synthetic.scenes import Array, Canvas, Look, TrueCamera, lay_card
from tests.synthetic.views import ViewsScene

_STEP = 8  # photo px between nodes; the mapping is smooth


@dataclass(frozen=True, eq=False)
class Painted:
    """A scene with its paint: floor and leather seen from above on one canvas, and the leather's upper face."""

    scene: ViewsScene
    canvas: Canvas
    floor: NDArray[np.float32]
    leather: NDArray[np.float32]
    cover: NDArray[np.float32]
    face_mm: NDArray[np.float32]
    look: Look


def painted(
    scene: ViewsScene, rng: np.random.Generator, look: Look, *, holes_mm: tuple[Array, ...] = (), mm: float = 0.5,
    floor: NDArray[np.uint8] | None = None, leather: NDArray[np.uint8] | None = None,
) -> Painted:  # fmt: skip
    """Paint floor and leather, from textures (2 m across and 1 m across) where given."""
    reach = np.vstack(
        [scene.ring_mm, *(card.floor(np.array([[-200.0, -200], [380, 425]]))[:, :2] for card in scene.cards)]
    )
    low, high = reach.min(axis=0) - 250, reach.max(axis=0) + 250
    shape = (int((high[1] - low[1]) / mm) + 1, int((high[0] - low[0]) / mm) + 1)
    canvas = Canvas(np.array([low[0], high[1]]), mm, shape)
    on_floor = _surface(shape, look.floor, look.mottle, floor, 2000 / mm, rng)
    on_leather = _surface(shape, look.hide, look.mottle, leather, 1000 / mm, rng)
    cover = np.zeros((*shape, 1), np.float32)
    canvas.fill(cover, _drawn(scene.ring_mm, mm), (1.0,))  # type: ignore[arg-type]
    for hole in holes_mm:
        canvas.fill(cover, hole, (0.0,))  # type: ignore[arg-type]
    shade = 1 - 0.25 * cv2.GaussianBlur(cover, (0, 0), 6 / mm)[..., None]
    on_floor *= shade
    for card in scene.cards:
        lay_card(canvas, on_floor, card)
    return Painted(scene, canvas, on_floor, on_leather, cover[..., 0], _upper_face(scene, canvas), look)


def _drawn(ring_mm: Array, mm: float) -> Array:
    """The ring to give to `fill` for it to cover the true one: OpenCV fills a quarter of a cell beyond it too."""
    return np.array(Polygon(ring_mm).buffer(-mm / 4).exterior.coords)[:-1]


def photo_from(paint: Painted, camera: TrueCamera, rng: np.random.Generator) -> NDArray[np.uint8]:
    """The RGB photo that a camera takes."""
    w, h = camera.size_px
    gx, gy = np.meshgrid(np.arange(-_STEP, w + 2 * _STEP, _STEP), np.arange(-_STEP, h + 2 * _STEP, _STEP))
    nodes = np.c_[gx.ravel(), gy.ravel()].astype(np.float64)
    floor_xy = camera.floor_xy(nodes)
    foot, high = camera.centre[:2], camera.centre[2]

    def at_depth(below_mm: float) -> Array:
        """Where rays meet the surface some way below the upper face."""
        face = np.full(len(nodes), paint.scene.thickness_mm)
        for _ in range(6):
            xy = foot + (floor_xy - foot) * ((high - face) / high)[:, None]
            face = _sampled(paint.face_mm, paint.canvas.px(xy) / _COARSE) - below_mm
        return np.asarray(xy)

    face_xy = at_depth(0.0)
    edges_xy = [at_depth(share * paint.scene.thickness_mm) for share in (1.0, 0.67, 0.33)]
    photo = np.empty((h, w, 3), np.float32)
    for top in range(0, h, 500):  # in bands: OpenCV's maps take memory
        rows = slice(top, min(h, top + 500))

        def maps(xy: Array, rows: slice = rows) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
            return _fine(paint.canvas.px(xy), gx.shape, w, rows)

        border = cv2.BORDER_REFLECT
        photo[rows] = cv2.remap(paint.floor, *maps(floor_xy), cv2.INTER_LINEAR, borderMode=border)
        # the edge is what the outline sweeps from the lower face to the upper
        edge = np.max([cv2.remap(paint.cover, *maps(xy), cv2.INTER_LINEAR) for xy in edges_xy], axis=0)[..., None]
        photo[rows] += edge * (0.6 * np.array(paint.look.hide, np.float32) - photo[rows])
        cover = cv2.remap(paint.cover, *maps(face_xy), cv2.INTER_LINEAR)[..., None]
        photo[rows] += cover * (
            cv2.remap(paint.leather, *maps(face_xy), cv2.INTER_LINEAR, borderMode=border) - photo[rows]
        )
    photo = np.asarray(cv2.GaussianBlur(photo, (0, 0), max(paint.look.blur_px, 0.3)), np.float32)
    photo += paint.look.noise * rng.standard_normal(photo.shape, dtype=np.float32)
    return np.clip(np.rint(photo), 0, 255).astype(np.uint8)


_COARSE = 8  # canvas cells to a cell of the height field


def _upper_face(scene: ViewsScene, canvas: Canvas) -> NDArray[np.float32]:
    """Height of the leather's upper face: its rim's lift, gone within some 6 cm of it; beyond the rim it goes on level."""
    rows, columns = (np.arange(0, n, _COARSE) for n in canvas.shape)
    x, y = np.meshgrid(canvas.origin[0] + columns * canvas.mm, canvas.origin[1] - rows * canvas.mm)
    distance, nearest = cKDTree(scene.ring_mm).query(np.c_[x.ravel(), y.ravel()])
    inside = np.zeros(canvas.shape, np.uint8)
    cv2.fillPoly(inside, [np.rint(canvas.px(scene.ring_mm)).astype(np.int32)], 1)
    within = inside[::_COARSE, ::_COARSE].ravel() > 0
    fade = np.where(within, np.exp(-((distance / 60.0) ** 2)), 1.0)
    height = (scene.thickness_mm + scene.lift_mm[nearest] * fade).reshape(x.shape).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(height, (0, 0), 1.5), np.float32)


def _surface(
    shape: tuple[int, int], colour: tuple[int, int, int], mottle: float, texture: NDArray[np.uint8] | None, across: float,
    rng: np.random.Generator,
) -> NDArray[np.float32]:  # fmt: skip
    """A colour with mottles of three sizes, or a texture laid side by side with its mirror images."""
    if texture is not None:
        scale = across / texture.shape[1]
        tile = cv2.resize(
            texture, None, fx=scale, fy=scale, interpolation=cv2.INTER_LINEAR if scale > 1 else cv2.INTER_AREA
        )
        tile = np.hstack([tile, tile[:, ::-1]])
        tile = np.vstack([tile, tile[::-1]])
        times = (-(-shape[0] // tile.shape[0]), -(-shape[1] // tile.shape[1]), 1)
        return np.tile(tile, times)[: shape[0], : shape[1]].astype(np.float32)
    paint = np.empty((*shape, 3), np.float32)
    paint[:] = colour
    for size in (4, 16, 90):
        coarse = rng.standard_normal((shape[0] // size + 2, shape[1] // size + 2), dtype=np.float32)
        paint += 0.6 * mottle * cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC)[..., None]
    return paint


def _sampled(field: NDArray[np.float32], at: Array) -> Array:
    """Bilinear values of a field, (N,)."""
    side = 8192
    padded = np.zeros((-(-len(at) // side) * side, 2), np.float32)
    padded[: len(at)] = at
    maps = padded.reshape(-1, side, 2)
    found = cv2.remap(field, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(found, dtype=np.float64).ravel()[: len(at)]


def _fine(
    nodes: Array, shape: tuple[int, ...], width: int, rows: slice
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """A mapping at every pixel of some rows, linear between the nodes."""
    x, y = np.meshgrid(np.arange(width) / _STEP + 1, np.arange(rows.start, rows.stop) / _STEP + 1)
    at = x.astype(np.float32), y.astype(np.float32)
    a, b = (cv2.remap(part.reshape(shape).astype(np.float32), *at, cv2.INTER_LINEAR) for part in nodes.T)
    return np.asarray(a, np.float32), np.asarray(b, np.float32)
