import hashlib
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from hidescan.cli.app import main
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import HideMap
from tests.samples import rectangle_map


def run(monkeypatch: pytest.MonkeyPatch, *words: object) -> int:
    monkeypatch.setattr(sys, "argv", ["hidescan", *map(str, words)])
    try:
        main()
    except SystemExit as stop:
        return int(stop.code or 0)
    return 0


@pytest.fixture
def mapped(tmp_path: Path) -> tuple[Path, HideMap]:
    """A map with its photo beside it."""
    photo = tmp_path / "deer.png"
    Image.fromarray(np.full((3000, 4000, 3), 90, dtype=np.uint8)).save(photo, compress_level=1)
    sha = hashlib.sha256(photo.read_bytes()).hexdigest()
    hide_map = rectangle_map(photo=replace(rectangle_map().photo, file="deer.png", sha256=sha))
    path = tmp_path / "deer.hide.json"
    path.write_bytes(to_json(hide_map))
    return path, hide_map


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_every_format_is_written(mapped: tuple[Path, HideMap], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert run(monkeypatch, "export", mapped[0], "--to", "svg,dxf,geojson,csv,pdf,png", "-o", out) == 0
    assert names(out) == [
        "deer.csv", "deer.dxf", "deer.geojson", "deer.marks.csv", "deer.pdf", "deer.rectified.pgw",
        "deer.rectified.png", "deer.svg",
    ]  # fmt: skip
    assert run(monkeypatch, "export", mapped[0], "--to", "pdf", "--paper", "letter", "--mirror", "-o", out) == 0
    assert "deer.mirrored.letter.pdf" in names(out)


def test_files_that_are_there_stay_as_they_are_without_force(
    mapped: tuple[Path, HideMap], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = mapped[0].parent
    (folder / "deer.svg").write_text("mine")
    assert run(monkeypatch, "export", mapped[0], "--to", "svg,dxf") == 2
    said = capsys.readouterr().err
    assert "--force" in said and said.count("\n") == 1
    assert (folder / "deer.svg").read_text() == "mine" and not (folder / "deer.dxf").exists()
    assert run(monkeypatch, "export", mapped[0], "--to", "svg,dxf", "--force") == 0
    assert (folder / "deer.svg").read_text() != "mine"


def test_without_the_photo_the_lines_are_still_written(
    mapped: tuple[Path, HideMap], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = mapped[0].parent
    kept = folder / "elsewhere.png"
    (folder / "deer.png").rename(kept)
    assert run(monkeypatch, "export", mapped[0], "--to", "png,svg") == 2
    said = capsys.readouterr().err
    assert "--photo" in said and said.count("\n") == 1
    assert names(folder) == ["deer.hide.json", "deer.svg", "elsewhere.png"]
    assert run(monkeypatch, "export", mapped[0], "--to", "png", "--photo", kept) == 0


def test_a_changed_photo_is_refused_and_the_right_one_taken_from_where_it_is_said_to_be(
    mapped: tuple[Path, HideMap], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = mapped[0].parent
    kept = folder / "elsewhere.png"
    (folder / "deer.png").rename(kept)
    Image.fromarray(np.zeros((3000, 4000, 3), dtype=np.uint8)).save(folder / "deer.png", compress_level=1)
    assert run(monkeypatch, "export", mapped[0], "--to", "png") == 2
    said = capsys.readouterr().err
    assert "content differs" in said and said.count("\n") == 1
    assert run(monkeypatch, "export", mapped[0], "--to", "png", "--photo", kept) == 0


def test_a_full_disk_leaves_the_old_file_whole(
    mapped: tuple[Path, HideMap], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    target = mapped[0].parent / "deer.svg"
    target.write_text("old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    assert run(monkeypatch, "export", mapped[0], "--to", "svg", "--force") == 2
    assert "No space left" in capsys.readouterr().err
    assert target.read_text() == "old" and names(target.parent) == ["deer.hide.json", "deer.png", "deer.svg"]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b'"form":', b'"farm":', "form"),
        (b'"value":1000.0', b'"value":NaN', "measures.length.value"),
        (b'"version":1', b'"version":7', "version 7"),
        (b"[-300.0,1000.0]", b"[900.0,300.0]", "Self-intersection"),
        (b"{", b"", "not a map file"),
    ],
    ids=["missing field", "NaN", "version", "crosses itself", "no JSON"],
)
def test_a_map_changed_by_hand_gets_one_clear_line(
    old: bytes,
    new: bytes,
    said: str,
    mapped: tuple[Path, HideMap],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    data = mapped[0].read_bytes()
    assert old in data
    mapped[0].write_bytes(data.replace(old, new))
    assert run(monkeypatch, "export", mapped[0], "--to", "svg") == 2
    line = capsys.readouterr().err
    assert said in line and line.count("\n") == 1
    assert names(mapped[0].parent) == ["deer.hide.json", "deer.png"]


def test_a_file_too_large_to_be_a_map_is_not_read(
    mapped: tuple[Path, HideMap], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with mapped[0].open("r+b") as file:
        file.truncate(200_000_000)  # sparse: takes no room on disk
    assert run(monkeypatch, "export", mapped[0], "--to", "svg") == 2
    line = capsys.readouterr().err
    assert "MB" in line and line.count("\n") == 1


@pytest.mark.parametrize("to", ["doc", "", "svg,,tiff"])
def test_an_unknown_format_is_refused(to: str, mapped: tuple[Path, HideMap], monkeypatch: pytest.MonkeyPatch) -> None:
    assert run(monkeypatch, "export", mapped[0], "--to", to) == 2


def test_a_kill_leaves_the_old_file_whole(mapped: tuple[Path, HideMap]) -> None:
    target = mapped[0].parent / "deer.svg"
    target.write_text("old")
    # The process ends without a word, as by SIGKILL, after the new bytes were written but before they have their name.
    code = (
        "import os, signal, sys; os.fsync = lambda _: os.kill(os.getpid(), signal.SIGKILL);"
        f"sys.argv = ['hidescan', 'export', {str(mapped[0])!r}, '--to', 'svg', '--force'];"
        "from hidescan.cli.app import main; main()"
    )
    ended = subprocess.run([sys.executable, "-c", code], cwd=Path(__file__).parents[2], timeout=60, check=False)
    assert ended.returncode == -signal.SIGKILL
    assert target.read_text() == "old"
