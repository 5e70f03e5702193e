"""Of two statements at one place the later one counts."""

from math import dist

from hypothesis import given
from hypothesis import strategies as st

from hidescan.hide_map.model import GaugeInput, HintInput, Inputs
from hidescan.hide_map.places import SAME_PLACE_PX, latest_at_each_place
from hidescan.hide_map.revisions import merged
from hidescan.page.journal import Edit, Given, with_edit

AT = (100.0, 200.0)


def test_a_second_reading_at_one_place_replaces_the_first() -> None:
    old = Inputs(gauge=(GaugeInput(AT, 1.8, 0.08), GaugeInput((500.0, 200.0), 1.2, 0.08)))
    made = merged(old, Inputs(gauge=(GaugeInput((103.0, 198.0), 2.4, 0.08),)))
    assert [reading.thickness_mm for reading in made.gauge] == [1.2, 2.4]


def test_inside_after_outside_at_one_place_replaces_it() -> None:
    made = merged(Inputs(hints=(HintInput(AT, False),)), Inputs(hints=(HintInput(AT, True),)))
    assert made.hints == (HintInput(AT, True),)


def test_the_page_replaces_a_tap_at_the_same_place_too() -> None:
    tap = Edit("tap", add={"hints": [{"photo_px": AT, "inside": False}]})
    other = Edit("tap", add={"hints": [{"photo_px": AT, "inside": True}]})
    assert with_edit(with_edit(Given(), tap), other).inputs.hints == (HintInput(AT, True),)


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 40), st.booleans()), max_size=12))
def test_no_two_statements_stay_at_one_place_and_the_last_always_does(taps: list[tuple[int, int, bool]]) -> None:
    hints = [HintInput((float(x), float(y)), inside) for x, y, inside in taps]
    kept = latest_at_each_place(hints)
    assert all(dist(a.photo_px, b.photo_px) > SAME_PLACE_PX for a in kept for b in kept if a is not b)
    assert kept[-1:] == tuple(hints[-1:])
    assert latest_at_each_place((*kept, *hints[-1:])) == kept
