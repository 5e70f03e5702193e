"""Real photographs for training: as they are, things cut out of them on other floors, floors and cloths for invented
hides. Everything runs on the GPU; the photos and their outlines are loaded once (`load`).
"""

from __future__ import annotations

import json
import math
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import torch
from looks import Painter
from numpy.typing import NDArray
from shapes import PHOTO_PX
from torch import Tensor
from torch.nn import functional

WIDTH, HEIGHT = PHOTO_PX
FACE_SIDE = 160
"""Side of the square patches of cloth, px."""
Bytes = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class RealPhotos:
    """Photos of one flat thing each, landscape, WIDTH x HEIGHT px, uint8.

    Attributes
    ----------
    photo
        (n, 3, h, w).
    inside
        (n, 1, h, w), 255 on the thing, what it encloses counted in.
    known
        (n, 1, h, w), 0 where nobody can say: large gaps that a thing encloses.
    floor
        (m, 3, h, w), the photos with the thing painted over by the floor round it; further textures.
    face
        (n, 3, FACE_SIDE, FACE_SIDE), a patch from the middle of each thing.
    """

    photo: Tensor
    inside: Tensor
    known: Tensor
    floor: Tensor
    face: Tensor


def to_canvas(picture: Bytes, interpolation: int) -> Bytes:
    """The middle of a picture, turned to landscape, at WIDTH x HEIGHT px."""
    if picture.shape[0] > picture.shape[1]:
        picture = np.ascontiguousarray(np.rot90(picture))
    h, w = picture.shape[:2]
    k = max(WIDTH / w, HEIGHT / h)
    big = cv2.resize(picture, (max(WIDTH, round(w * k)), max(HEIGHT, round(h * k))), interpolation=interpolation)
    y, x = (big.shape[0] - HEIGHT) // 2, (big.shape[1] - WIDTH) // 2
    return np.ascontiguousarray(big[y : y + HEIGHT, x : x + WIDTH])


def floor_of(photo: Bytes, inside: Bytes, rng: np.random.Generator) -> Bytes:
    """The photo with the thing painted over: tones carried on from round it, detail from other parts of the floor.

    Whole patches moved as they are would leave the thing's shape to be seen.
    """
    free = cv2.dilate(inside, np.ones((13, 13), np.uint8)) == 0
    tones = np.zeros(photo.shape, np.float32)
    weight = np.full((*inside.shape, 1), 1e-9, np.float32)
    for sigma in (16, 48, 150):
        share = cv2.GaussianBlur(free.astype(np.float32), (0, 0), sigma)[..., None]
        mean = cv2.GaussianBlur(photo * free[..., None].astype(np.float32), (0, 0), sigma) / np.maximum(share, 1e-6)
        part = (1 - np.minimum(weight, 1)) * np.clip(4 * share, 0, 1)
        tones, weight = tones + part * mean, weight + part
    tones /= weight
    detail = photo - tones
    out = np.where(free[..., None], photo, tones)
    left = ~free
    for _ in range(40):
        if not left.any():
            break
        flips = rng.random(2) < 0.5
        moves = tuple(int(m) for m in rng.integers(-HEIGHT, HEIGHT, 2))
        turn = (slice(None, None, -1 if flips[0] else 1), slice(None, None, -1 if flips[1] else 1))
        there = left & np.roll(free[turn], moves, (0, 1))
        # whole patches, not the crumbs between
        there = cv2.morphologyEx(there.astype(np.uint8), cv2.MORPH_OPEN, np.ones((9, 9), np.uint8)) > 0
        out[there] += np.roll(detail[turn], moves, (0, 1))[there]
        left &= ~there
    return np.clip(out, 0, 255).astype(np.uint8)


def face_of(photo: Bytes, inside: Bytes) -> Bytes:
    """The largest square around the thing's deepest pixel."""
    depth = cv2.distanceTransform(np.pad(inside, 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    y, x = np.unravel_index(int(depth.argmax()), depth.shape)
    half = max(8, int(depth.max() * 0.7))
    part = photo[max(y - half, 0) : y + half, max(x - half, 0) : x + half]
    return cv2.resize(part, (FACE_SIDE, FACE_SIDE), interpolation=cv2.INTER_LINEAR)


def prepared(job: tuple[str, dict, int]) -> tuple[Bytes, Bytes, Bytes, Bytes, Bytes]:
    """Photo, inside, known, floor and face of one record of the outlines file."""
    path, record, seed = job
    photo = cv2.imread(path)
    inside = np.zeros(photo.shape[:2], np.uint8)
    cv2.fillPoly(inside, [np.array(r, np.int32).reshape(-1, 2) for r in record["rings"]], 255)
    known = np.full_like(inside, 255)
    for gap in record.get("gaps", []):
        cv2.fillPoly(known, [np.array(gap, np.int32).reshape(-1, 2)], 0)
    photo = to_canvas(photo[..., ::-1], cv2.INTER_CUBIC)
    inside, known = to_canvas(inside, cv2.INTER_LINEAR), to_canvas(known, cv2.INTER_NEAREST)
    firm = np.where(inside > 127, 255, 0).astype(np.uint8)
    floor = floor_of(photo, firm, np.random.default_rng(seed))
    return photo, inside, known, floor, face_of(photo, firm)


def load(outlines: Path, photos: Path, split: str, device: torch.device, textures: Path | None = None) -> RealPhotos:
    """All photos of a split."""
    records = json.loads(outlines.read_text())["photos"]
    jobs = [
        (str(photos / r["name"]), r, i)
        for i, r in enumerate(records)
        if r["split"] == split and (photos / r["name"]).exists()
    ]
    with ProcessPoolExecutor() as pool:
        found = list(pool.map(prepared, jobs, chunksize=8))
    colour = [np.stack([f[k].transpose(2, 0, 1) for f in found]) for k in (0, 3, 4)]
    plain = [np.stack([f[k][None] for f in found]) for k in (1, 2)]
    floors = [torch.from_numpy(colour[1])]
    rng = np.random.default_rng(1)
    for path in sorted(textures.glob("*.jpg")) if textures else []:
        picture = cv2.imread(str(path))[..., ::-1]
        for _ in range(4):
            side = int(min(picture.shape[:2]) * rng.uniform(0.5, 1))
            y, x = (int(rng.integers(0, n - side + 1)) for n in picture.shape[:2])
            part = np.ascontiguousarray(picture[y : y + side, x : x + side])
            floors.append(torch.from_numpy(to_canvas(part, cv2.INTER_AREA).transpose(2, 0, 1)[None].copy()))
    return RealPhotos(
        torch.from_numpy(colour[0]).to(device),
        torch.from_numpy(plain[0]).to(device),
        torch.from_numpy(plain[1]).to(device),
        torch.cat(floors).to(device),
        torch.from_numpy(colour[2]).to(device),
    )


class RealScenes:
    """Makes pictures with truth out of real photos; randomness from the painter's generator."""

    def __init__(self, photos: RealPhotos, painter: Painter) -> None:
        self.photos, self.painter = photos, painter

    def _index(self, n: int, of: Tensor) -> Tensor:
        return torch.randint(len(of), (n,), generator=self.painter.rng, device=of.device)

    def _grid(self, n: int, size: tuple[int, int], scale: Tensor, angle: Tensor, shift: Tensor, lean: float) -> Tensor:
        """Sampling grid (n, h, w, 2) of a picture enlarged by scale, turned, moved by `shift` of its half sides, with a
        little perspective."""
        w, h = size
        p = self.painter
        ys, xs = torch.meshgrid(
            torch.linspace(-1, 1, h, device=p.device), torch.linspace(-1, 1, w, device=p.device), indexing="ij"
        )
        aspect = WIDTH / HEIGHT
        x, y = xs[None, None] * aspect, ys[None, None].expand(1, 1, h, w)
        x, y = x - shift[:, :1] * aspect, y - shift[:, 1:]
        c, s = torch.cos(angle), torch.sin(angle)
        x, y = (c * x + s * y) / scale, (-s * x + c * y) / scale
        depth = 1 + p.normal(n, lean) * x + p.normal(n, lean) * y
        return torch.cat([x / depth.clamp(min=0.3) / aspect, y / depth.clamp(min=0.3)], 1).permute(0, 2, 3, 1)

    @staticmethod
    def _take(pictures: Tensor, grid: Tensor, padding: str) -> Tensor:
        return functional.grid_sample(pictures.float() / 255, grid, padding_mode=padding, align_corners=True)

    def floors(self, n: int, size: tuple[int, int]) -> Tensor:
        """Real floors (n, 3, h, w), sRGB; some with a second one, as a mat or past a line."""
        p = self.painter
        out = []
        for _ in range(2):
            grid = self._grid(
                n, size, p.log_u(n, 0.6, 1.8), p.u(n, 0, 2 * math.pi), p.u(n, -1, 1).repeat(1, 2, 1, 1), 0.08
            )
            i = self._index(n, self.photos.floor)
            out.append(self._take(self.photos.floor[i], grid, "reflection") * (1 + p.normal(n, 0.05, 3)))
        # the second floor lies in a turned rectangle
        ys, xs = torch.meshgrid(
            torch.linspace(-1, 1, size[1], device=p.device),
            torch.linspace(-1, 1, size[0], device=p.device),
            indexing="ij",
        )
        a = p.u(n, 0, 2 * math.pi)
        x = torch.cos(a) * xs * 1.33 + torch.sin(a) * ys - p.u(n, -1, 1)
        y = -torch.sin(a) * xs * 1.33 + torch.cos(a) * ys - p.u(n, -1, 1)
        soft = p.log_u(n, 60, 300)
        mat = (soft * (p.u(n, 0.4, 2.5) - x.abs())).clamp(0, 1) * (soft * (p.u(n, 0.4, 2.5) - y.abs())).clamp(0, 1)
        mat = mat * p.often(n, 0.4)
        return (out[0] * (1 - mat) + out[1] * mat).clamp(0.004, 1)

    def coats(self, n: int, size: tuple[int, int]) -> Tensor:
        """Cloth, leather and fur of real things (n, 3, h, w), mirrored on and on."""
        p = self.painter
        grid = self._grid(n, size, p.log_u(n, 0.25, 1.2), p.u(n, 0, 2 * math.pi), p.u(n, -1, 1).repeat(1, 2, 1, 1), 0.0)
        cloth = self._take(self.photos.face[self._index(n, self.photos.face)], grid, "reflection")
        return (cloth * p.log_u(n, 0.6, 1.4) * (1 + p.normal(n, 0.08, 3))).clamp(0.004, 1)

    def as_taken(self, n: int, size: tuple[int, int]) -> tuple[Tensor, Tensor, Tensor]:
        """Real photos, moved, enlarged or turned a little: photo, inside, known."""
        p = self.painter
        i = self._index(n, self.photos.photo)
        close = p.often(n, 0.45)
        scale = close * p.log_u(n, 1.0, 1.9) + (1 - close) * p.log_u(n, 0.8, 1.05)
        shift = torch.cat([p.u(n, -1, 1), p.u(n, -1, 1)], 1) * (scale - 1).abs().clamp(min=0.05)
        turn = p.normal(n, 0.08) + p.often(n, 0.25) * p.u(n, -0.8, 0.8)
        grid = self._grid(n, size, scale, turn, shift, 0.06)
        photo = self._take(self.photos.photo[i], grid, "reflection")
        inside = self._take(self.photos.inside[i], grid, "reflection")
        known = (self._take(self.photos.known[i], grid, "reflection") > 0.99).float()
        return photo.clamp(0, 1), inside.clamp(0, 1), known

    def pasted(self, n: int, size: tuple[int, int]) -> tuple[Tensor, Tensor, Tensor]:
        """Things cut out of one photo on the floor of another, with a shadow: photo, inside, known."""
        p = self.painter
        floor = self.floors(n, size)
        i = self._index(n, self.photos.photo)
        scale = p.log_u(n, 0.55, 1.25)
        shift = torch.cat([p.normal(n, 0.25), p.normal(n, 0.25)], 1)
        grid = self._grid(n, size, scale, p.u(n, 0, 2 * math.pi), shift, 0.06)
        thing = self._take(self.photos.photo[i], grid, "border")
        inside = self._take(self.photos.inside[i], grid, "zeros")
        known = self._take(255 - self.photos.known[i], grid, "zeros") < 0.01
        # the outermost pixels hold some of the old floor
        one = torch.ones((n, 1, 1, 1), device=p.device)
        alpha = ((p.blurred(inside, 1.5 * one) - 0.62) * 4 + 0.5).clamp(0, 1)
        thing = (thing * p.log_u(n, 0.55, 1.5) * (1 + p.normal(n, 0.06, 3))).clamp(0, 1)
        contact = p.blurred(alpha, p.log_u(n, 1.5, 12)) * p.u(n, 0, 0.9)
        way, reach = p.u(n, 0, 2 * math.pi), p.u(n, 0, 8) * p.often(n, 0.6)
        thrown = p.blurred(p.moved(alpha, reach * torch.cos(way), reach * torch.sin(way)), p.log_u(n, 0.5, 4))
        dark = (1 - contact) * (1 - thrown * p.u(n, 0, 0.7) * p.often(n, 0.6))
        photo = floor * dark.clamp(min=0.08) * (1 - alpha) + thing * alpha
        return photo.clamp(0, 1), alpha, known.float()

    def lit_and_shot(self, photo: Tensor) -> Tensor:
        """Another light and another camera: shadows, lamps, exposure, balance, blur, noise, messenger JPEG."""
        p = self.painter
        n, _, h, w = photo.shape
        x = photo.clamp(1e-4, 1) ** 2.2
        # somebody's shadow or a window's light: a band with a soft edge
        ys, xs = torch.meshgrid(
            torch.linspace(-1, 1, h, device=p.device), torch.linspace(-1, 1, w, device=p.device), indexing="ij"
        )
        a = p.u(n, 0, 2 * math.pi)
        along = torch.cos(a) * xs + torch.sin(a) * ys + 0.15 * p.u(n) * torch.sin(3 * xs + 5 * p.u(n))
        edge = p.log_u(n, 3, 120)
        band = torch.sigmoid(edge * (along - p.u(n, -1, 1))) * torch.sigmoid(edge * (p.u(n, -0.5, 2) - along))
        tint = p.u(n, 0.25, 1) * (1 + p.u(n) * torch.tensor([-0.1, 0, 0.15], device=p.device)[None, :, None, None])
        x = x * (1 - p.often(n, 0.3) * band * (1 - tint))
        x = x * (1 + p.often(n, 0.25) * p.u(n, 0.3, 2.5) * p._spot(n, h, w, 0.3, 1.5))
        x = x * (1 + p.u(n, 0, 0.5) * p.often(n, 0.5) * p._ramp(n, h, w)).clamp(min=0.1)
        x = x * p.log_u(n, 0.35, 1.8) * (1 + p.normal(n, 0.08, 3))
        x = p.blurred(x, p.u(n, 0, 1.0) * p.u(n) + p.often(n, 0.1) * p.u(n, 0.5, 2.2))
        strength = p.log_u(n, 0.001, 0.012) + p.often(n, 0.12) * p.log_u(n, 0.01, 0.06)
        grain = torch.randn(x.shape, generator=p.rng, device=x.device)
        soft = functional.avg_pool2d(functional.pad(grain, (1, 1, 1, 1), mode="reflect"), 3, 1) * 3
        mix = p.u(n)
        x = x.clamp(min=0) + strength * (x.clamp(0, 1) + 0.02).sqrt() * (grain * mix + soft * (1 - mix))
        x = x.clamp(1e-5, 1) ** (1 / p.u(n, 1.9, 2.5))
        grey = x.mean(1, keepdim=True)
        x = (grey + (x - grey) * p.u(n, 0.35, 1.3)).clamp(0, 1)
        k = p.u(n, 0, 0.35) * p.often(n, 0.5)
        x = x * (1 - k) + k * x * x * (3 - 2 * x)
        swap = p.often(n, 0.2) * p.u(n)  # other hues: garments are not the colours of hides
        x = x * (1 - swap) + x.flip(1) * swap
        sharp = x - p.blurred(x, torch.full_like(a, 1.0))
        x = (x + p.u(n, 0, 0.8) * p.often(n, 0.4) * sharp).clamp(0, 1)
        x = p._jpeg(x, p.u(n, 0, 0.09) * p.often(n, 0.6))
        return (x * 255).round().clamp(0, 255) / 255

    def draw(self, n: int, size: tuple[int, int]) -> tuple[Tensor, Tensor, Tensor]:
        """A batch for the region network: photo, truth (hide, cover), weight (no word on covers)."""
        half = n * 3 // 5
        a, b = self.as_taken(half, size), self.pasted(n - half, size)
        photo, inside, known = (torch.cat([x, y]) for x, y in zip(a, b, strict=True))
        photo = self.lit_and_shot(photo)
        nothing = torch.zeros_like(inside)
        return photo, torch.cat([inside, nothing], 1), torch.cat([known, nothing], 1)
