"""The whole command on rendered photos of one hide from two sides, one of which cuts it."""

import json
import shutil
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from shapely.geometry import Polygon
from typer.testing import CliRunner

from hidescan.basics.errors import BadInput
from hidescan.cli.app import app
from hidescan.exports.from_above import from_above
from hidescan.hide_map.model import Inputs
from hidescan.hide_map.revisions import read_map
from hidescan.many.joined_photos import join_photos
from hidescan.many.one_photo import Keeping
from hidescan.photo.reading import read_photo
from hidescan.settings import Settings
from tests.synthetic.scenes import Array, Look, TrueCard, look_at
from tests.synthetic.view_pictures import painted, photo_from
from tests.synthetic.views import ViewsScene

CARDS = [TrueCard(n, xy, a, 0.1) for n, xy, a in ((1, (-430, 330), 10), (2, (430, -330), 190), (3, (0, 470), 95))]
HOLE = np.array([[-60.0, 40.0], [-30.0, 40.0], [-30.0, 75.0], [-60.0, 75.0]])
GIVEN = Inputs(card_scale=(1.0, 1.0), thickness_mm=2.0)


def hide() -> Array:
    """A rounded hide of about 0.7 x 0.6 m, its tail end narrower."""
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    radius = 290 + 22 * np.cos(2 * t + 0.6) + 26 * np.cos(4 * t + 0.3) + 10 * np.sin(3 * t)
    return np.c_[radius * np.cos(t) * 1.1, radius * np.sin(t)]


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> tuple[ViewsScene, list[Path]]:
    folder, rng = tmp_path_factory.mktemp("join"), np.random.default_rng(7)
    cameras = [look_at((x, 100), 1050, 22, azimuth, focal_35mm=26.0, size_px=(1200, 900)) for x, azimuth in ((-320, 90), (300, 270))]  # fmt: skip
    made = ViewsScene(hide(), 3.0 + 3.0 * np.sin(np.linspace(0, 6 * np.pi, 400, endpoint=False)), 2.0, CARDS, cameras)
    paint = painted(made, rng, Look(mottle=8.0), holes_mm=(HOLE,), mm=1.0)
    exif, paths = Image.Exif(), []
    exif.get_ifd(0x8769)[0xA405] = 26
    for name, camera in zip(("left", "right"), cameras, strict=True):
        paths.append(folder / f"{name}.jpg")
        Image.fromarray(photo_from(paint, camera, rng)).save(paths[-1], quality=95, exif=exif)
    return made, paths


@pytest.fixture(scope="module")
def joined(photos: tuple[ViewsScene, list[Path]]) -> Path:
    """The map, beside its photos."""
    _, paths = photos
    result = CliRunner().invoke(app, ["map", "--join", *map(str, paths), "--card-scale", "1,1", "--thickness", "2mm"])
    assert result.exit_code == 0, result.output
    assert "left.hide.json" in result.stdout
    return paths[0].with_name("left.hide.json")


def test_two_photos_make_one_map(photos: tuple[ViewsScene, list[Path]], joined: Path, tmp_path: Path) -> None:
    made, _ = photos
    hide_map = read_map(joined)
    assert [view.file for view in hide_map.photos] == ["left.jpg", "right.jpg"]
    assert hide_map.photo.sha256 == hide_map.photos[0].sha256
    assert {card.number for card in hide_map.cards} == {1, 2, 3}
    true = Polygon(made.ring_mm).area
    assert hide_map.measures.area_gross.value == pytest.approx(true, rel=0.008)
    (hole,) = (mark for mark in hide_map.marks if mark.kind == "hole")
    seen = np.mean(hole.photo_px.coordinates[0][:-1], axis=0)
    at = made.cameras[hole.photo].project(np.array([[*HOLE.mean(axis=0), 2.0]]))[0]
    assert np.linalg.norm(seen - at) < 8.0
    assert cv2.imread(str(joined.with_name("left.map.png"))) is not None
    given = ["export", str(joined), "--to", "png", "-o", str(tmp_path)]
    assert CliRunner().invoke(app, given).exit_code == 0
    rectified = np.asarray(Image.open(BytesIO((tmp_path / "left.rectified.png").read_bytes())))
    leather = rectified[rectified[..., 3] == 255][:, :3].astype(float)
    assert np.percentile(np.abs(leather - np.median(leather, axis=0)), 99) < 60  # brown all over, no photo's end in it
    assert json.loads(joined.read_bytes())["program"]["settings"]["join"]


def test_the_picture_from_above_shows_every_card(photos: tuple[ViewsScene, list[Path]], joined: Path) -> None:
    """No photo shows all three; their middles lie at the map's own places in the picture."""
    _, paths = photos
    hide_map = read_map(joined)
    rgb = (read_photo(path, Settings().photo).rgb for path in paths)
    over, picture = from_above(hide_map, rgb, 3_000_000)
    assert (over.photo.width_px, over.photo.height_px) == picture.shape[1::-1]
    board = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100))
    corners, ids, _ = board.detectMarkers(picture)
    assert ids is not None
    for card in hide_map.cards:
        mine = [
            c.reshape(-1, 2).mean(axis=0) for c, i in zip(corners, ids.ravel(), strict=True) if i // 10 == card.number
        ]
        at = over.camera_over_hide().px_from_mm(np.array([card.center_mm]))[0]
        if len(mine) > 7:
            assert np.linalg.norm(np.mean(mine, axis=0) - at) * over.camera.mm_per_px < 12.0


def test_a_word_on_a_mark_of_a_joined_map_makes_a_revision(joined: Path, tmp_path: Path) -> None:
    for path in joined.parent.iterdir():
        if path.is_file():
            shutil.copy(path, tmp_path)
    target, before = tmp_path / joined.name, read_map(joined)
    given = ["edit", str(target), "--mark", f"{before.marks[0].id}:rejected"]
    assert CliRunner().invoke(app, given).exit_code == 0
    after = read_map(target)
    assert after.revision == before.revision + 1
    assert len(after.photos) == 2
    assert after.measures.area_net.value == pytest.approx(after.measures.area_gross.value)
    assert CliRunner().invoke(app, ["edit", str(target), "--neck", "10,10"]).exit_code != 0


def test_one_photo_alone_does_not_show_the_whole_hide(photos: tuple[ViewsScene, list[Path]], tmp_path: Path) -> None:
    _, (left, right) = photos
    near = tmp_path / "near.jpg"
    with Image.open(left) as whole:
        whole.crop((0, 0, 1192, 900)).save(near, exif=whole.getexif())
    keeping = Keeping(tmp_path)
    with pytest.raises(BadInput, match=r"goes on beyond the photos at the (right|left|top|bottom) of .*near card \d"):
        join_photos([left, near], GIVEN, keeping, Settings())
    with pytest.raises(BadInput, match="given twice"):
        join_photos([right, right], GIVEN, keeping, Settings())
    with pytest.raises(BadInput, match="two or more"):
        join_photos([right], GIVEN, keeping, Settings())
