import hashlib
from dataclasses import replace
from pathlib import Path

import pytest

from hidescan.basics.atomic_files import write_whole
from hidescan.basics.errors import BadInput
from hidescan.hide_map.model import HintInput, Inputs
from hidescan.hide_map.revisions import earlier_map, map_path, merged, read_map, save_map
from tests.samples import rectangle_map

GIVEN = Inputs(thickness_mm=1.8, hints=(HintInput((5.0, 6.0), True),))


def test_a_map_without_corrections_is_written_over(tmp_path: Path) -> None:
    path = map_path(tmp_path, "hide.jpg")
    save_map(path, rectangle_map())
    save_map(path, rectangle_map(warnings=()))
    assert read_map(path) == rectangle_map(warnings=())
    assert sorted(p.name for p in tmp_path.iterdir()) == ["hide.hide.json"]


def test_a_map_with_corrections_becomes_an_older_revision(tmp_path: Path) -> None:
    path = map_path(tmp_path, "hide.jpg")
    save_map(path, rectangle_map(inputs=GIVEN))
    first = path.read_bytes()
    kept = save_map(path, rectangle_map(inputs=replace(GIVEN, thickness_mm=2.0)))
    assert kept.revision == 2
    assert kept.parent_sha256 == hashlib.sha256(first).hexdigest()
    assert (tmp_path / "hide.hide" / "1.json").read_bytes() == first
    assert read_map(path) == kept


def test_saying_the_same_again_changes_nothing(tmp_path: Path) -> None:
    path = map_path(tmp_path, "hide.jpg")
    save_map(path, rectangle_map(inputs=GIVEN))
    before = path.read_bytes()
    assert save_map(path, rectangle_map(inputs=GIVEN)).revision == 1
    assert path.read_bytes() == before
    assert not (tmp_path / "hide.hide").exists()


def test_what_was_given_before_is_kept_unless_given_anew(tmp_path: Path) -> None:
    path = map_path(tmp_path, "hide.jpg")
    save_map(path, rectangle_map(inputs=GIVEN))
    sha = rectangle_map().photo.sha256
    old = earlier_map(path, sha, force=False)
    assert old is not None
    assert merged(old.inputs, Inputs(species="deer")) == replace(GIVEN, species="deer")
    assert merged(GIVEN, Inputs(thickness_mm=2.5)).thickness_mm == 2.5
    second = HintInput((107.0, 8.0), False)
    assert merged(GIVEN, Inputs(hints=(second,))).hints == (*GIVEN.hints, second)
    assert merged(GIVEN, GIVEN) == GIVEN


def test_the_map_of_another_photo_is_not_overwritten_without_force(tmp_path: Path) -> None:
    path = map_path(tmp_path, "hide.jpg")
    save_map(path, rectangle_map(inputs=GIVEN))
    with pytest.raises(BadInput, match="another photo"):
        earlier_map(path, "cd" * 32, force=False)
    assert earlier_map(path, "cd" * 32, force=True) is None


def test_a_file_that_is_no_map_is_not_overwritten_without_force(tmp_path: Path) -> None:
    path = map_path(tmp_path, "hide.jpg")
    path.write_text("my notes")
    with pytest.raises(BadInput, match="--force"):
        earlier_map(path, "ab" * 32, force=False)
    assert earlier_map(path, "ab" * 32, force=True) is None


def test_a_failed_write_leaves_the_old_file_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "a.json"
    write_whole(target, b"old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(BadInput, match="No space left"):
        write_whole(target, b"new")
    assert target.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BadInput, match="cannot be written"):
        write_whole(tmp_path / "file" / "a.json", b"x")


def test_a_missing_map_is_said(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be read"):
        read_map(tmp_path / "none.hide.json")


def test_a_neck_given_later_wins_over_a_back_line_drawn_before() -> None:
    drawn = Inputs(back_line_px=((1.0, 2.0), (3.0, 4.0)))
    assert merged(drawn, Inputs(neck_px=(9.0, 9.0))).back_line_px is None
    assert merged(drawn, Inputs(species="deer")).back_line_px == drawn.back_line_px
