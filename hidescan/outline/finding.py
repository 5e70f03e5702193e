"""The hide against the floor: its visible rim to a fraction of a pixel, through holes, and how sure all that is."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points
from hidescan.basics.parallel import start_in_thread
from hidescan.camera.model import Camera
from hidescan.outline.at_frame import cut_by_frame, probability_at_frame
from hidescan.outline.coarse import FirstLook, Hint, find_region, first_look
from hidescan.outline.confidence import open_area_u, rim_confidence, rim_measures, spread, whole_confidence
from hidescan.outline.contour import Detail, look_closer, trace
from hidescan.outline.defects import Fault, find_faults
from hidescan.outline.edge import snapped
from hidescan.outline.holes import Hole, find_holes
from hidescan.settings import OutlineSettings

__all__ = ["Fault", "Hint", "Hole", "Outline", "find_outline"]


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
        Probability that the whole is right: IoU of at least 0.985 with the visible silhouette, 0.975 without a scale.
    doubtful
        (start, stop) index ranges of `ring_px` to look at first; stop may pass N and wrap round.
    open_area_u
        Standard uncertainty of the area from patches that may be hide or floor, as a share of the hide's area.
    faults
        Cuts, brands, stains, scratches, wrinkles; none where there is no scale.
    """

    ring_px: Points
    u_px: NDArray[np.float64]
    confidence: NDArray[np.float64]
    holes: tuple[Hole, ...]
    confidence_whole: float
    doubtful: tuple[tuple[int, int], ...]
    open_area_u: float
    faults: tuple[Fault, ...] = ()


def find_outline(
    rgb: NDArray[np.uint8],
    camera: Camera | None,
    card_quads_px: list[Points],
    settings: OutlineSettings,
    hints: tuple[Hint, ...] = (),
    hide_at: tuple[float, float] | None = None,
    look: FirstLook | None = None,
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
    look
        What `first_look` said of this photo with these taps, where that is known already.

    Returns
    -------
    The outline; or why there is none: "no-hide", "cut-by-frame", "several-hides".
    """
    region = find_region(look or first_look(rgb, settings, hints), card_quads_px, settings, hints, hide_at)
    if isinstance(region, NotFound):
        return region
    detail = look_closer(rgb, region, settings, hints)
    rim = trace(detail, region, settings, hints)
    if rim is None:
        return NotFound("no-hide", "No hide was found in the photo.", "Point at it with --inside X,Y.")
    if (cut := cut_by_frame(region, rim.ring_px, rgb.shape, settings, hints)) is not None:
        return cut
    scale = None if camera is None else float(camera.mm_per_px(rim.ring_px.mean(axis=0)[None])[0])
    near_px = settings.near_mm / scale if scale else settings.near_px * float(np.mean(detail.grid.step_px))
    found_within = start_in_thread(_find_within, detail, rim.ring_px, scale, settings)
    rim_features = start_in_thread(rim_measures, rim, region, detail, near_px)
    ring_px, u_px = snapped(rgb, rim.ring_px, spread(rim, settings), float(np.mean(detail.grid.step_px)), settings.snap)
    if not _taps_kept(ring_px, hints):
        ring_px = rim.ring_px
    confidence = rim_confidence(rim_features(), settings)
    confidence[_near_edge(rim.ring_px, rgb.shape)] = 0.0
    holes, faults = found_within()
    within = 1.0 if hints else 1.0 - probability_at_frame(region, settings)
    return Outline(
        ring_px,
        u_px,
        confidence,
        holes,
        within * whole_confidence(region, detail, rim, confidence, settings, scaled=scale is not None),
        stretches(confidence < settings.doubt_below, settings.least_doubt_points),
        open_area_u(region, rim),
        faults,
    )


def _find_within(
    detail: Detail, ring_px: Points, mm_per_px: float | None, settings: OutlineSettings
) -> tuple[tuple[Hole, ...], tuple[Fault, ...]]:
    """Through holes and faults within the rim as the fine network sees it, on whose grid they lie."""
    holes = find_holes(detail, ring_px, mm_per_px, settings)
    if mm_per_px is None:
        return holes, ()
    return holes, find_faults(detail, ring_px, (hole.ring_px for hole in holes), mm_per_px, settings.faults)


def _taps_kept(ring_px: Points, hints: tuple[Hint, ...]) -> bool:
    """Whether every tap is on its side of the ring."""
    import cv2

    contour = ring_px.astype(np.float32)
    return all((cv2.pointPolygonTest(contour, h.photo_px, False) >= 0) == h.inside for h in hints)


def _near_edge(ring_px: Points, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Points on the photo's own edge: the hide may go on beyond it."""
    far = np.array([shape[1], shape[0]]) - 1.0
    return np.asarray(((ring_px < 2.0) | (ring_px > far - 2.0)).any(axis=1))


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
