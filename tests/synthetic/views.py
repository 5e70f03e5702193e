"""Several hand-held photos of one hide that lies still among cards, as geometry and OpenCV's projection see them."""

from dataclasses import dataclass

import numpy as np

from tests.synthetic.rims import seen_rim
from tests.synthetic.scenes import Array, TrueCamera, TrueCard, look_at


@dataclass(frozen=True, eq=False)
class ViewsScene:
    """A hide, cards round it, and cameras: the truth."""

    ring_mm: Array
    lift_mm: Array
    thickness_mm: float
    cards: list[TrueCard]
    cameras: list[TrueCamera]

    def cards_seen(self, k: int) -> list[TrueCard]:
        """Cards whose pattern camera k sees whole."""
        return [card for card in self.cards if card_in_frame(self.cameras[k], card)]

    def rim_seen(self, k: int, noise_px: float, rng: np.random.Generator) -> tuple[Array, Array]:
        """The rim as camera k sees it, (N, 2) px, cut off at the photo's frame, and which points are in it, (N,)."""
        camera = self.cameras[k]
        rim = seen_rim(camera, self.ring_mm, self.thickness_mm, self.lift_mm, noise_px, rng)
        far = np.array(camera.size_px) - 1.0
        return np.clip(rim, 0.0, far), in_frame(camera, rim)


def in_frame(camera: TrueCamera, px: Array, margin_px: float = 30.0) -> Array:
    """Which pixels lie in the photo, (N,)."""
    return np.asarray(((px > margin_px) & (px < np.array(camera.size_px) - margin_px)).all(axis=1))


def card_in_frame(camera: TrueCamera, card: TrueCard) -> bool:
    """Whether the whole pattern is in the photo."""
    pattern = np.array([[0.0, 0], [180, 0], [180, 225], [0, 225]])
    return bool(in_frame(camera, camera.project(card.floor(pattern))).all())


def cards_round(
    ring_mm: Array, count: int, rng: np.random.Generator, scale: tuple[float, float] = (1, 1)
) -> list[TrueCard]:
    """Cards spread round the hide, close to it."""
    middle = (ring_mm.max(axis=0) + ring_mm.min(axis=0)) / 2
    cards = []
    for j, angle in enumerate(
        rng.uniform(0, 2 * np.pi) + 2 * np.pi * (np.arange(count) + rng.uniform(-0.2, 0.2, count)) / count
    ):
        toward = np.array([np.cos(angle), np.sin(angle)])
        edge = float(np.max((ring_mm - middle) @ toward))
        x, y = middle + toward * (edge + rng.uniform(150, 200))
        cards.append(TrueCard(j + 1, (float(x), float(y)), float(rng.uniform(0, 360)), 0.1, scale))
    return cards


def cameras_round(
    ring_mm: Array, cards: list[TrueCard], count: int, rng: np.random.Generator, *, share: float, tilt: tuple[float, float],
    focal_35mm: float = 26.0, k1: float = 0.0, k2: float = 0.0, size_px: tuple[int, int] = (4000, 3000),
) -> list[TrueCamera]:  # fmt: skip
    """Cameras that together see all of the hide, each sharing a card with the others.

    Each stands aside of the middle, on sides spread round it, and looks down at `tilt` degrees. `share` of the hide's
    reach is what one of them frames: from about 1.25 on the whole hide with its cards.
    """
    middle = (ring_mm.max(axis=0) + ring_mm.min(axis=0)) / 2
    reach = float(np.linalg.norm(ring_mm - middle, axis=1).max())
    half_angle = np.arctan(np.hypot(36, 24) / 2 / focal_35mm * 0.6)
    for _ in range(400):
        start, cameras = rng.uniform(0, 2 * np.pi), []
        for k in range(count):
            side = start + 2 * np.pi * (k + rng.uniform(-0.15, 0.15)) / count
            lean = float(rng.uniform(*tilt))
            distance = reach * share / np.tan(half_angle) * float(rng.uniform(0.95, 1.1))
            aside = max(0.0, 1.1 - share) * reach
            target = middle + aside * np.array([np.cos(side), np.sin(side)])
            azimuth = float(np.rad2deg(side)) + 180.0 + float(rng.uniform(-25, 25))
            cameras.append(
                look_at((float(target[0]), float(target[1])), distance, lean, azimuth, focal_35mm=focal_35mm, k1=k1, k2=k2, size_px=size_px)
            )  # fmt: skip
        if _covers(ring_mm, cards, cameras):
            return cameras
        share *= 1.01
    raise RuntimeError("no cameras found that see all of the hide")


def _covers(ring_mm: Array, cards: list[TrueCard], cameras: list[TrueCamera]) -> bool:
    rim = np.c_[ring_mm, np.zeros(len(ring_mm))]
    seen = np.any([in_frame(camera, camera.project(rim), 60.0) for camera in cameras], axis=0)
    shown = [{card.number for card in cards if card_in_frame(camera, card)} for camera in cameras]
    joined, rest = set(shown[0]), shown[1:]
    while rest and (more := next((s for s in rest if s & joined), None)) is not None:
        joined |= more
        rest = [s for s in rest if s is not more]
    return bool(seen.all()) and not rest and bool(shown[0])
