"""A person's words on marks, laid on a map in which those marks were found anew."""

from dataclasses import replace

import numpy as np
from shapely.geometry import Polygon

from hidescan.basics.errors import BadInput
from hidescan.basics.geometry import FARTHEST_MM, has_area, without_crossings
from hidescan.hide_map.model import HideMap, MarkEntry, MarkKind, MarkStatus, Ring
from hidescan.marks.corrections import as_kind, with_marks
from hidescan.marks.matching import SAME_MARK_OVERLAP
from hidescan.marks.placement import Surroundings, mark_entry, ring_of, surroundings_of
from hidescan.page.journal import MarkWord
from hidescan.settings import Settings


def with_words(hide_map: HideMap, words: tuple[MarkWord, ...], settings: Settings) -> HideMap:
    """The map with every word, in the order said, on the mark that it was said of.

    A mark that a person confirmed, retyped or drew stays, should it not have been found again; what they refused does
    not come back.

    Raises
    ------
    BadInput
        A ring that was drawn has no area, or lies off the floor.
    """
    if not words:
        return hide_map
    around, marks = surroundings_of(hide_map), list(hide_map.marks)
    numbered = hide_map.marks_numbered
    for word in words:
        for ring_px in (word.of_px, word.ring_px):
            if ring_px is not None and not has_area(np.array(ring_px)):
                raise BadInput("A mark was drawn that has no area. Undo it, then draw round the mark.")
        at = None if word.of_px is None else _same(marks, word.of_px)
        if at is not None:
            marks[at] = _after(marks[at], word, hide_map, around)
            continue
        ring_px, kind = word.ring_px or word.of_px, word.kind or word.of_kind or "other"
        if ring_px is not None and word.status not in ("rejected", "found"):
            numbered += 1
            status: MarkStatus = "added" if word.ring_px is not None else "confirmed"
            marks.append(_drawn(f"{kind}-{numbered}", kind, ring_px, status, hide_map, around))
    return with_marks(replace(hide_map, marks_numbered=numbered), tuple(marks), settings)


def _after(mark: MarkEntry, word: MarkWord, hide_map: HideMap, around: Surroundings) -> MarkEntry:
    """A mark after a word on it; one drawn anew counts as the person's own."""
    if word.ring_px is not None:
        mark = _drawn(mark.id, mark.kind, word.ring_px, "added", hide_map, around)
    if word.kind is not None:
        mark = as_kind(mark, word.kind, around)
    return mark if word.status is None else replace(mark, status=word.status)


def _drawn(
    name: str, kind: MarkKind, ring_px: Ring, status: MarkStatus, hide_map: HideMap, around: Surroundings
) -> MarkEntry:
    """A mark whose ring, closed, a person drew on the photo."""
    seen = without_crossings(np.array(ring_px[:-1] if ring_px[0] == ring_px[-1] else ring_px))
    ring_mm = hide_map.camera_over_hide().mm_from_px(seen, hide_map.upper_face_mm())
    if not (np.abs(ring_mm) < FARTHEST_MM).all() or not has_area(ring_mm):
        raise BadInput("A mark was drawn that does not lie on the floor. Undo it, then draw it on the hide.")
    return mark_entry(name, kind, without_crossings(ring_mm), seen, around, confidence=1.0, status=status)


def _same(marks: list[MarkEntry], ring_px: Ring) -> int | None:
    """Place of the mark that lies most nearly where this ring lies."""
    said = Polygon(ring_px).buffer(0)
    best, found = 0.0, None
    for k, mark in enumerate(marks):
        ring = Polygon(without_crossings(ring_of(mark.photo_px)))
        shared = said.intersection(ring).area
        if shared > SAME_MARK_OVERLAP * max(min(said.area, ring.area), 1e-9) and shared / said.union(ring).area > best:
            best, found = shared / said.union(ring).area, k
    return found
