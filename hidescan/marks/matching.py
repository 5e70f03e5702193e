"""The same marks seen again: ids, a person's corrections and a person's own marks go from one map of a hide to another.

Two marks are the same when they are of one kind and lie on each other. The kind that counts is the one that the
program gave (an id keeps it: `hole-2` was found as a hole even if a person called it a stain), so that what a person
retyped is known again.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from shapely.geometry import Polygon

from hidescan.basics.errors import BadInput
from hidescan.basics.geometry import Points, without_crossings
from hidescan.hide_map.model import HideMap, MarkEntry, MarkKind, MarkStatus
from hidescan.marks.corrections import as_kind, with_marks
from hidescan.marks.placement import mark_entry, number_of, on_hide, ring_of, surroundings_of
from hidescan.settings import Settings

# Of the smaller of two: the same photo mapped again moves rims by a pixel or two.
SAME_MARK_OVERLAP = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class GivenMark:
    """A mark from elsewhere, in the hide frame of the map that it is for.

    `status` is None where the source gives none: then a person drew it. `name` is the id it claims, if any.
    """

    kind: MarkKind
    ring_mm: Points
    confidence: float = 1.0
    status: MarkStatus | None = None
    name: str | None = None


def carried_over(old: HideMap, new: HideMap, settings: Settings) -> HideMap:
    """A photo's new map with what its older one knew of the marks.

    The same mark keeps its id; one that was confirmed, rejected or retyped stays so, and stays at all, should it not
    have been found again; a person's own marks stay. A new mark gets a number that no mark ever had.
    """
    before = _pairs(new.marks, old.marks, [_seen(mark) for mark in new.marks], [_seen(mark) for mark in old.marks])
    around, numbered = surroundings_of(new), _numbered(old)
    marks = []
    for k, mark in enumerate(new.marks):
        known = before.get(k)
        if known is None:
            numbered += 1
            marks.append(replace(mark, id=f"{mark.kind}-{numbered}"))
        elif known.status != "added":  # what a person drew stays as it was drawn
            mark = replace(mark, id=known.id)
            if mark.kind != known.kind:
                mark = as_kind(mark, known.kind, around)
            marks.append(replace(mark, status=known.status))
    there = {mark.id for mark in marks}
    for known in old.marks:
        if known.id not in there and known.status != "found":
            ring = in_frame_of(new, old, ring_of(known.hide_mm))
            marks.append(
                mark_entry(
                    known.id, known.kind, ring, ring_of(known.photo_px), around,
                    confidence=known.confidence, status=known.status,
                )
            )  # fmt: skip
    return with_marks(replace(new, marks_numbered=numbered), tuple(marks), settings)


def with_given(hide_map: HideMap, given: Iterable[GivenMark], settings: Settings, *, slack_mm: float = 0.0) -> HideMap:
    """The map with marks from elsewhere; nothing that it holds is lost.

    A given mark that is one of the map's changes that: drawn by a person, it confirms it; otherwise its status
    counts, unless that is only `found`. The others are added, rejected ones aside. `slack_mm` is how far the given
    marks' places may be off.
    """
    around, camera, z_mm = surroundings_of(hide_map), hide_map.camera_over_hide(), hide_map.upper_face_mm()
    marks, numbered = list(hide_map.marks), _numbered(hide_map)
    given = [mark for mark in given if on_hide(Polygon(mark.ring_mm), around.outer)]
    same = _pairs(
        given, marks,
        [Polygon(m.ring_mm).buffer(slack_mm) for m in given],
        [Polygon(ring_of(m.hide_mm)).buffer(slack_mm) for m in marks],
    )  # fmt: skip
    for k, mark in enumerate(given):
        if (known := same.get(k)) is not None:
            at = marks.index(known)
            if mark.status == "rejected":
                marks[at] = replace(known, status="rejected")
            elif mark.status != "found":
                corrected = known if known.kind == mark.kind else as_kind(known, mark.kind, around)
                marks[at] = corrected if corrected.status == "added" else replace(corrected, status="confirmed")
        elif mark.status != "rejected":
            numbered += 1
            marks.append(
                mark_entry(
                    f"{mark.kind}-{numbered}", mark.kind, mark.ring_mm, camera.px_from_mm(mark.ring_mm, z_mm), around,
                    confidence=mark.confidence, status="added",
                )
            )  # fmt: skip
    return with_marks(replace(hide_map, marks_numbered=numbered), tuple(marks), settings)


def _pairs(
    new: Sequence[MarkEntry | GivenMark], old: Sequence[MarkEntry], at: list[Polygon], was: list[Polygon]
) -> dict[int, MarkEntry]:
    """By the place of a new mark, the old one that it is: the best overlaps first, each once."""
    found = []
    for i, mark in enumerate(new):
        for j, known in enumerate(old):
            if _kin(mark, known) and at[i].intersects(was[j]):
                shared = at[i].intersection(was[j]).area
                if shared > SAME_MARK_OVERLAP * min(at[i].area, was[j].area):
                    found.append((-shared / at[i].union(was[j]).area, i, j))
    pairs: dict[int, MarkEntry] = {}
    for _, i, j in sorted(found):
        if i not in pairs and old[j] not in pairs.values():
            pairs[i] = old[j]
    return pairs


def _kin(mark: MarkEntry | GivenMark, known: MarkEntry) -> bool:
    """Whether both may be one mark: by its kind, by the kind it was found as, or because it claims to be."""
    name = mark.name if isinstance(mark, GivenMark) else None
    return mark.kind in (known.kind, known.id.rpartition("-")[0]) or name == known.id


def _seen(mark: MarkEntry) -> Polygon:
    """In the photo, where the same photo's maps agree whatever their frames are."""
    return Polygon(without_crossings(ring_of(mark.photo_px)))


def _numbered(hide_map: HideMap) -> int:
    return max(hide_map.marks_numbered, *(number_of(mark) for mark in hide_map.marks), 0)


def in_frame_of(new: HideMap, old: HideMap, ring_mm: Points) -> Points:
    """A ring of one map in the frame of another of the same photo: through the photo.

    Raises
    ------
    BadInput
        One of the cameras does not see it: a map that was changed by hand.
    """
    seen = old.camera_over_hide().px_from_mm(ring_mm, old.upper_face_mm())
    ring = new.camera_over_hide().mm_from_px(seen, new.upper_face_mm())
    if not np.isfinite(ring).all():
        raise BadInput(f"{old.photo.file}: a mark in its map lies where its camera does not look. Map it with --fresh.")
    return without_crossings(ring)
