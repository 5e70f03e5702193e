"""What the program does to the network and to the disk, as the kernel sees it (strace).

A name look-up needs a socket, so a run without one has looked up nothing. This also watches over the libraries: one
that begins to count its uses, or to keep files of its own in the user's home, fails here.
"""

import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.page.plain_client import PlainClient
from tests.page.served import BUILT_HERE

SAMPLES = Path(__file__).parents[2] / "sample_images"
STRACE = shutil.which("strace")
MUST_RUN = bool(os.environ.get("HIDESCAN_PAGE_TESTS"))  # there nothing may be skipped
pytestmark = pytest.mark.skipif(STRACE is None and not MUST_RUN, reason="strace is not there")
CALLS = "network,openat,open,creat,mkdir,mkdirat,rename,renameat,renameat2,link,linkat,symlink,symlinkat"
HIDESCAN = (sys.executable, "-m", "hidescan")
Traced = Callable[..., "subprocess.Popen[str]"]
SCRIPT = """
import sys, time
from hidescan import map_photo
assert map_photo(sys.argv[1]).outline is not None
time.sleep(3)  # a queue is sent later
"""


@pytest.fixture
def traced(tmp_path: Path) -> Traced:
    """Starts a program, traced, in a home of its own."""
    (tmp_path / "home").mkdir()
    (tmp_path / "trace").mkdir()
    (tmp_path / "temporary").mkdir()
    kept = {name: os.environ[name] for name in ("PATH", "LANG") if name in os.environ}
    environment = {
        **kept, "HOME": str(tmp_path / "home"), "TMPDIR": str(tmp_path / "temporary"), "PYTHONDONTWRITEBYTECODE": "1",
        "PYTHONPATH": os.pathsep.join(sys.path),
    }  # fmt: skip

    def started(*words: object) -> "subprocess.Popen[str]":
        trace = (STRACE or "strace", "-ff", "-y", "-qq", "-e", f"trace={CALLS}", "-o", str(tmp_path / "trace" / "of"))
        return subprocess.Popen(
            [*trace, *map(str, words)],
            env=environment, cwd=tmp_path, stdout=subprocess.PIPE, text=True, start_new_session=True,
        )  # fmt: skip

    return started


def ran(program: "subprocess.Popen[str]") -> int:
    with program:
        program.communicate(timeout=180)
    return program.returncode


def calls(tmp_path: Path) -> list[str]:
    """System calls of all processes that did not fail."""
    lines = [line for path in (tmp_path / "trace").iterdir() for line in path.read_text(errors="replace").splitlines()]
    return [line for line in lines if not re.search(r"= -1 E[A-Z]+ \(", line)]


def sockets(tmp_path: Path) -> list[str]:
    """Sockets made, bound or connected; a pair between two processes of the program is none."""
    return [line for line in calls(tmp_path) if re.match(r"(socket|bind|connect)\(", line)]


def written(tmp_path: Path) -> set[str]:
    """Files and folders made, written or renamed to, but for the kernel's own devices and shared memory."""
    found = set()
    for line in calls(tmp_path):
        if re.match(r"open", line) and not re.search(r"O_(WRONLY|RDWR|CREAT)", line):
            continue
        if re.match(r"(open|creat|mkdir|rename|link|symlink)", line):
            name = re.findall(r'"([^"]*)"', line)[-1]
            folder = re.findall(r"(?:AT_FDCWD|\d+)<([^>]*)>", line.rpartition(" = ")[0])
            found.add(os.path.normpath(tmp_path / (folder[-1] if folder else "") / name))
    return {name for name in found if not name.startswith(("/dev/", "/proc/"))}


def elsewhere(tmp_path: Path, *allowed: Path) -> set[str]:
    """What was written outside some folders; those above them may have been made."""
    folders = (*allowed, tmp_path / "temporary")
    return {
        name for name in written(tmp_path)
        if not any(Path(name).is_relative_to(folder) or folder.is_relative_to(name) for folder in folders)
    }  # fmt: skip


def test_the_trace_sees_a_look_up_and_a_file(tmp_path: Path, traced: Traced) -> None:
    """Truth for what follows: a program that does both is caught."""
    looks = "import socket, pathlib, contextlib\npathlib.Path('home/x').write_text('')\n"
    looks += "with contextlib.suppress(OSError): socket.getaddrinfo('telemetry.invalid', 443)"
    ran(traced(sys.executable, "-c", looks))
    assert sockets(tmp_path) != []
    assert written(tmp_path) == {str(tmp_path / "home" / "x")}
    assert elsewhere(tmp_path, tmp_path / "maps") == written(tmp_path)


def test_map_is_quiet_in_one_process_and_in_workers(tmp_path: Path, traced: Traced) -> None:
    photos = [SAMPLES / "goat_on_concrete.jpg", SAMPLES / "deer_on_tile.jpg"]
    assert ran(traced(*HIDESCAN, "map", *photos, "-o", tmp_path / "maps")) == 0
    assert sockets(tmp_path) == []
    assert elsewhere(tmp_path, tmp_path / "maps") == set()


def test_a_script_of_a_persons_own_is_as_quiet(tmp_path: Path, traced: Traced) -> None:
    assert ran(traced(sys.executable, "-c", SCRIPT, SAMPLES / "goat_on_concrete.jpg")) == 0
    assert sockets(tmp_path) == []
    assert written(tmp_path) == set()


def test_exports_and_the_shelf_are_quiet(tmp_path: Path, traced: Traced) -> None:
    shutil.copy(Path(__file__).parents[1] / "data" / "map_of_0.1.0.hide.json", tmp_path / "one.hide.json")
    words = ("export", tmp_path / "one.hide.json", "--to", "svg,dxf,geojson,csv,pdf", "-o", tmp_path / "exports")
    assert ran(traced(*HIDESCAN, *words)) == 0
    assert ran(traced(*HIDESCAN, "shelf", "add", tmp_path / "one.hide.json")) == 0
    assert sockets(tmp_path) == []
    own = [tmp_path / "home" / ".cache" / "hidescan", tmp_path / "home" / ".local" / "share" / "hidescan"]
    assert elsewhere(tmp_path, tmp_path / "exports", *own) == set()


@pytest.mark.skipif(not BUILT_HERE and not MUST_RUN, reason="the page was not built (Node.js was not there)")
def test_the_page_opens_its_own_socket_and_no_other(tmp_path: Path, traced: Traced) -> None:
    with traced(*HIDESCAN, "page", "--no-browser") as program:
        try:
            page = PlainClient(program)
            assert page.first_status == 200
            assert page.map_of(SAMPLES / "goat_on_concrete.jpg")["outline"]
        finally:
            os.killpg(program.pid, signal.SIGINT)
            program.communicate(timeout=30)
    made, port = sockets(tmp_path), page.root.rpartition(":")[2]
    bound = [line for line in made if line.startswith("bind(")]  # one more socket for each port that was taken
    assert len(bound) == 1 and f"htons({port})" in bound[0] and "127.0.0.1" in bound[0]
    assert all(line.startswith(("bind(", "socket(AF_INET, SOCK_STREAM")) for line in made)
    assert elsewhere(tmp_path, tmp_path / "home" / ".local" / "share" / "hidescan") == set()
