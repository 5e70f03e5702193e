"""`hidescan place` from map and drawing to files."""

import csv
import io
import json
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from PIL import Image
from typer.testing import CliRunner

from hidescan.basics.errors import BadInput
from hidescan.cli.app import app
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import Inputs
from hidescan.hide_map.revisions import read_map
from hidescan.many.one_photo import edit_one
from hidescan.settings import Settings
from tests.placing.hides import laid_out, uppers

DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="600mm" height="300mm" viewBox="0 0 600 300">
<polygon id="quarter" points="{}"/><circle id="sock" cx="500" cy="100" r="60"/></svg>"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    ring = uppers(1)[1].ring_mm
    (tmp_path / "shoe.svg").write_text(DRAWING.format(" ".join(f"{x + 50},{200 - y}" for x, y in ring)))
    (tmp_path / "shoe.toml").write_text('[pieces.quarter]\npair = true\n[pieces.sock]\nturn_deg = "any"\ncount = 2\n')
    (tmp_path / "deer.hide.json").write_bytes(to_json(laid_out(30, marks=3)))
    return tmp_path


def run(folder: Path, *more: str) -> tuple[int, str]:
    result = CliRunner().invoke(
        app, ["place", str(folder / "deer.hide.json"), str(folder / "shoe.svg"), "-o", str(folder / "out"), *more]
    )
    if isinstance(result.exception, BadInput):
        return 2, str(result.exception)
    return result.exit_code, result.output


def test_place_writes_everything(folder: Path) -> None:
    code, output = run(folder, "--rounds", "0")
    assert code == 0, output
    out = folder / "out"
    names = {path.name for path in out.iterdir()}
    assert {f"deer.placing.{form}" for form in ("svg", "dxf", "geojson", "pdf", "png")} < names
    placed = json.loads((out / "placing.json").read_text())
    assert [p["id"] for p in placed["placed"]] == ["quarter-1-left", "quarter-1-right", "sock-1", "sock-2"]
    rows = list(csv.DictReader(io.StringIO((out / "placing.csv").read_text())))
    assert [row["id"] for row in rows] == [p["id"] for p in placed["placed"]]
    assert "yield" in output and "sock: 2 placed" in output
    features = json.loads((out / "deer.placing.geojson").read_text())["features"]
    ring = next(f for f in features if f["id"] == "pieces.sock-1")["geometry"]["coordinates"][0]
    assert np.allclose(
        np.array(ring).mean(axis=0), np.array(placed["placed"][2]["hide_mm"]["coordinates"][0]).mean(axis=0), atol=3
    )
    with pypdfium2.PdfDocument(out / "deer.placing.pdf") as document:  # 1:1: the page holds the hide, 72 points an inch
        width, _ = document[0].get_size()
        text = document[0].get_textpage().get_text_range()
    x = np.array(read_map(folder / "deer.hide.json").outline.hide_mm.coordinates[0])[:, 0]
    assert width / 72 * 25.4 == pytest.approx(np.ptp(x) + 20, abs=0.5)
    assert "quarter-1-left" in text and "500" in text  # names, and ticks along the back line
    with Image.open(out / "deer.placing.png") as picture:
        assert max(picture.size) > 1500
    for name in placed["hides"][0]["offcuts"]:
        assert read_map(out / name).back_line.source == "parent"
    assert run(folder, "--rounds", "0") == (
        2,
        f"{out / 'placing.json'} is already there. Write over with --force, or choose another folder.",
    )
    kept = run(folder, "--rounds", "1", "--force", "--keep", str(out / "placing.json"))[1]
    assert "4 pieces" in kept


def test_an_offcut_is_not_mapped_again(folder: Path) -> None:
    run(folder, "--rounds", "0")
    path = next((folder / "out").glob("*-offcut-1.hide.json"))
    smoked = Inputs(tannage="smoked")
    assert edit_one(path, Path("no photo"), smoked, {}, Settings()).inputs.tannage == "smoked"
    with pytest.raises(BadInput, match="is an offcut"):
        edit_one(path, Path("no photo"), Inputs(form="side"), {}, Settings())


def test_what_is_wrong_is_said_in_one_line(folder: Path) -> None:
    (folder / "shoe.toml").write_text("[pieces.quater]\n")
    code, words = run(folder)
    assert code == 2 and "Did you mean 'quarter'" in words and "\n" not in words
    (folder / "shoe.toml").write_text("[pieces.quarter]\ncount = 900\nmin_thickness_mm = 9\n")
    code, words = run(folder, "--rounds", "0", "--to", "svg")
    assert code == 2 and "quarter-1: not placed" in words
