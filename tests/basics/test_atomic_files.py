"""One program at a time in a folder, by a lock that leaves nothing behind."""

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from hidescan.basics.atomic_files import folder_lock

COUNT = """
import sys
from pathlib import Path
from hidescan.basics.atomic_files import folder_lock
folder, number = Path(sys.argv[1]), Path(sys.argv[1]) / "number"
for _ in range(25):
    with folder_lock(folder):
        number.write_text(str(int(number.read_text()) + 1))
"""
HOLD = """
import sys, time
from pathlib import Path
from hidescan.basics.atomic_files import folder_lock
with folder_lock(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(60)
"""


def test_four_programs_that_add_to_one_number_lose_no_step(tmp_path: Path) -> None:
    (tmp_path / "number").write_text("0")
    programs = [subprocess.Popen([sys.executable, "-c", COUNT, tmp_path]) for _ in range(4)]
    assert [program.wait(60) for program in programs] == [0, 0, 0, 0]
    assert (tmp_path / "number").read_text() == "100"
    assert [path.name for path in tmp_path.iterdir()] == ["number"]


@contextmanager
def held(folder: Path) -> Iterator["subprocess.Popen[str]"]:
    with subprocess.Popen([sys.executable, "-c", HOLD, folder], stdout=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None and program.stdout.readline() == "held\n"
        try:
            yield program
        finally:
            program.kill()


def test_the_lock_of_a_killed_program_is_free_and_its_file_goes(tmp_path: Path) -> None:
    with held(tmp_path) as program:
        program.kill()
        program.wait()
        start = time.monotonic()
        with folder_lock(tmp_path):
            assert time.monotonic() - start < 5
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="everything is writable for root")
def test_a_folder_that_cannot_be_written_is_not_waited_for(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with folder_lock(tmp_path):
        pass


def test_a_folder_that_cannot_be_made_is_not_waited_for(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with folder_lock(tmp_path / "file" / "folder"):
        pass
