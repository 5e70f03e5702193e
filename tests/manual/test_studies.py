"""Measured tables are kept by the studies that print them."""

import re
import sys
from datetime import date
from pathlib import Path

import pytest

from hidescan import __version__
from tests.benchmarks.recorded import STUDIES, page, recorded
from tests.manual.examples import ROOT


def test_what_a_study_prints_is_shown_and_kept(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "argv", ["tests/benchmarks/marks_study.py", "/home/somebody/photos", "--taps"])
    with recorded("marks", tmp_path):
        print("3 photos\n| kind | found |\n|---|---|\n| hole | 2 |\nslow")
    assert capsys.readouterr().out.startswith("3 photos\n")
    assert (tmp_path / "marks.md").read_text() == (
        f"# marks\n\n`python -m tests.benchmarks.marks_study photos --taps`, version {__version__},"
        f" {date.today().isoformat()}.\n\n```\n3 photos\n```\n\n| kind | found |\n|---|---|\n| hole | 2 |\n\n```\nslow\n```\n"
    )


def test_a_study_that_fails_keeps_what_was_there(tmp_path: Path) -> None:
    (tmp_path / "marks.md").write_text("before")
    with pytest.raises(RuntimeError), recorded("marks", tmp_path):
        raise RuntimeError
    assert (tmp_path / "marks.md").read_text() == "before"


def test_the_day_is_the_one_given() -> None:
    assert "2026-02-03." in page("x", ["x.py"], "figure", date(2026, 2, 3))


@pytest.mark.parametrize("path", sorted((ROOT / "tests" / "benchmarks").glob("*_study.py")), ids=lambda path: path.stem)
def test_every_study_keeps_its_table(path: Path) -> None:
    assert "with recorded(" in path.read_text("utf-8").split('if __name__ == "__main__":')[1]


@pytest.mark.parametrize("path", sorted(STUDIES.glob("*.md")), ids=lambda path: path.stem)
def test_every_kept_table_names_its_version_and_what_gave_it(path: Path) -> None:
    title, _, source = path.read_text("utf-8").splitlines()[:3]
    assert title == f"# {path.stem}"
    assert re.search(r"[Vv]ersion \d+\.\d+\.\d+", source)
    assert re.search(r"`(python|\.ci/task) |printed by no study|as the packages state", source)
