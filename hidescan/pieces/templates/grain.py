"""The grain line of a template: the longest straight stroke of ink on it, an arrow's shaft."""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from hidescan.basics.geometry import Points
from hidescan.camera.model import Camera
from hidescan.settings.uses import TemplateSettings


@dataclass(frozen=True, slots=True, eq=False)
class Grain:
    """An arrow in the floor frame, mm: its ends, (2,) each; the broader end is its head."""

    tail_mm: Points
    head_mm: Points


def find_grain(
    rgb: NDArray[np.uint8], camera: Camera, outline: Polygon, z_mm: float, settings: TemplateSettings
) -> Grain | None:
    """The arrow inked on a template.

    Parameters
    ----------
    outline
        The template in the floor frame.
    z_mm
        Height of its upper face.
    """
    import cv2

    inner = outline.buffer(-settings.ink_edge_mm)
    if inner.is_empty:
        return None
    x0, y0, x1, y1 = outline.bounds
    middle = camera.px_from_mm(np.array([[(x0 + x1) / 2, (y0 + y1) / 2]]), z_mm)
    mm = max(0.25, 0.8 * float(camera.mm_per_px(middle)[0]))
    x, y = np.meshgrid(np.arange(x0, x1, mm), np.arange(y0, y1, mm))
    px = camera.px_from_mm(np.column_stack([x.ravel(), y.ravel()]), z_mm).astype(np.float32).reshape(*x.shape, 2)
    view = cv2.remap(rgb, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    inside = shapely.contains_xy(inner, x, y)
    side = 2 * round(0.7 * settings.ink_most_mm / mm) + 1
    box = cv2.getStructuringElement(cv2.MORPH_RECT, (side, side))
    view = cv2.GaussianBlur(view, (0, 0), 0.6)
    strokes: list[tuple[float, Grain]] = []
    for hat in (cv2.MORPH_BLACKHAT, cv2.MORPH_TOPHAT):
        red, green, blue = cv2.split(cv2.morphologyEx(view, hat, box))
        contrast = cv2.max(cv2.max(red, green), blue).astype(np.float32)
        usual = float(np.median(contrast[inside])) if inside.any() else 0.0
        spread = 1.4826 * float(np.median(np.abs(contrast[inside] - usual))) if inside.any() else 0.0
        ink = (contrast > max(settings.ink_contrast, usual + settings.ink_sigma * spread)) & inside
        count, labels = cv2.connectedComponents(ink.astype(np.uint8))
        sizes = np.bincount(labels.ravel(), minlength=count)
        for label in np.flatnonzero(sizes[1:] * mm > settings.arrow_mm) + 1:
            rows, columns = np.nonzero(labels == label)
            at = np.column_stack([x0 + columns * mm, y0 + rows * mm])
            stroke = _stroke(at, contrast[rows, columns].astype(np.float64), mm, settings)
            if stroke is not None:
                strokes.append(stroke)
    return max(strokes, key=lambda s: s[0])[1] if strokes else None


def _stroke(
    at_mm: Points, weight: NDArray[np.float64], step_mm: float, settings: TemplateSettings
) -> tuple[float, Grain] | None:
    """Length and ends of the straight stroke that a component holds; None where it holds none."""
    keep = np.ones(len(at_mm), dtype=np.bool_)
    for _ in range(6):  # the head's barbs fall away round by round
        w = weight[keep]
        centre = np.average(at_mm[keep], axis=0, weights=w)
        _, vectors = np.linalg.eigh(np.cov(at_mm[keep].T, aweights=w))
        axis = vectors[:, 1]
        along = (at_mm - centre) @ axis
        off = (at_mm - centre) @ np.array([-axis[1], axis[0]])
        low, high = np.quantile(along, [0.002, 0.998])
        # Where the head is broad its barbs are even, but not in number: the shaft alone gives the direction.
        near = np.abs(off - np.median(off[keep])) < settings.shaft_mm
        keep = near & (along > low + 0.12 * (high - low)) & (along < high - 0.12 * (high - low))
        if keep.sum() < 10:
            return None
    length = float(high - low)
    bins = np.unique(((along[np.abs(off) < settings.shaft_mm] - low) / (2 * step_mm)).astype(int))
    if length < settings.arrow_mm or len(bins) < settings.arrow_covered * length / (2 * step_mm):
        return None
    broad = [float(np.abs(off[m]).max()) for m in (along < low + 0.3 * length, along > high - 0.3 * length)]
    if max(broad) > 0.35 * length:
        return None
    ends = centre + low * axis, centre + high * axis
    return length, Grain(ends[0], ends[1]) if broad[1] >= broad[0] else Grain(ends[1], ends[0])
