"""The built packages where nothing else of the project is: no checkout, no Node.js on the path."""

import os
import subprocess
import sys
import sysconfig
import tarfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import hidescan
from tests.page.plain_client import PlainClient
from tests.page.served import BUILT_HERE

ROOT = Path(__file__).parents[1]
PHOTO = ROOT / "sample_images" / "goat_on_concrete.jpg"
Run = Callable[..., "subprocess.Popen[str]"]
pytestmark = pytest.mark.skipif(
    not BUILT_HERE and not os.environ.get("HIDESCAN_PAGE_TESTS"),
    reason="the page was not built (Node.js was not there)",
)


@pytest.fixture(scope="module")
def dist(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sdist of the checkout, and the wheel made of that sdist with neither Node.js nor network."""
    folder = tmp_path_factory.mktemp("dist")
    bare = {**os.environ, "PATH": str(folder), "PYTHONPATH": ""}
    hatchling = [sys.executable, "-m", "hatchling", "build", "-d", str(folder)]
    subprocess.run([*hatchling, "-t", "sdist"], cwd=ROOT, check=True, capture_output=True)
    with tarfile.open(next(folder.glob("*.tar.gz"))) as archive:
        archive.extractall(folder, filter="data")
    unpacked = folder / f"hidescan-{hidescan.__version__}"
    subprocess.run([*hatchling, "-t", "wheel"], cwd=unpacked, env=bare, check=True, capture_output=True)
    return folder


@pytest.fixture(scope="module")
def environment(dist: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An environment with the wheel; what it depends on is lent by this one, for downloads take minutes."""
    folder = tmp_path_factory.mktemp("fresh")
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", folder], check=True)
    pip = [sys.executable, "-m", "pip", "--python", str(folder / "bin" / "python"), "install", "--quiet"]
    subprocess.run([*pip, "--no-deps", "--no-index", str(next(dist.glob("*.whl")))], check=True)
    version = f"python{sys.version_info.major}.{sys.version_info.minor}"
    site = folder / "lib" / version / "site-packages"
    (site / "lent.pth").write_text(sysconfig.get_path("purelib") + "\n")
    return folder


@pytest.fixture
def run(environment: Path, tmp_path: Path) -> Iterator[Run]:
    """Starts the installed command in a folder and home of its own."""
    started = []

    def start(*words: object) -> "subprocess.Popen[str]":
        env = {"PATH": str(environment / "bin"), "HOME": str(tmp_path)}
        command = [str(environment / "bin" / "hidescan"), *map(str, words)]
        program = subprocess.Popen(
            command, env=env, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        started.append(program)
        return program

    yield start
    for program in started:
        program.kill()
        program.communicate()


def said(program: "subprocess.Popen[str]") -> str:
    out, err = program.communicate(timeout=120)
    assert program.returncode == 0, err
    return out


def test_the_wheel_carries_all_that_it_needs(dist: Path) -> None:
    with zipfile.ZipFile(next(dist.glob("*.whl"))) as wheel:
        names = set(wheel.namelist())
    for name in ("py.typed", "LICENSE", "outline/region.onnx", "outline/fine.onnx", "page/built/index.html"):
        assert f"hidescan/{name}" in names
    for kind in ("advice/projects/", "marks/grades/"):
        assert any(name.startswith(f"hidescan/{kind}") and name.endswith(".toml") for name in names)
    # Every file that git keeps of the package, but for the page's sources, and nothing beside it.
    tracked = subprocess.run(["git", "ls-files", "hidescan"], cwd=ROOT, capture_output=True, text=True, check=False)
    sources = ("hidescan/page/web/", "hidescan/page/package", "hidescan/page/build.mjs", "hidescan/page/.npmrc")
    assert [name for name in tracked.stdout.split() if name not in names and not name.startswith(sources)] == []
    assert {name.partition("/")[0].partition("-")[0] for name in names} == {"hidescan"}


def test_the_command_works_there(run: Run, environment: Path, tmp_path: Path) -> None:
    assert said(run("--version")) == f"hidescan {hidescan.__version__}\n"
    said(run("card", "-o", "cards.pdf"))
    assert (tmp_path / "cards.pdf").read_bytes().startswith(b"%PDF")
    assert "photographing" in said(run("manual"))
    assert "area" in said(run("map", PHOTO, "-o", "maps"))
    assert (tmp_path / "maps" / "goat_on_concrete.hide.json").is_file()
    code = "import hidescan; print(hidescan.__file__)"
    where = subprocess.run(
        [environment / "bin" / "python", "-I", "-c", code], cwd=tmp_path, capture_output=True, text=True
    )
    assert where.stdout.startswith(str(environment))


def test_the_page_answers_there(run: Run) -> None:
    page = PlainClient(run("page", "--no-browser"))
    assert page.first_status == 200
    assert b"<html" in page.ask("/")
