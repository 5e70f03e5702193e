"""Readers of files that a person names, and the writers: pipes, devices, folders, links, files without end."""

import csv
import io
import os
import random
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hidescan.basics.atomic_files import write_together, write_whole
from hidescan.basics.errors import BadInput
from hidescan.basics.reading import read_bytes, read_text
from hidescan.basics.tables import csv_bytes, rows_of
from hidescan.hide_map.json_io import to_json
from tests.samples import rectangle_map

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes and devices of POSIX")


@pytest.fixture
def odd(tmp_path: Path) -> dict[str, Path]:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    (tmp_path / "large").touch()
    os.truncate(tmp_path / "large", 10**12)  # sparse: no block of it is on the disk
    return {
        "pipe": tmp_path / "pipe", "device": Path("/dev/zero"), "terminal": Path("/dev/tty"),
        "folder": tmp_path / "folder", "large": tmp_path / "large", "none": tmp_path / "none",
    }  # fmt: skip


def test_only_regular_files_are_read_and_no_more_of_them_than_allowed(odd: dict[str, Path]) -> None:
    for name, path in odd.items():
        began = time.monotonic()
        with pytest.raises(BadInput) as refused:
            read_bytes(path, 1000)
        assert time.monotonic() - began < 1 and str(path) in str(refused.value), name
    whole = odd["none"].with_name("whole")
    whole.write_bytes(b"x" * 1000)
    assert read_bytes(whole, 1000) == b"x" * 1000
    with pytest.raises(BadInput, match="over 999 bytes"):
        read_bytes(whole, 999)
    whole.write_bytes(b"\xff")
    with pytest.raises(BadInput, match="as text"):
        read_text(whole)


# Every kind of file that a command reads, at the place of each.
INPUTS: dict[str, tuple[str, ...]] = {
    "photo": ("map", "{odd}"),
    "map": ("marks", "{odd}"),
    "drawing": ("place", "{map}", "{odd}.svg", "-o", "{out}"),
    "rules": ("place", "{map}", "{beside}.svg", "-o", "{out}"),
    "placing": ("cost", "{map}", "--price", "9 EUR", "--placing", "{odd}"),
    "extras": ("cost", "{map}", "--price", "9 EUR", "--extras", "{odd}"),
    "keep": ("place", "{map}", "{svg}", "-o", "{out}", "--keep", "{odd}"),
    "grades": ("marks", "{map}", "--grades", "{odd}"),
    "merge": ("edit", "{map}", "--photo", "{odd}", "--merge", "{odd}"),
    "gauge": ("edit", "{map}", "--gauge-file", "{odd}"),
    "lens": ("map", "{map}", "--lens", "{odd}"),
    "project": ("advise", "{odd}.toml"),
    "shelf": ("shelf", "list", "--shelf", "{odd}"),
    "cut": ("shelf", "cut", "a", "--what", "x", "--placed", "{odd}", "--shelf", "{out}/s.sqlite"),
    "add": ("shelf", "add", "{odd}", "--shelf", "{out}/s.sqlite"),
}
RUN = """
import resource, sys
resource.setrlimit(resource.RLIMIT_AS, (3_000_000_000,) * 2)
from hidescan.cli.app import main
main()
"""


@pytest.mark.parametrize("name", INPUTS)
@pytest.mark.parametrize("kind", ["pipe", "device"])
def test_no_command_waits_for_a_pipe_or_swallows_a_device(name: str, kind: str, tmp_path: Path) -> None:
    (tmp_path / "m.hide.json").write_bytes(to_json(rectangle_map()))
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="99mm" height="99mm"><rect id="a" width="99" height="99"/></svg>'
    )
    (tmp_path / "p.svg").write_text(svg)
    (tmp_path / "beside.svg").write_text(svg)
    place = {
        "map": str(tmp_path / "m.hide.json"), "svg": str(tmp_path / "p.svg"), "out": str(tmp_path / "out"),
        "odd": str(tmp_path / "odd"), "beside": str(tmp_path / "beside"),
    }  # fmt: skip
    for path in ("odd", "odd.svg", "odd.toml", "beside.toml"):
        if kind == "pipe":
            os.mkfifo(tmp_path / path)
        else:
            (tmp_path / path).symlink_to("/dev/zero")
    began = time.monotonic()
    words = [word.format(**place) for word in INPUTS[name]]
    env = {**os.environ, "XDG_DATA_HOME": str(tmp_path / "d"), "XDG_CONFIG_HOME": str(tmp_path / "c")}
    done = subprocess.run([sys.executable, "-c", RUN, *words], capture_output=True, text=True, timeout=30, env=env)
    assert done.returncode == 2 and done.stderr.count("\n") == 1, done.stderr
    assert time.monotonic() - began < 10


@pytest.mark.parametrize(
    "make",
    [lambda p, t: p.symlink_to(t), lambda p, t: os.mkfifo(p), lambda p, t: p.mkdir()],
    ids=["link", "pipe", "folder"],
)
def test_what_is_no_file_is_never_written_over(make: Callable[[Path, Path], object], tmp_path: Path) -> None:
    path, target = tmp_path / "out.svg", tmp_path / "target"
    target.write_bytes(b"kept")
    make(path, target)
    before = path.lstat()
    with pytest.raises(BadInput, match="is a"):
        write_together({tmp_path / "other": b"x", path: b"new"})
    assert path.lstat() == before and target.read_bytes() == b"kept"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out.svg", "target"]


def test_a_device_stays_a_device() -> None:
    for device in (Path("/dev/null"), Path("/dev/stdout")):
        before = device.lstat().st_mode
        with pytest.raises(BadInput, match="is a"):
            write_whole(device, b"x")
        assert device.lstat().st_mode == before


CELL = st.none() | st.floats(allow_nan=False) | st.integers() | st.text(max_size=12) | st.sampled_from(
    ["=1+1", "+1", "-cmd|' /C calc'!A0", "@SUM(1)", "\t=1", "\r=1", "-3.5", "-1e5", "\ud800", 'a"b', "a;b", "a\nb"]
)  # fmt: skip


@given(st.lists(st.lists(CELL, min_size=2, max_size=4), max_size=5))
def test_no_cell_of_a_table_is_a_formula_and_all_are_there(rows: list[list[object]]) -> None:
    found = list(csv.reader(io.StringIO(csv_bytes(rows).decode(), newline="")))
    assert len(found) == len(rows)
    for row, read in zip(rows, found, strict=True):
        for cell, text in zip(row, read, strict=True):
            if text[:1] in ("=", "+", "@", "\t", "\r"):
                raise AssertionError(text)
            if text[:1] == "-":
                float(text)
            said = "" if cell is None else str(cell)
            assert text.removeprefix("'") == said.removeprefix("'").encode(errors="backslashreplace").decode()


@given(st.lists(st.text(alphabet='ab,"\r\n=;\x00 ', max_size=40), max_size=4).map("".join))
def test_any_table_is_read_or_refused_in_a_line(text: str) -> None:
    try:
        columns, rows = rows_of(text, "t.csv")
        for number, row in rows:
            assert number > 0 and set(row) <= set(columns)
    except BadInput as error:
        assert str(error).startswith("t.csv, line")


def test_a_cell_of_300_kb_gets_a_line() -> None:
    random.seed(1)
    _, rows = rows_of(f"kind,hide_mm\nhole,{'1 2; ' * 64_000}\n", "t.csv")
    with pytest.raises(BadInput, match="line 2"):
        list(rows)
