"""Doubts about the photo itself: what to do better next time."""

import math

import numpy as np
from shapely import points as shapely_points
from shapely.geometry import Polygon

from hidescan.basics.errors import Doubt
from hidescan.basics.geometry import Points
from hidescan.cards.detection import Card
from hidescan.cards.pattern import MARKER_MM
from hidescan.floor.solution import Plane
from hidescan.mapping.floor import Floor
from hidescan.settings import QualitySettings


def photo_doubts(floor: Floor, outline_mm: Points, settings: QualitySettings) -> list[Doubt]:
    """Warnings that follow from the cards, the camera and where the hide lies, with one line of advice each.

    Parameters
    ----------
    floor
        The cards and the camera, and what was given for them.
    outline_mm
        (N, 2) plan view of the rim, floor frame.
    """
    search, plane = floor.search, floor.plane
    doubts = [
        Doubt("card-dropped", f"Two cards carry the number {n}; both were left out: print different numbers.")
        for n in search.doubled
    ]
    if len(plane.places) == 1:
        doubts.append(Doubt("one-card", "Only one card was used: two at opposite corners of the hide halve the ±."))
    doubts += _print_doubts(floor)
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
    doubts += _sharpness_doubts(search.cards, settings)
    gap = _gap_mm(plane, outline_mm)
    if gap > settings.card_gap_share * math.hypot(*np.ptp(outline_mm, axis=0)):
        doubts.append(
            Doubt("card-far", f"The nearest card lies {gap:.0f} mm from the hide: put the cards close to it.")
        )
    return doubts


def _print_doubts(floor: Floor) -> list[Doubt]:
    """A print that was never measured, or cards of one among others that were."""
    if not floor.print_measured:
        advice = (
            "measure its two check bars (hidescan card --measured) or tape the distance between two cards (--tape)."
        )
        return [Doubt("scale-unmeasured", f"The print's scale was never measured: {advice}")]
    own = floor.priors.own_prints
    never = [p.number for p in floor.plane.places if p.number not in own] if own else []
    if not never:
        return []
    measured = " and ".join(str(p.number) for p in floor.plane.places if p.number in own)
    names = " and ".join(str(n) for n in never)
    message = f"Card {names} was never measured; the scale is that of card {measured}, whose check bars were."
    return [Doubt("prints-mixed", message)]


def _sharpness_doubts(cards: tuple[Card, ...], settings: QualitySettings) -> list[Doubt]:
    """Blur, camera movement, over-exposure and too few pixels, judged on the worst card."""
    doubts = []
    seen = [card for card in cards if not math.isnan(card.sharpness.blur_px)]
    worst = max(seen, key=lambda card: card.sharpness.blur_px, default=None)
    if worst is not None and worst.sharpness.blur_px > settings.most_blur_px:
        sharpness = worst.sharpness
        if sharpness.smear > settings.moved_smear:
            way = ("sideways", "diagonally", "up or down", "diagonally")[round(sharpness.smear_deg / 45.0) % 4]
            advice = f"the camera moved {way}: lean on something, more light."
        else:
            advice = "tap the screen on the hide to focus, and wipe the lens."
        doubts.append(Doubt("blur", f"The photo is blurred ({sharpness.blur_px:.1f} px at the edges): {advice}"))
    bright = [card.number for card in seen if card.sharpness.white_level > settings.most_white]
    if bright:
        names = ", ".join(str(n) for n in bright)
        doubts.append(Doubt("over-exposed", f"Card {names} is over-exposed: tap on the hide, or shade the card."))
    small = [card.number for card in cards if _px_per_mm(card) * MARKER_MM < settings.least_marker_px]
    if small:
        names = ", ".join(str(n) for n in small)
        doubts.append(
            Doubt("card-small", f"Card {names} has few pixels: go nearer, or use the main camera at full size.")
        )
    return doubts


def _px_per_mm(card: Card) -> float:
    return math.dist(card.corners_px.min(axis=0), card.corners_px.max(axis=0)) / math.dist(
        card.board_mm.min(axis=0), card.board_mm.max(axis=0)
    )


def _gap_mm(plane: Plane, outline_mm: Points) -> float:
    """From the rim to the nearest card's middle; 0 for a card on the hide."""
    hide = Polygon(outline_mm)
    return float(np.min(hide.distance(shapely_points(np.array([place.centre_mm for place in plane.places])))))
