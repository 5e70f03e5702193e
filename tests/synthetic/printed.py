"""Photos of printed cards, pixel by pixel, with exact truth: what a camera sees of ink on paper that is not quite flat.

The pattern comes from the PDF itself, read by PDFium; the camera is OpenCV's model; nothing of the program makes truth.
Every pixel is the mean of 3 x 3 rays that end on the curled sheet. Then light, dirt, blur, a phone's tone curve and
sharpening, noise and JPEG. Only the cards and a margin are drawn; the rest of the photo is one even floor.
"""

from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np
import pypdfium2
from numpy.typing import NDArray

from hidescan.cards.printing import cards_pdf
from tests.synthetic.scenes import Array, TrueCamera, TrueCard

MM_PER_POINT = 25.4 / 72
PER_MM, MARGIN_MM = 10, 40.0  # of the drawn pattern
PAPER_MM = (210.0, 297.0)
_FINE = 3


@dataclass(frozen=True)
class Curl:
    """How a sheet leaves the floor: about a line through its middle, `rise_mm` at `at_mm` from it.

    Both sides up ("trough"), one ("edge"), or the middle up and both sides on the floor ("arch").
    """

    rise_mm: float = 0.0
    direction_deg: float = 0.0
    kind: str = "trough"
    at_mm: float = 112.5
    fold_mm: float = 0.0  # of "edge": where it begins, from the middle

    def plan(self, s: Array) -> tuple[Array, Array]:
        """Height over the floor, and how far the sheet ends short of its own length, for places s across the line."""
        k = 2 * self.rise_mm / self.at_mm**2
        if self.kind == "edge":
            k = 2 * self.rise_mm / (self.at_mm - self.fold_mm) ** 2
        up = np.maximum(s - self.fold_mm, 0.0) if self.kind == "edge" else s
        z = 0.5 * k * up**2
        if self.kind == "arch":
            half = 0.5 * float(
                PAPER_MM[0] * abs(np.cos(np.deg2rad(self.direction_deg)))
                + PAPER_MM[1] * abs(np.sin(np.deg2rad(self.direction_deg)))
            )
            z = 0.5 * k * half**2 - z
        return z, k**2 * up**3 / 6


@dataclass(frozen=True)
class Shot:
    """How the photo was taken and printed."""

    blur_px: float = 0.7
    noise: float = 2.0
    jpeg: int = 92
    gamma: float = 2.2
    sharpen: float = 0.0
    ink_mm: float = 0.0  # black grows by this on every side
    black: float = 0.04
    white: float = 0.80
    light: tuple[float, float] = (0.0, 0.0)  # change of light across the picture, share
    dirt: int = 0
    leaf: bool = False  # something lies over part of the card
    shadow: bool = False  # the edge of a shadow crosses the card


@dataclass(frozen=True, eq=False)
class Sheet:
    """A card as laid: where, and how curled."""

    card: TrueCard
    curl: Curl = field(default_factory=Curl)


@cache
def black_rectangles_mm(number: int) -> Array:
    """The pattern's filled rectangles as PDFium finds them in the PDF: left, top, right, bottom on the board, (N, 4)."""
    page = pypdfium2.PdfDocument(cards_pdf((number,), "a4"))[0]
    boxes = []
    for part in page.get_objects(filter=(pypdfium2.raw.FPDF_PAGEOBJ_PATH,)):
        bounds = part.get_bounds() if hasattr(part, "get_bounds") else part.get_pos()
        left, bottom, right, top = (MM_PER_POINT * v for v in bounds)
        if min(right - left, top - bottom) > 4.0:
            boxes.append((left, PAPER_MM[1] - top, right, PAPER_MM[1] - bottom))
    # the check bars, the tape mark and the arrow are lines: thin, or a ring and a triangle away from the pattern
    table = np.array(boxes) - np.tile((np.array(PAPER_MM) - (180.0, 225.0)) / 2, 2)
    on_pattern = (table[:, :2] > -0.5).all(axis=1) & (table[:, 2] < 180.5) & (table[:, 3] < 225.5)
    return np.asarray(table[on_pattern])


@cache
def pattern(number: int, ink_mm: float) -> NDArray[np.float32]:
    """Share of black in cells of 1 / PER_MM mm, exact to the cell's area, with MARGIN_MM of paper around."""
    shape = (int((225 + 2 * MARGIN_MM) * PER_MM), int((180 + 2 * MARGIN_MM) * PER_MM))
    ink = np.zeros(shape, np.float32)
    for x0, y0, x1, y1 in black_rectangles_mm(number):
        spans = []
        for low, high in ((y0, y1), (x0, x1)):
            a, b = (low - ink_mm + MARGIN_MM) * PER_MM, (high + ink_mm + MARGIN_MM) * PER_MM
            cells = np.arange(int(a), int(b) + 1)
            spans.append((cells, np.minimum(cells + 1, b) - np.maximum(cells, a)))
        (rows, by_row), (columns, by_column) = spans
        ink[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1] += np.outer(by_row, by_column).astype(np.float32)
    return np.minimum(ink, 1.0)


def board_seen(camera: TrueCamera, sheet: Sheet, px: Array) -> Array:
    """Board coordinates (x right, y down, mm, origin at the pattern's corner) of what pixels see of a sheet, (N, 2)."""
    n = cv2.undistortPoints(
        px.reshape(-1, 1, 2), camera.matrix, camera.distortion, None, None, None,
        (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 100, 1e-12),
    ).reshape(-1, 2)  # fmt: skip
    rays = np.c_[n, np.ones(len(n))] @ camera.rotation
    card, curl, centre = sheet.card, sheet.curl, camera.centre
    a, d = np.deg2rad(card.angle_deg), np.deg2rad(curl.direction_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    across = np.array([np.cos(d), np.sin(d)])
    z = np.full(len(px), card.z)
    for _ in range(8):
        floor = centre[:2] + rays[:, :2] * ((z - centre[2]) / rays[:, 2])[:, None]
        own = (floor - card.centre) @ turn
        u = own @ across
        s = u
        for _ in range(3):
            height, short = curl.plan(s)
            s = u + short
        z = card.z + height
    own = own + (s - u)[:, None] * across
    return own / (card.scale[0], -card.scale[1]) + (90.0, 112.5)


def photographed_cards(
    camera: TrueCamera, sheets: list[Sheet], shot: Shot, rng: np.random.Generator
) -> NDArray[np.uint8]:
    """A grey photo of the sheets on an even floor."""
    w, h = camera.size_px
    floor = _tone(np.full((1, 1), 0.25, np.float32), shot)
    photo: NDArray[np.uint8] = np.full((h, w), np.rint(floor), np.uint8)
    for sheet in sheets:
        corners = np.array([[-17.0, -17.0], [197.0, -17.0], [197.0, 242.0], [-17.0, 242.0]])
        around = camera.project(sheet.card.floor(corners))
        low = np.maximum(np.floor(around.min(axis=0)) // 8 * 8, 0).astype(int)  # JPEG's blocks stay where they are
        high = np.minimum(np.ceil(around.max(axis=0)) // 8 * 8 + 8, (w, h)).astype(int)
        if (high - low < 16).any():
            continue
        part = _part(camera, sheet, low, high, shot, rng)
        photo[low[1] : high[1], low[0] : high[0]] = part
    return photo


def _tone(linear: NDArray[np.float32], shot: Shot) -> NDArray[np.float32]:
    return np.asarray(255 * np.clip(linear, 0, 1) ** np.float32(1 / shot.gamma), dtype=np.float32)


def _part(
    camera: TrueCamera, sheet: Sheet, low: Array, high: Array, shot: Shot, rng: np.random.Generator
) -> NDArray[np.uint8]:
    step = 4  # the mapping is smooth: exact on a coarse grid, linear between
    gx, gy = np.meshgrid(
        np.arange(low[0] - step, high[0] + 2 * step, step), np.arange(low[1] - step, high[1] + 2 * step, step)
    )
    board = board_seen(camera, sheet, np.c_[gx.ravel(), gy.ravel()].astype(np.float64)).reshape(*gx.shape, 2)
    width, height = (high - low).astype(int)
    fx = ((np.arange(_FINE * width) + 0.5) / _FINE - 0.5 + step) / step
    fy = ((np.arange(_FINE * height) + 0.5) / _FINE - 0.5 + step) / step
    mx, my = np.meshgrid(fx.astype(np.float32), fy.astype(np.float32))
    fine = cv2.remap(board.astype(np.float32), mx, my, cv2.INTER_LINEAR)
    at = (fine + np.float32(MARGIN_MM)) * np.float32(PER_MM) - np.float32(0.5)
    ink = pattern(sheet.card.number, round(shot.ink_mm, 4))
    black = cv2.remap(ink, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0.0)
    picture = shot.white + (shot.black - shot.white) * black
    on_paper = (np.abs(fine[..., 0] - 90) < PAPER_MM[0] / 2) & (np.abs(fine[..., 1] - 112.5) < PAPER_MM[1] / 2)
    picture[~on_paper] = 0.25
    picture = _soiled(picture.astype(np.float32), np.asarray(fine, dtype=np.float32), shot, rng)
    linear = np.asarray(cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA), dtype=np.float32)
    return _exposed(linear, low, camera, shot, rng)


def _soiled(
    picture: NDArray[np.float32], board_mm: NDArray[np.float32], shot: Shot, rng: np.random.Generator
) -> NDArray[np.float32]:
    """What lies on the card, and a shadow's edge across it; `board_mm` (H, W, 2) is where each ray ends."""
    x, y = board_mm[..., 0], board_mm[..., 1]
    for _ in range(shot.dirt):
        at = rng.uniform((0, 0, 1.0), (180, 225, 6.0))
        spot = (x - at[0]) ** 2 + ((y - at[1]) * rng.uniform(0.5, 2.0)) ** 2 < at[2] ** 2
        picture[spot] = picture[spot] * rng.uniform(0.3, 0.8) + rng.uniform(0.0, 0.1)
    if shot.leaf:
        at = rng.uniform((0, 0), (180, 225))
        picture[((x - at[0]) / 45) ** 2 + ((y - at[1]) / 22) ** 2 < 1] = 0.15
    if shot.shadow:
        a, c = rng.uniform(0, 2 * np.pi), rng.uniform(-60, 60)
        side = (x - 90) * np.cos(a) + (y - 112) * np.sin(a) - c
        picture *= (0.45 + 0.55 / (1 + np.exp(np.clip(-side / 1.5, -30, 30)))).astype(np.float32)
    return picture


def _exposed(
    linear: NDArray[np.float32], low: Array, camera: TrueCamera, shot: Shot, rng: np.random.Generator
) -> NDArray[np.uint8]:
    """Light falls unevenly on it, the lens blurs it, and the phone makes a JPEG of it."""
    height, width = linear.shape
    soft = cv2.GaussianBlur(linear, (0, 0), shot.blur_px) if shot.blur_px > 0 else linear
    x, y = np.meshgrid(
        (np.arange(width) + low[0]) / camera.size_px[0] - 0.5, (np.arange(height) + low[1]) / camera.size_px[1] - 0.5
    )
    tone = _tone((soft * (1 + shot.light[0] * x + shot.light[1] * y)).astype(np.float32), shot)
    if shot.sharpen:
        tone = tone + shot.sharpen * (tone - np.asarray(cv2.GaussianBlur(tone, (0, 0), 1.2), dtype=np.float32))
    tone = tone + shot.noise * rng.standard_normal(tone.shape, dtype=np.float32)
    grey = np.clip(np.rint(tone), 0, 255).astype(np.uint8)
    return np.asarray(cv2.imdecode(cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, shot.jpeg])[1], 0), np.uint8)
