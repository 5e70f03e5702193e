from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from hidescan.basics.geometry import rotation_2d
from hidescan.hide_map.model import HideMap, MarkKind
from hidescan.marks.corrections import with_corrections
from hidescan.marks.matching import GivenMark, carried_over, with_given
from hidescan.marks.placement import number_of
from hidescan.settings import Settings
from tests.marked import bare_map, disc, mark, marked_map, some_marks

S = Settings()
KINDS: tuple[MarkKind, ...] = ("stain", "hole", "brand")
PLACES = [(x, y) for y in (900, 700, 500, 300, 100) for x in (-200, 0, 200)]


def found_at(places: list[int], shift: float = 0.0) -> HideMap:
    """A fresh map that found discs at these of `PLACES`, each of a kind of its own, numbered from 1."""
    return marked_map(
        *(
            mark(f"{KINDS[k % 3]}-{n}", disc(PLACES[k][0] + shift, PLACES[k][1], 30), KINDS[k % 3])
            for n, k in enumerate(places, start=1)
        )
    )


def ids_at(hide_map: HideMap) -> dict[int, str]:
    """The id at each of `PLACES`."""
    centres = {m.id: Polygon(m.hide_mm.coordinates[0]).centroid for m in hide_map.marks}
    return {
        k: name for k, (x, y) in enumerate(PLACES) for name, c in centres.items() if np.hypot(c.x - x, c.y - y) < 20
    }


@settings(max_examples=20, deadline=None)
@given(st.lists(st.lists(st.sampled_from(range(len(PLACES))), unique=True, max_size=6), min_size=2, max_size=4))
def test_an_id_means_one_place_for_ever(history: list[list[int]]) -> None:
    """However marks come and go between mappings, ids stay with what was found last time, and none is used twice."""
    shown = found_at(history[0])
    ever = {name: k for k, name in ids_at(shown).items()}
    for places in history[1:]:
        before = ids_at(shown)
        shown = carried_over(shown, found_at(places, shift=2.0), S)
        now = ids_at(shown)
        assert set(now) == set(places)
        for k, name in now.items():
            assert before.get(k, name) == name
            assert ever.setdefault(name, k) == k
        assert len({number_of(m) for m in shown.marks}) == len(shown.marks)


def test_mapping_again_the_same_changes_nothing() -> None:
    made = some_marks()
    assert carried_over(made, some_marks(), S) == made


def test_a_persons_word_stays_also_when_the_mark_is_not_found_again() -> None:
    old = with_corrections(some_marks(), {"hole-1": "rejected", "stain-3": "brand", "brand-4": "confirmed"}, S)
    again = carried_over(old, marked_map(mark("hole-1", disc(101, 801, 10), "hole")), S)
    assert {m.id: (m.kind, m.status) for m in again.marks} == {
        "hole-1": ("hole", "rejected"),
        "stain-3": ("brand", "confirmed"),
        "brand-4": ("brand", "confirmed"),
    }  # the cut, which nobody spoke of, went with the finding
    assert again.measures.area_net.value == pytest.approx(600_000)


def test_a_retyped_mark_found_again_as_before_keeps_the_persons_kind() -> None:
    old = with_corrections(some_marks(), {"stain-3": "wrinkle"}, S)
    again = carried_over(old, some_marks(), S)
    assert {m.id: m.kind for m in again.marks}["stain-3"] == "wrinkle"
    assert len(again.marks) == 4


def test_what_was_drawn_stays_as_drawn_in_a_frame_that_turned() -> None:
    """The neck was given the other way round: the same photo, the hide frame turned by half and moved."""
    old = with_given(bare_map(), [GivenMark("stain", np.array(box(100, 200, 180, 260).exterior.coords)[:-1])], S)
    turned = bare_map()
    camera = turned.camera_over_hide().moved(180.0, np.array([0.0, 1000.0]))
    turned = replace(
        turned,
        camera=replace(
            turned.camera,
            rotation=tuple(tuple(row) for row in camera.rotation.tolist()),
            translation_mm=tuple(camera.translation_mm.tolist()),
        ),
    )
    again = carried_over(old, turned, S)
    (drawn,) = again.marks
    assert (drawn.id, drawn.status) == ("stain-1", "added")
    assert Polygon(drawn.hide_mm.coordinates[0]).symmetric_difference(box(-180, 740, -100, 800)).area < 1.0
    assert drawn.photo_px == old.marks[0].photo_px


def test_given_marks_confirm_add_and_never_take_away() -> None:
    ring = np.array(disc(-152, 301, 38).exterior.coords)[:-1]
    far = np.array(box(0, 100, 30, 120).exterior.coords)[:-1]
    off = far + (900.0, 0.0)
    before = some_marks()
    made = with_given(before, [GivenMark("stain", ring), GivenMark("thin", far), GivenMark("stain", off)], S)
    assert {m.id: m.status for m in made.marks} == {
        "hole-1": "found", "cut-2": "found", "stain-3": "confirmed", "brand-4": "found", "thin-5": "added",
    }  # fmt: skip
    assert made.marks[2].hide_mm == before.marks[2].hide_mm
    silent = with_given(before, [GivenMark("stain", ring, 0.7, "found")], S)
    assert silent.marks == before.marks
    assert with_given(before, [GivenMark("stain", ring, status="rejected")], S).marks[2].status == "rejected"


@settings(max_examples=20, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["hole", "stain", "cut", "brand", "scratch"]),
            st.integers(-5, 5), st.integers(0, 15), st.floats(8, 22),
        ),
        min_size=1, max_size=8, unique_by=lambda m: (m[1], m[2]),
    ),
    st.floats(-180, 180), st.floats(-300, 300), st.integers(0, 5),
)  # fmt: skip
def test_nothing_is_added_when_the_same_face_is_seen_again(
    found: list[tuple[str, int, int, float]], turn_deg: float, shift: float, seed: int
) -> None:
    """Another photo of the face: the same marks in a frame turned and moved, each seen a little differently."""
    rng = np.random.default_rng(seed)
    rotation = rotation_2d(turn_deg)
    here, there = [], []
    for n, (kind, column, row, r) in enumerate(found, start=1):
        x, y = 50.0 * column, 60.0 * row + 50.0
        here.append(mark(f"{kind}-{n}", disc(x, y, r), kind))  # type: ignore[arg-type]
        again = np.array(disc(x + rng.normal(0, 2), y + rng.normal(0, 2), 0.95 * r).exterior.coords)[:-1]
        there.append(GivenMark(kind, again @ rotation.T + shift, 0.8, "found"))  # type: ignore[arg-type]
    before = marked_map(*here)
    back = [replace(m, ring_mm=(m.ring_mm - shift) @ rotation) for m in there]
    once = with_given(before, back, S, slack_mm=3.0)
    assert once.marks == before.marks
    assert once.measures == before.measures
