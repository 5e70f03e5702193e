"""Invented hides before and after a stretching with known strains, made by geometry alone.

The displacement is a shift, a turn, an even stretch and an uneven one of either of two kinds, a few long waves or
flanks, ends and spots that were worked more than the rest, so that the strain along and across lies between 0 and 15 %
and differs over the hide. Truth is taken from the field's own derivatives, written out by hand.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.random import Generator
from numpy.typing import NDArray
from shapely.geometry import Polygon

from tests.synthetic.hides import whole_hide

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Waves:
    """Long waves through the hide: sum of shape sin(k . x + phase) / |k|, one row a wave."""

    waves: Array
    phases: Array
    shape: Array

    def moved(self, at: Array) -> Array:
        size = np.linalg.norm(self.waves, axis=1)
        moved: Array = np.sin(at @ self.waves.T + self.phases) / size @ self.shape
        return moved

    def gradient(self, at: Array) -> Array:
        size = np.linalg.norm(self.waves, axis=1)
        slope = np.cos(at @ self.waves.T + self.phases) / size
        gradient: Array = np.einsum("nk,ki,kj->nij", slope, self.shape, self.waves)
        return gradient


@dataclass(frozen=True, eq=False)
class Worked:
    """Flanks that give otherwise than the back, one end otherwise than the other, and spots worked by hand.

    Across, the strain is flank (x / size)^2 from the back line, along it end y / size; a spot moves by
    shape (x - middle) exp(-r^2 / 2 reach^2), one row a spot.
    """

    size_mm: float
    flank: float
    end: float
    middles: Array
    reaches: Array
    shape: Array

    def moved(self, at: Array) -> Array:
        x, y = at.T / self.size_mm
        off = at[:, None] - self.middles
        fade = np.exp(-np.sum(off**2, axis=2) / (2 * self.reaches**2))
        even = self.size_mm * np.column_stack([self.flank * x**3 / 3, self.end * y**2 / 2])
        moved: Array = even + np.einsum("nk,ki,nki->ni", fade, self.shape, off)
        return moved

    def gradient(self, at: Array) -> Array:
        x, y = at.T / self.size_mm
        off = at[:, None] - self.middles
        fade = np.exp(-np.sum(off**2, axis=2) / (2 * self.reaches**2))
        inner = np.eye(2) - np.einsum("nki,nkj,k->nkij", off, off, self.reaches**-2)
        gradient: Array = np.einsum("nk,ki,nkij->nij", fade, self.shape, inner)
        gradient[:, 0, 0] += self.flank * x**2
        gradient[:, 1, 1] += self.end * y
        return gradient


@dataclass(frozen=True, eq=False)
class Pull:
    """A displacement field: d(x) = even x + an uneven part, each of its components times its own scale."""

    even: Array
    uneven: Waves | Worked
    scale: Array

    def moved(self, at: Array) -> Array:
        moved: Array = at + at @ self.even.T + self.uneven.moved(at) * self.scale
        return moved

    def gradient(self, at: Array) -> Array:
        """F = I + grad d at points, (N, 2, 2)."""
        gradient: Array = np.eye(2) + self.even + self.uneven.gradient(at) * self.scale[:, None]
        return gradient

    def stretch(self, at: Array) -> tuple[float, float]:
        """Mean strain along y and across (x): |F e| - 1, from the right Cauchy-Green tensor's diagonal."""
        F = self.gradient(at)
        C = np.einsum("nki,nkj->nij", F, F)
        return float(np.mean(np.sqrt(C[:, 1, 1]) - 1)), float(np.mean(np.sqrt(C[:, 0, 0]) - 1))


def random_waves(rng: Generator, size_mm: float) -> Waves:
    """Three waves one to three times as long as the hide is wide, in any direction."""
    angle, length = rng.uniform(0, 2 * np.pi, 3), size_mm * rng.uniform(1.0, 3.0, 3)
    waves = 2 * np.pi * np.column_stack([np.cos(angle), np.sin(angle)]) / length[:, None]
    return Waves(waves, rng.uniform(0, 2 * np.pi, 3), rng.normal(size=(3, 2)))


def random_work(rng: Generator, inside: Array, size_mm: float) -> Worked:
    """Two to four worked spots, from a hand's to an arm's reach, on a hide whose flanks and ends give unlike."""
    count = int(rng.integers(2, 5))
    reaches = size_mm * rng.uniform(0.15, 0.4, count)
    flank, end = float(rng.normal(0, 2.0)), float(rng.normal(0, 0.5))
    return Worked(size_mm, flank, end, rng.choice(inside, count), reaches, rng.normal(size=(count, 2)))


def random_pull(rng: Generator, inside: Array, size_mm: float, *, worked: bool, most: float = 0.15) -> Pull:
    """A field whose strains along and across stay within 0 and `most` over the points `inside`."""
    uneven = random_work(rng, inside, size_mm) if worked else random_waves(rng, size_mm)
    slope = uneven.gradient(inside)
    even, scale = np.zeros((2, 2)), np.zeros(2)
    for axis in (0, 1):
        varying = slope[:, axis, axis]
        low, high = np.sort(rng.uniform(0, most, 2))
        largest = np.abs(varying).max() if worked else np.abs(uneven.shape[:, axis]).max()
        scale[axis] = min((high - low) / max(np.ptp(varying), 1e-9), 0.05 / max(largest, 1e-9))
        spread = varying * scale[axis]
        even[axis, axis] = (low + high - spread.max() - spread.min()) / 2
    even[0, 1], even[1, 0] = rng.normal(0, 0.01, 2)
    return Pull(even, uneven, scale)


@dataclass(frozen=True, eq=False)
class Strained:
    """A hide before and after: rings and dots as two maps would hold them, in their hide frames."""

    first: Array
    second: Array
    dots: tuple[Array, Array]
    u_scale: float
    pull: Pull
    outline: Polygon
    length_mm: float


def inside_points(outline: Polygon, step: float) -> Array:
    """A grid of points well within an outline."""
    x0, y0, x1, y1 = outline.bounds
    gx, gy = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
    at = np.column_stack([gx.ravel(), gy.ravel()])
    return at[shapely.contains_xy(outline, at)]


def ragged(rng: Generator, ring: Array, u_mm: float, alike_mm: float = 50.0) -> Array:
    """The ring as seen: off across itself, alike over a length, and a little all round."""
    around = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))]
    knots = np.arange(0.0, around[-1], alike_mm)
    off = np.asarray(np.interp(around, np.r_[knots, around[-1] + 1], np.r_[rng.normal(0, u_mm, len(knots)), 0.0]))
    tangent = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    normal = np.column_stack([tangent[:, 1], -tangent[:, 0]]) / np.linalg.norm(tangent, axis=1)[:, None]
    seen: Array = ring + normal * (off + rng.normal(0, u_mm / 2))[:, None]
    return seen


def strained(
    rng: Generator, *, dots: int, dot_u_mm: float = 0.4, rim_u_mm: float = 1.0, worked: bool = False
) -> Strained:
    """A hide with about `dots` inked dots, pulled at random and mapped twice with errors."""
    hide = whole_hide(rng, str(rng.choice(["deer", "goat", "sheep", "calf"])))
    along = hide.neck_mm - hide.tail_mm
    up: Array = along / np.linalg.norm(along)
    ring = (hide.ring_mm - hide.tail_mm) @ np.column_stack([(up[1], -up[0]), up])
    outline = Polygon(ring)
    size = float(np.sqrt(outline.area))
    pull = random_pull(rng, inside_points(outline, 0.05 * size), size, worked=worked)
    inner = outline.buffer(-0.03 * size)
    step = float(np.sqrt(inner.area / max(dots, 1)))
    marks = inside_points(inner, step) if dots else np.empty((0, 2))
    marks = marks + rng.uniform(-0.25, 0.25, marks.shape) * step
    marks = marks[shapely.contains_xy(inner, marks)]
    u_scale = float(rng.uniform(0.0003, 0.0012))

    def as_mapped(points: Array, scale: Array, turn: float, shift: Array) -> Array:
        c, s = np.cos(turn), np.sin(turn)
        mapped: Array = (points * (1 + scale)) @ np.array([[c, s], [-s, c]]) + shift
        return mapped

    first_frame = rng.normal(0, u_scale, 2), 0.0, np.zeros(2)
    second_frame = rng.normal(0, u_scale, 2), rng.normal(0, np.deg2rad(1.0)), rng.normal(0, 6.0, 2)
    return Strained(
        as_mapped(ragged(rng, ring, rim_u_mm), *first_frame),
        as_mapped(ragged(rng, pull.moved(ring), rim_u_mm), *second_frame),
        (
            as_mapped(marks + rng.normal(0, dot_u_mm, marks.shape), *first_frame),
            as_mapped(pull.moved(marks) + rng.normal(0, dot_u_mm, marks.shape), *second_frame),
        ),
        u_scale,
        pull,
        outline,
        float(np.linalg.norm(along)),
    )
