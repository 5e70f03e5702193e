"""Stages 2 and 3: the hide's outline as the program sees it, and its rim as a person drew it, on the floor settled."""

from dataclasses import dataclass

import numpy as np

from hidescan.basics.errors import NotFound
from hidescan.basics.geometry import Points
from hidescan.figures.measures import HeightPriors
from hidescan.hide_map.model import XY, GaugeInput, HintInput, Ring
from hidescan.mapping.floor import Floor, FloorInputs, papers_mm, with_cards_on_hide
from hidescan.mapping.heights import height_priors
from hidescan.mapping.refusals import gauge_off_hide
from hidescan.marks.placement import FoundMark, found_marks
from hidescan.outline.by_hand import redrawn
from hidescan.outline.coarse import FirstLook, Hint
from hidescan.outline.finding import Outline, find_outline
from hidescan.photo.reading import Photo
from hidescan.settings import MeasureSettings, OutlineSettings, Settings


@dataclass(frozen=True, slots=True)
class OutlineInputs(FloorInputs):
    """What the outline is found from: the floor's inputs, as it is found on the floor, and its own."""

    hints: tuple[HintInput, ...] = ()
    hide_at_px: XY | None = None

    @property
    def taps(self) -> tuple[Hint, ...]:
        """The hints as the outline takes them."""
        return tuple(Hint(hint.photo_px, hint.inside) for hint in self.hints)


@dataclass(frozen=True, slots=True)
class RimInputs(OutlineInputs):
    """What the rim is made from: the outline's inputs and its own."""

    rim_px: tuple[Ring, ...] = ()
    thickness_mm: float | None = None
    gauge: tuple[GaugeInput, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class HideInPhoto:
    """A hide as one photo shows it.

    Attributes
    ----------
    floor
        The floor, with cards that lie on the hide taken as such.
    outline
        The outline, with what a person drew of it.
    heights
        What is known of the leather's thickness and lift.
    found
        The marks found in it.
    """

    floor: Floor
    outline: Outline
    heights: HeightPriors
    found: tuple[FoundMark, ...]


def outline_on_floor(
    photo: Photo, floor: Floor, given: OutlineInputs, look: FirstLook, settings: OutlineSettings
) -> Outline | NotFound:
    """The hide's outline as the program sees it, a person's taps honoured."""
    camera = floor.plane.camera
    papers_px = [camera.px_from_mm(corners) for corners in papers_mm(floor.plane.places)]
    return find_outline(photo.rgb, camera, papers_px, settings, given.taps, given.hide_at_px, look)


def hide_in_photo(
    photo: Photo, floor: Floor, outline: Outline | NotFound, given: RimInputs, settings: Settings
) -> HideInPhoto | NotFound:
    """The hide with its rim as a person drew it, on the floor settled with the cards that lie on the hide."""
    drawn = redrawn(outline, tuple(np.array(line) for line in given.rim_px), settings.redrawn)
    if isinstance(drawn, NotFound):
        return drawn
    if (off := _off_hide(given.gauge, drawn.ring_px, settings.measure)) is not None:
        return gauge_off_hide(off.photo_px)
    heights = height_priors(given.thickness_mm, given.gauge, settings.measure)
    settled = with_cards_on_hide(floor, photo, drawn.ring_px, heights, settings)
    if isinstance(settled, NotFound):
        return settled
    return HideInPhoto(settled, drawn, heights, found_marks(drawn.holes, drawn.faults))


def _off_hide(gauge: tuple[GaugeInput, ...], ring_px: Points, settings: MeasureSettings) -> GaugeInput | None:
    """The first gauge reading whose pixel lies clearly off the hide."""
    import cv2

    ring = ring_px.astype(np.float32)
    allowed_px = settings.gauge_off_share * float(np.ptp(ring_px, axis=0).max())
    off = (g for g in gauge if cv2.pointPolygonTest(ring, g.photo_px, True) < -allowed_px)
    return next(off, None)
