"""From a photo to a map: the stages in order.

photo -> floor (cards, camera) -> outline -> rim (as drawn; cards that lie on the hide) -> plan -> back line -> figures
-> map
"""

from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from hidescan.anatomy.back_line import drawn_back_line, find_shape
from hidescan.basics.errors import NotFound
from hidescan.basics.parallel import start_in_thread
from hidescan.figures.extent import with_extent
from hidescan.hide_map.model import HideMap, Inputs
from hidescan.mapping.building import HideFrame, assemble, hide_frame, photo_info
from hidescan.mapping.calibration import Calibration
from hidescan.mapping.doubts import shape_doubts, size_doubts
from hidescan.mapping.floor import Floor, FloorInputs, find_floor
from hidescan.mapping.plan import Plan, neck_given, plan_of_photo
from hidescan.mapping.projection import only
from hidescan.mapping.rim import HideInPhoto, OutlineInputs, RimInputs, hide_in_photo, outline_on_floor
from hidescan.outline.coarse import first_look
from hidescan.outline.finding import Outline
from hidescan.outline.networks import Memory, remembering
from hidescan.photo.reading import Photo
from hidescan.settings import Settings

Say = Callable[[str], None]


def _silent(_: str) -> None: ...


@dataclass(frozen=True, slots=True, eq=False)
class Pipeline:
    """The way from one photo to its map: each stage takes what the ones before it gave, and none touches disk.

    A result is kept for as long as all that its stage reads is the same: the floor by `FloorInputs`, the outline by
    `OutlineInputs`, everything after them is made anew; another photo, calibration or settings take another `Pipeline`.

    Attributes
    ----------
    most_kept
        Floors and outlines kept, each for other inputs; the oldest goes first.
    """

    photo: Photo
    settings: Settings = field(default_factory=Settings)
    calibration: Calibration = field(default_factory=Calibration)
    most_kept: int = 1
    _floors: dict[FloorInputs, Floor | NotFound] = field(default_factory=dict, init=False)
    _outlines: dict[OutlineInputs, Outline | NotFound] = field(default_factory=dict, init=False)
    _quick_outlines: dict[OutlineInputs, Outline | NotFound] = field(default_factory=dict, init=False)
    _network_memory: Memory = field(default_factory=Memory, init=False)

    def floor(self, inputs: Inputs, say: Say = _silent) -> Floor | NotFound:
        """The camera over the floor, and the cards on it; `say` is told what is being done, here and below."""
        given = only(FloorInputs, inputs)
        if given not in self._floors:
            say("finding the cards")
            self._keep(self._floors, given, find_floor(self.photo, given, self.calibration, self.settings))
        return self._floors[given]

    def outline(self, inputs: Inputs, say: Say = _silent, *, quick: bool = False) -> Outline | NotFound:
        """The hide's outline as the program sees it, or why there is no floor or no outline.

        With `quick` the outline after a tap is looked at anew only where the tap changed something: good to a few
        hundredths of a percent of the area, in half the time.
        """
        given = only(OutlineInputs, inputs)
        kept = self._quick_outlines if quick and given not in self._outlines else self._outlines
        if given not in kept:
            look = start_in_thread(first_look, self.photo.rgb, self.settings.outline, given.taps)  # beside the cards
            floor = self.floor(inputs, say)
            if isinstance(floor, NotFound):
                return floor
            say("finding the rim")
            with remembering(self._network_memory) if quick else nullcontext():
                self._keep(kept, given, outline_on_floor(self.photo, floor, given, look(), self.settings.outline))
        return kept[given]

    def rim(self, inputs: Inputs, say: Say = _silent, *, quick: bool = False) -> HideInPhoto | NotFound:
        """The hide as the photo shows it: its rim as a person drew it, on the floor by cards on the hide as well."""
        outline, floor = self.outline(inputs, say, quick=quick), self.floor(inputs, say)
        if isinstance(floor, NotFound):
            return floor
        return hide_in_photo(self.photo, floor, outline, only(RimInputs, inputs), self.settings)

    def hide_map(self, inputs: Inputs, say: Say = _silent, *, quick: bool = False) -> HideMap | NotFound:
        """The map, or why there is none.

        Raises
        ------
        BadInput
            The lens profile given is not known, or is for pictures of another size.
        """
        hide = self.rim(inputs, say, quick=quick)
        if isinstance(hide, NotFound):
            return hide
        say("measuring")
        plan = plan_of_photo(photo_info(self.photo), hide, self.settings)
        if isinstance(plan, NotFound):
            return plan
        mapped = map_of(plan, hide.floor.inputs.completed(inputs), self.settings)
        return mapped if isinstance(mapped, NotFound) else mapped[0]

    def _keep(self, results: dict[Any, Any], given: FloorInputs, result: object) -> None:
        results[given] = result
        while len(results) > self.most_kept:
            del results[next(iter(results))]


def map_of(plan: Plan, inputs: Inputs, settings: Settings) -> tuple[HideMap, HideFrame] | NotFound:
    """The map of a hide on the floor, and where its frame lies there: from here, one photo and several go one way."""
    toward_mm = neck_given(inputs, plan)
    if isinstance(toward_mm, NotFound):
        return toward_mm
    shape = find_shape(plan.ring_mm, settings.shape, neck_mm=toward_mm, form=inputs.form)
    if inputs.back_line_px is not None:
        tail_mm, neck_mm = plan.camera.mm_from_px(np.array(inputs.back_line_px))
        shape = replace(shape, back_line=drawn_back_line(tail_mm, neck_mm, settings.shape))
    along = shape.back_line.neck_mm - shape.back_line.tail_mm
    measures = with_extent(
        plan.measured(along), plan.ring_mm, along, angle_sd_deg=shape.back_line.angle_sd_deg,
        confidence=plan.outline.confidence_whole, open_area_u=plan.outline.open_area_u, settings=settings.measure,
    )  # fmt: skip
    doubts = (
        *plan.doubts,
        *shape_doubts(inputs, shape, settings.quality),
        *size_doubts(inputs, shape, measures),
    )
    frame = hide_frame(shape.back_line, plan.ring_mm)
    return assemble(plan, frame, shape, measures, doubts, inputs, settings), frame
