"""What a person did to one hide, line by line, and what they have given so far.

Lines are only ever added. An edit says what it sets or adds; `undo` and `redo` are lines too. Folding them gives what
counts now; nothing is lost, and any line is enough to go on from after a crash.
"""

import json
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any, Literal, TypeVar

from pydantic import TypeAdapter, ValidationError

from hidescan.basics.errors import BadInput
from hidescan.hide_map.model import Inputs, MarkKind, Ring
from hidescan.hide_map.places import latest_at_each_place
from hidescan.hide_map.validation import input_defect

T = TypeVar("T")
LISTS = ("hints", "gauge", "tapes", "rim_px")


@dataclass(frozen=True, slots=True)
class MarkWord:
    """A person's word on one mark.

    `of_px` and `of_kind` are the mark's ring and kind when it was said, by which it is found again when the photo is
    mapped anew; None for a mark that the person added. None elsewhere: as it was.
    """

    of_px: Ring | None = None
    of_kind: MarkKind | None = None
    status: Literal["found", "confirmed", "rejected"] | None = None
    kind: MarkKind | None = None
    ring_px: Ring | None = None


@dataclass(frozen=True, slots=True)
class Given:
    """All that a person has given of a hide."""

    inputs: Inputs = field(default_factory=Inputs)
    marks: tuple[MarkWord, ...] = ()


@dataclass(frozen=True, slots=True)
class Edit:
    """One thing that a person did: fields of `Inputs` set or added to, or a word on a mark."""

    what: str
    set: dict[str, Any] = field(default_factory=dict)
    add: dict[str, list[Any]] = field(default_factory=dict)
    mark: MarkWord | None = None
    key: str = ""


@dataclass(frozen=True, slots=True)
class State:
    """Where a journal stands: what is given, how many lines there are, what undo and redo would do."""

    given: Given
    at: int
    undo: str | None
    redo: str | None
    keys: frozenset[str]


def edit_from(plain: Any) -> Edit:
    """An edit as the page sends it.

    Raises
    ------
    BadInput
        It is none; says where.
    """
    return _valid(_edits(), plain)


def edit_line(edit: Edit) -> str:
    """The journal's line for an edit, without the line's end."""
    return json.dumps(_edits().dump_python(edit, mode="json", exclude_defaults=True), separators=(",", ":"))


def with_edit(given: Given, edit: Edit) -> Given:
    """What is given after one more edit.

    Raises
    ------
    BadInput
        A field does not exist or its value cannot be.
    """
    plain = _inputs().dump_python(given.inputs, mode="json")
    for name, items in edit.add.items():
        if name not in LISTS:
            raise BadInput(f"{name}: nothing can be added to that.")
        plain[name] = [*plain[name], *items]
    unknown = edit.set.keys() - plain.keys()
    if unknown:
        raise BadInput(f"{min(unknown)}: there is no such thing to give.")
    inputs = _valid(_inputs(), plain | edit.set)
    inputs = replace(inputs, hints=latest_at_each_place(inputs.hints), gauge=latest_at_each_place(inputs.gauge))
    if fault := input_defect(inputs):
        raise BadInput(f"{fault}.")
    return replace(given, inputs=inputs, marks=given.marks if edit.mark is None else (*given.marks, edit.mark))


def state_of(lines: list[str]) -> State:
    """Fold a journal's lines."""
    done: list[tuple[str, Given]] = []
    undone: list[tuple[str, Given]] = []
    given, keys = Given(), set()
    for line in lines:
        plain = json.loads(line)
        if plain == "undo":
            if done:
                undone.append(done.pop())
        elif plain == "redo":
            if undone:
                done.append(undone.pop())
        else:
            edit = edit_from(plain)
            done.append((edit.what, with_edit(given, edit)))
            undone.clear()
            keys.add(edit.key)
        given = done[-1][1] if done else Given()
    return State(
        given, len(lines), done[-1][0] if done else None, undone[-1][0] if undone else None, frozenset(keys - {""})
    )


def sound_state_of(lines: list[str]) -> tuple[State, int]:
    """Fold a journal's lines as far as they are sound, and say how many are."""
    try:
        return state_of(lines), len(lines)
    except (ValueError, RecursionError):
        pass
    low, high = 0, len(lines) - 1  # the first `low` lines are sound, those up to `high` + 1 are not
    while low < high:
        middle = (low + high + 1) // 2
        try:
            state_of(lines[:middle])
            low = middle
        except (ValueError, RecursionError):
            high = middle - 1
    return state_of(lines[:low]), low


def _valid(adapter: TypeAdapter[T], plain: Any) -> T:
    try:
        return adapter.validate_python(plain)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        raise BadInput(f"{'.'.join(str(part) for part in first['loc'])}: {first['msg']}.") from error


@cache
def _edits() -> TypeAdapter[Edit]:
    return TypeAdapter(Edit)


@cache
def _inputs() -> TypeAdapter[Inputs]:
    return TypeAdapter(Inputs)
