"""A map with its marks corrected by a person, and the figures that follow from them."""

from collections.abc import Mapping
from dataclasses import replace
from typing import cast

import numpy as np
from shapely.geometry import Polygon

from hidescan.basics.errors import BadInput
from hidescan.basics.geometry import Points
from hidescan.basics.uncertainty import Measured
from hidescan.basics.vocabulary import MARKS
from hidescan.figures.usable import usable_area
from hidescan.hide_map.model import BudgetEntry, HideMap, MarkEntry, MarkKind, MarkStatus, MeasureEntry, PolygonGeometry
from hidescan.marks.placement import Surroundings, mark_entry, number_of, surroundings_of
from hidescan.settings import Settings


def with_corrections(hide_map: HideMap, corrections: Mapping[str, str], settings: Settings) -> HideMap:
    """The map with its marks corrected, by id: to a status, or to a kind, which confirms the mark as such.

    A rejected hole is no hole: its inner ring is closed and its area is leather again.

    Raises
    ------
    KeyError
        An id that no mark has.
    BadInput
        A mark at the rim was called a hole.
    """
    unknown = corrections.keys() - {mark.id for mark in hide_map.marks}
    if unknown:
        raise KeyError(min(unknown))
    around = surroundings_of(hide_map)
    marks = []
    for mark in hide_map.marks:
        change = corrections.get(mark.id)
        if change in MARKS.names:
            mark = as_kind(mark, cast(MarkKind, change), around)
            if change == "hole" and not around.outer.contains_properly(Polygon(mark.hide_mm.coordinates[0])):
                raise BadInput(f"{mark.id} lies at the rim and cannot be a hole: call it a cut.")
        elif change is not None:
            mark = replace(mark, status=cast(MarkStatus, change))
        marks.append(mark)
    return with_marks(hide_map, tuple(marks), settings)


def as_kind(mark: MarkEntry, kind: MarkKind, around: Surroundings) -> MarkEntry:
    """A mark that a person called by another kind: confirmed, and measured as one of that kind is."""
    confidence, status = mark.confidence, mark.status if mark.status == "added" else "confirmed"
    return mark_entry(mark.id, kind, ring_of(mark.hide_mm), ring_of(mark.photo_px), around,
                      confidence=confidence, status=status)  # fmt: skip


def with_marks(hide_map: HideMap, marks: tuple[MarkEntry, ...], settings: Settings) -> HideMap:
    """The map with these marks, its holes made from them, and net and usable area that follow."""
    outer = hide_map.outline.hide_mm.coordinates[0]
    holes: list[MarkEntry] = []
    for mark in marks:
        polygon = Polygon(mark.hide_mm.coordinates[0])
        apart = all(polygon.disjoint(Polygon(other.hide_mm.coordinates[0])) for other in holes)
        if mark.kind == "hole" and mark.status != "rejected" and apart and Polygon(outer).contains_properly(polygon):
            holes.append(mark)
    net = Polygon(outer, [mark.hide_mm.coordinates[0] for mark in holes])
    m = hide_map.measures
    area_net = _in_proportion(m.area_net, net.area)
    u = area_net.expanded_uncertainty
    measured_net = Measured(net.area, float("nan") if u is None else u / area_net.coverage_factor)
    budget = [(row.source, row.area_percent) for row in hide_map.budget]
    usable = usable_area(net, marks, measured_net, budget, settings.usable)
    expanded = usable.area.expanded
    return replace(
        hide_map,
        marks=marks,
        outline=replace(
            hide_map.outline,
            hide_mm=PolygonGeometry((outer, *(mark.hide_mm.coordinates[0][::-1] for mark in holes))),
            photo_px=PolygonGeometry(
                (hide_map.outline.photo_px.coordinates[0], *(mark.photo_px.coordinates[0] for mark in holes))
            ),
        ),
        measures=replace(
            m,
            area_net=area_net,
            area_usable=replace(
                m.area_usable,
                value=usable.area.value,
                expanded_uncertainty=expanded if np.isfinite(expanded) else None,
            ),
        ),
        usable_budget=tuple(BudgetEntry(source, 100 * v / usable.area.value) for source, v in usable.u_by_source_mm2),
        marks_numbered=max(hide_map.marks_numbered, *(number_of(mark) for mark in marks), 0),
    )


def ring_of(geometry: PolygonGeometry) -> Points:
    """A mark's ring as points (M, 2), not closed."""
    return np.array(geometry.coordinates[0][:-1])


def _in_proportion(figure: MeasureEntry, value: float) -> MeasureEntry:
    u = figure.expanded_uncertainty
    return replace(figure, value=value, expanded_uncertainty=None if u is None else u * value / figure.value)
