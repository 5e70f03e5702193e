"""Doubts about the photo itself: what to do better next time."""

import math

import numpy as np
from shapely import points as shapely_points
from shapely.geometry import Polygon

from hidescan.card import CardSearch
from hidescan.geometry import Points
from hidescan.hidemap import Inputs
from hidescan.plane import Plane
from hidescan.problems import Doubt
from hidescan.settings import QualitySettings


def photo_doubts(
    search: CardSearch, plane: Plane, outline_mm: Points, inputs: Inputs, settings: QualitySettings
) -> list[Doubt]:
    """Warnings that follow from the cards, the camera and where the hide lies, with one line of advice each.

    Parameters
    ----------
    search
        What the search for cards found.
    outline_mm
        (N, 2) plan view of the rim, floor frame.
    """
    doubts = [
        Doubt("card-dropped", f"Two cards carry the number {n}; both were left out: print different numbers.")
        for n in search.doubled
    ]
    if len(plane.places) == 1:
        doubts.append(Doubt("one-card", "Only one card was used: two at opposite corners of the hide halve the ±."))
    tapes_used = any({t.first, t.second} <= {p.number for p in plane.places} for t in inputs.tapes)
    if inputs.card_scale is None and not tapes_used:
        advice = (
            "measure its two check bars (hidescan card --measured) or tape the distance between two cards (--tape)."
        )
        doubts.append(Doubt("scale-unmeasured", f"The print's scale was never measured: {advice}"))
    tilt = plane.camera.tilt_deg
    if tilt > settings.most_tilt_deg:
        doubts.append(
            Doubt("tilt", f"The camera looked {tilt:.0f} degrees off straight down: hold it higher, over the hide.")
        )
    elif tilt > settings.low_camera_tilt_deg:
        doubts.append(
            Doubt(
                "camera-low", f"The camera looked {tilt:.0f} degrees off straight down: from higher up the ± shrinks."
            )
        )
    blur = max((card.blur_px for card in search.cards if not math.isnan(card.blur_px)), default=math.nan)
    if blur > settings.most_blur_px:
        doubts.append(Doubt("blur", f"The photo is blurred ({blur:.1f} px): hold still, more light, tap to focus."))
    gap = _gap_mm(plane, outline_mm)
    if gap > settings.card_gap_share * math.hypot(*np.ptp(outline_mm, axis=0)):
        doubts.append(
            Doubt("card-far", f"The nearest card lies {gap:.0f} mm from the hide: put the cards close to it.")
        )
    return doubts


def _gap_mm(plane: Plane, outline_mm: Points) -> float:
    """From the rim to the nearest card's middle; 0 for a card on the hide."""
    hide = Polygon(outline_mm)
    return float(np.min(hide.distance(shapely_points(np.array([place.centre_mm for place in plane.places])))))
