"""A map with a person's word on its marks: statuses carried over, and the figures that follow from them."""

from collections.abc import Mapping
from dataclasses import replace

from shapely.geometry import Polygon

from hidescan.hidemap import HideMap, MarkEntry, MarkStatus, MeasureEntry, PolygonGeometry
from hidescan.settings import Settings
from hidescan.usable import lost_to_marks

SAME_MARK_OVERLAP = 0.3  # of the smaller of two, in the photo: the same photo mapped again moves rims by a pixel or two


def with_statuses(hide_map: HideMap, statuses: Mapping[str, MarkStatus], settings: Settings) -> HideMap:
    """The map with these marks' statuses, by id, and net and usable area that follow.

    A rejected hole is no hole: its inner ring is closed and its area is leather again.

    Raises
    ------
    KeyError
        An id that no mark has.
    """
    unknown = statuses.keys() - {mark.id for mark in hide_map.marks}
    if unknown:
        raise KeyError(min(unknown))
    marks = tuple(replace(mark, status=statuses.get(mark.id, mark.status)) for mark in hide_map.marks)
    outer = hide_map.outline.hide_mm.coordinates[0]
    holes = [mark for mark in marks if mark.kind == "hole" and mark.status != "rejected"]
    net = Polygon(outer, [mark.hide_mm.coordinates[0] for mark in holes])
    counted = ((mark.kind, Polygon(mark.hide_mm.coordinates[0])) for mark in marks if mark.status != "rejected")
    usable = net.area - lost_to_marks(net, counted, settings.usable).area
    m = hide_map.measures
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
            m, area_net=_in_proportion(m.area_net, net.area), area_usable=_in_proportion(m.area_usable, usable)
        ),
    )


def carried_statuses(old: HideMap, new: HideMap) -> dict[str, MarkStatus]:
    """Statuses that a person gave in an older map of the same photo, by the ids of the new one."""
    given = [mark for mark in old.marks if mark.status != "found"]
    found: dict[str, MarkStatus] = {}
    for mark in new.marks:
        same = next((g for g in given if g.kind == mark.kind and _overlap(g, mark) > SAME_MARK_OVERLAP), None)
        if same is not None:
            found[mark.id] = same.status
    return found


def _overlap(a: MarkEntry, b: MarkEntry) -> float:
    p, q = (Polygon(mark.photo_px.coordinates[0]).buffer(0) for mark in (a, b))
    return float(p.intersection(q).area / max(min(p.area, q.area), 1e-9))


def _in_proportion(figure: MeasureEntry, value: float) -> MeasureEntry:
    u = figure.expanded_uncertainty
    return replace(figure, value=value, expanded_uncertainty=None if u is None else u * value / figure.value)
