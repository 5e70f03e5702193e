"""A table with card templates of known shape on it, some with an inked arrow, beside a reference card."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from hidescan.pieces.templates.grain import Grain
from tests.synthetic.scenes import Array, Look, TrueCard, look_at, picture, rectangle

COLOURS = {  # table, templates, ink
    "kraft on white": ((222, 220, 214), (176, 140, 98), (30, 28, 40)),
    "white on wood": ((120, 86, 58), (225, 224, 218), (40, 60, 130)),
    "grey on green": ((60, 96, 76), (168, 168, 170), (30, 30, 30)),
    "black on grey": ((158, 156, 152), (48, 46, 50), (215, 215, 210)),
}


THICKNESS_MM = 0.02  # paint has none; a person who says so gives no height


@dataclass(frozen=True, eq=False)
class Drawn:
    """A template as drawn: outline on the table, mm; its arrow's direction, None where it has none."""

    ring: Array
    arrow_deg: float | None


def smooth(radii: list[float], centre: tuple[float, float], stretch: float) -> Array:
    """A smooth closed curve through radii at even angles."""
    a = np.linspace(0, 2 * np.pi, 600, endpoint=False)
    spectrum = np.fft.rfft(radii) / len(radii)
    r = spectrum[0].real + 2 * sum(
        (c.real * np.cos(k * a) - c.imag * np.sin(k * a)) for k, c in enumerate(spectrum[1:-1], start=1)
    )
    return np.column_stack([r * np.cos(a), stretch * r * np.sin(a)]) + centre


def arrow(middle: Array, angle_deg: float, length: float) -> list[Array]:
    """A felt pen's arrow: shaft and two barbs, 1.2 mm broad."""
    a = np.deg2rad(angle_deg)
    u = np.array([np.cos(a), np.sin(a)])
    head, tail = middle + u * length / 2, middle - u * length / 2

    def stroke(p: Array, q: Array) -> Array:
        n = (q - p) / np.linalg.norm(q - p)
        side = 0.6 * np.array([-n[1], n[0]])
        return np.array([p + side, q + side, q - side, p - side])

    barbs = [head - 12 * np.array([np.cos(a + s), np.sin(a + s)]) for s in (0.5, -0.5)]
    return [stroke(tail, head), *(stroke(barb, head) for barb in barbs)]


def table(
    rng: np.random.Generator,
    colours: str,
    *,
    tilt_deg: float = 10.0,
    size_px: tuple[int, int] = (4000, 3000),
    cards: int = 1,
) -> tuple[NDArray[np.uint8], list[Drawn]]:
    """A photo of four templates and card 1, and what was drawn. The card is the floor frame: at the origin, upright."""
    floor, card, ink = (COLOURS[colours][i] for i in range(3))
    drawn = [
        Drawn(rectangle(190.0, 120.0, float(rng.uniform(-20, 20)), (250.0, 150.0)), float(rng.uniform(0, 180))),
        Drawn(smooth([60, 52, 48, 56, 64, 58, 40, 50], (255.0, -60.0), 1.5), float(rng.uniform(0, 180))),
        Drawn(np.array([[420.0, -150], [520, -120], [515, 40], [480, 45], [470, -40], [430, -50]]), None),
        Drawn(smooth([70, 60, 44, 52, 66, 52, 44, 60], (470.0, 160.0), 1.1), float(rng.uniform(0, 180))),
    ]
    over: list[tuple[Array, tuple[int, int, int]]] = [(piece.ring, card) for piece in drawn]
    for piece in drawn:
        if piece.arrow_deg is not None:
            over += [(s, ink) for s in arrow(piece.ring.mean(axis=0), piece.arrow_deg, 62.0)]
    camera = look_at((230.0, 20.0), 850.0, tilt_deg, float(rng.uniform(0, 360)), size_px=size_px)
    look = Look(floor=floor, over=tuple(over), mottle=4.0, blur_px=0.8)
    return picture(
        camera, [TrueCard(1, (0.0, 0.0), 0.0), TrueCard(2, (668.0, 20.0), 0.0)][:cards], [], rng, look
    ), drawn


def dense(ring: Array, step: float) -> Array:
    """The closed curve with points at most a step apart, corners kept."""
    ahead = np.roll(ring, -1, axis=0)
    count = np.maximum(1, np.ceil(np.linalg.norm(ahead - ring, axis=1) / step).astype(int))
    sides = zip(ring, ahead, count, strict=True)
    return np.vstack([p + np.linspace(0, 1, n, endpoint=False)[:, None] * (q - p) for p, q, n in sides])


def farthest(a: Array, b: Array) -> float:
    """Hausdorff distance of two closed curves, mm."""

    def one_way(points: Array, ring: Array) -> float:
        contour = ring.astype(np.float32).reshape(-1, 1, 2)
        return max(abs(cv2.pointPolygonTest(contour, (float(x), float(y)), True)) for x, y in points)

    return max(one_way(dense(a, 0.2), b), one_way(dense(b, 0.2), a))


def aligned(ring: Array, true: Array) -> Array:
    """The ring after the turn and shift that lay it best on another (iterated closest points)."""
    there = dense(true, 0.05)
    tree = cKDTree(there)
    ring = ring - dense(ring, 0.5).mean(axis=0) + there.mean(axis=0)
    for _ in range(15):
        at = dense(ring, 0.5)
        near = there[tree.query(at)[1]]
        u, _, vt = np.linalg.svd((at - at.mean(axis=0)).T @ (near - near.mean(axis=0)))
        ring = np.asarray((ring - at.mean(axis=0)) @ (u @ vt) + near.mean(axis=0))
    return ring


def nearest(ring: Array, drawn: list[Drawn]) -> Drawn:
    """The template that a ring lies on."""
    return min(drawn, key=lambda piece: float(np.linalg.norm(piece.ring.mean(axis=0) - ring.mean(axis=0))))


def grain_error_deg(grain: Grain, arrow_deg: float) -> float:
    """How far an arrow's direction is off, its head counted."""
    x, y = grain.head_mm - grain.tail_mm
    return float(abs((np.rad2deg(np.arctan2(y, x)) - arrow_deg + 180) % 360 - 180))
