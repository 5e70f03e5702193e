"""The light behind the hide: from a photo without it, else from what shines round it and through its holes."""

import cv2
import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import NotFound
from hidescan.light.silhouette import Backlit, Light, Silhouette
from hidescan.settings import LightSettings

Mask = NDArray[np.bool_]


def light_behind(
    seen: Backlit, hide: Silhouette, empty: Backlit | None, settings: LightSettings
) -> tuple[Light, float] | NotFound:
    """The light that would be seen without the hide, (H, W), and the standard uncertainty of its logarithm.

    Parameters
    ----------
    empty
        The same pane without the hide, from the same place; None where there is no such photo.
    """
    edge = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * settings.edge_px + 1,) * 2)
    bare = cv2.erode((hide.pane | hide.holes).astype(np.uint8), edge).astype(np.bool_)
    if bare.sum() < settings.least_bare_px:
        return NotFound(
            "no-surround",
            "Too little light shows round the hide to know what shines behind it.",
            "Leave a hand's breadth of lit pane free all round, or give a photo of it without the hide (--empty).",
        )
    if float(seen.cut_off[bare].mean()) > settings.most_cut_off:
        return NotFound(
            "overexposed",
            "The light round the hide is at the end of the sensor's range, so it cannot be measured.",
            "Take the photo again with less exposure: tap on the pane, then pull the brightness down.",
        )
    bare &= ~seen.cut_off
    log = np.log(np.maximum(seen.light, 1e-5))
    if empty is not None:
        return _from_empty(log, bare, empty, settings)
    return _fitted(log, bare, settings)


def _from_empty(log: Light, bare: Mask, empty: Backlit, settings: LightSettings) -> tuple[Light, float] | NotFound:
    if empty.light.shape != log.shape:
        return _MOVED
    without = np.log(np.maximum(cv2.GaussianBlur(empty.light, (0, 0), 2.0), 1e-5))
    ratio = (log - without)[bare & ~empty.cut_off]
    if not len(ratio):
        return _MOVED
    shift = float(np.median(ratio))  # the phone chose another exposure
    spread = float(1.4826 * np.median(np.abs(ratio - shift)))
    if spread > settings.most_empty_spread:
        return _MOVED
    return np.asarray(np.exp(without + shift), dtype=np.float32), float(np.hypot(spread, 0.5 * settings.field_u))


def _fitted(log: Light, bare: Mask, settings: LightSettings) -> tuple[Light, float]:
    """A polynomial in ln(light), fitted to the surround and the holes robustly; its spread tells its uncertainty."""
    h, w = log.shape
    ys, xs = np.nonzero(bare)
    step = max(1, len(xs) // settings.field_samples)
    xs, ys = xs[::step], ys[::step]
    terms = _terms(xs, ys, (w, h), settings.field_degree)
    values = log[ys, xs].astype(np.float64)
    weight = np.ones(len(values))
    for _ in range(5):
        lhs = terms * weight[:, None]
        normal = lhs.T @ terms + 1e-6 * len(values) * np.eye(terms.shape[1])
        coefficients = np.linalg.solve(normal, lhs.T @ values)
        left = values - terms @ coefficients
        spread = max(1.4826 * float(np.median(np.abs(left))), 1e-3)
        weight = 1.0 / (1.0 + (left / (2.5 * spread)) ** 2)
    gx, gy = np.meshgrid(np.arange(w), np.arange(h))
    field = _terms(gx.ravel(), gy.ravel(), (w, h), settings.field_degree) @ coefficients
    # Behind the hide the field is interpolated: as uncertain as it is where it was seen, and the settings' share.
    return np.asarray(np.exp(field.reshape(h, w)), dtype=np.float32), float(np.hypot(spread, settings.field_u))


def _terms(x: NDArray[np.intp], y: NDArray[np.intp], size: tuple[int, int], degree: int) -> NDArray[np.float64]:
    u, v = 2.0 * x / size[0] - 1.0, 2.0 * y / size[0] - size[1] / size[0]
    return np.column_stack([u**i * v**j for i in range(degree + 1) for j in range(degree + 1 - i)])


_MOVED = NotFound(
    "empty-differs",
    "The photo without the hide does not show the same pane from the same place.",
    "Put the phone on a stand and take both photos from there, or leave --empty away.",
)
