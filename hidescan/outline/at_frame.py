"""Whether the hide goes on beyond the photo: both networks must see leather at its frame, the coarse one firmly."""

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points
from hidescan.outline.coarse import Hint, Region
from hidescan.settings import OutlineSettings

_SIDES = ("top (north)", "right-hand (east)", "bottom (south)", "left-hand (west)")


def cut_by_frame(
    region: Region, ring_px: Points, shape: tuple[int, ...], settings: OutlineSettings, hints: tuple[Hint, ...]
) -> NotFound | None:
    """The refusal "cut-by-frame" with the side and the pixel, or None where the hide ends within the photo.

    Parameters
    ----------
    region
        What the coarse network sees.
    ring_px
        (N, 2), the rim as the fine network sees it.
    shape
        Of the photo: height, width, ...
    hints
        Taps: one near to where the hide meets the frame says that nothing is cut off there.
    """
    height, width = shape[:2]
    frame = 2.0 * (width + height)
    if probability_at_frame(region, settings) < settings.least_frame_probability:
        return None
    after = np.roll(ring_px, -1, axis=0)
    near = max(region.grid.step_px)  # a pixel of the region's: nearer the networks see nothing between rim and frame
    lengths = []
    for first, second in zip(_from_sides(ring_px, width, height), _from_sides(after, width, height), strict=True):
        on = (first < near) & (second < near) & ~_tapped(ring_px, hints, settings.frame_tap_reach * max(width, height))
        lengths.append(np.where(on, np.hypot(*(after - ring_px).T), 0.0))
    if sum(float(length.sum()) for length in lengths) <= settings.most_on_frame * frame:
        return None
    side = int(np.argmax([length.sum() for length in lengths]))
    at = ring_px[lengths[side] > 0]
    x, y = np.clip(np.rint(at[len(at) // 2]), 0, (width - 1, height - 1)).astype(int)
    return NotFound(
        "cut-by-frame",
        f"The hide is cut by the {_SIDES[side]} edge of the photo near pixel {x},{y}.",
        "Step back until all of it is in the picture; if that is floor or nothing is cut off there, say so with "
        f"--outside {x},{y} or --inside {x},{y}.",
    )


def probability_at_frame(region: Region, settings: OutlineSettings) -> float:
    """Mean probability of hide along the frame where the region touches it; 0 where it touches no more than a tip.

    What may go on beyond the photo is not whole.
    """
    mask, p = region.mask, region.first_word
    touched = np.concatenate([mask[0], mask[:, -1], mask[-1], mask[:, 0]])
    if float(touched.mean()) <= settings.most_on_frame:
        return 0.0
    return float(np.concatenate([p[0], p[:, -1], p[-1], p[:, 0]])[touched].mean())


def _from_sides(xy: Points, width: int, height: int) -> tuple[NDArray[np.float64], ...]:
    """Distance of each point from the top, right, bottom and left edge."""
    return xy[:, 1], width - 1 - xy[:, 0], height - 1 - xy[:, 1], xy[:, 0]


def _tapped(ring_px: Points, hints: tuple[Hint, ...], reach_px: float) -> NDArray[np.bool_]:
    """Points within reach of a person's tap."""
    tapped = np.zeros(len(ring_px), dtype=np.bool_)
    for hint in hints:
        tapped |= np.hypot(*(ring_px - hint.photo_px).T) < reach_px
    return tapped
