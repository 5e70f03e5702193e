"""Shelves that a disk damaged: a line that says what to do, copies made by themselves, and the way back."""

import random
import shutil
import sqlite3
import sys
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path

import pytest

from hidescan.basics.errors import BadInput
from hidescan.cli.app import main
from hidescan.hide_map.json_io import to_json
from hidescan.shelf import database
from hidescan.shelf.finding import Criteria, find
from hidescan.shelf.hides import hide, map_bytes
from hidescan.shelf.register import shelve_map
from hidescan.shelf.schema import STEPS
from tests.samples import rectangle_map


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    path = tmp_path / "shelf.sqlite"
    with closing(database.open_shelf(path)) as db:
        shelve_map(db, "a", to_json(rectangle_map()))
    with closing(database.open_shelf(path)):
        return path


def said(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *words: object) -> tuple[int, str]:
    monkeypatch.setattr(sys, "argv", ["hidescan", "shelf", *map(str, words)])
    try:
        main()
        code = 0
    except SystemExit as stop:
        code = int(stop.code or 0)
    out, error = capsys.readouterr()
    assert (code, error.count("\n")) in ((0, 0), (2, 1)), error
    return code, out + error


def test_a_copy_is_made_on_the_first_use_of_a_day_and_three_are_kept(
    shelf: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (first,) = database.copies(shelf)
    before = first.read_bytes()
    with closing(database.open_shelf(shelf)) as db:
        shelve_map(db, "b", to_json(rectangle_map(photo=rectangle_map().photo)))
    assert first.read_bytes() == before  # that of today stays

    for later in range(5):
        monkeypatch.setattr(database, "today", lambda days=later: date(2031, 1, 1) + timedelta(days=days))
        database.open_shelf(shelf).close()
    assert [copy.stem for copy in database.copies(shelf)] == ["2031-01-05", "2031-01-04", "2031-01-03"]


def test_a_copy_is_made_before_the_shelf_is_brought_up_to_date(shelf: Path) -> None:
    new = (*STEPS, ("CREATE TABLE more (id INTEGER PRIMARY KEY) STRICT",))
    database.open_shelf(shelf, steps=new).close()
    names = [copy.name for copy in database.copies(shelf)]
    (copy,) = (c for c in database.copies(shelf) if f"-version-{len(STEPS)}" in c.name)
    assert len(names) == 2
    with closing(sqlite3.connect(copy)) as db:
        assert db.execute("PRAGMA user_version").fetchone()[0] == len(STEPS)


def test_a_damaged_map_is_named_and_brought_back(
    shelf: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert said(capsys, monkeypatch, "check", "--shelf", shelf)[0] == 0
    for broken in (b"", b"torn", b"x\x9c\x03\x00\x00\x00\x00\x01"):
        with closing(sqlite3.connect(shelf)) as db, db:
            db.execute("UPDATE map SET json_zlib = ?", (broken,))
        with closing(database.open_shelf(shelf)) as db, pytest.raises(BadInput, match="shelf check"):
            map_bytes(db, hide(db, "a").maps[0].id)
        code, line = said(capsys, monkeypatch, "check", "--shelf", shelf)
        assert code == 2 and "hide.jpg" in line and "restore" in line
        assert said(capsys, monkeypatch, "export", "-o", shelf.with_name("all.json"), "--shelf", shelf)[0] == 2
        assert said(capsys, monkeypatch, "restore", "--shelf", shelf)[0] == 0
        assert said(capsys, monkeypatch, "check", "--shelf", shelf)[0] == 0
        with closing(database.open_shelf(shelf)) as db:
            assert map_bytes(db, hide(db, "a").maps[0].id) == to_json(rectangle_map())
    assert len(list(shelf.parent.glob("shelf.before-restore-*.sqlite"))) == 3


def test_random_damage_of_the_file_gets_a_line_and_never_costs_a_copy(
    shelf: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Seeded: bytes flipped, blocks zeroed, the end cut off."""
    rng, whole = random.Random(3), shelf.read_bytes()
    (copy,) = database.copies(shelf)
    good = copy.read_bytes()
    for n in range(60):
        data = bytearray(whole)
        match n % 3:
            case 0:
                for _ in range(rng.choice((1, 8, 200))):
                    data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
            case 1:
                at = rng.randrange(0, len(data), 512)
                data[at : at + 512] = bytes(512)
            case _:
                del data[rng.randrange(len(data)) :]
        for path in shelf.parent.glob("shelf.sqlite*"):
            path.unlink()
        shelf.write_bytes(data)
        for words in (("list",), ("show", "a"), ("find", "--area", "1dm2"), ("check",)):
            code, line = said(capsys, monkeypatch, *words, "--shelf", shelf)
            assert code == 0 or str(shelf) in line or "a:" in line or "damaged" in line, line
        assert copy.read_bytes() == good
    shelf.write_bytes(b"")
    assert said(capsys, monkeypatch, "restore", "--shelf", shelf)[0] == 0
    with closing(database.open_shelf(shelf)) as db:
        assert [row.label for row in find(db, Criteria())] == ["a"]


def test_restoring_takes_only_a_sound_copy_and_no_shelf_in_use(shelf: Path) -> None:
    torn = shelf.with_name("torn.sqlite")
    torn.write_bytes(shelf.read_bytes()[:4096])
    for copy in (torn, shelf.with_name("none.sqlite"), Path(__file__)):
        with pytest.raises(BadInput, match="no sound copy"):
            database.restore(shelf, copy)
    with closing(database.open_shelf(shelf)) as db:
        db.execute("BEGIN IMMEDIATE")
        with pytest.raises(BadInput, match="another program"):
            database.restore(shelf, None)
        db.execute("ROLLBACK")
    shutil.rmtree(shelf.with_name("shelf.copies"))
    with pytest.raises(BadInput, match="no sound copy"):
        database.restore(shelf, None)
    assert shelf.exists()
