"""Disks that are full or cannot be written, kills in the middle of a write, clocks that jump, photos that change."""

import hashlib
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from hidescan.basics.atomic_files import write_whole
from hidescan.basics.errors import BadInput
from hidescan.basics.reading import read_bytes
from hidescan.cli.app import main
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import Inputs
from hidescan.hide_map.revisions import file_digest, read_map, save_map
from hidescan.many.one_photo import keep, picture_of
from hidescan.photo.reading import read_photo
from hidescan.settings import PhotoSettings
from hidescan.shelf import database
from hidescan.shelf.facts import Facts
from hidescan.shelf.finding import Criteria, find
from hidescan.shelf.register import shelve_map
from tests.samples import rectangle_map

# What a process does to files and databases, as CPython tells of it (PEP 578).
TOUCHES = frozenset(
    ("open", "os.rename", "os.remove", "os.chmod", "os.mkdir", "os.fsync", "sqlite3.connect", "tempfile.mkstemp")
)


@contextmanager
def small_disk(folder: Path, kb: int) -> Iterator[Callable[[str], None]]:
    """A file system of its own; gives what mounts it anew with other options."""
    folder.mkdir()
    mounted = (
        sys.platform == "linux" and os.geteuid() == 0 and _mount("-t", "tmpfs", "-o", f"size={kb}k", "none", folder)
    )
    if not mounted:
        pytest.skip("mounting a file system needs root on Linux")
    try:
        yield (
            lambda options: (
                pytest.skip("cannot be mounted anew") if not _mount("-o", f"remount,{options}", folder) else None
            )
        )
    finally:
        subprocess.run(["umount", "-l", folder], check=True)


def _mount(*words: object) -> bool:
    return subprocess.run(["mount", *map(str, words)], capture_output=True).returncode == 0


def fill(folder: Path) -> None:
    with (folder / "filler").open("wb", buffering=0) as file:
        try:
            while file.write(bytes(4096)):
                pass
        except OSError:
            pass


def command(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *words: object) -> str:
    """The one line of a command that is refused."""
    monkeypatch.setattr(sys, "argv", ["hidescan", *map(str, words)])
    with pytest.raises(SystemExit) as stop:
        main()
    said = capsys.readouterr().err
    assert (stop.value.code, said.count("\n")) == (2, 1), said
    return said


def test_on_a_full_disk_nothing_is_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    disk = tmp_path / "disk"
    with small_disk(disk, 400):
        path = disk / "a.hide.json"
        first = save_map(path, rectangle_map(inputs=Inputs(thickness_mm=1.8)))
        with closing(database.open_shelf(disk / "shelf.sqlite")) as db:
            shelve_map(db, "a", path.read_bytes(), Facts())
        fill(disk)
        with pytest.raises(BadInput, match=r"No space left.*Nothing was changed"):
            save_map(path, rectangle_map(inputs=Inputs(thickness_mm=2.0)))
        assert read_map(path) == first
        assert "No space left" in command(monkeypatch, capsys, "export", path, "--to", "svg,dxf")
        for n in range(3):  # the log may have room left for a page or two
            big = rectangle_map(photo=replace(first.photo, sha256=f"{n:064d}", file="x" * 200))
            (tmp_path / f"b{n}.hide.json").write_bytes(
                to_json(replace(big, program=replace(big.program, settings={"x": [*range(20_000)]})))
            )
        words = [tmp_path / f"b{n}.hide.json" for n in range(3)]
        assert "full" in command(monkeypatch, capsys, "shelf", "add", *words, "--shelf", disk / "shelf.sqlite")
        assert not list(disk.glob(".*.part")) and not list((disk / "a.hide").glob(".*"))
        (disk / "filler").unlink()
        with closing(database.open_shelf(disk / "shelf.sqlite")) as db:
            assert database.problems(db) == []
            assert "a" in [row.label for row in find(db, Criteria())]


def test_in_a_folder_that_cannot_be_written_one_line_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    disk = tmp_path / "disk"
    with small_disk(disk, 800) as anew:
        path = disk / "a.hide.json"
        save_map(path, rectangle_map())
        with closing(database.open_shelf(disk / "shelf.sqlite")) as db:
            shelve_map(db, "a", path.read_bytes(), Facts())
        anew("ro")
        assert "Read-only" in command(monkeypatch, capsys, "export", path, "--to", "svg")
        assert "Read-only" in command(monkeypatch, capsys, "card", "-o", disk / "cards.pdf")
        said = command(monkeypatch, capsys, "shelf", "add", "--label", "b", "--shelf", disk / "shelf.sqlite")
        assert "shelf" in said and ("readonly" in said or "unable to open" in said)
        assert read_map(path) == rectangle_map()


def killed_at_every_touch(work: Callable[[], object], check: Callable[[], object]) -> int:
    """Do a work in a child that is killed (SIGKILL) at its first touch of the disk, its second, and so on to the end."""
    for nth in range(1, 400):
        child = os.fork()
        if child == 0:
            _work_till_killed(work, nth)
        _, status = os.waitpid(child, 0)
        check()
        if os.WIFEXITED(status):
            return nth - 1
    raise AssertionError("it never ends")


def _work_till_killed(work: Callable[[], object], nth: int) -> None:
    touched, real = 0, os.fsync

    def count(event: str, _: tuple[object, ...]) -> None:
        nonlocal touched
        touched += event in TOUCHES
        if event in TOUCHES and touched == nth:
            os.kill(os.getpid(), signal.SIGKILL)

    def fsync(fd: Any) -> None:
        sys.audit("os.fsync", fd)
        real(fd)

    sys.addaudithook(count)
    os.fsync = fsync
    try:
        work()
    finally:
        os._exit(0)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")
def test_a_kill_at_any_moment_of_saving_loses_no_map(tmp_path: Path) -> None:
    path = tmp_path / "a.hide.json"
    old, new = (rectangle_map(inputs=Inputs(thickness_mm=mm)) for mm in (1.8, 2.0))
    save_map(path, old)
    before = path.read_bytes()

    def check() -> None:
        now = read_map(path)
        archive = tmp_path / "a.hide" / "1.json"
        if now.revision == 2:
            assert now.inputs == new.inputs and archive.read_bytes() == before
            assert now.parent_sha256 == hashlib.sha256(before).hexdigest()
        else:
            assert path.read_bytes() == before
            assert not archive.exists() or archive.read_bytes() == before

    assert killed_at_every_touch(lambda: save_map(path, new), check) > 6
    assert read_map(path).revision == 2
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["1.json", "a.hide", "a.hide.json"]  # and no litter


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")
def test_a_kill_at_any_moment_of_putting_on_the_shelf_leaves_it_whole(tmp_path: Path) -> None:
    path, data = tmp_path / "shelf.sqlite", to_json(rectangle_map())
    with closing(database.open_shelf(path)) as db:
        shelve_map(db, "first", data, Facts())
    other = to_json(rectangle_map(photo=replace(rectangle_map().photo, sha256="cd" * 32)))

    def work() -> None:
        with closing(database.open_shelf(path)) as db:
            statements = 0

            def count(_: str) -> None:
                nonlocal statements
                statements += 1
                sys.audit("os.fsync", statements)  # a kill between any two statements

            db.set_trace_callback(count)
            shelve_map(db, "second", other, Facts())

    def check() -> None:
        with closing(database.open_shelf(path)) as db:
            assert database.problems(db) == []
            labels = [row.label for row in find(db, Criteria())]
            assert labels in (["first"], ["first", "second"])

    assert killed_at_every_touch(work, check) > 10
    with closing(database.open_shelf(path)) as db:
        assert [row.label for row in find(db, Criteria())] == ["first", "second"]


def test_what_a_killed_writer_left_goes_with_the_next_write_and_a_living_one_is_let_be(tmp_path: Path) -> None:
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    for pid in (gone.pid, os.getppid()):
        (tmp_path / f".a.json.{pid}-abc.part").write_bytes(b"half")
    (tmp_path / f".b.json.{gone.pid}-abc.part").write_bytes(b"half")
    write_whole(tmp_path / "a.json", b"whole")
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(
        [f".a.json.{os.getppid()}-abc.part", f".b.json.{gone.pid}-abc.part", "a.json"]
    )


def test_a_clock_that_goes_back_leaves_the_newest_map_the_newest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Which map is newest is told by the order they came in, and which revision by its number: never by the clock."""
    from hidescan.shelf import register
    from hidescan.shelf.hides import hide

    times = iter(["2026-11-25T12:00:00+00:00", "1970-01-01T00:00:00+00:00", "1999-01-01T00:00:00+00:00"])
    monkeypatch.setattr(register, "_now", lambda: next(times))
    path = tmp_path / "a.hide.json"
    with closing(database.open_shelf(tmp_path / "shelf.sqlite")) as db:
        for n, mm in enumerate((1.8, 2.0), start=1):
            made = save_map(path, rectangle_map(inputs=Inputs(thickness_mm=mm)))
            assert made.revision == n
            os.utime(path, (10 - n, 10 - n))  # the file's own time goes back too
            shelve_map(db, "a", path.read_bytes(), Facts())
        assert [m.revision for m in hide(db, "a").maps] == [1, 2]


def test_a_photo_that_changes_while_it_is_read_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.png"
    Image.fromarray(np.zeros((400, 400, 3), np.uint8)).save(path)
    whole, real = path.read_bytes(), read_bytes

    def read(path: Path, *bounds: Any) -> bytes:
        data = real(path, *bounds)
        path.write_bytes(whole + b"more")
        return data

    monkeypatch.setattr("hidescan.photo.reading.read_bytes", read)
    with pytest.raises(BadInput, match="was changed while it was read"):
        read_photo(path, PhotoSettings(least_megapixels=0.1))


def test_on_a_full_disk_a_map_and_its_pictures_are_written_together_or_not_at_all(tmp_path: Path) -> None:
    """At every fill level: what stood there before is there as it was, or all of the new is."""
    old, new = (rectangle_map(inputs=Inputs(thickness_mm=mm)) for mm in (1.8, 2.0))
    disk = tmp_path / "disk"
    with small_disk(disk, 400):
        for free in range(0, 120, 12):
            path = disk / f"{free}.hide.json"
            first = keep(path, old, {"map": b"old", "zones": b"old", "marks": b"old"}, fresh=False, seen="")
            (disk / "room").write_bytes(bytes(1024 * free))
            fill(disk)
            (disk / "room").unlink()
            pictures = dict.fromkeys(("map", "zones", "marks"), b"new" * 10_000)
            seen = {p.name: p.read_bytes() for p in disk.glob(f"{free}.*") if p.is_file()}
            try:
                keep(path, new, pictures, fresh=False, seen=file_digest(path))
            except BadInput as error:
                assert "Nothing was changed" in str(error)
                assert {p.name: p.read_bytes() for p in disk.glob(f"{free}.*") if p.is_file()} == seen
                assert read_map(path) == first
            else:
                assert read_map(path).inputs == new.inputs and picture_of(path, "map").read_bytes() == pictures["map"]
                assert (disk / f"{free}.hide" / "1.json").exists()
            assert not list(disk.rglob(".*.part"))
            for name in ("filler", *(p.name for p in disk.glob(f"{free}.*") if p.is_file())):
                (disk / name).unlink()
