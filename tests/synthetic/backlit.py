"""Invented hides held against light, with truth: thickness, where each place is seen, and the picture a phone makes.

The light through a place is that of a slab solved by adding and doubling (`slab.py`), spread sideways by about the
leather's thickness. The pane is uneven, the wall round it dark or lit from the room, the hide hangs a little otherwise
than it lay, the phone tilts, distorts, has a tone curve of its own, noise and JPEG.
"""

from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from PIL import Image
from shapely import contains_xy
from shapely.geometry import Point, Polygon

from tests.synthetic.hides import whole_hide
from tests.synthetic.slab import transmitted_by_thickness

Array = NDArray[np.float64]
STEP_MM = 2.0


@dataclass(frozen=True, eq=False)
class LitHide:
    """A hide with its thickness: `thickness_mm` over points (N, 2) of the hide frame; `spots` are thin: centre and radius."""

    ring_mm: Array
    holes_mm: tuple[Array, ...]
    level_mm: float
    waves: Array
    flank: float
    spots: Array
    half_width_mm: float

    def thickness_mm(self, at: Array) -> Array:
        kx, ky, phase, size = self.waves.T
        field = 1.0 + (np.sin(at[:, :1] * kx + at[:, 1:] * ky + phase) * size).sum(axis=1)
        field -= self.flank * np.clip(np.abs(at[:, 0]) / self.half_width_mm, 0, 1) ** 2
        for x, y, radius, share in self.spots:
            r = np.hypot(at[:, 0] - x, at[:, 1] - y)
            field = field * (1.0 - share / (1.0 + np.exp(np.clip((r - radius) / 2.0, -50, 50))))
        return self.level_mm * field


@dataclass(frozen=True, eq=False)
class LitScene:
    """A backlit picture and what is true of it; `seen_px` takes places of the hide frame to its pixels."""

    hide: LitHide
    rgb: NDArray[np.uint8]
    empty: NDArray[np.uint8]
    seen_px: Callable[[Array], Array]
    mirrored: bool


def lit_hide(rng: Generator, level_mm: tuple[float, float] = (0.9, 2.6), spots: int = 0) -> LitHide:
    """A deer hide in its hide frame, its thickness varied by a third, with holes."""
    made = whole_hide(rng, "deer", limb_cut=False)
    along = made.neck_mm - made.tail_mm
    turn = np.arctan2(along[1], along[0]) - np.pi / 2
    c, s = np.cos(-turn), np.sin(-turn)
    ring = (made.ring_mm - made.tail_mm) @ np.array([[c, -s], [s, c]]).T
    hide = Polygon(ring)
    x0, y0, x1, y1 = hide.bounds
    k = 2 * np.pi / rng.uniform(300, 1200, 5)
    way = rng.uniform(0, 2 * np.pi, 5)
    waves = np.column_stack(
        [k * np.cos(way), k * np.sin(way), rng.uniform(0, 2 * np.pi, 5), rng.uniform(0.02, 0.06, 5)]
    )
    placed: list[tuple[float, float, float, float]] = []
    core = hide.buffer(-70)
    while len(placed) < spots:
        x, y, radius = rng.uniform(x0, x1), rng.uniform(y0, y1), rng.uniform(16, 35)
        if core.contains(Point(x, y)) and all(np.hypot(x - p[0], y - p[1]) > radius + p[2] + 60 for p in placed):
            placed.append((x, y, radius, rng.uniform(0.25, 0.5)))
    holes = []
    for _ in range(int(rng.integers(1, 4))):
        x, y = rng.uniform(x0, x1), rng.uniform(y0, y1)
        if hide.buffer(-60).contains(Point(x, y)) and all(np.hypot(x - p[0], y - p[1]) > p[2] + 60 for p in placed):
            t = np.linspace(0, 2 * np.pi, 24, endpoint=False)
            r = rng.uniform(6, 14)
            holes.append(np.column_stack([x + r * np.cos(t), y + 0.8 * r * np.sin(t)]))
    return LitHide(
        ring, tuple(holes), float(rng.uniform(*level_mm)), waves, float(rng.uniform(0.1, 0.35)),
        np.array(placed).reshape(-1, 4), max(abs(x0), abs(x1)),
    )  # fmt: skip


def lit_scene(
    hide: LitHide, rng: Generator, *, long_side_px: int = 1800, room_light: float = 0.0, exposure: float = 0.82,
    mirrored: bool | None = None,
    leather: tuple[float, float] | None = None,
) -> LitScene:  # fmt: skip
    """Photograph a hide against a pane.

    `room_light` falls on the front, as a share of the pane's light; `leather` is its scattering and absorption, 1/mm.
    """
    mirrored = bool(rng.random() < 0.5) if mirrored is None else mirrored
    scattering, absorbed = leather or (
        rng.uniform(3.5, 8.0), float(np.exp(rng.uniform(np.log(0.03), np.log(0.35))))
    )  # fmt: skip
    d = np.linspace(0.05, 9.0, 120)
    through = transmitted_by_thickness(d * (scattering + absorbed), scattering / (scattering + absorbed), 8)
    x0, y0 = hide.ring_mm.min(axis=0) - 260
    x1, y1 = hide.ring_mm.max(axis=0) + 260
    xs, ys = np.arange(x0, x1, STEP_MM), np.arange(y0, y1, STEP_MM)
    at = np.stack(np.meshgrid(xs, ys), axis=-1)
    flat = at.reshape(-1, 2)
    net = Polygon(hide.ring_mm, [h for h in hide.holes_mm])
    inside = contains_xy(net, flat[:, 0], flat[:, 1]).reshape(at.shape[:2]).astype(np.float32)
    inside = np.asarray(cv2.GaussianBlur(inside, (0, 0), 0.5), dtype=np.float32)
    local = 1.0 + _smooth(rng, flat, 400.0, 0.04).reshape(at.shape[:2])  # as thick, not everywhere as dense
    thickness = hide.thickness_mm(flat).reshape(at.shape[:2]) * local
    passed = np.interp(thickness, d, through).astype(np.float32)
    passed = np.asarray(cv2.GaussianBlur(passed, (0, 0), max(0.3, 0.6 * hide.level_mm / STEP_MM)), dtype=np.float32)
    share = 1.0 - inside * (1.0 - passed)
    # The hide's places are moved as it hangs; the pane's light stays.
    moved = flat + np.column_stack([_smooth(rng, flat, 900.0, 3.0), _smooth(rng, flat, 900.0, 3.0)])
    pane = _pane(rng, x0, x1, y0, y1)
    front = room_light * rng.uniform(0.35, 0.6)

    size = (long_side_px, round(long_side_px * 0.75))
    matrix, k1 = _view(rng, (x0, y0, x1, y1), size, mirrored)
    principal = (np.array(size) - 1) / 2 + rng.normal(0, 4, 2)

    def lens(px: Array) -> Array:
        off = (px - principal) / long_side_px
        return np.asarray(principal + (px - principal) * (1 + k1 * (off**2).sum(axis=1, keepdims=True)))

    def to_px(mm: Array) -> Array:
        h = np.column_stack([mm, np.ones(len(mm))]) @ matrix.T
        return lens(h[:, :2] / h[:, 2:])

    hanging = (moved - flat).reshape(*at.shape[:2], 2).astype(np.float32)

    def hung(mm: Array) -> Array:
        return mm + _sampled(hanging, (mm - (x0, y0)) / STEP_MM)

    def seen_px(mm: Array) -> Array:
        return to_px(hung(mm))

    # Pictures by inverse mapping: photo pixel -> pane mm -> (back along the hanging) -> hide mm.
    w, h = size
    px = np.stack(np.meshgrid(np.arange(w, dtype=float), np.arange(h, dtype=float)), axis=-1).reshape(-1, 2)
    straight = px.copy()
    for _ in range(4):
        straight = straight - (lens(straight) - px)
    inv = np.linalg.inv(matrix)
    q = np.column_stack([straight, np.ones(len(px))]) @ inv.T
    mm = q[:, :2] / q[:, 2:]
    back = mm.copy()
    for _ in range(4):
        back = back - (hung(back) - mm)
    c = ((back - (x0, y0)) / STEP_MM).astype(np.float32).reshape(h, w, 2)
    through_px = cv2.remap(share.astype(np.float32), c[..., 0], c[..., 1], cv2.INTER_LINEAR, borderValue=1.0)
    on_hide = cv2.remap(inside, c[..., 0], c[..., 1], cv2.INTER_LINEAR, borderValue=0.0)
    in_pane = contains_xy(pane.frame, mm[:, 0], mm[:, 1]).reshape(h, w)
    light = pane.light(mm).reshape(h, w)
    wall = room_light * 0.5 + 0.002
    corner = ((px - principal) ** 2).sum(axis=1).reshape(h, w) / (0.5 * w) ** 2
    fall = 1.0 / (1.0 + 0.25 * corner) ** 2
    lit = np.where(in_pane, light * through_px + front * on_hide, wall) * fall
    bare = np.where(in_pane, light, wall) * fall
    gain = exposure / float(np.quantile(bare[in_pane], 0.99))
    bend = rng.uniform(-0.12, 0.12)
    return LitScene(hide, _developed(lit * gain, bend, rng), _developed(bare * gain, bend, rng), seen_px, mirrored)


def _sampled(field: NDArray[np.float32], at: Array) -> Array:
    """A raster (H, W, 2) at points (N, 2) of it; OpenCV takes no more than 32 766 points a row."""
    rows = -(-len(at) // 1024)
    xy = np.zeros((rows * 1024, 2), dtype=np.float32)
    xy[: len(at)] = at
    x, y = xy.T.reshape(2, rows, 1024)
    return np.asarray(
        cv2.remap(field, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).reshape(-1, 2)[: len(at)]
    )


@dataclass(frozen=True, eq=False)
class _Pane:
    frame: Polygon
    slope: Array
    bow: float
    centre: Array
    size: float

    def light(self, mm: Array) -> Array:
        off = (mm - self.centre) / self.size
        return np.asarray(np.exp(off @ self.slope + self.bow * (off**2).sum(axis=1)))


def _pane(rng: Generator, x0: float, x1: float, y0: float, y1: float) -> _Pane:
    pad = 200.0
    frame = Polygon(
        [
            (x0 + pad * 0.6, y0 + pad * 0.6),
            (x1 - pad * 0.6, y0 + pad * 0.6),
            (x1 - pad * 0.6, y1 - pad * 0.6),
            (x0 + pad * 0.6, y1 - pad * 0.6),
        ]
    )
    return _Pane(
        frame,
        rng.normal(0, 0.15, 2),
        float(rng.normal(-0.05, 0.1)),
        np.array([(x0 + x1) / 2, (y0 + y1) / 2]),
        (y1 - y0) / 2,
    )


def _smooth(rng: Generator, at: Array, reach_mm: float, size: float) -> Array:
    """A smooth random field over points, standard deviation `size`, with waves of about `reach_mm` and longer."""
    field = np.zeros(len(at))
    for _ in range(6):
        k = 2 * np.pi / rng.uniform(reach_mm, 3 * reach_mm)
        way, phase = rng.uniform(0, 2 * np.pi, 2)
        field += np.sin(k * (at[:, 0] * np.cos(way) + at[:, 1] * np.sin(way)) + phase)
    return field * size / np.sqrt(3.0)


def _view(
    rng: Generator, box: tuple[float, float, float, float], size: tuple[int, int], mirrored: bool
) -> tuple[Array, float]:
    """Homography from pane mm to pixels, before the lens; and the lens's k1 in units of the long side."""
    x0, y0, x1, y1 = box
    w, h = size
    upright = np.array([[x0, y1], [x1, y1], [x1, y0], [x0, y0]])
    if mirrored:
        upright[:, 0] = (x0 + x1) - upright[:, 0]
    turn = int(rng.integers(0, 4)) if (x1 - x0) / (y1 - y0) > 0.9 else int(rng.choice([1, 3]))
    upright = np.roll(upright, turn, axis=0)
    sides = np.linalg.norm(upright[1] - upright[0]), np.linalg.norm(upright[2] - upright[1])
    scale = 0.94 * min(w / sides[0], h / sides[1])
    half = np.array([sides[0], sides[1]]) * scale / 2
    middle = np.array([w, h]) / 2
    corners = middle + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    corners = corners + rng.uniform(-0.03, 0.03, (4, 2)) * h
    return cv2.getPerspectiveTransform(upright.astype(np.float32), corners.astype(np.float32)).astype(float), float(
        rng.uniform(-0.06, 0.03)
    )


def _developed(light: Array, bend: float, rng: Generator) -> NDArray[np.uint8]:
    """The phone's picture of linear light: noise, tone curve, JPEG."""
    light = np.asarray(cv2.GaussianBlur(light, (0, 0), 0.8))
    noisy = light + rng.normal(0, 1, light.shape) * np.sqrt(np.maximum(light, 0) * 2e-4 + 1e-7)
    tinted = np.stack([noisy * g for g in (1.0, 0.96, 0.85)], axis=-1)
    shared = np.clip(tinted, 0, 1)
    curve = np.where(shared <= 0.0031308, 12.92 * shared, 1.055 * np.maximum(shared, 1e-9) ** (1 / 2.4) - 0.055)
    curve = curve + bend * curve * (1 - curve) * (2 * curve - 1)
    out = BytesIO()
    Image.fromarray(np.asarray(np.clip(255 * curve + 0.5, 0, 255), dtype=np.uint8)).save(out, "JPEG", quality=90)
    return np.asarray(Image.open(BytesIO(out.getvalue())).convert("RGB"))
