"""What a camera sees of a hide's rim that stands a little over the floor, and the camera and cards around it."""

from dataclasses import dataclass

import numpy as np

from tests.synthetic.scenes import Array, TrueCamera, TrueCard, look_at


@dataclass(frozen=True, eq=False)
class RimScene:
    """A hide lying before a camera with cards beside it: the truth, and what is seen of it."""

    camera: TrueCamera
    cards: list[TrueCard]
    ring_mm: Array
    rim_px: Array


def lift_field(count: int, most_mm: float, rng: np.random.Generator) -> Array:
    """Lift of the rim over the floor along it, (count,) mm: smooth, 0 where it touches, `most_mm` at its highest."""
    waves = np.arange(1, 9)
    t = np.linspace(0, 2 * np.pi, count, endpoint=False)[:, None]
    field = np.sum(rng.normal(0, 1 / np.sqrt(waves)) * np.cos(waves * t + rng.uniform(0, 2 * np.pi, 8)), axis=1)
    return most_mm * (field - field.min()) / max(float(np.ptp(field)), 1e-9)


def seen_rim(
    camera: TrueCamera, ring_mm: Array, thickness_mm: float, lift_mm: Array, noise_px: float, rng: np.random.Generator
) -> Array:
    """The rim in the photo: of the wall from lift to lift + thickness the outer edge as seen, with smooth noise, (N, 2).

    Which edge is outermost is decided in the picture, by OpenCV's projection of both.
    """
    low = camera.project(np.c_[ring_mm, lift_mm])
    high = camera.project(np.c_[ring_mm, lift_mm + thickness_mm])
    along = np.roll(low, -1, axis=0) - np.roll(low, 1, axis=0)
    normal = np.c_[along[:, 1], -along[:, 0]] / np.linalg.norm(along, axis=1, keepdims=True)
    x, y = low.T
    if np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) < 0:
        normal = -normal
    outer = np.where(np.sum((high - low) * normal, axis=1, keepdims=True) > 0, high, low)
    kernel = np.ones(5) / np.sqrt(5)
    white = rng.normal(0, noise_px, len(ring_mm) + 4)
    return outer + normal * np.convolve(white, kernel, mode="valid")[:, None]


def camera_over(
    ring_mm: Array, tilt_deg: float, rng: np.random.Generator, *, fill: float, focal_35mm: float, k1: float, k2: float, size_px: tuple[int, int]
) -> TrueCamera:  # fmt: skip
    """A camera from a random side that frames ring and cards: `fill` is their share of the picture's height."""
    middle = (ring_mm.max(axis=0) + ring_mm.min(axis=0)) / 2
    reach = float(np.linalg.norm(ring_mm - middle, axis=1).max())
    half_angle = np.arctan(np.hypot(36, 24) / 2 / focal_35mm * 0.6)  # half the short side of a 4:3 picture
    distance = reach / np.tan(half_angle * fill) / max(np.cos(np.deg2rad(tilt_deg)) ** 0.5, 0.7)
    target = (float(middle[0]), float(middle[1]))
    azimuth = float(rng.uniform(0, 360))
    return look_at(target, distance, tilt_deg, azimuth, focal_35mm=focal_35mm, k1=k1, k2=k2, size_px=size_px)


def cards_beside(ring_mm: Array, count: int, rng: np.random.Generator, scale: tuple[float, float]) -> list[TrueCard]:
    """Cards around the hide, two of them at opposite corners."""
    middle = (ring_mm.max(axis=0) + ring_mm.min(axis=0)) / 2
    start = rng.uniform(0, 2 * np.pi)
    cards = []
    for j, angle in enumerate(
        start + np.array([0.0, np.pi, np.pi / 2, 3 * np.pi / 2])[:count] + rng.normal(0, 0.2, count)
    ):
        toward = np.array([np.cos(angle), np.sin(angle)])
        edge = float(np.max((ring_mm - middle) @ toward))
        x, y = middle + toward * (edge + rng.uniform(120, 200))
        cards.append(TrueCard(j + 1, (float(x), float(y)), float(rng.uniform(0, 360)), 0.1, scale))
    return cards
