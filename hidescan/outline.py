"""The hide against the floor: its visible rim to a fraction of a pixel, through holes, and how sure all that is."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.camera import Camera
from hidescan.geometry import Points, signed_area
from hidescan.holes import Hole, find_holes
from hidescan.problems import NotFound
from hidescan.region import Hint, Region, find_region
from hidescan.rim import Detail, RimLine, look_closer, sample, trace
from hidescan.settings import OutlineSettings

__all__ = ["Hint", "Hole", "Outline", "find_outline"]


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """What was found.

    Attributes
    ----------
    ring_px
        (N, 2) visible rim (silhouette), upright photo px, not repeated at the end, evenly dense.
    u_px
        (N,) standard uncertainty of the rim along its normal, px.
    confidence
        (N,) probability that the rim is within about 5 mm of the truth there.
    holes
        Through holes.
    confidence_whole
        Probability that the whole is right (IoU of at least 0.985 with the visible silhouette).
    doubtful
        (start, stop) index ranges of `ring_px` to look at first; stop may pass N and wrap round.
    """

    ring_px: Points
    u_px: NDArray[np.float64]
    confidence: NDArray[np.float64]
    holes: tuple[Hole, ...]
    confidence_whole: float
    doubtful: tuple[tuple[int, int], ...]


def find_outline(
    rgb: NDArray[np.uint8],
    camera: Camera | None,
    card_quads_px: list[Points],
    settings: OutlineSettings,
    hints: tuple[Hint, ...] = (),
    hide_at: tuple[float, float] | None = None,
) -> Outline | NotFound:
    """Find the hide's rim and its through holes.

    Parameters
    ----------
    rgb
        (H, W, 3) uint8, upright.
    camera
        For sizes in mm; None where there is no card.
    card_quads_px
        The cards' sheets, (4, 2) each.
    hints
        Taps of a person: each is on its side of the rim returned.
    hide_at
        A pixel inside the hide meant, where there are several.

    Returns
    -------
    The outline; or why there is none: "no-hide", "cut-by-frame", "several-hides".
    """
    region = find_region(rgb, card_quads_px, settings, hints, hide_at)
    if isinstance(region, NotFound):
        return region
    detail = look_closer(rgb, region, settings, hints)
    rim = trace(detail, region, settings, hints)
    if rim is None:
        return NotFound("no-hide", "No hide was found in the photo.", "Point at it with --inside X,Y.")
    scale = None if camera is None else float(camera.mm_per_px(rim.ring_px.mean(axis=0)[None])[0])
    near_px = settings.near_mm / scale if scale else settings.near_px * float(np.mean(detail.grid.step_px))
    u_px, confidence = _sureness(rim, region, near_px, settings)
    confidence[_near_edge(rim.ring_px, rgb.shape)] = 0.0
    return Outline(
        rim.ring_px,
        u_px,
        confidence,
        find_holes(detail, rim.ring_px, scale, settings),
        _whole(region, detail, rim, settings),
        stretches(confidence < settings.doubt_below, settings.least_doubt_points),
    )


def _near_edge(ring_px: Points, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Points on the photo's own edge: the hide may go on beyond it."""
    far = np.array([shape[1], shape[0]]) - 1.0
    return np.asarray(((ring_px < 2.0) | (ring_px > far - 2.0)).any(axis=1))


def _sureness(
    rim: RimLine, region: Region, near_px: float, settings: OutlineSettings
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Uncertainty and confidence of each rim point from the probabilities across it.

    Outside minus inside, the probability along the normal is the distribution function of where the rim is: its spread
    is the uncertainty, its mass within 5 mm the confidence.
    """
    falling = np.minimum.accumulate(np.clip(rim.profile, 0.0, 1.0), axis=1)
    mass = -np.diff(falling, axis=1)
    middle = (rim.offsets_px[1:] + rim.offsets_px[:-1]) / 2
    lost = 1.0 - mass.sum(axis=1)
    reach = float(rim.offsets_px[-1])
    variance = (mass * middle**2).sum(axis=1) + np.maximum(lost, 0.0) * reach**2
    u_px = np.hypot(settings.u_scale * np.sqrt(variance), settings.u_floor * float(np.diff(rim.offsets_px[:2])[0]))
    within = np.abs(middle) <= near_px
    confidence = (mass * within).sum(axis=1)
    # under a sheet or a thing on the rim the line is a guess
    cover = sample(region.cover, region.grid.from_photo(rim.ring_px))
    confidence = confidence * (1.0 - settings.cover_weight * np.clip(cover, 0.0, 1.0))
    window = max(1, settings.confidence_window)
    kernel = np.ones(window) / window
    padded = np.concatenate([confidence[-window:], confidence, confidence[:window]])
    smooth = np.convolve(padded, kernel, mode="same")[window:-window]
    return u_px, np.clip(smooth, 0.0, 1.0)


def _whole(region: Region, detail: Detail, rim: RimLine, settings: OutlineSettings) -> float:
    """Probability that the whole is right, by logistic regression on three measures of doubt (see `doubt_measures`)."""
    weights = np.array(settings.whole_weights)
    z = float(weights[0] + weights[1:] @ doubt_measures(region, detail, rim))
    return float(1.0 / (1.0 + np.exp(-z)))


def doubt_measures(region: Region, detail: Detail, rim: RimLine) -> NDArray[np.float64]:
    """Logarithms of three shares of the hide's area: what each network leaves open, and where the two differ.

    1. coarse: mean of min(p, 1 - p) over the photo, beyond the unavoidable blur of the rim;
    2. fine: the same at full detail;
    3. pixels on which coarse and fine fall on different sides by more than a doubt.
    """
    area = float(abs(signed_area(detail.grid.from_photo(rim.ring_px))))
    share = float(np.prod(detail.grid.step_px) / np.prod(region.grid.step_px))
    coarse_area = max(area * share, 1.0)
    coarse = float(np.minimum(region.probability, 1.0 - region.probability).sum()) / coarse_area
    fine = float(np.minimum(detail.hide, 1.0 - detail.hide).sum()) / max(area, 1.0)
    differ = float(np.maximum(np.abs(detail.hide - detail.coarse) - 0.5, 0.0).sum()) / max(area, 1.0)
    return np.log(np.array([coarse, fine, differ]) + 1e-4)


def stretches(low: NDArray[np.bool_], least: int) -> tuple[tuple[int, int], ...]:
    """Ranges (start, stop) of a closed ring where `low` holds, at least `least` long; stop may pass the ring's end.

    Examples
    --------
    >>> stretches(np.array([True, False, False, True, True]), 2)
    ((3, 6),)
    """
    n = len(low)
    if not low.any():
        return ()
    if low.all():
        return ((0, n),)
    first = int(np.flatnonzero(~low)[0])
    turned = np.roll(low, -first)
    steps = np.diff(np.r_[0, turned.astype(np.int8), 0])
    starts, stops = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)
    ranges = [(int(a + first), int(b + first)) for a, b in zip(starts, stops, strict=True) if b - a >= least]
    return tuple((a - n, b - n) if a >= n else (a, b) for a, b in ranges)
