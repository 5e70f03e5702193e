"""`hidescan light`: from a photo and its map to a map whose thickness comes from light."""

import hashlib
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from hidescan.cli.app import app
from hidescan.hide_map.model import HideMap
from hidescan.hide_map.revisions import read_map
from tests.synthetic.backlit import LitHide, lit_scene

SAMPLES = Path(__file__).parents[2] / "sample_images"
Files = tuple[Path, Path, LitHide]


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Files:
    """A mapped sample, and that very hide held against a window."""
    folder = tmp_path_factory.mktemp("light")
    shutil.copy(SAMPLES / "goat_on_concrete.jpg", folder)
    assert not CliRunner().invoke(app, ["map", str(folder / "goat_on_concrete.jpg"), "--card-scale", "1,1"]).exception
    target = folder / "goat_on_concrete.hide.json"
    rings = [np.array(ring[:-1]) for ring in read_map(target).outline.hide_mm.coordinates]
    rng = np.random.default_rng(4)
    waves = np.array([[0.004, 0.009, 1.0, 0.12], [0.012, -0.005, 2.0, 0.08]])
    spot = np.array([[60.0, 450.0, 26.0, 0.4]])
    hide = LitHide(rings[0], tuple(ring[::-1] for ring in rings[1:]), 1.4, waves, 0.25, spot, 320.0)
    Image.fromarray(lit_scene(hide, rng, long_side_px=1600).rgb).save(folder / "backlit.jpg", quality=92)
    return target, folder / "backlit.jpg", hide


def gauged(hide_map: HideMap, hide: LitHide) -> list[str]:
    """Options for readings at places of the hide frame, as a person would point at them in the photo."""
    at = np.array([[-150.0, 200.0], [0.0, 300.0], [150.0, 250.0], [-100.0, 550.0], [0.0, 150.0]])
    px = hide_map.camera_over_hide().px_from_mm(at)
    return [
        part
        for (x, y), mm in zip(px, hide.thickness_mm(at), strict=True)
        for part in ("--gauge", f"{x:.1f},{y:.1f}:{mm:.2f}mm")
    ]


def test_light_without_readings_gives_shares_and_thin_spots_but_no_mm(files: Files) -> None:
    target, backlit, _ = files
    done = CliRunner().invoke(app, ["light", str(target), str(backlit)])
    assert done.exit_code == 0, done.output
    assert "no thickness in mm" in done.output
    assert "of the hide's middle thickness" in done.output
    made = read_map(target)
    assert [mark.kind for mark in made.marks].count("thin") == 1
    assert "light" not in made.thickness_source


def test_light_with_readings_gives_every_zone_its_thickness(files: Files) -> None:
    target, backlit, hide = files
    done = CliRunner().invoke(app, ["light", str(target), str(backlit), *gauged(read_map(target), hide)])
    assert done.exit_code == 0, done.output
    assert "thickness from light and gauge readings" in done.output
    made = read_map(target)
    assert made.thickness_source == "from light and gauge readings"
    for zone in made.zones:
        ring = zone.hide_mm.coordinates[0] if zone.hide_mm.type == "Polygon" else zone.hide_mm.coordinates[0][0]
        nearby = hide.thickness_mm(np.array(ring))
        assert nearby.min() * 0.8 < zone.thickness_mm < nearby.max() * 1.2


def test_what_light_showed_stays_when_more_is_given_later(files: Files) -> None:
    target, backlit, hide = files
    CliRunner().invoke(app, ["light", str(target), str(backlit), *gauged(read_map(target), hide)])
    done = CliRunner().invoke(app, ["edit", str(target), "--species", "goat"])
    assert done.exit_code == 0, done.output
    made = read_map(target)
    assert made.inputs.light is not None
    assert made.inputs.light.sha256 == hashlib.sha256(backlit.read_bytes()).hexdigest()
    assert made.thickness_source == "from light and gauge readings"


@pytest.mark.parametrize(
    ("other", "message"),
    [("goat_on_concrete.jpg", "is the photo that the map was made from"), ("none.jpg", "none.jpg")],
)
def test_a_photo_that_cannot_be_read_as_light_changes_nothing(files: Files, other: str, message: str) -> None:
    target, backlit, _ = files
    before = target.read_bytes()
    done = CliRunner().invoke(app, ["light", str(target), str(backlit.parent / other)])
    assert message in str(done.exception)
    assert target.read_bytes() == before
