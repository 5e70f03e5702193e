"""What a person did, undone and done again."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hidescan.basics.errors import BadInput
from hidescan.hide_map.model import HintInput, Inputs
from hidescan.page.journal import Edit, Given, edit_from, edit_line, state_of, with_edit

EDITS = st.builds(
    lambda name, value: json.dumps({"what": f"{name} {value}", "set": {name: value}}),
    st.sampled_from(["species", "tannage", "state"]),
    st.sampled_from(["a", "b", "c"]),
)


@given(st.lists(st.one_of(EDITS, st.just('"undo"'), st.just('"redo"')), max_size=30))
def test_folding_is_what_two_stacks_give(lines: list[str]) -> None:
    done: list[Inputs] = [Inputs()]
    undone: list[Inputs] = []
    for line in lines:
        plain = json.loads(line)
        if plain == "undo":
            if len(done) > 1:
                undone.append(done.pop())
        elif plain == "redo":
            if undone:
                done.append(undone.pop())
        else:
            done.append(with_edit(Given(done[-1]), edit_from(plain)).inputs)
            undone = []
    state = state_of(lines)
    assert state.given.inputs == done[-1]
    assert (state.undo is None) == (len(done) == 1) and (state.redo is None) == (not undone)
    assert state.at == len(lines)


def test_undo_has_no_end() -> None:
    edits = [
        json.dumps({"what": f"{k}", "add": {"hints": [{"photo_px": [20 * k, k], "inside": True}]}}) for k in range(300)
    ]
    assert state_of([*edits, *['"undo"'] * 300]).given == Given()
    assert len(state_of([*edits, *['"undo"'] * 300, *['"redo"'] * 300]).given.inputs.hints) == 300


def test_a_line_reads_back_as_the_edit() -> None:
    edit = Edit("tap", add={"hints": [{"photo_px": [1.5, 2.0], "inside": False}]}, key="k")
    assert edit_from(json.loads(edit_line(edit))) == edit
    assert state_of([edit_line(edit)]).given.inputs.hints == (HintInput((1.5, 2.0), False),)


@pytest.mark.parametrize(
    "plain", [{"what": "x", "set": {"hints": [{"photo_px": [1]}]}}, {"what": "x", "set": {"face": "up"}}]
)
def test_values_that_cannot_be_are_refused(plain: dict[str, object]) -> None:
    with pytest.raises(BadInput):
        with_edit(Given(), edit_from(plain))
