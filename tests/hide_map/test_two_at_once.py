"""Two commands at once on one map: what each was told is in the map, or it says in one line that it is not."""

import hashlib
import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from hidescan.basics.errors import BadInput
from hidescan.hide_map.model import OFFCUT, HideMap, Inputs, WarningEntry
from hidescan.hide_map.revisions import file_digest, read_map, save_map
from hidescan.many import one_photo as batch
from hidescan.many.one_photo import Keeping, Made, edit_one, map_one
from hidescan.settings import Settings
from tests.samples import rectangle_map

GIVEN = Inputs(thickness_mm=1.8)


def test_a_map_that_another_changed_in_between_is_not_written_over(tmp_path: Path) -> None:
    path = tmp_path / "a.hide.json"
    save_map(path, rectangle_map())
    seen = file_digest(path)
    theirs = save_map(path, rectangle_map(inputs=GIVEN))
    with pytest.raises(BadInput, match=r"a.hide.json: was changed .* once more"):
        save_map(path, rectangle_map(inputs=Inputs(species="cattle")), seen=seen)
    assert read_map(path) == theirs
    assert save_map(path, theirs, seen=seen) == theirs  # the same was said twice
    assert save_map(path, rectangle_map(inputs=Inputs(species="cattle")), seen=file_digest(path)).revision == 2


def test_a_map_made_in_between_is_not_written_over(tmp_path: Path) -> None:
    path = tmp_path / "a.hide.json"
    seen = file_digest(path)
    save_map(path, rectangle_map(inputs=GIVEN))
    with pytest.raises(BadInput, match="was changed"):
        save_map(path, rectangle_map(), seen=seen)
    assert read_map(path).inputs == GIVEN


def test_a_file_that_was_no_map_is_written_over_once_a_person_forced_it(tmp_path: Path) -> None:
    path = tmp_path / "a.hide.json"
    path.write_text("my notes")
    seen = file_digest(path)
    assert save_map(path, rectangle_map(), seen=seen) == read_map(path)
    path.write_text("my later notes")
    with pytest.raises(BadInput):
        save_map(path, rectangle_map(), seen=seen)
    assert path.read_text() == "my later notes"


HOLES = tuple(f"hole-{n}" for n in range(1, 9))


def offcut() -> HideMap:
    """A map that is edited without its photo, with eight marks."""
    one = rectangle_map()
    marks = tuple(replace(one.marks[0], id=name, kind="stain") for name in HOLES)
    return replace(one, marks=marks, warnings=(WarningEntry(OFFCUT, "Planned."),))


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")
def test_eight_edits_at_once_each_keep_their_word_or_say_that_they_did_not(tmp_path: Path) -> None:
    path = tmp_path / "a.hide.json"
    save_map(path, offcut())
    start, go = os.pipe()
    children = {_forked(lambda name=name: _edit(path, name), start): name for name in HOLES}  # type: ignore[misc]
    os.write(go, b"!" * len(HOLES))
    kept = {name for child, name in children.items() if os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0}
    now = read_map(path)
    assert kept == {mark.id for mark in now.marks if mark.status == "confirmed"} != set()
    assert now.revision == max(1, len(kept))  # the first one's map held nothing from a person
    assert sorted(p.name for p in (tmp_path / "a.hide").glob("*")) == [f"{n}.json" for n in range(1, now.revision)]


def _forked(work: Callable[[], int], start: int) -> int:
    child = os.fork()
    if child == 0:
        code = 1
        try:
            os.read(start, 1)
            code = work()
        finally:
            os._exit(code)
    return child


def _edit(path: Path, mark: str) -> int:
    """0: kept; 2: refused in a line."""
    try:
        edit_one(path, Path("no photo"), Inputs(), {mark: "confirmed"}, Settings())
    except BadInput as error:
        return 2 if "was changed" in str(error) else 3
    return 0


def test_a_map_that_was_edited_while_its_photo_was_mapped_again_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The slow part of `edit`, mapping the photo, is where another edit comes between."""
    photo = tmp_path / "hide.jpg"
    Image.new("RGB", (1200, 900), "grey").save(photo)
    content = hashlib.sha256(photo.read_bytes()).hexdigest()
    known = replace(rectangle_map().photo, sha256=content)
    path = tmp_path / "hide.hide.json"
    save_map(path, rectangle_map(photo=known))

    def meanwhile(*_: object) -> Made:
        save_map(path, rectangle_map(photo=known, inputs=GIVEN), seen=file_digest(path))
        return Made(rectangle_map(photo=known, inputs=Inputs(species="cattle")), {})

    monkeypatch.setattr(batch, "make", meanwhile)
    given = Inputs(species="cattle")
    for command in (
        lambda: edit_one(path, photo, given, {}, Settings()),
        lambda: map_one(photo, given, Keeping(), Settings()),
    ):
        path.unlink()
        save_map(path, rectangle_map(photo=known))
        with pytest.raises(BadInput, match="was changed"):
            command()
        assert read_map(path).inputs == GIVEN
