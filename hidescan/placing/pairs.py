"""Left and right of a pair: places at which two pieces are alike in thickness and stretch.

A hide is alike on both sides of its back line, so the mirrored place on the same hide is best. Where no hide has space
for both, left and right come from mirrored places on two: as far along the back and out to the other side, in shares of
each hide's length and width, in the same zone, turned the other way, and of one thickness. (Common practice, no source:
shoes cut so wear and stretch alike.)
"""

import numpy as np

from hidescan.anatomy.zones import zone_at
from hidescan.basics.geometry import Points
from hidescan.placing.leather import Leather
from hidescan.settings.uses import PlaceSettings


def mirrored_place(at_mm: Points, leather: Leather, other: Leather) -> Points:
    """The place on another hide that mirrors one on this."""
    (width, length), (other_width, other_length) = _size(leather), _size(other)
    return np.array([-at_mm[0] * other_width / width, at_mm[1] * other_length / length])


def are_alike(at_mm: Points, leather: Leather, other_mm: Points, other: Leather, settings: PlaceSettings) -> bool:
    """Whether two places, each on its own hide, lie in the same zone and are of one thickness."""
    places = ((leather, at_mm), (other, other_mm))
    zones = {zone_at(hide.zones, at) if hide.zones else "" for hide, at in places}
    one, two = (float(hide.thickness.predict(at[None])[0][0]) for hide, at in places)
    return len(zones) == 1 and abs(one - two) <= settings.mate_thickness_mm


def _size(leather: Leather) -> tuple[float, float]:
    """Width across the back, and length along it: of the back line where there is one."""
    x0, y0, x1, y1 = leather.net.bounds
    return x1 - x0, y1 - y0 if leather.back_line is None else leather.back_line.bounds[3]
