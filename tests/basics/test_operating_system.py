"""The program where `os.name` is 'nt' and the modules that only POSIX has cannot be imported."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from hidescan.basics.operating_system import is_running, limit_address_space, usable_cores
from tests.page.plain_client import PlainClient
from tests.page.served import BUILT_HERE

SAMPLES = Path(__file__).parents[2] / "sample_images"
# Read by every Python process that starts, spawned workers too. What of the standard library looks at os.name while it
# is imported comes first: it would look for modules that only Windows has.
AS_ON_WINDOWS = """
import asyncio, concurrent.futures.process, ctypes, ctypes.util, importlib.metadata, multiprocessing.connection, os
import multiprocessing.popen_spawn_posix, multiprocessing.resource_tracker, pathlib, shutil, subprocess, sysconfig
import sys, tempfile, webbrowser
ABSENT = ("fcntl", "resource", "termios", "tty", "pty", "pwd", "grp", "syslog", "readline")

class Absent:
    def find_spec(self, name, path=None, target=None):
        if name in ABSENT:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)

for name in ABSENT:
    sys.modules.pop(name, None)
sys.meta_path.insert(0, Absent())
for name in ("sched_getaffinity", "fork", "killpg", "statvfs"):  # libraries that ask sys.platform want the rest
    delattr(os, name)
sys.modules[pathlib.Path.__module__].WindowsPath = pathlib.PosixPath  # no other can be made here
os.name = "nt"
"""


@pytest.fixture
def windows(tmp_path: Path) -> dict[str, str]:
    """The environment of a program that believes to be there."""
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / "sitecustomize.py").write_text(AS_ON_WINDOWS)
    home = {name: str(tmp_path) for name in ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME")}
    return {**os.environ, **home, "PYTHONPATH": os.pathsep.join([str(tmp_path / "site"), *sys.path])}


def run(windows: dict[str, str], *words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "ignore", "-m", "hidescan", *map(str, words)],
        env=windows, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


def test_the_pretence_holds(windows: dict[str, str]) -> None:
    tries = "import os\nfor name in ('fcntl', 'resource', 'termios'):\n try: __import__(name)\n except ImportError: print(os.name)"
    found = subprocess.run([sys.executable, "-c", tries], env=windows, capture_output=True, text=True, check=True)
    assert found.stdout.split() == ["nt"] * 3


def test_map_and_shelf_run(windows: dict[str, str], tmp_path: Path) -> None:
    done = run(windows, "map", SAMPLES / "goat_on_concrete.jpg", SAMPLES / "deer_on_tile.jpg", "-o", tmp_path / "maps")
    assert (done.returncode, done.stderr.count("Traceback")) == (0, 0), done.stderr
    one = tmp_path / "maps" / "goat_on_concrete.hide.json"
    assert (
        run(windows, "edit", one, "--thickness", "1.8mm", "--photo", SAMPLES / "goat_on_concrete.jpg").returncode == 0
    )
    done = run(windows, "shelf", "add", one, "--label", "goat 1")
    assert done.returncode == 0, done.stderr
    assert "goat 1" in run(windows, "shelf", "list").stdout
    assert not list(tmp_path.rglob(".hidescan.lock"))


@pytest.mark.skipif(not BUILT_HERE, reason="the page was not built (Node.js was not there)")
def test_the_page_answers_and_its_worker_starts(windows: dict[str, str]) -> None:
    words = [sys.executable, "-W", "ignore", "-m", "hidescan", "page", "--no-browser"]
    with subprocess.Popen(words, env=windows, stdout=subprocess.PIPE, text=True) as program:
        try:
            page = PlainClient(program)
            assert page.first_status == 200
            assert page.map_of(SAMPLES / "goat_on_concrete.jpg")["outline"]
        finally:
            program.kill()


def test_no_limit_and_no_list_is_no_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("hidescan.basics.operating_system.resource", None)
    monkeypatch.delattr(os, "sched_getaffinity", raising=False)
    assert not limit_address_space(1 << 40)
    assert usable_cores() == (os.cpu_count() or 1)


def test_a_process_is_running_until_it_has_ended() -> None:
    assert is_running(os.getpid())
    with subprocess.Popen([sys.executable, "-c", ""]) as child:
        pass
    assert not is_running(child.pid)
