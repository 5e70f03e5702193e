"""Scenes with exact truth, made by geometry and OpenCV alone, never by the code under test.

A scene is a camera over a floor, cards on it, and a flat outline. `corners` sees the cards' corners with noise;
`picture` renders the whole as a photo would show it.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

PATTERN_MM = np.array([180.0, 225.0])
_MIDDLE = PATTERN_MM / 2


@dataclass(frozen=True, eq=False)
class TrueCamera:
    """Floor frame: x right, y up, z up, mm. OpenCV's camera: p = R X + t."""

    focal_px: float
    k1: float
    k2: float
    size_px: tuple[int, int]
    rotation: Array
    translation: Array

    @property
    def matrix(self) -> Array:
        w, h = self.size_px
        return np.array([[self.focal_px, 0, (w - 1) / 2], [0, self.focal_px, (h - 1) / 2], [0, 0, 1.0]])

    @property
    def distortion(self) -> Array:
        return np.array([self.k1, self.k2, 0.0, 0.0])

    @property
    def centre(self) -> Array:
        return -self.rotation.T @ self.translation

    def project(self, xyz: Array) -> Array:
        """(N, 3) floor points to pixels by OpenCV's projectPoints."""
        turn, _ = cv2.Rodrigues(self.rotation)
        px, _ = cv2.projectPoints(
            np.ascontiguousarray(xyz, dtype=np.float64), turn, self.translation, self.matrix, self.distortion
        )
        return np.asarray(px, dtype=np.float64).reshape(-1, 2)

    def floor_xy(self, px: Array, z: float = 0.0) -> Array:
        """Pixels to the plane at height z by OpenCV's undistortPoints and a ray."""
        n = cv2.undistortPoints(
            px.reshape(-1, 1, 2), self.matrix, self.distortion, None, None, None,
            (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 100, 1e-12),
        ).reshape(-1, 2)  # fmt: skip
        rays = np.c_[n, np.ones(len(n))] @ self.rotation
        centre = self.centre
        return centre[:2] + rays[:, :2] * ((z - centre[2]) / rays[:, 2])[:, None]


def look_at(
    target_xy: tuple[float, float],
    distance_mm: float,
    tilt_deg: float,
    azimuth_deg: float,
    *,
    focal_35mm: float = 27.0,
    k1: float = 0.0,
    k2: float = 0.0,
    size_px: tuple[int, int] = (4000, 3000),
) -> TrueCamera:
    """A camera that looks at a floor point from a distance, tilted from straight down toward an azimuth."""
    tilt, azimuth = np.deg2rad(tilt_deg), np.deg2rad(azimuth_deg)
    toward = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])  # the way the camera leans
    z = np.sin(tilt) * toward + np.cos(tilt) * np.array([0.0, 0.0, -1.0])
    x = np.cross(toward, [0.0, 0.0, 1.0])
    y = np.cross(z, x)
    rotation = np.array([x, y, z])
    centre = np.array([*target_xy, 0.0]) - distance_mm * z
    focal_px = focal_35mm / np.hypot(36.0, 24.0) * np.hypot(*size_px)
    return TrueCamera(float(focal_px), k1, k2, size_px, rotation, -rotation @ centre)


@dataclass(frozen=True, eq=False)
class TrueCard:
    """A card on the floor: pattern centre, direction of the board's x axis, height, print scale in x and y."""

    number: int
    centre: tuple[float, float]
    angle_deg: float
    z: float = 0.0
    scale: tuple[float, float] = (1.0, 1.0)

    def floor(self, board_mm: Array) -> Array:
        """Board points (x right, y down) on the floor, (N, 3)."""
        a = np.deg2rad(self.angle_deg)
        turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        local = (board_mm - _MIDDLE) * (self.scale[0], -self.scale[1])
        return np.c_[local @ turn.T + self.centre, np.full(len(board_mm), self.z)]


def board_corners() -> Array:
    """The 12 inner corners, board frame, row by row."""
    return np.array([[45.0 * c, 45.0 * r] for r in range(1, 5) for c in range(1, 4)])


def corners_px(camera: TrueCamera, card: TrueCard, sd_px: float, rng: np.random.Generator) -> Array:
    """A card's corners in the photo, with noise."""
    return camera.project(card.floor(board_corners())) + rng.normal(0.0, sd_px, (12, 2))


@dataclass(frozen=True, eq=False)
class Look:
    """How a rendered scene looks: grey levels 0-255, light fall-off, blur and noise."""

    floor: tuple[int, int, int] = (150, 148, 140)
    hide: tuple[int, int, int] = (120, 82, 50)
    blur_px: float = 0.7
    noise: float = 3.0
    mottle: float = 6.0
    extra: tuple[tuple[Array, tuple[int, int, int]], ...] = field(default=())  # polygons (mm) painted over the floor
    over: tuple[tuple[Array, tuple[int, int, int]], ...] = field(default=())  # polygons (mm) painted over the hide


def picture(
    camera: TrueCamera,
    cards: list[TrueCard],
    outlines_mm: list[Array],
    rng: np.random.Generator,
    look: Look | None = None,
    holes_mm: tuple[Array, ...] = (),
) -> NDArray[np.uint8]:
    """Render an RGB photo of cards and outlines on a floor of one colour, a little mottled."""
    look = look or Look()
    canvas = Canvas.around(camera)
    coarse = rng.standard_normal((canvas.shape[0] // 12 + 2, canvas.shape[1] // 12 + 2), dtype=np.float32)
    texture = look.mottle * cv2.resize(coarse, canvas.shape[::-1], interpolation=cv2.INTER_CUBIC)
    paint = np.empty((*canvas.shape, 3), np.float32)
    paint[:] = look.floor
    for polygon, colour in look.extra:
        canvas.fill(paint, polygon, colour)
    for outline in outlines_mm:
        canvas.fill(paint, outline, look.hide)
    for hole in holes_mm:
        canvas.fill(paint, hole, tuple(int(0.6 * c) for c in look.floor))
    for polygon, colour in look.over:
        canvas.fill(paint, polygon, colour)
    paint += texture[..., None]
    for card in cards:
        lay_card(canvas, paint, card)
    return photographed(camera, canvas, paint, rng, blur_px=look.blur_px, noise=look.noise)


def photographed(
    camera: TrueCamera,
    canvas: "Canvas",
    paint: NDArray[np.float32],
    rng: np.random.Generator,
    *,
    blur_px: float,
    noise: float,
) -> NDArray[np.uint8]:
    """A painted floor as a photo: every pixel looks up where its ray meets it, at twice the size, then blurred."""
    w, h = camera.size_px
    step = 8  # the mapping is smooth: exact on a coarse grid, linear between (OpenCV's cubic is only good to 0.04)
    gx, gy = np.meshgrid(np.arange(-step, w + 2 * step, step), np.arange(-step, h + 2 * step, step))
    xy = camera.floor_xy(np.c_[gx.ravel(), gy.ravel()].astype(np.float64))
    maps = [m.reshape(gx.shape).astype(np.float32) for m in canvas.px(xy).T]
    fx, fy = np.meshgrid((np.arange(2 * w) - 0.5) / 2 / step + 1, (np.arange(2 * h) - 0.5) / 2 / step + 1)
    fine = [cv2.remap(m, fx.astype(np.float32), fy.astype(np.float32), cv2.INTER_LINEAR) for m in maps]
    big = cv2.remap(paint, fine[0], fine[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    photo = cv2.resize(big, (w, h), interpolation=cv2.INTER_AREA)
    photo = cv2.GaussianBlur(photo, (0, 0), max(blur_px, 0.3))
    noisy = photo + noise * rng.standard_normal(photo.shape, dtype=np.float32)
    return np.clip(np.rint(noisy), 0, 255).astype(np.uint8)


@dataclass(frozen=True, eq=False)
class Canvas:
    """A raster of the floor: cell (row, column) centres at origin + mm x (column, row), y flipped."""

    origin: Array
    mm: float
    shape: tuple[int, int]

    @staticmethod
    def around(camera: TrueCamera) -> "Canvas":
        w, h = camera.size_px
        edge = np.array([[x, y] for x in (0, w / 2, w) for y in (0, h / 2, h)], float)
        xy = camera.floor_xy(edge)
        low, high = xy.min(axis=0) - 30, xy.max(axis=0) + 30
        mm = max(0.4, float(np.max(high - low)) / 4000)
        shape = (int((high[1] - low[1]) / mm) + 1, int((high[0] - low[0]) / mm) + 1)
        return Canvas(np.array([low[0], high[1]]), mm, shape)

    def px(self, xy: Array) -> Array:
        return (xy - self.origin) * (1, -1) / self.mm

    def fill(self, paint: NDArray[np.float32], polygon_mm: Array, colour: tuple[int, ...]) -> None:
        """Anti-aliased by drawing with 4 fractional bits on a mask of twice the size."""
        points = np.rint((self.px(polygon_mm) * 2 + 0.5) * 16).astype(np.int32)
        (x0, y0), (x1, y1) = (points // 32).min(axis=0) - 2, (points // 32).max(axis=0) + 3
        x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, self.shape[1]), min(y1, self.shape[0])
        if x1 <= x0 or y1 <= y0:
            return
        mask = np.zeros((2 * (y1 - y0), 2 * (x1 - x0)), np.uint8)
        cv2.fillPoly(mask, [points - np.array([32 * x0, 32 * y0], np.int32)], 255, cv2.LINE_8, 4)
        soft = cv2.resize(mask, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA).astype(np.float32)[..., None] / 255
        part = paint[y0:y1, x0:x1]
        part *= 1 - soft
        part += soft * np.array(colour, np.float32)


def lay_card(canvas: Canvas, paint: NDArray[np.float32], card: TrueCard) -> None:
    """Paste the printed sheet: pattern at 8 px/mm from OpenCV's own board picture, on white A4."""
    board = cv2.aruco.CharucoBoard(
        (4, 5), 45.0, 34.0, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100), np.arange(10 * card.number, 10 * card.number + 10)
    )  # fmt: skip
    per_mm = 8
    sheet = np.full((297 * per_mm, 210 * per_mm), 235, np.uint8)
    pattern = board.generateImage((180 * per_mm, 225 * per_mm), marginSize=0)
    sheet[36 * per_mm : 261 * per_mm, 15 * per_mm : 195 * per_mm] = 20 + (pattern.astype(float) * (215 / 255)).astype(
        np.uint8
    )
    corners = np.array([[-15.0, -36.0], [195.0, -36.0], [195.0, 261.0], [-15.0, 261.0]])
    target = canvas.px(card.floor(corners)[:, :2])
    source = np.array([[0, 0], [210, 0], [210, 297], [0, 297]], float) * per_mm - 0.5
    H = cv2.getPerspectiveTransform(source.astype(np.float32), target.astype(np.float32))
    low = np.maximum(np.floor(target.min(axis=0)).astype(int) - 2, 0)
    high = np.minimum(np.ceil(target.max(axis=0)).astype(int) + 3, canvas.shape[::-1])
    size = high - low
    shift = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1.0]])
    # Reduce the sheet to about the canvas' own resolution first: a plain warp would skip pixels and alias.
    scale = min(1.0, 1 / (per_mm * canvas.mm))
    small_size = (round(sheet.shape[1] * scale), round(sheet.shape[0] * scale))
    small = cv2.resize(sheet, small_size, interpolation=cv2.INTER_AREA)
    zoom = np.array(sheet.shape[::-1]) / small.shape[::-1]
    unscale = np.array([[zoom[0], 0, (zoom[0] - 1) / 2], [0, zoom[1], (zoom[1] - 1) / 2], [0, 0, 1.0]])
    M = shift @ H @ unscale
    warped = cv2.warpPerspective(small, M, tuple(int(s) for s in size), flags=cv2.INTER_LINEAR)
    cover = cv2.warpPerspective(np.full_like(small, 255), M, tuple(int(s) for s in size), flags=cv2.INTER_LINEAR)
    soft = cover.astype(np.float32)[..., None] / 255
    part = paint[low[1] : high[1], low[0] : high[0]]
    part *= 1 - soft
    part += soft * warped.astype(np.float32)[..., None]


def circle(radius_mm: float, count: int = 720, centre: tuple[float, float] = (0.0, 0.0)) -> Array:
    """A circle as a polygon."""
    t = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.c_[np.cos(t), np.sin(t)] * radius_mm + centre


def rectangle(
    width_mm: float, height_mm: float, angle_deg: float = 0.0, centre: tuple[float, float] = (0.0, 0.0)
) -> Array:
    """A rectangle, counter-clockwise."""
    half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array([width_mm, height_mm]) / 2
    a = np.deg2rad(angle_deg)
    return half @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + centre
