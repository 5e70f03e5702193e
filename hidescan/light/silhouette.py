"""The hide in a backlit photo: the bright pane or table top, the dark hide on it, and the light holes in the hide."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points
from hidescan.basics.opencv import parts, points
from hidescan.settings import LightSettings

Light = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Backlit:
    """A backlit photo in a reduced copy.

    Attributes
    ----------
    light
        (H, W) light as a share of the sensor's range (sRGB's curve taken out), float32.
    cut_off
        (H, W) where a channel is at the end of its range.
    scale
        Size of the copy over the photo's.
    """

    light: Light
    cut_off: NDArray[np.bool_]
    scale: float


@dataclass(frozen=True, slots=True, eq=False)
class Silhouette:
    """The hide against the light, in the copy: its rim (N, 2) px, and masks of hide, of holes in it and of the pane."""

    ring_px: Points
    hide: NDArray[np.bool_]
    holes: NDArray[np.bool_]
    pane: NDArray[np.bool_]


def backlit(rgb: NDArray[np.uint8], settings: LightSettings) -> Backlit:
    """The light in a photo, (H, W, 3) sRGB, reduced. Red and green: blue hardly comes through leather."""
    scale = min(1.0, settings.copy_px / max(rgb.shape[:2]))
    size = (round(rgb.shape[1] * scale), round(rgb.shape[0] * scale))
    linear = _SRGB[rgb[..., 0]] * np.float32(0.5) + _SRGB[rgb[..., 1]] * np.float32(0.5)
    light = cv2.resize(linear, size, interpolation=cv2.INTER_AREA)
    full = ((rgb[..., 0] >= settings.saturated_value) | (rgb[..., 1] >= settings.saturated_value)).astype(np.uint8)
    cut_off = cv2.resize(full * np.uint8(255), size, interpolation=cv2.INTER_AREA) > 127
    return Backlit(np.asarray(light, dtype=np.float32), np.asarray(cut_off), scale)


def silhouette(seen: Backlit, settings: LightSettings) -> Silhouette | NotFound:
    """The hide: the largest dark part within the largest bright one."""
    log = np.log(np.maximum(cv2.GaussianBlur(seen.light, (0, 0), 1.0), 1e-4))
    # Light itself, not its logarithm: wall and hide are both dark beside a pane, however dark the wall is.
    grey = np.asarray(255 * seen.light / max(float(seen.light.max()), 1e-6), dtype=np.uint8)
    _, bright = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    labels, stats = parts(np.asarray(bright, dtype=np.uint8))
    if len(stats) < 2:
        return _NOTHING
    pane = labels == int(np.argmax(stats[1:, 4])) + 1
    filled = _filled(pane)
    dark_labels, dark = parts((filled & ~pane).astype(np.uint8))
    if len(dark) < 2 or dark[1:, 4].max() < settings.least_hide_share * filled.sum():
        return _NOTHING
    hide = dark_labels == int(np.argmax(dark[1:, 4])) + 1
    whole = _filled(hide)
    contours, _ = cv2.findContours(whole.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = points(max(contours, key=cv2.contourArea))
    return Silhouette(_at_edge(ring, log), whole, whole & ~hide, pane & ~whole)


def _at_edge(ring: Points, log: Light) -> Points:
    """The ring moved to where the light changes fastest across it, to a fraction of a pixel."""
    smooth = np.column_stack([np.convolve(np.r_[c[-4:], c, c[:4]], np.ones(9) / 9, "valid") for c in ring.T])
    along = np.roll(smooth, -2, axis=0) - np.roll(smooth, 2, axis=0)
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    reach = np.arange(-5.0, 5.01, 0.5)
    at = smooth[:, None] + reach[None, :, None] * normal[:, None]
    across = cv2.remap(log, at[..., 0].astype(np.float32), at[..., 1].astype(np.float32), cv2.INTER_LINEAR)
    slope = np.abs(np.diff(across, axis=1))
    slope = np.where(slope >= 0.5 * slope.max(axis=1, keepdims=True), slope, 0.0)
    middle = 0.5 * (reach[1:] + reach[:-1])
    off = (slope * middle).sum(axis=1) / np.maximum(slope.sum(axis=1), 1e-9)
    return np.asarray(smooth + off[:, None] * normal)


def _filled(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """A mask with what it encloses."""
    framed = np.pad(mask, 1).astype(np.uint8)
    cv2.floodFill(framed, None, (0, 0), 2)
    return np.asarray(framed[1:-1, 1:-1] != 2)


_NOTHING = NotFound(
    "no-silhouette",
    "No dark hide was found against a bright pane or table.",
    "Hold the hide flat against an evenly lit window or table, with light showing all round its rim.",
)
_VALUES = np.arange(256) / 255.0
# IEC 61966-2-1 (sRGB): from the picture's values to light.
_SRGB = np.where(_VALUES <= 0.04045, _VALUES / 12.92, ((_VALUES + 0.055) / 1.055) ** 2.4).astype(np.float32)
