"""Paints windows of scenes on the GPU: floors, coats, light, shadows, the camera's own faults.

Every texture is a function of place on the floor in mm, so that the same scene can be painted at any scale. All
randomness comes from one torch.Generator. Colours are sRGB 0..1 until the light is applied, linear in between.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol

import numpy as np
import torch
from masks import LAYERS
from torch import Tensor
from torch.nn import functional

BANK = 256
"""Side of the periodic noise tiles, px."""
CELLS = 384
"""Side of the periodic cell tiles, px; a cell is about 16 px."""


TRUTH = ("hide", "cover", "hole", "cut", "brand", "stain", "scratch", "wrinkle")
"""Channels of the truth: the visible silhouette; paper and things lying about or on it; through holes; cuts from the rim;
the hulls of brands; stains; scratches; wrinkles."""


class Borrowed(Protocol):
    """Gives sRGB pictures (n, 3, h, w) of real floors and cloths for windows of (width, height)."""

    def floors(self, n: int, size: tuple[int, int]) -> Tensor: ...
    def coats(self, n: int, size: tuple[int, int]) -> Tensor: ...


class Painter:
    """Holds the noise tiles and the random state; `paint` turns stencils into photos."""

    def __init__(self, device: torch.device, seed: int, everyday: bool = False) -> None:
        self.device = device
        self.everyday = everyday
        """Leave out what no careful person photographs: dyed and tiger-striped coats, night, heavy noise."""
        self.borrow: Borrowed | None = None
        """Where floors and coats of real photos come from, if they do."""
        self.rng = torch.Generator(device=device)
        self.rng.manual_seed(seed)
        host = np.random.default_rng(seed)
        self.noise_bank = torch.from_numpy(_noise_tiles(24, host)).to(device)
        self.cell_bank = torch.from_numpy(_cell_tiles(4, host)).to(device)

    # ---- random numbers, one per sample, shaped (n, 1, 1, 1)
    def u(self, n: int, low: float = 0.0, high: float = 1.0) -> Tensor:
        return torch.rand((n, 1, 1, 1), generator=self.rng, device=self.device) * (high - low) + low

    def normal(self, n: int, sd: float = 1.0, channels: int = 1) -> Tensor:
        return torch.randn((n, channels, 1, 1), generator=self.rng, device=self.device) * sd

    def often(self, n: int, p: float) -> Tensor:
        return (self.u(n) < p).float()

    def log_u(self, n: int, low: float, high: float) -> Tensor:
        return torch.exp(self.u(n, math.log(low), math.log(high)))

    def pick(self, n: int, colours: list[tuple[int, int, int]], sd: float = 0.03) -> Tensor:
        """(n, 3, 1, 1) colours from a list of 0..255 triples, spread a little."""
        table = torch.tensor(colours, dtype=torch.float32, device=self.device) / 255
        i = torch.randint(len(colours), (n,), generator=self.rng, device=self.device)
        c = table[i][:, :, None, None]
        return (c * (1 + self.normal(n, 0.12)) + self.normal(n, sd, 3)).clamp(0.01, 0.98)

    # ---- textures in mm
    def _sample(self, bank: Tensor, uv: Tensor, nearest: bool = False) -> Tensor:
        n, k = len(uv), len(bank)
        side = bank.shape[-1] - 1
        i = torch.randint(k, (n,), generator=self.rng, device=self.device)
        offset = torch.rand((n, 2, 1, 1), generator=self.rng, device=self.device) * side
        p = torch.remainder(uv + offset, side)
        grid = (p / side * 2 - 1).permute(0, 2, 3, 1)
        return functional.grid_sample(bank[i], grid, mode="nearest" if nearest else "bilinear", align_corners=True)

    def noise(self, xy: Tensor, mm_px: Tensor, wavelength: Tensor | float, stretch: Tensor | float = 1.0) -> Tensor:
        """Band-limited noise (n, 1, h, w), sd 1, of a wavelength in mm along x and `stretch` times that along y.

        Faded out where the wavelength falls under two and a half pixels: a camera averages it away.
        """
        n = len(xy)
        wavelength = torch.as_tensor(wavelength, device=self.device, dtype=torch.float32) * torch.ones(
            (n, 1, 1, 1), device=self.device
        )
        scale = torch.cat([8 / wavelength, 8 / (wavelength * stretch)], 1)
        fade = ((wavelength / mm_px - 1.5) / 2).clamp(0, 1)
        return self._sample(self.noise_bank, xy * scale) * fade

    def fbm(
        self,
        xy: Tensor,
        mm_px: Tensor,
        wavelength: Tensor | float,
        octaves: int = 4,
        gain: float = 0.6,
        stretch: Tensor | float = 1.0,
    ) -> Tensor:
        total, a, norm = torch.zeros_like(xy[:, :1]), 1.0, 0.0
        for _ in range(octaves):
            total = total + a * self.noise(xy, mm_px, wavelength, stretch)
            norm += a * a
            a *= gain
            wavelength = wavelength * 0.5
        return total / math.sqrt(norm)

    def turn(self, xy: Tensor, angle: Tensor) -> Tensor:
        c, s = torch.cos(angle), torch.sin(angle)
        x, y = xy[:, :1], xy[:, 1:]
        return torch.cat([c * x - s * y, s * x + c * y], 1)

    def cells(self, xy: Tensor, size: Tensor) -> tuple[Tensor, Tensor]:
        """Random value per cell and distance from the cell's border (0 at it, about 1 within) of cells of `size` mm."""
        both = self._sample(self.cell_bank, xy * (16 / size), nearest=True)
        return both[:, :1], both[:, 1:]

    # ---- floors: (xy (n, 2, h, w) mm, mm_px (n, 1, 1, 1)) -> sRGB (n, 3, h, w)
    def concrete(self, xy: Tensor, mm: Tensor) -> Tensor:
        n = len(xy)
        c = self.pick(
            n,
            [(140, 140, 138), (165, 162, 155), (110, 112, 115), (185, 180, 170), (90, 92, 95), (150, 140, 125)],
            0.015,
        )
        v = (
            1
            + self.u(n, 0.02, 0.11) * self.fbm(xy, mm, self.u(n, 300, 900), 6, 0.72)
            + self.u(n, 0.0, 0.07) * self.noise(xy, mm, 5.0)
        )
        crack = self.fbm(xy, mm, self.u(n, 700, 1600), 5, 0.5).abs() / (0.02 * self.u(n, 0.2, 0.8))
        where = (self.noise(xy, mm, 1500) > self.u(n, 0.3, 1.2)).float() * self.often(n, 0.5)
        v = v * (1 - 0.5 * where * (1 - crack).clamp(0, 1))
        pits = (self.noise(xy, mm, 9.0) > self.u(n, 2.4, 3.5)).float()
        out = c * v * (1 - 0.4 * pits)
        joint = self._lines(xy, mm, self.u(n, 1500, 4000), self.u(n, 3, 8)) * self.often(n, 0.2)
        return out * (1 - 0.5 * joint)

    def _lines(self, xy: Tensor, mm: Tensor, pitch: Tensor, width: Tensor) -> Tensor:
        """Parallel lines along y every `pitch` mm, soft by the pixel."""
        n = len(xy)
        d = ((torch.remainder(xy[:, :1] + pitch * self.u(n), pitch)) - pitch / 2).abs()
        soft = mm.clamp(min=0.3)
        return ((width / 2 - d) / soft + 0.5).clamp(0, 1) * (width / soft).clamp(max=1)

    def _hash(self, i: Tensor, j: Tensor, salt: Tensor) -> Tensor:
        return torch.frac((torch.sin(i * 12.9898 + j * 78.233 + salt) * 43758.5453).abs())

    WOODS = (
        (200, 160, 110), (180, 135, 85), (150, 105, 65), (110, 70, 45), (75, 48, 32), (215, 185, 140), (160, 150, 140), (190, 120, 70), (225, 205, 170), (130, 80, 50), (95, 75, 60), (55, 38, 30),
    )  # fmt: skip

    def _grain(self, uv: Tensor, mm: Tensor, n: int) -> Tensor:
        fine = self.fbm(uv, mm, self.u(n, 4, 12), 3, 0.7, stretch=self.u(n, 15, 60))
        broad = self.fbm(uv, mm, self.u(n, 25, 80), 2, 0.6, stretch=self.u(n, 8, 30))
        return self.u(n, 0.02, 0.14) * fine + self.u(n, 0.02, 0.1) * broad

    def planks(self, xy: Tensor, mm: Tensor) -> Tensor:
        n = len(xy)
        uv = self.turn(xy, self.u(n, 0, math.pi))
        width, length = self.log_u(n, 55, 240), self.log_u(n, 350, 3000)
        salt = self.u(n, 0, 100)
        i = torch.floor(uv[:, :1] / width)
        shift = self._hash(i, i * 0, salt) * length
        v = uv[:, 1:] + shift
        j = torch.floor(v / length)
        tone = self._hash(i, j, salt + 3) - 0.5
        tone2 = self._hash(i, j, salt + 9) - 0.5
        c = self.pick(n, list(self.WOODS), 0.02)
        local = torch.cat([uv[:, :1] + 977 * tone, uv[:, 1:] + 3000 * tone2], 1)
        out = c * (1 + self.u(n, 0.0, 0.55) * tone + self._grain(local, mm, n))
        out = out * (
            1 + self.u(n, 0, 0.15) * tone2 * torch.tensor([1.0, 0.2, -0.8], device=self.device)[None, :, None, None]
        )
        du = torch.minimum(torch.remainder(uv[:, :1], width), width - torch.remainder(uv[:, :1], width))
        dv = torch.minimum(torch.remainder(v, length), length - torch.remainder(v, length))
        gap = self.u(n, 0.3, 3.0)
        soft = mm.clamp(min=0.3)
        line = ((gap / 2 - torch.minimum(du, dv)) / soft + 0.5).clamp(0, 1) * (gap / soft).clamp(max=1)
        return out * (1 - self.u(n, 0.2, 0.85) * line)

    def plywood(self, xy: Tensor, mm: Tensor) -> Tensor:
        n = len(xy)
        uv = self.turn(xy, self.u(n, 0, math.pi))
        c = self.pick(
            n,
            [
                (205, 170, 120),
                (190, 150, 100),
                (220, 190, 145),
                (170, 125, 80),
                (150, 110, 70),
                (200, 180, 150),
                (165, 135, 85),
            ],
            0.02,
        )
        field = self.noise(uv, mm, self.u(n, 200, 600), self.u(n, 2, 8)) * self.u(n, 0.5, 3) + uv[:, :1] / self.u(
            n, 100, 600
        )
        field = field + 0.15 * self.fbm(uv, mm, 80.0, 3, 0.6, stretch=10.0)
        ring = torch.frac(field * self.u(n, 2, 7) + 100)
        sharp = self.u(n, 1, 4)
        v = 1 + self.u(n, 0.02, 0.2) * (0.5 - ring**sharp) + self._grain(uv, mm, n)
        seam = self._lines(uv, mm, self.u(n, 900, 2500), self.u(n, 1, 5)) * self.often(n, 0.5)
        knots = (self.noise(uv, mm, 240.0, 1.5) - self.u(n, 1.8, 3)).clamp(0, 0.5)
        return c * v * (1 - 0.6 * seam) * (1 - knots)

    def tile(self, xy: Tensor, mm: Tensor) -> Tensor:
        n = len(xy)
        uv = self.turn(xy, self.u(n, 0, math.pi))
        a = self.log_u(n, 90, 700)
        b = torch.where(self.u(n) < 0.7, a, a * self.u(n, 0.3, 0.7))
        brick = self.often(n, 0.25)
        salt = self.u(n, 0, 100)
        j = torch.floor(uv[:, 1:] / b)
        u = uv[:, :1] + brick * torch.remainder(j, 2) * a / 2
        i = torch.floor(u / a)
        tone = self._hash(i, j, salt) - 0.5
        c = self.pick(
            n,
            [
                (200, 198, 190),
                (150, 150, 150),
                (225, 222, 215),
                (110, 115, 125),
                (180, 160, 135),
                (165, 95, 70),
                (60, 62, 66),
                (205, 190, 165),
                (120, 130, 120),
                (140, 70, 50),
                (235, 235, 232),
                (100, 105, 112),
            ],
        )
        local = torch.cat([uv[:, :1] + 1777 * tone, uv[:, 1:]], 1)
        v = 1 + self.u(n, 0, 0.25) * tone + self.u(n, 0.0, 0.1) * self.fbm(local, mm, self.u(n, 120, 400), 5, 0.6)
        vein = (1 - self.fbm(local, mm, self.u(n, 150, 500), 4, 0.6).abs() / 0.12).clamp(0, 1) * self.often(n, 0.25)
        v = v * (1 - self.u(n, 0, 0.35) * vein)
        du = torch.minimum(torch.remainder(u, a), a - torch.remainder(u, a))
        dv = torch.minimum(torch.remainder(uv[:, 1:], b), b - torch.remainder(uv[:, 1:], b))
        grout = self.u(n, 1.5, 12)
        soft = mm.clamp(min=0.3)
        line = ((grout / 2 - torch.minimum(du, dv)) / soft + 0.5).clamp(0, 1) * (grout / soft).clamp(max=1)
        g = self.pick(n, [(70, 70, 72), (120, 118, 112), (190, 188, 180), (50, 46, 42)])
        other = self.pick(n, [(60, 60, 65), (230, 228, 220), (150, 80, 60)])
        chequer = self.often(n, 0.08) * (torch.remainder(i + j, 2) > 0.5).float()
        out = (c * (1 - chequer) + other * chequer) * v
        return out * (1 - line) + g * line * (1 + 0.1 * self.noise(xy, mm, 12.0))

    def grass(self, xy: Tensor, mm: Tensor) -> Tensor:
        n = len(xy)
        green = self.pick(n, [(70, 100, 40), (90, 120, 45), (55, 85, 35), (110, 125, 60), (130, 125, 75), (60, 90, 50)])
        straw = self.pick(n, [(170, 155, 90), (150, 150, 80), (120, 140, 60), (190, 170, 120)])
        out = green * self.u(n, 0.12, 0.5) * (1 + 0.3 * self.noise(xy, mm, 30.0))
        patch = self.fbm(xy, mm, self.u(n, 200, 700), 4, 0.7)
        cover = self.u(n, -0.2, 0.8)
        for k in range(7):
            w = self.u(n, 3, 7)
            s = self.noise(self.turn(xy, self.u(n, 0, math.pi)), mm, w, self.u(n, 7, 18))
            a = ((s - cover) * 3).clamp(0, 1)
            mix = self.u(n) ** 2 * 0.8
            c = (green * (1 - mix) + straw * mix) * (0.6 + 0.12 * k) * (1 + 0.25 * patch + 0.25 * s)
            out = out * (1 - a) + c * a
        dry = (patch - self.u(n, 0.8, 2)).clamp(0, 1) * self.often(n, 0.4)
        return out * (1 - dry) + straw * 0.8 * dry * (1 + 0.2 * self.noise(xy, mm, 10.0))

    def carpet(self, xy: Tensor, mm: Tensor) -> Tensor:
        n = len(xy)
        uv = self.turn(xy, self.u(n, 0, math.pi))
        c = self.any_colour(n)
        d = torch.where(self.u(n) < 0.5, self.any_colour(n), (c * (1 + self.normal(n, 0.3))).clamp(0, 1))
        x = uv[:, :1]
        pitch = self.log_u(n, 40, 600)
        stripe = torch.frac((x / pitch).abs())
        a = ((stripe > 0.3) & (stripe < 0.3 + 0.3 * self.u(n))).float() + ((stripe > 0.75) & (stripe < 0.8)).float()
        v2 = torch.frac((uv[:, 1:] / pitch).abs())
        check = a * (v2 > 0.5).float()
        motif = (self.noise(uv, mm, pitch, 1.0) > self.u(n, -0.3, 1.2)).float()
        choice = self.u(n)
        pattern = torch.where(
            choice < 0.45, a, torch.where(choice < 0.55, check, torch.where(choice < 0.7, motif, torch.zeros_like(a)))
        )
        out = c * (1 - pattern) + d * pattern
        weave = self.u(n, 2, 7)
        rib = (
            torch.sin(uv[:, :1] * 2 * math.pi / weave)
            * torch.sin(uv[:, 1:] * 2 * math.pi / weave)
            * (weave / mm / 4 - 0.5).clamp(0, 1)
        )
        v = (
            1
            + self.u(n, 0, 0.25) * rib
            + self.u(n, 0.03, 0.25) * self.noise(xy, mm, self.u(n, 3, 9))
            + self.u(n, 0, 0.12) * self.fbm(xy, mm, 300.0, 4, 0.6)
        )
        return out * v

    def gravel(self, xy: Tensor, mm: Tensor) -> Tensor:
        n = len(xy)
        c = self.pick(
            n,
            [
                (130, 125, 118),
                (90, 90, 92),
                (60, 60, 62),
                (170, 160, 145),
                (150, 120, 95),
                (45, 46, 48),
                (190, 188, 182),
            ],
        )
        out = torch.ones_like(xy[:, :1])
        for size in (self.log_u(n, 9, 45), self.log_u(n, 5, 14)):
            value, border = self.cells(xy + 2 * self.noise(xy, mm, 15.0), size)
            keep = (size / mm / 3 - 0.6).clamp(0, 1)
            out = out * (
                1
                + keep * (self.u(n, 0.2, 0.9) * (value - 0.5) - self.u(n, 0.2, 0.7) * (1 - (border * 2.5).clamp(0, 1)))
            )
        v = out * (1 + 0.12 * self.fbm(xy, mm, 300.0, 4, 0.6) + 0.1 * self.noise(xy, mm, 4.0))
        warm = self.noise(xy, mm, 18.0)
        return (
            c
            * v
            * (1 + self.u(n, 0, 0.08) * warm * torch.tensor([1.0, 0.0, -1.0], device=self.device)[None, :, None, None])
        )

    def asphalt(self, xy: Tensor, mm: Tensor) -> Tensor:
        n = len(xy)
        c = self.pick(n, [(70, 70, 72), (50, 51, 54), (95, 94, 92), (38, 38, 40), (80, 78, 76)], 0.01)
        value, border = self.cells(xy, self.u(n, 4, 10))
        grit = ((value - 0.5) - 0.5 * (1 - (border * 3).clamp(0, 1))) * (8 / mm / 3 - 0.5).clamp(0, 1)
        v = (
            1
            + self.u(n, 0.2, 0.8) * grit
            + self.u(n, 0.04, 0.15) * self.fbm(xy, mm, 500.0, 6, 0.7)
            + self.u(n, 0, 0.3) * self.noise(xy, mm, 6.0)
        )
        return c * v

    def cloth(self, xy: Tensor, mm: Tensor) -> Tensor:
        n = len(xy)
        uv = self.turn(xy, self.u(n, 0, math.pi))
        white = self.pick(n, [(235, 233, 228), (215, 212, 205), (240, 238, 236)], 0.01)
        c = torch.where(self.u(n) < 0.4, white, self.any_colour(n))
        d = self.any_colour(n)
        pitch = self.log_u(n, 12, 200)
        s = (torch.frac((uv[:, :1] / pitch).abs()) < 0.5).float()
        t = (torch.frac((uv[:, 1:] / pitch).abs()) < 0.5).float()
        k = self.u(n)
        a = torch.where(k < 0.12, s, torch.where(k < 0.25, 0.5 * s + 0.5 * t, torch.zeros_like(s)))
        out = c * (1 - a) + d * a
        folds = self.fbm(uv, mm, self.u(n, 100, 400), 3, 0.5, stretch=self.u(n, 2, 8))
        crease = (1 - self.noise(self.turn(uv, self.u(n, 0, 3)), mm, self.u(n, 200, 700), 2.0).abs() / 0.08).clamp(0, 1)
        v = (
            1
            + self.u(n, 0.02, 0.16) * folds
            + self.u(n, -0.2, 0.15) * crease
            + self.u(n, 0, 0.08) * self.noise(xy, mm, 4.0)
        )
        return out * v

    def earth(self, xy: Tensor, mm: Tensor) -> Tensor:
        n = len(xy)
        c = self.pick(
            n,
            [
                (190, 165, 125),
                (150, 120, 85),
                (110, 85, 60),
                (210, 190, 155),
                (85, 70, 55),
                (140, 110, 90),
                (230, 215, 185),
            ],
        )
        v = (
            1
            + self.u(n, 0.05, 0.25) * self.fbm(xy, mm, self.u(n, 100, 600), 6, 0.75)
            + self.u(n, 0.02, 0.2) * self.noise(xy, mm, self.u(n, 3, 8))
        )
        ripple = torch.sin(xy[:, :1] / self.u(n, 8, 30) + 2 * self.noise(xy, mm, 300.0)) * self.often(n, 0.3)
        out = c * (v + 0.08 * ripple)
        leaf = (
            self.noise(self.turn(xy, self.u(n, 0, 3)), mm, self.u(n, 25, 70), self.u(n, 1, 5)) > self.u(n, 1.6, 3)
        ).float()
        return out * (1 - leaf) + self.pick(n, [(120, 90, 50), (90, 100, 50), (60, 45, 35), (170, 140, 90)]) * leaf * v

    def pavers(self, xy: Tensor, mm: Tensor) -> Tensor:
        n = len(xy)
        uv = self.turn(xy, self.u(n, 0, math.pi)) + 3 * self.noise(xy, mm, 60.0)
        a, b = self.u(n, 180, 250), self.u(n, 60, 120)
        salt = self.u(n, 0, 100)
        j = torch.floor(uv[:, 1:] / b)
        u = uv[:, :1] + torch.remainder(j, 2) * a / 2
        i = torch.floor(u / a)
        tone = self._hash(i, j, salt) - 0.5
        c = self.pick(n, [(150, 75, 55), (170, 100, 75), (130, 125, 120), (110, 60, 48), (185, 150, 115), (95, 92, 90)])
        v = 1 + self.u(n, 0.1, 0.6) * tone + self.u(n, 0.05, 0.2) * self.fbm(xy, mm, 60.0, 5, 0.75)
        du = torch.minimum(torch.remainder(u, a), a - torch.remainder(u, a))
        dv = torch.minimum(torch.remainder(uv[:, 1:], b), b - torch.remainder(uv[:, 1:], b))
        gap = self.u(n, 3, 12)
        line = ((gap / 2 - torch.minimum(du, dv)) / mm.clamp(min=0.3) + 0.5).clamp(0, 1)
        g = self.pick(n, [(60, 56, 52), (150, 145, 135), (110, 100, 88)])
        return c * v * (1 - line) + g * (1 + 0.15 * self.noise(xy, mm, 8.0)) * line

    def even(self, xy: Tensor, mm: Tensor) -> Tensor:
        n = len(xy)
        c = self.any_colour(n)
        chips, _ = self.cells(xy, self.log_u(n, 6, 40))
        terrazzo = (chips > self.u(n, 0.5, 0.95)).float() * self.often(n, 0.35)
        d = self.any_colour(n)
        v = (
            1
            + self.u(n, 0, 0.08) * self.fbm(xy, mm, self.log_u(n, 20, 600), 5, 0.7)
            + self.u(n, 0, 0.06) * self.noise(xy, mm, 5.0)
        )
        return (c * (1 - terrazzo) + (0.5 * c + 0.5 * d) * terrazzo) * v

    def anything(self, xy: Tensor, mm: Tensor) -> Tensor:
        """A texture of nothing in particular: two colours mixed by stretched noise at several scales."""
        n = len(xy)
        uv = self.turn(xy, self.u(n, 0, math.pi))
        a = self.fbm(uv, mm, self.log_u(n, 10, 500), 5, 0.8, stretch=self.log_u(n, 1, 20))
        k = self.log_u(n, 0.5, 8)
        m = torch.sigmoid(k * (a + self.normal(n, 0.5)))
        c = self.any_colour(n)
        d = (c + self.normal(n, 0.12, 1) + self.normal(n, 0.05, 3)).clamp(0.01, 0.98)
        return (c * m + d * (1 - m)) * (1 + self.u(n, 0, 0.15) * self.noise(xy, mm, self.log_u(n, 3, 20)))

    FLOORS: tuple[str, ...] = (
        "concrete",
        "planks",
        "plywood",
        "tile",
        "grass",
        "carpet",
        "gravel",
        "asphalt",
        "cloth",
        "earth",
        "pavers",
        "even",
        "anything",
    )
    FLOOR_ODDS = (0.11, 0.16, 0.1, 0.11, 0.09, 0.1, 0.07, 0.05, 0.07, 0.05, 0.03, 0.03, 0.03)

    # ---- colours
    COATS = (
        (190, 150, 95), (200, 165, 110), (170, 130, 80), (205, 180, 140), (150, 110, 65), (180, 140, 105), (165, 120, 85), (120, 75, 45), (90, 55, 38), (60, 40, 32), (40, 32, 30), (28, 27, 28), (230, 225, 215), (215, 210, 205), (240, 235, 222), (130, 60, 38), (150, 80, 50), (110, 50, 35), (195, 155, 120), (180, 120, 75), (140, 130, 120), (100, 95, 92), (160, 150, 140), (210, 120, 60), (195, 110, 55),
    )  # fmt: skip

    def any_colour(self, n: int) -> Tensor:
        """Any floor-cloth colour, mostly dull."""
        grey = self.u(n, 0.06, 0.92)
        return (grey + self.normal(n, 0.06, 3) * self.u(n, 0.1, 1.3) * (0.3 + grey)).clamp(0.02, 0.97)

    def coat(self, xy: Tensor, mm: Tensor, local: Tensor, length: Tensor, inner: Tensor, floor_mean: Tensor) -> Tensor:
        """The hide's own colour (n, 3, h, w). local: hide frame, mm; inner: 0 at the rim to 1 well inside."""
        n = len(xy)
        hair = self.often(n, 0.38)
        spotted = hair * self.often(n, 0.7)
        base = self.pick(n, list(self.COATS))
        dyed = self.often(n, 0.0 if self.everyday else 0.06)
        base = base * (1 - dyed) + (self.u(n, 0.1, 0.6) + self.normal(n, 0.15, 3)).clamp(0.02, 0.9) * dyed
        near = self.often(n, 0.36)
        like = (floor_mean * (1 + self.normal(n, 0.1)) + self.normal(n, 0.03, 3)).clamp(0.015, 0.97)
        base = base * (1 - near) + like * near
        # second and third colour of hair patches, sometimes the floor's own
        second = self.pick(
            n,
            [(235, 230, 220), (30, 26, 24), (120, 60, 35), (80, 50, 35), (200, 190, 175), (60, 55, 52), (150, 90, 55)],
        )
        take = self.often(n, 0.25)
        second = second * (1 - take) + (floor_mean * (1 + self.normal(n, 0.15))).clamp(0.01, 0.97) * take
        flow = self.turn(local, self.normal(n, 0.3) + 0.0)
        drift = 0.15 * self.noise(local, mm, 400.0)
        flow = flow + torch.cat([drift * 60, torch.zeros_like(drift)], 1)
        strands = self.fbm(flow, mm, self.u(n, 3, 7), 3, 0.8, stretch=self.u(n, 5, 14))
        jag = self.u(n, 1, 14) * self.noise(flow, mm, self.u(n, 5, 14), 5.0)
        field = self.fbm(local + torch.cat([torch.zeros_like(jag), jag], 1), mm, self.log_u(n, 90, 700), 4, 0.5)
        hard = self.log_u(n, 8, 80)
        patch = torch.sigmoid(hard * (field + self.normal(n, 0.5))) * spotted
        x = local[:, :1] / length
        brindle = (
            torch.sigmoid(6 * (torch.sin(local[:, 1:] / self.u(n, 14, 40) + 2.5 * self.noise(local, mm, 150.0)) - 0.3))
            * hair
            * self.often(n, 0.0 if self.everyday else 0.08)
        )
        colour = base * (1 - patch) + second * patch
        colour = colour * (1 - brindle * self.u(n, 0.2, 0.7))
        # mottling, stripe down the back, lighter or darker belly
        mottle = self.fbm(local, mm, self.log_u(n, 60, 500), 5, 0.65)
        tint = self.fbm(local, mm, self.log_u(n, 80, 500), 3, 0.6)
        amount = 0.18 * self.u(n) ** 2 * (1 - 0.5 * hair)
        stripe = torch.exp(-((x + 0.01 * mottle) ** 2) / (2 * self.log_u(n, 0.015, 0.15) ** 2))
        stripe = stripe * torch.exp(-((local[:, 1:] / length - self.u(n)) ** 2) / (2 * self.u(n, 0.2, 0.9) ** 2))
        v = (
            1
            + amount * mottle
            + self.normal(n, 0.22) * self.often(n, 0.6) * stripe
            + self.normal(n, 0.12) * (1 - inner)
        )
        warm = torch.tensor([1.0, 0.1, -1.0], device=self.device)[None, :, None, None]
        colour = colour * v * (1 + (0.04 if self.everyday else 0.1) * self.u(n) ** 2 * tint * warm)
        # nap, grain, hair
        nap = self.u(n, 0, 0.12) * self.noise(local, mm, self.u(n, 2.5, 9)) + self.u(n, 0, 0.08) * self.noise(
            local, mm, self.u(n, 8, 25)
        )
        colour = colour * (1 + (1 - hair) * nap + hair * self.u(n, 0.04, 0.2) * strands)
        crack = (1 - self.fbm(local, mm, self.u(n, 8, 40), 2).abs() / 0.3).clamp(0, 1) * self.often(n, 0.2)
        return colour * (1 - self.u(n, 0, 0.25) * crack)

    # ---- helpers on stencils
    def moved(self, mask: Tensor, dx: Tensor, dy: Tensor) -> Tensor:
        """The mask shifted by (dx, dy) px, each (n, 1, 1, 1) or (n, 1, h, w)."""
        h, w = mask.shape[-2:]
        ys, xs = torch.meshgrid(torch.arange(h, device=self.device), torch.arange(w, device=self.device), indexing="ij")
        gx = (xs[None, None] - dx) / (w - 1) * 2 - 1
        gy = (ys[None, None] - dy) / (h - 1) * 2 - 1
        grid = torch.stack(torch.broadcast_tensors(gx, gy), -1)[:, 0].expand(len(mask), h, w, 2)
        return functional.grid_sample(mask, grid, padding_mode="border", align_corners=True)

    def blurred(self, image: Tensor, sigma_px: Tensor) -> Tensor:
        """Gaussian blur by a sigma of its own per sample (n, 1, 1, 1), through levels of a pyramid.

        A pixel of a level is the mean of 4 x 4 of the level below, centred on the middle two: where bilinear
        interpolation puts it back. A window of 3 would shift the picture by half a pixel a level.
        """
        levels = [image]
        small = image
        for _ in range(5):
            if min(small.shape[-2:]) < 8:
                break
            small = functional.avg_pool2d(functional.pad(small, (1, 1, 1, 1), mode="replicate"), 4, 2)
            levels.append(small)
        sigmas = [0.0, 1.2, 2.6, 5.2, 10.4, 20.8]
        out = levels[-1]
        for k in range(len(levels) - 2, -1, -1):
            part = ((sigma_px - sigmas[k]) / (sigmas[k + 1] - sigmas[k])).clamp(0, 1)
            up = functional.interpolate(out, size=levels[k].shape[-2:], mode="bilinear", align_corners=False)
            out = levels[k] + (up - levels[k]) * part
        return out

    def soiled(self, skin: Tensor, layer: dict[str, Tensor], xy: Tensor, mm: Tensor) -> tuple[Tensor, Tensor]:
        """The skin with stains, brands and scratches; and whether each of them shows, (n, 3, 1, 1)."""
        n, px = len(skin), 1 / mm
        clean = skin
        # stains: mostly darker and a little off the skin's hue, some paler, some opaque, with or without a tide line
        shape = self.blurred(layer["stains"], self.u(n, 0, 8) * self.u(n) * px)
        spots = (1 + self.u(n, 0, 0.6) * self.fbm(xy, mm, self.log_u(n, 8, 60), 4, 0.7)).clamp(0, 1.5)
        tide = 1 + self.often(n, 0.35) * self.u(n, 0, 1.2) * (4 * shape * (1 - shape)).clamp(0, 1)
        strength = self.u(n, 0.25, 1)
        amount = (shape * strength * spots * tide).clamp(0, 1)
        opaque = self.pick(
            n,
            [(50, 35, 28), (90, 60, 40), (30, 28, 28), (200, 190, 170), (120, 85, 60), (150, 60, 50), (140, 110, 85)],
        )
        darker = skin * (self.u(n, 0.25, 0.8) * (1 + self.normal(n, 0.1, 3))).clamp(0.1, 0.95)
        paler = skin + (1 - skin) * self.u(n, 0.2, 0.6)
        kind = self.u(n)
        stain = torch.where(kind < 0.55, darker, torch.where(kind < 0.85, 0.5 * opaque + 0.5 * darker, paler))
        skin = skin * (1 - amount) + stain * amount
        shows = [self._shows(clean, skin, layer["stains"], 0.35)]
        clean = skin
        # brands: burned dark, healed pale, or another colour of hair; one tone, smoother than what surrounds it
        shape = self.blurred(layer["brands"], self.u(n, 0, 1.5) * px)
        strength = self.u(n, 0.4, 1)
        amount = (shape * strength * (1 + 0.15 * self.fbm(xy, mm, 12.0, 3, 0.6))).clamp(0, 1)
        even = self.blurred(skin, 10 * px)
        white = self.pick(n, [(235, 230, 220), (215, 205, 190), (245, 240, 235)])
        bare = self.pick(n, [(150, 110, 80), (90, 60, 45), (190, 150, 120), (60, 45, 40)])
        dark, pale = even * self.u(n, 0.2, 0.8), even + (1 - even) * self.u(n, 0.08, 0.5)
        kind = self.u(n)
        brand = torch.where(
            kind < 0.45,
            dark,
            torch.where(kind < 0.65, pale, torch.where(kind < 0.82, white.expand_as(even), bare.expand_as(even))),
        )
        skin = skin * (1 - amount) + brand * amount
        shows.append(self._shows(clean, skin, layer["brands"], 0.7))
        clean = skin
        # scratches: open and dark, or healed and pale; the faintest are nothing that anybody would mark
        shape = layer["scratches"] * (0.8 + 0.3 * self.noise(xy, mm, 25.0)).clamp(0, 1)
        strength = self.u(n, 0.05, 0.9)
        scratch = torch.where(self.u(n) < 0.55, skin * self.u(n, 0.2, 0.7), (skin * 1.5 + 0.1).clamp(0, 1))
        skin = skin * (1 - shape * strength) + scratch * shape * strength
        shows.append(self._shows(clean, skin, layer["scratches"], 1.0))
        return skin, torch.cat(shows, 1)

    LEAST_CHANGE = 0.045
    """A change of tone (of 1, sRGB) under this is nothing that a person would swear to."""

    def _shows(self, before: Tensor, after: Tensor, where: Tensor, over_texture: float) -> Tensor:
        """Whether a change stands out: by itself and over the texture under it, 0 or 1, (n, 1, 1, 1)."""
        area = where.sum((2, 3), keepdim=True).clamp(min=1)
        change = (((after - before) * where).sum((2, 3), keepdim=True) / area).abs().amax(1, keepdim=True)
        texture = before - self.blurred(before, torch.full_like(change, 6.0))
        spread = ((texture**2 * where).sum((2, 3), keepdim=True) / area).mean(1, keepdim=True).sqrt()
        return ((change > self.LEAST_CHANGE) & (change > over_texture * spread)).float()

    def paint(self, masks: Tensor, to_mm: Tensor, frame: Tensor, detail: bool) -> tuple[Tensor, Tensor, Tensor]:
        """Photos and truth of a batch of windows.

        Parameters
        ----------
        masks : (n, len(LAYERS), h, w) stencils, 0..1.
        to_mm : (n, 3, 3) pixels of the window to floor mm.
        frame : (n, 4) first hide: origin x, y in mm, angle, length in mm.
        detail : whether this is a fine window (then sharpening halos and JPEG are worth adding).

        Returns
        -------
        photo (n, 3, h, w) in 0..1; truth (n, len(TRUTH), h, w), coverage, see there; known (n, len(TRUTH), 1, 1): 0 where
        the picture shows too little of what the truth says.
        """
        n, _, h, w = masks.shape
        layer = {name: masks[:, i : i + 1] for i, name in enumerate(LAYERS)}
        ys, xs = torch.meshgrid(torch.arange(h, device=self.device), torch.arange(w, device=self.device), indexing="ij")
        p = torch.stack([xs, ys, torch.ones_like(xs)]).float().reshape(1, 3, -1)
        q = to_mm @ p
        xy = (q[:, :2] / q[:, 2:3]).reshape(n, 2, h, w)
        step = (xy[:, :, :, 1:] - xy[:, :, :, :-1]).norm(dim=1, keepdim=True)
        mm = step.mean((2, 3), keepdim=True)
        px = 1 / mm

        # floor
        kinds = torch.multinomial(
            torch.tensor(self.FLOOR_ODDS, device=self.device), n, replacement=True, generator=self.rng
        ).tolist()
        floor = torch.empty((n, 3, h, w), device=self.device)
        for k, name in enumerate(self.FLOORS):
            i = [j for j, kind in enumerate(kinds) if kind == k]
            if i:
                method: Callable[[Tensor, Tensor], Tensor] = getattr(self, name)
                floor[i] = method(xy[i], mm[i])
        if self.borrow:
            real = self.often(n, 0.5)
            floor = floor * (1 - real) + self.borrow.floors(n, (w, h)) * real
        floor = floor.clamp(0.004, 1)
        gloss = self.u(n, 0, 1) * self.often(n, 0.4)
        top = (layer["first"] + layer["others"]).clamp(0, 1)
        area = top.sum((2, 3), keepdim=True).clamp(min=1)
        mean = torch.where(area > 50, (floor * top).sum((2, 3), keepdim=True) / area, floor.mean((2, 3), keepdim=True))

        # silhouette: the face and the thickness seen beside it
        toward = self.u(n, 0, 2 * math.pi)
        thick = self.u(n, 0, 4.0) * self.u(n) * px
        lower = self.moved(top, thick * torch.cos(toward), thick * torch.sin(toward))
        hide = torch.maximum(top, lower)
        wall = (hide - top).clamp(0, 1)
        holes = layer["holes"] * top
        inner = (self.blurred(hide, 40 * px) * 2 - 1).clamp(0, 1)

        # the coat(s)
        c, s = torch.cos(frame[:, 2]).view(-1, 1, 1, 1), torch.sin(frame[:, 2]).view(-1, 1, 1, 1)
        dx, dy = xy[:, :1] - frame[:, 0].view(-1, 1, 1, 1), xy[:, 1:] - frame[:, 1].view(-1, 1, 1, 1)
        local = torch.cat([c * dx + s * dy, c * dy - s * dx], 1)
        length = frame[:, 3].view(-1, 1, 1, 1)
        skin = self.coat(xy, mm, local, length, inner, mean)
        two = torch.nonzero(layer["others"].amax((1, 2, 3)) > 0.5).flatten().tolist()
        if two:
            other = self.coat(xy[two], mm[two], local[two].flip(1), length[two], inner[two], mean[two])
            same = self.often(len(two), 0.4)
            o = layer["others"][two]
            skin[two] = skin[two] * (1 - o * (1 - same)) + other * o * (1 - same)
        if self.borrow:
            real = self.often(n, 0.25)
            skin = skin * (1 - real) + self.borrow.coats(n, (w, h)) * real
        skin, shows = self.soiled(skin, layer, xy, mm)

        # relief of the hide: broad folds, wrinkles, the wavy rim
        relief = self.u(n) ** 2 * self.fbm(local, mm, self.log_u(n, 150, 600), 3, 0.5, stretch=self.u(n, 0.4, 2.5))
        creased = self.often(n, 0.4) * self.u(n, 0, 1.2)
        relief = relief + creased * (
            1 - self.noise(self.turn(local, self.u(n, 0, 3)), mm, self.u(n, 150, 500), self.u(n, 1.5, 5)).abs() / 0.25
        ).clamp(0, 1)
        relief = relief + self.u(n, 0, 0.4) * self.noise(local, mm, self.u(n, 20, 70), self.u(n, 1, 4))
        # a brand is sunk in or stands up, a wrinkle is a fold that never lies flat
        relief = relief + self.normal(n, 0.6) * self.often(n, 0.6) * self.blurred(
            layer["brands"], self.u(n, 0.5, 2) * px
        )
        fold = self.u(n, 0.5, 2.5)
        relief = relief - fold * self.blurred(layer["wrinkles"], self.u(n, 1, 4) * px)
        lift = self.noise(xy, mm, self.u(n, 120, 400)).clamp(-1, 2) * 0.5 + 0.5
        relief = relief + self.u(n, -1, 1.5) * lift * self.blurred(1 - hide, self.u(n, 8, 30) * px)
        gy = relief - self.moved(relief, torch.zeros_like(px), torch.ones_like(px))
        gx = relief - self.moved(relief, torch.ones_like(px), torch.zeros_like(px))
        sun = self.u(n, 0, 2 * math.pi)
        slope = (gx * torch.cos(sun) + gy * torch.sin(sun)) * px * 12
        shade = (1 + self.u(n, 0, 0.7) * slope).clamp(0.3, 1.8)

        # linear light from here
        floor, skin = floor**2.2, skin.clamp(0.004, 1) ** 2.2
        skin = skin * shade
        rim_colour = torch.where(
            self.u(n) < 0.5,
            self.pick(n, [(215, 195, 165), (190, 160, 120), (235, 225, 210)]) ** 2.2,
            skin * self.u(n, 0.1, 0.8),
        )
        skin = skin * (1 - wall) + rim_colour * wall

        # light field
        lam = 1 + self.u(n, 0, 0.55) * self._ramp(n, h, w) + self.u(n, 0, 0.15) * self.noise(xy, mm, 900.0)
        window = self._spot(n, h, w, 0.5, 2.0)
        lam = lam * (1 + self.often(n, 0.35) * self.u(n, 0.2, 2.2) * window)
        lam = lam.clamp(min=0.15)
        cast = self.blurred(layer["shadow"], self.log_u(n, 0.3, 12) * px)
        cast_tint = (
            self.u(n, 0.12, 0.75)
            * (1 + torch.tensor([-0.12, 0.0, 0.2], device=self.device)[None, :, None, None] * self.u(n))
        ).clamp(0, 1)
        cast_mul = 1 - cast * (1 - cast_tint)

        # shadows of the rim on the floor: contact all round, cast to one side, wider where the rim is lifted
        contact = (
            self.blurred(hide, self.log_u(n, 1.5, 22) * px) * self.u(n, 0, 1.1) * (0.55 + 0.6 * lift).clamp(0, 1.3)
        )
        reach = self.u(n, 0, 16) * self.u(n) * (0.3 + lift.clamp(min=0)) * px
        thrown = self.moved(hide, -reach * torch.cos(sun), -reach * torch.sin(sun))
        thrown = self.blurred(thrown, self.log_u(n, 0.3, 4) * px) * self.often(n, 0.65)
        thrown_mul = 1 - thrown * (1 - cast_tint) * (1 - cast)
        under = (1 - contact.clamp(0, 0.93)) * thrown_mul
        floor_lit = floor * under

        # inside holes: floor, darker, and the wall on one side
        deep = self.moved(holes, reach * torch.cos(sun), reach * torch.sin(sun))
        hole_dark = self.u(n, 0.15, 1.0)
        small = self.blurred(holes, 6 * px)
        in_hole = floor * (hole_dark + (1 - hole_dark) * (small - 0.4).clamp(0, 1))
        in_hole = in_hole * (1 - (1 - deep).clamp(0, 1) * (1 - cast_tint * 0.6))
        far = self.moved(holes, -thick * torch.cos(toward), -thick * torch.sin(toward))
        in_hole = in_hole * far + rim_colour * 0.6 * (1 - far)
        ringed = (self.blurred(holes, 1.5 * px) - holes).clamp(0, 1) * self.normal(n, 0.5)
        skin = skin * (1 + ringed)
        # hair that stands over the skin's edge; the truth stays the skin's
        reach = self.u(n, 2, 26) * px * self.often(n, 0.12)
        strand = self.noise(self.turn(local, self.u(n, 0, 3)), mm, self.u(n, 3, 9), self.u(n, 2, 6))
        fringe = ((self.blurred(hide, reach) - 0.2 - 0.12 * strand) * 9).clamp(0, 1) * (1 - hide) * (reach > 0)
        seen = hide + fringe
        image = floor_lit * (1 - seen) + skin * seen
        image = image * (1 - holes) + in_hole.clamp(0, 2) * holes

        # paper and things lie on top, with their own small shadows
        paper, card_ink = layer["paper"], layer["ink"]
        image = image * (1 - 0.4 * (self.blurred(paper, 3 * px) - paper).clamp(0, 1))
        sheet_white = self.u(n, 0.55, 0.95)
        image = image * (1 - paper) + paper * (sheet_white * (1 - card_ink) + 0.015 * card_ink)
        things = layer["things"]
        image = image * (1 - 0.5 * (self.blurred(things, 8 * px) - things).clamp(0, 1))
        thing_colour = (
            torch.where(
                self.u(n) < 0.4,
                self.pick(n, [(225, 180, 150), (180, 130, 100), (110, 75, 55), (235, 200, 175)]),
                self.any_colour(n),
            )
            ** 2.2
        )
        image = image * (1 - things) + thing_colour * (1 + 0.3 * self.noise(xy, mm, 40.0)).clamp(0.3, 2) * things

        image = image * lam * cast_mul
        glare = self._spot(n, h, w, 0.03, 0.35) * self.often(n, 0.4) + self._spot(n, h, w, 0.02, 0.2) * self.often(
            n, 0.25
        )
        streak = (1 + 0.6 * self.noise(xy, mm, 250.0)).clamp(0, 2)
        shine = gloss * (1 - hide) + self.u(n, 0, 0.6) * self.often(n, 0.5) * hide * (0.6 + 0.8 * slope.clamp(-0.5, 1))
        image = image + glare * streak * shine.clamp(min=0) * self.u(n, 0.1, 0.9)
        vignette = 1 - self.u(n, 0, 0.3) * ((xs[None, None] / w - 0.5) ** 2 + (ys[None, None] / h - 0.5) ** 2) * 2
        balance = 1 + self.normal(n, 0.07, 3)
        image = image * vignette * balance

        # the camera: exposure, lens, noise, tone, sharpening, JPEG
        level = image.mean((1, 2, 3), keepdim=True).clamp(min=1e-3)
        exposure = torch.where(
            self.u(n) < (1.1 if self.everyday else 0.7), self.log_u(n, 0.1, 0.36) / level, self.log_u(n, 0.3, 1.4)
        )
        image = image * exposure
        image = self.blurred(image, self.u(n, 0, 1.0) * self.u(n, 0.3, 1.4 if detail else 0.8))
        smear = self.u(n, 0, 1.6) * self.often(n, 0.12)
        way = self.u(n, 0, math.pi)
        image = (
            0.5 * image
            + 0.25 * self.moved(image, smear * torch.cos(way), smear * torch.sin(way))
            + 0.25 * self.moved(image, -smear * torch.cos(way), -smear * torch.sin(way))
        )
        grain = torch.randn(image.shape, generator=self.rng, device=self.device)
        soft = functional.avg_pool2d(functional.pad(grain, (1, 1, 1, 1), mode="reflect"), 3, 1) * 3
        mix = self.u(n)
        strength = self.log_u(n, 0.001, 0.03 if detail and not self.everyday else 0.012)
        image = image.clamp(min=0) + strength * (image.clamp(0, 1) + 0.02).sqrt() * (grain * mix + soft * (1 - mix))
        image = image.clamp(1e-5, None)
        image = torch.where(self.u(n) < 0.5, image.clamp(max=1), 1 - torch.exp(-image * 1.2)) ** (
            1 / self.u(n, 1.8, 2.5)
        )
        contrast = self.u(n, 0, 0.35)
        image = image.clamp(0, 1)
        image = image * (1 - contrast) + contrast * image * image * (3 - 2 * image)
        grey = image.mean(1, keepdim=True)
        image = grey + (image - grey) * self.u(n, 0.5, 1.15)
        blur = self.blurred(image, torch.full_like(px, 1.0))
        image = image + self.u(n, 0, 0.9) * self.often(n, 0.6) * (image - blur)
        image = image.clamp(0, 1)
        if detail:
            image = self._jpeg(image, self.u(n, 0, 0.05) * self.often(n, 0.6))
        image = torch.nan_to_num(image, nan=0.5)
        cover = torch.maximum(paper, things)
        face = top * (1 - holes) * (1 - cover)  # what marks can be seen on
        truth = torch.cat(
            [
                hide,
                cover,
                holes * (1 - cover),
                layer["cuts"] * (1 - cover),
                layer["signs"] * face,
                layer["stains"] * face,
                layer["scratches"] * face,
                layer["wrinkles"] * face,
            ],
            1,
        )
        none = (truth[:, 4:7].amax((2, 3), keepdim=True) < 0.5).float()  # nothing there: that is known
        seen = torch.maximum(shows[:, [1, 0, 2]], none)
        fold_seen = (creased < 0.2).float()  # other folds of the hide look much the same
        known = torch.cat([torch.ones((n, 4, 1, 1), device=self.device), seen, fold_seen], 1)
        return (image * 255).round().clamp(0, 255) / 255, truth, known

    def _ramp(self, n: int, h: int, w: int) -> Tensor:
        a = self.u(n, 0, 2 * math.pi)
        ys, xs = torch.meshgrid(
            torch.linspace(-1, 1, h, device=self.device), torch.linspace(-1, 1, w, device=self.device), indexing="ij"
        )
        return torch.cos(a) * xs + torch.sin(a) * ys

    def _spot(self, n: int, h: int, w: int, low: float, high: float) -> Tensor:
        ys, xs = torch.meshgrid(
            torch.linspace(-1, 1, h, device=self.device), torch.linspace(-1, 1, w, device=self.device), indexing="ij"
        )
        cx, cy, r = self.u(n, -1.3, 1.3), self.u(n, -1.3, 1.3), self.u(n, low, high)
        d = ((xs - cx) ** 2 + (ys - cy) ** 2) / r**2
        return 1 / (1 + d) ** self.u(n, 1, 3)

    def _jpeg(self, image: Tensor, step: Tensor) -> Tensor:
        """Rounds 8 x 8 cosine coefficients: what JPEG does, without its tables."""
        n, ch, h, w = image.shape
        k = torch.arange(8, device=self.device, dtype=torch.float32)
        m = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) * 0.5
        m[0] *= math.sqrt(0.5)
        blocks = image.reshape(n, ch, h // 8, 8, w // 8, 8).permute(0, 1, 2, 4, 3, 5)
        f = m @ blocks @ m.T
        q = (step.view(-1, 1, 1, 1, 1, 1) * (1 + k[:, None] + k[None]) * 0.5).clamp(min=1e-4)
        f = torch.round(f / q) * q
        return (m.T @ f @ m).permute(0, 1, 2, 4, 3, 5).reshape(n, ch, h, w).clamp(0, 1)


def _noise_tiles(count: int, rng: np.random.Generator) -> np.ndarray:
    """Periodic smooth noise (count, 1, BANK + 1, BANK + 1), wavelength about 8 px, sd 1; last row and column repeat the first."""
    f = np.fft.fftfreq(BANK)
    r = np.hypot(f[:, None], f[None])
    band = np.exp(-(((r - 1 / 9) / 0.05) ** 2)) + 0.5 * np.exp(-((r / 0.07) ** 2))
    out = np.fft.ifft2(np.fft.fft2(rng.normal(size=(count, BANK, BANK))) * band).real
    out /= out.std((1, 2), keepdims=True)
    return np.pad(out, ((0, 0), (0, 1), (0, 1)), mode="wrap")[:, None].astype(np.float32)


def _cell_tiles(count: int, rng: np.random.Generator) -> np.ndarray:
    """Periodic cells (count, 2, CELLS + 1, CELLS + 1): a random value per cell; distance from the border in cell sizes."""
    from scipy.spatial import cKDTree

    out = np.zeros((count, 2, CELLS, CELLS), np.float32)
    y, x = np.mgrid[:CELLS, :CELLS]
    n = (CELLS // 16) ** 2
    for tile in out:
        d, i = cKDTree(rng.uniform(0, CELLS, (n, 2)), boxsize=CELLS).query(np.c_[x.ravel(), y.ravel()], k=2)
        tile[0] = rng.uniform(size=n)[i[:, 0]].reshape(CELLS, CELLS)
        tile[1] = ((d[:, 1] - d[:, 0]) / 8).clip(0, 1).reshape(CELLS, CELLS)
    return np.pad(out, ((0, 0), (0, 0), (0, 1), (0, 1)), mode="wrap")
