import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from hidescan.basics.errors import BadInput
from hidescan.cli.app import app
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.revisions import read_map
from tests.marked import bare_map, disc, mark, marked_map, some_marks


@pytest.fixture
def map_file(tmp_path: Path) -> Path:
    path = tmp_path / "deer.hide.json"
    path.write_bytes(to_json(some_marks()))
    return path


def said(*words: object) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


def test_marks_are_listed_with_the_rule_and_what_comes_out_in_one_piece(map_file: Path) -> None:
    shown = said("marks", map_file, "--units", "metric").stdout
    assert "4 marks" in shown
    assert "stain-3" in shown and "sure to 70 %" in shown
    assert "without marks; 5 mm left round holes and cuts" in shown
    assert "clear   rectangle" in shown and "circle" in shown
    assert "marks that may be none" in shown


def test_a_grade_says_what_decided(map_file: Path) -> None:
    shown = said("marks", map_file, "--grades", "gost-1904").stdout
    assert "grade   1: usable 97" in shown
    assert "GOST 1904-81, table 4" in shown
    own = map_file.parent / "mine.toml"
    own.write_text('[[grade]]\nname = "clean"\nmost_marks = 0\n')
    assert "not grade clean: 4 marks" in said("marks", map_file, "--grades", own).stdout


def test_everything_is_there_as_json(map_file: Path) -> None:
    plain = json.loads(said("marks", map_file, "--json", "--grades", "iso-17551").stdout)
    assert [mark["id"] for mark in plain["marks"]] == ["hole-1", "cut-2", "stain-3", "brand-4"]
    assert plain["grade"]["grade"] == "III"
    assert plain["clear_rectangle_mm"]["x1"] > plain["clear_rectangle_mm"]["x0"]
    assert plain["usable_rule"].startswith("without marks")


def test_a_hide_without_marks(tmp_path: Path) -> None:
    path = tmp_path / "clean.hide.json"
    path.write_bytes(to_json(bare_map()))
    assert said("marks", path).stdout.startswith("clean: no marks\n")


def test_a_hide_that_marks_cover_wholly(tmp_path: Path) -> None:
    path = tmp_path / "gone.hide.json"
    path.write_bytes(to_json(marked_map(mark("stain-1", disc(0, 500, 700), "stain"))))
    shown = said("marks", path, "--units", "metric").stdout
    assert "usable  0.0" in shown and "clear " not in shown
    assert json.loads(said("marks", path, "--json").stdout)["clear_rectangle_mm"] is None


def test_an_unknown_table_is_refused_with_those_that_are(map_file: Path) -> None:
    error = said("marks", map_file, "--grades", "none.toml").exception
    assert isinstance(error, BadInput)
    assert "gost-1904, iso-17551" in str(error)


def test_what_a_person_says_of_marks_stays_when_the_photo_is_mapped_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    photo = Path(__file__).parents[2] / "sample_images" / "goat_on_concrete.jpg"
    path = tmp_path / "goat_on_concrete.hide.json"
    assert said("map", photo, "-o", tmp_path).exit_code == 0
    found = read_map(path)
    assert found.marks
    assert (tmp_path / "goat_on_concrete.marks.png").read_bytes().startswith(b"\x89PNG")
    assert said("marks", path, "--photo", photo, "--crops", tmp_path / "crops").exit_code == 0
    assert {p.name for p in (tmp_path / "crops").iterdir()} == {f"goat_on_concrete.{m.id}.png" for m in found.marks}
    inner = np.array(found.outline.photo_px.coordinates[0]).mean(axis=0)
    (tmp_path / "drawn.csv").write_text(f"kind,centre_x_px,centre_y_px,diameter_mm\nthin,{inner[0]},{inner[1]},60\n")
    edited = said("edit", path, "--photo", photo, "--mark", f"{found.marks[0].id}:rejected",
                  "--merge", tmp_path / "drawn.csv", "--conditioning", "two days at 23 C and 50 %")  # fmt: skip
    assert edited.exit_code == 0, edited.output
    again = read_map(path)  # edit maps the photo anew
    words = {m.id: (m.kind, m.status) for m in again.marks}
    assert words[found.marks[0].id] == (found.marks[0].kind, "rejected")
    assert words[f"thin-{found.marks_numbered + 1}"] == ("thin", "added")
    assert again.inputs.conditioning == "two days at 23 C and 50 %"
    assert again.measures.area_usable.value < again.measures.area_net.value - 0.9 * np.pi * 33**2
    assert "there is no mark" in str(said("edit", path, "--photo", photo, "--mark", "hole-99:rejected").exception)
