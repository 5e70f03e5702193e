import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner, Result

from hidescan.basics.errors import BadInput
from hidescan.cli.app import app
from hidescan.hide_map.json_io import from_json

SAMPLES = Path(__file__).parents[2] / "sample_images"
PROGRAM = Path(sys.executable).with_name("hidescan")


@pytest.fixture(autouse=True)
def own_config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A config folder of the test's own."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return tmp_path / "config"


def said(*words: object) -> Result:
    """Run a command in this process; a refusal is what `main` would print."""
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=True)
    if result.exception is not None and not isinstance(result.exception, SystemExit | BadInput):
        raise result.exception
    return result


def refused(*words: object) -> str:
    result = said(*words)
    text = str(result.exception) if isinstance(result.exception, BadInput) else result.stderr.strip()
    assert isinstance(result.exception, BadInput) or result.exit_code == 2
    return text


def test_a_photo_is_mapped_end_to_end(tmp_path: Path) -> None:
    result = said(
        "map",
        SAMPLES / "side_on_tile.jpg",
        "-o",
        tmp_path,
        "--thickness",
        "3.5mm",
        "--card-scale",
        "1,1",
        "--species",
        "cattle",
    )
    assert result.exit_code == 0, result.output
    assert len(result.stdout.splitlines()) <= 13  # at most 12 lines, and where it was written
    truth = json.loads((SAMPLES / "side_on_tile.truth.json").read_text())
    made = from_json((tmp_path / "side_on_tile.hide.json").read_bytes(), "m")
    area = made.measures.area_net
    assert area.value == pytest.approx(truth["net_area_mm2"], rel=0.01)
    assert area.expanded_uncertainty is not None
    assert abs(area.value - truth["net_area_mm2"]) < area.expanded_uncertainty
    assert sorted(card.number for card in made.cards) == sorted(card["number"] for card in truth["cards"])
    with Image.open(tmp_path / "side_on_tile.map.png") as picture:
        assert max(picture.size) <= 2000
    assert made.outline.hide_mm.coordinates[0][0] == made.outline.hide_mm.coordinates[0][-1]
    assert made.back_line.tail_mm == pytest.approx((0.0, 0.0), abs=1e-6)
    assert made.back_line.neck_mm[0] == pytest.approx(0.0, abs=1e-6)
    assert made.back_line.neck_mm[1] > 500


def test_pale_leather_on_pale_tile_is_never_wrong_in_silence(tmp_path: Path) -> None:
    photo = SAMPLES / "deer_on_tile.jpg"
    said("map", photo, "-o", tmp_path, "--thickness", "1.5mm", "--card-scale", "1,1")
    truth = json.loads((SAMPLES / "deer_on_tile.truth.json").read_text())
    made = from_json((tmp_path / "deer_on_tile.hide.json").read_bytes(), "m")
    area = made.measures.area_net
    assert area.expanded_uncertainty is not None
    inside = abs(area.value - truth["net_area_mm2"]) <= area.expanded_uncertainty
    assert inside or "outline-doubtful" in {w.code for w in made.warnings}
    assert area.value == pytest.approx(truth["net_area_mm2"], rel=0.03)


def test_the_same_photo_gives_the_same_bytes(tmp_path: Path) -> None:
    for folder in ("a", "b"):
        said("map", SAMPLES / "goat_on_concrete.jpg", "-o", tmp_path / folder)
    a, b = ((tmp_path / folder / "goat_on_concrete.hide.json").read_bytes() for folder in ("a", "b"))
    assert a == b


@pytest.mark.parametrize(
    ("photo", "says"),
    [("no_card.jpg", "No reference card"), ("two_hides.jpg", "2 hides"), ("missing.jpg", "no such file")],
)
def test_refusals_are_one_line_and_write_nothing(tmp_path: Path, photo: str, says: str) -> None:
    text = refused("map", SAMPLES / photo, "-o", tmp_path)
    assert says in text
    assert "\n" not in text
    assert list(tmp_path.glob("*")) == []


def test_a_hide_cut_by_the_frame_is_refused(tmp_path: Path) -> None:
    with Image.open(SAMPLES / "goat_hair_on_grass.jpg") as image:
        image.crop((900, 0, image.width, image.height)).save(tmp_path / "cut.jpg", quality=92)
    text = refused("map", tmp_path / "cut.jpg", "-o", tmp_path / "out")
    assert "picture" in text
    assert not (tmp_path / "out").exists()


def test_one_bad_photo_does_not_stop_the_others(tmp_path: Path) -> None:
    result = said("map", SAMPLES / "no_card.jpg", SAMPLES / "goat_on_concrete.jpg", "-o", tmp_path)
    assert result.exit_code == 2
    assert "1 of 2 photos were not mapped: no_card.jpg" in result.stderr
    assert (tmp_path / "goat_on_concrete.hide.json").exists()


def test_a_pixel_is_refused_for_several_photos(tmp_path: Path) -> None:
    text = refused("map", SAMPLES / "no_card.jpg", SAMPLES / "goat_on_concrete.jpg", "--neck", "5,5", "-o", tmp_path)
    assert "--neck names a pixel of one photo" in text


def test_a_given_neck_is_kept_when_the_photo_is_mapped_again(tmp_path: Path) -> None:
    photo, path = SAMPLES / "goat_on_concrete.jpg", tmp_path / "goat_on_concrete.hide.json"
    said("map", photo, "-o", tmp_path)
    found = from_json(path.read_bytes(), "m").back_line
    x, y = found.tail_px
    said("map", photo, "-o", tmp_path, "--neck", f"{x:.0f},{y:.0f}")
    turned = from_json(path.read_bytes(), "m")
    assert turned.back_line.source == "given"
    assert np.hypot(turned.back_line.neck_px[0] - x, turned.back_line.neck_px[1] - y) < 40
    said("map", photo, "-o", tmp_path, "--thickness", "1.2mm")
    again = from_json(path.read_bytes(), "m")
    assert again.back_line.source == "given"
    assert (again.revision, again.inputs.thickness_mm) == (2, 1.2)
    assert (tmp_path / "goat_on_concrete.hide" / "1.json").exists()
    said("map", photo, "-o", tmp_path, "--fresh")
    assert from_json(path.read_bytes(), "m").back_line.source == "shape"


def test_edit_makes_a_revision_and_refuses_another_photo(tmp_path: Path) -> None:
    said("map", SAMPLES / "goat_on_concrete.jpg", "-o", tmp_path, "--thickness", "1.5mm")
    path = tmp_path / "goat_on_concrete.hide.json"
    assert "photo" in refused("edit", path, "--photo", SAMPLES / "deer_on_tile.jpg", "--species", "goat")
    result = said(
        "edit", path, "--photo", SAMPLES / "goat_on_concrete.jpg", "--species", "goat", "--state", "dried slack"
    )
    assert result.exit_code == 0, result.output
    made = from_json(path.read_bytes(), "m")
    assert (made.revision, made.inputs.species, made.inputs.state, made.inputs.thickness_mm) == (
        2,
        "goat",
        "dried slack",
        1.5,
    )


def test_a_print_measured_once_is_remembered(tmp_path: Path, own_config: Path) -> None:
    assert said("card", "--measured", "147.0,196.0", "--numbers", "1-4").exit_code == 0
    said("map", SAMPLES / "goat_on_concrete.jpg", "-o", tmp_path)
    made = from_json((tmp_path / "goat_on_concrete.hide.json").read_bytes(), "m")
    assert made.inputs.card_scale == pytest.approx((0.98, 0.98))
    assert "scale-unmeasured" not in {w.code for w in made.warnings}
    (own_config / "hidescan" / "cards.json").write_text("nonsense")
    assert "measure the cards again" in refused("map", SAMPLES / "goat_on_concrete.jpg", "-o", tmp_path)


def test_what_is_remembered_of_prints_can_be_seen_and_taken_back(own_config: Path) -> None:
    assert "nothing is remembered" in said("card", "--list").stdout
    said("card", "--measured", "147.0,198.0", "--numbers", "1-3")
    listed = said("card", "--list").stdout.splitlines()
    assert [line.split(":")[0] for line in listed] == ["card 1", "card 2", "card 3"]
    assert "147.0 and 198.0 mm" in listed[0] and "0.9800 across, 0.9900 along" in listed[0]
    assert "card 2: forgotten" in said("card", "--forget", "2").stdout
    assert "nothing was remembered" in said("card", "--forget", "2,9").stdout
    assert [line.split(":")[0] for line in said("card", "--list").stdout.splitlines()] == ["card 1", "card 3"]
    assert "--forget x" in refused("card", "--forget", "x")


def test_cards_are_written(tmp_path: Path) -> None:
    assert said("card", "-o", tmp_path / "cards.pdf", "--paper", "letter", "--numbers", "0,9").exit_code == 0
    assert (tmp_path / "cards.pdf").read_bytes().startswith(b"%PDF")
    assert "say where" in refused("card")


def test_the_schema_is_json() -> None:
    assert json.loads(said("schema").stdout)["title"] == "hidescan map"


def test_a_shell_completes_the_commands() -> None:
    asks = {"_HIDESCAN_COMPLETE": "complete_bash", "COMP_WORDS": "hidescan sch", "COMP_CWORD": "1"}
    shown = subprocess.run([PROGRAM], env={**os.environ, **asks}, capture_output=True, text=True, check=True)
    assert shown.stdout.split() == ["schema"]


def test_help_does_not_wait_for_opencv() -> None:
    """Start-up is what people feel first."""
    code = "import sys; from hidescan.cli.app import app; print(sorted({'cv2', 'scipy', 'shapely', 'skimage'} & set(sys.modules)))"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == "[]"


def test_the_program_speaks_plainly_and_exits_with_2() -> None:
    shown = subprocess.run([PROGRAM, "map", "none.jpg"], capture_output=True, text=True)
    assert shown.returncode == 2
    assert shown.stderr.strip() == "none.jpg: there is no such file. Check the name."
    assert shown.stdout == ""
