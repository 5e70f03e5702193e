"""A map with its marks corrected by a person, and the figures that follow from them."""

from collections.abc import Mapping
from dataclasses import replace
from typing import cast

from hidescan.basics.vocabulary import MARKS
from hidescan.hide_map.model import HideMap, MarkEntry, MarkKind, MarkStatus
from hidescan.marks.derived import with_figures
from hidescan.marks.placement import Surroundings, mark_entry, ring_of, surroundings_of
from hidescan.settings import Settings


def with_corrections(hide_map: HideMap, corrections: Mapping[str, str], settings: Settings) -> HideMap:
    """The map with its marks corrected, by id: to a status, or to a kind, which confirms the mark as such.

    A rejected hole is no hole: its inner ring is closed and its area is leather again. The outline follows a hole that
    lies across the rim.

    Raises
    ------
    KeyError
        An id that no mark has.
    BadInput
        Holes would part the hide in two.
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
    """The map with these marks, and all that follows from them."""
    return with_figures(replace(hide_map, marks=marks), settings)
