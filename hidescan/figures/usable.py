"""What is left to use: the hide less its counted marks, each grown by a margin; and how well that is known.

Usable area is area free of counted faults (GOST 26343-84, clauses 2-3); overlapping faults count once, and a fault
outside the outline counts nothing, so that usable + union of the faults within the hide = net.

Uncertainty. Usable = net - lost, and four things make it doubtful:

1. The net area's own sources. What scales the whole picture (print, lens, corners) scales usable area in the same
   proportion; what moves the outer rim (rim, lift, thickness, patches that may be hide or floor) moves it by the same
   amount.
2. Where the marks end. An outline that is off by d moves lost area by d times the length of the grown outline that
   borders on usable leather. As for the rim, each stretch of `outline_correlation_mm` is off on its own, and all
   outlines together by a common share.
3. Marks that may be none. A mark of confidence p < 1 that no person confirmed is taken as a Bernoulli variable: with
   1 - p its area is usable after all. Where marks overlap, the shared part belongs to the surest of them, which
   overstates the doubt a little. The stated figure counts every mark, so that this doubt only ever adds leather; the
   interval is the smallest about the stated figure that holds 95.45 %, what 2 u hold of a Gaussian, of the convolution
   of these steps with the Gaussian of the others (propagation of distributions, JCGM 101:2008, on a grid instead of by
   sampling), and u is half of it. How often a mark of a kind that was found with this confidence is one comes from a
   study (`MarkRate.trust`).
4. Marks that were missed. How many of each kind a square metre bears unseen, and how much each takes, come from the
   same study. They are a compound Poisson variable whose rate varies from hide to hide, since on a dark or a hairy one
   all are missed alike; its root mean square stands in the budget.

The rows of the budget are standard uncertainties; their squares add up to that of the total.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from shapely import prepare, union_all
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from hidescan.basics.geometry import polygonal
from hidescan.basics.uncertainty import COVERAGE_FACTOR, Measured, expanded_with_steps, root_sum_square
from hidescan.basics.units import MM2_PER_M2
from hidescan.basics.vocabulary import MARKS
from hidescan.hide_map.model import MarkEntry
from hidescan.settings import MarkRate, UsableSettings

# Sources that move the outer rim by a length instead of scaling the whole hide.
_AT_THE_RIM = ("rim", "lift of the rim", "leather thickness", "sampling", "hide or floor")
OUTLINES, DOUBT, MISSED = "outlines of marks", "marks that may be none", "marks that were missed"


@dataclass(frozen=True, slots=True)
class Usable:
    """Usable area (mm2), and the standard uncertainty that each source gives it, mm2."""

    area: Measured
    u_by_source_mm2: tuple[tuple[str, float], ...]


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
    grown = [polygon.buffer(_margin_mm(kind, settings)) for kind, polygon in marks if _counts(kind, settings)]
    lost = union_all(grown).intersection(net)
    return lost if lost.geom_type != "GeometryCollection" else polygonal(lost)


def lost_in_map(net: Polygon, marks: Iterable[MarkEntry], settings: UsableSettings) -> BaseGeometry:
    """`lost_to_marks` of a map's marks."""
    return lost_to_marks(
        net, ((m.kind, Polygon(m.hide_mm.coordinates[0])) for m in marks if m.status != "rejected"), settings
    )


def counted_marks(marks: Iterable[MarkEntry], settings: UsableSettings) -> list[MarkEntry]:
    """The marks that take away from usable area: not the rejected ones, and wrinkles only if asked."""
    return [mark for mark in marks if mark.status != "rejected" and _counts(mark.kind, settings)]


def usable_area(
    net: Polygon,
    marks: Iterable[MarkEntry],
    area_net: Measured,
    net_budget_percent: Sequence[tuple[str, float]],
    settings: UsableSettings,
) -> Usable:
    """Usable area with its uncertainty; the model stands at the top of this module.

    Parameters
    ----------
    net
        The outline with its through holes, mm.
    area_net
        The measured net area, mm2; its u is NaN where undefined, and so is the result's then.
    net_budget_percent
        Source and standard uncertainty of the net area, percent of it.
    """
    rates = {rate.kind: rate for rate in settings.rates}
    counted = sorted(counted_marks(marks, settings), key=lambda m: -_probability(m, rates))
    grown = [Polygon(m.hide_mm.coordinates[0]).buffer(_margin_mm(m.kind, settings)) for m in counted]
    surer: BaseGeometry = Polygon()
    steps = []
    whole = Polygon(net.exterior)  # where a hole is none, what it took is leather again
    prepare(whole)
    for mark, shape in zip(counted, grown, strict=True):
        own = shape.difference(surer)
        own_mm2 = own.area if whole.contains(own) else own.intersection(whole).area
        if own_mm2 > 0:
            steps.append((1.0 - _probability(mark, rates), own_mm2))
        surer = surer.union(shape)
    lost = surer.intersection(net)
    value = max(net.area - lost.area, 0.0)  # what covers all leaves nothing, but for rounding
    if math.isnan(area_net.u):
        return Usable(Measured(value, math.nan), ())
    rows = [
        (source, percent / 100 * (area_net.value if source in _AT_THE_RIM else value))
        for source, percent in net_budget_percent
    ]
    rows.append((OUTLINES, _outline_u_mm2(net, surer, counted, grown, settings)))
    rows.append((MISSED, missed_u_mm2(value, settings)))
    gaussian = root_sum_square(*(u for _, u in rows))
    u = expanded_with_steps(gaussian, steps) / COVERAGE_FACTOR
    rows.append((DOUBT, math.sqrt(max(u * u - gaussian * gaussian, 0.0))))
    return Usable(
        Measured(value, u), tuple(row for row in rows if row[1] > 0 and value > 0)
    )  # shares of nothing are none


def rule_in_words(saved: Mapping[str, Any]) -> str:
    """How marks are counted, for a person: to be printed with every usable area.

    Parameters
    ----------
    saved
        The settings of usable area as a map's file keeps them; empty where an old map has none.

    Examples
    --------
    >>> from dataclasses import asdict
    >>> rule_in_words(asdict(UsableSettings()))
    'without marks; 5 mm left round holes and cuts, 3 mm round others; wrinkles are not counted'
    """
    hole, other = saved.get("hole_margin_mm"), saved.get("other_margin_mm")
    if hole is None or other is None:
        return "without marks and a margin round each"
    sharp = " and ".join(mark.plural for mark in MARKS.terms if mark.sharp)
    words = f"without marks; {hole:g} mm left round {sharp}, {other:g} mm round others"
    return words + ("" if saved.get("count_wrinkles") else "; wrinkles are not counted")


def _outline_u_mm2(
    net: Polygon, union: BaseGeometry, marks: list[MarkEntry], grown: list[BaseGeometry], settings: UsableSettings
) -> float:
    """Standard uncertainty of lost area from where the marks end."""
    independent = common = 0.0
    border = union.boundary.intersection(net)
    for mark, shape in zip(marks, grown, strict=True):
        # what of this outline is the union's: within a hair of it, for intersections move points by rounding
        length = border.intersection(shape.boundary.buffer(0.01)).length if len(grown) > 1 else border.length
        u_mm = settings.edge_u_mm if MARKS[mark.kind].sharp else settings.soft_edge_u_mm
        independent += u_mm**2 * length * settings.outline_correlation_mm
        common += settings.outline_common_share * u_mm * length
    return math.sqrt(independent + common**2)


def missed_u_mm2(area_mm2: float, settings: UsableSettings) -> float:
    """Return the root mean square of the leather that missed marks take of an area without marks, mm2."""
    missed = [(rate.per_m2 * area_mm2 / MM2_PER_M2 * (1 - rate.recall), rate.missed_mm2) for rate in settings.rates]
    apart = sum(number * size**2 for number, size in missed)
    together = sum(number * size for number, size in missed)
    return math.sqrt(apart + (1 + settings.rate_variance) * together**2)


def _counts(kind: str, settings: UsableSettings) -> bool:
    return kind != "wrinkle" or settings.count_wrinkles


def _margin_mm(kind: str, settings: UsableSettings) -> float:
    return settings.hole_margin_mm if MARKS[kind].sharp else settings.other_margin_mm


def _probability(mark: MarkEntry, rates: Mapping[str, MarkRate]) -> float:
    if mark.status == "confirmed" or (mark.status == "added" and mark.confidence == 1):
        return 1.0
    trust = rates[mark.kind].trust if mark.kind in rates else 1.0
    return float(np.clip(mark.confidence * trust, 0.0, 1.0))
