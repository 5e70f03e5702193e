"""What is left to use: the hide less its counted marks, each grown by a margin.

Usable area is area free of counted faults (GOST 26343-84, clauses 2-3); overlapping faults count once, and a fault
outside the outline counts nothing, so that usable + union of the faults within the hide = net.
"""

from collections.abc import Iterable

from shapely import union_all
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from hidescan.settings import UsableSettings


def lost_to_marks(net: Polygon, marks: Iterable[tuple[str, Polygon]], settings: UsableSettings) -> BaseGeometry:
    """The part of the hide that counted marks take, margins included.

    Parameters
    ----------
    net
        The outline with its through holes, mm.
    marks
        Kind and polygon of each mark that is not rejected.

    Returns
    -------
    Polygon or multipolygon within `net`, mm.
    """
    grown = [
        polygon.buffer(settings.hole_margin_mm if kind in ("hole", "cut") else settings.other_margin_mm)
        for kind, polygon in marks
        if kind != "wrinkle" or settings.count_wrinkles
    ]
    return union_all(grown).intersection(net)
