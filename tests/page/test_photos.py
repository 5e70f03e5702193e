"""Several photos of one hide on the page: what is missing is asked for, and the map from all of them is there."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from shapely.geometry import Polygon

from hidescan.hide_map.json_io import from_json
from tests.page.served import Screen, needs_browser
from tests.synthetic.scenes import Array, Look, TrueCard, look_at
from tests.synthetic.view_pictures import painted, photo_from
from tests.synthetic.views import ViewsScene

pytestmark = needs_browser
CARDS = [TrueCard(n, xy, a, 0.1) for n, xy, a in ((1, (-430, 330), 10), (2, (430, -330), 190), (3, (0, 470), 95))]


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> tuple[Array, list[Path]]:
    """A rounded hide; each of two photos cuts it, both show card 3."""
    folder, rng = tmp_path_factory.mktemp("photos"), np.random.default_rng(7)
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    radius = 290 + 22 * np.cos(2 * t + 0.6) + 26 * np.cos(4 * t + 0.3) + 10 * np.sin(3 * t)
    ring = np.c_[radius * np.cos(t) * 1.1, radius * np.sin(t)]
    cameras = [look_at((x, 100), 1050, 22, azimuth, focal_35mm=26.0, size_px=(1200, 900)) for x, azimuth in ((-320, 90), (300, 270))]  # fmt: skip
    paint = painted(ViewsScene(ring, np.full(400, 3.0), 2.0, CARDS, cameras), rng, Look(mottle=8.0), mm=1.2)
    exif, paths = Image.Exif(), []
    exif.get_ifd(0x8769)[0xA405] = 26
    for name, camera in zip(("left", "right"), cameras, strict=True):
        paths.append(folder / f"{name}.jpg")
        Image.fromarray(photo_from(paint, camera, rng)).save(paths[-1], quality=95, exif=exif)
    return ring, paths


def more(s: Screen) -> dict[str, Any]:
    found: dict[str, Any] = s.page.evaluate(
        "fetch('/api/works/' + location.hash.slice(1) + '/more').then((a) => a.json())"
    )
    return found


def test_the_missing_side_is_asked_for_until_it_comes(
    screen: Callable[..., Screen], photos: tuple[Array, list[Path]], tmp_path: Path
) -> None:
    ring, (left, right) = photos
    s = screen()
    near = tmp_path / "cut.jpg"
    with Image.open(left) as whole:  # the hide is cut by the frame on one side
        whole.crop((0, 0, 1192, 900)).save(near, exif=whole.getexif())
    s.page.set_input_files("#files", [near])
    s.mapped()
    s.page.click("#more-photos")
    s.page.wait_for_selector("body[data-photos='1']")
    asked = s.page.inner_text(".missing >> nth=0")
    assert "of the edge at the" in asked
    assert "cut.jpg" in asked
    assert "with card" in asked
    assert s.page.locator("img.plan").evaluate("(i) => i.complete && i.naturalWidth > 100")
    assert "red is the rim" in s.page.get_attribute("img.plan", "alt")
    s.page.set_input_files("#more-files", [near])
    s.page.wait_for_selector("#told >> text=That is the first photo again")
    s.page.set_input_files("#more-files", [right])
    s.page.wait_for_selector("#joined")
    told = more(s)
    assert told["missing"] == [] and told["refused"] == []
    assert told["figures"]["value"] == pytest.approx(Polygon(ring).area, rel=0.008)
    with s.page.expect_download() as got:
        s.page.click("text=The joined map")
    kept = from_json(Path(got.value.path()).read_bytes(), "cut.hide.json")
    assert [view.file for view in kept.photos] == ["cut.jpg", "right.jpg"]
    assert told["photos"][0]["id"] is None
    s.page.click("text=Take away")
    s.page.wait_for_selector(".missing")
    assert len(more(s)["photos"]) == 1
