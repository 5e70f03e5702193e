"""Of two statements at one place the later one counts."""

from math import dist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hidescan.basics.errors import BadInput
from hidescan.hide_map.model import GaugeInput, HintInput, Inputs
from hidescan.hide_map.places import SAME_PLACE_PX, latest_at_each_place
from hidescan.hide_map.revisions import merged
from hidescan.many.one_photo import _taken_back
from hidescan.page.journal import Edit, Given, with_edit
from tests.samples import rectangle_map

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


def test_what_was_given_at_a_place_is_taken_back() -> None:
    reading, far = GaugeInput(AT, 1.8, 0.08), HintInput((700.0, 50.0), True)
    hide_map = rectangle_map(inputs=Inputs(gauge=(reading,), hints=(HintInput(AT, False), far)))
    left = _taken_back(hide_map, (104.0, 200.0)).inputs
    assert (left.gauge, left.hints) == ((), (far,))
    with pytest.raises(BadInput, match="no tap and no gauge reading"):
        _taken_back(hide_map, (300.0, 300.0))
