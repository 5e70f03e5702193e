"""Faults: what the network's maps become, and the whole way on photos with truth."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from shapely.geometry import Polygon

from hidescan.camera.model import Camera
from hidescan.outline.coarse import Grid
from hidescan.outline.contour import FAULTS, Detail, FaultKind
from hidescan.outline.defects import Fault, find_faults
from hidescan.outline.finding import Outline, find_outline
from hidescan.photo.reading import read_photo
from hidescan.settings import OutlineSettings, Settings
from tests.synthetic.painted import RING, picture

SAMPLES = Path(__file__).parents[2] / "sample_images"
SIZE = (400, 500)
WHOLE = np.array([[20.0, 20.0], [480.0, 20.0], [480.0, 380.0], [20.0, 380.0]])


def detail(kind: FaultKind, where: np.ndarray, tone: tuple[int, int, int]) -> Detail:
    """A tan hide that fills the window, 1 mm a pixel, with one fault that the network is sure of."""
    faults = np.zeros((len(FAULTS), *SIZE), np.float32)
    faults[FAULTS.index(kind)][where] = 0.97
    rgb = np.full((*SIZE, 3), (190, 150, 100), np.uint8)
    rgb[where] = tone
    none = np.zeros(SIZE, np.float32)
    hide = np.zeros(SIZE, np.float32)
    hide[20:381, 20:481] = 1.0
    lab = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB), dtype=np.uint8)
    return Detail(hide, none, faults, hide, lab, Grid((0.0, 0.0), (1.0, 1.0)))


def disc(x: float, y: float, r: float) -> np.ndarray:
    ys, xs = np.mgrid[: SIZE[0], : SIZE[1]]
    return np.asarray((xs - x) ** 2 + (ys - y) ** 2 <= r**2)


def found_in(kind: FaultKind, where: np.ndarray, holes: tuple[np.ndarray, ...] = ()) -> tuple[Fault, ...]:
    return find_faults(detail(kind, where, (90, 60, 40)), WHOLE, holes, 1.0, OutlineSettings().faults)


def test_a_round_stain_has_its_area() -> None:
    (stain,) = found_in("stain", disc(250, 200, 40))
    assert stain.kind == "stain" and stain.confidence > 0.5
    assert Polygon(stain.ring_px).area == pytest.approx(np.pi * 40**2, rel=0.03)


def test_a_brand_is_one_mark_though_its_strokes_lie_apart() -> None:
    strokes = np.zeros(SIZE, bool)
    for x in (200, 215, 230):
        strokes[160:240, x : x + 6] = True
    (brand,) = found_in("brand", strokes)
    assert Polygon(brand.ring_px).area == pytest.approx(36 * 80, rel=0.05)  # the hull of the three bars


def test_what_lies_in_a_hole_or_off_the_hide_is_no_stain() -> None:
    circle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    hole = np.column_stack([250 + 45 * np.cos(circle), 200 + 45 * np.sin(circle)])
    assert found_in("stain", disc(250, 200, 40), (hole,)) == ()
    assert found_in("stain", disc(250, 395, 10)) == ()


def test_a_speck_is_no_stain() -> None:
    assert found_in("stain", disc(250, 200, 5)) == ()


def test_a_plain_hide_has_no_brand_and_no_stain() -> None:
    overhead = Camera(
        1000.0, 0.0, 0.0, np.array([799.5, 599.5]), np.diag([1.0, -1.0, -1.0]), np.array([0.0, 0.0, 1000.0])
    )
    outline = find_outline(picture([RING], ()), overhead, [], OutlineSettings())
    assert isinstance(outline, Outline)
    assert [fault.kind for fault in outline.faults if fault.kind in ("brand", "stain")] == []


@pytest.mark.parametrize(
    ("name", "kind", "count"),
    [("side_on_tile", "brand", 1), ("deer_on_tile", "stain", 2), ("goat_on_concrete", "cut", 1)],
)
def test_the_faults_of_a_photo_are_found_where_they_are(name: str, kind: str, count: int) -> None:
    from hidescan.hide_map.model import Inputs
    from hidescan.pipeline import Pipeline

    settings = Settings()
    photo = read_photo(SAMPLES / f"{name}.jpg", settings.photo)
    outline = Pipeline(photo, settings).outline(Inputs())
    assert isinstance(outline, Outline)
    truth = json.loads((SAMPLES / f"{name}.truth.json").read_text())
    camera = truth["camera"]
    true = [_px(camera, np.array(d["polygon_mm"])) for d in truth["defects"] if d["kind"] == kind]
    assert len(true) == count
    found = [Polygon(fault.ring_px).buffer(0) for fault in outline.faults if fault.kind == kind]
    for ring in true:
        assert any(ring.intersection(f).area > 0.3 * min(ring.area, f.area) for f in found)
    if kind != "cut":  # rims have nicks of their own
        assert len(found) == count


def _px(camera: dict[str, object], mm: np.ndarray) -> Polygon:
    """Truth on the floor projected as its own renderer does: pinhole and two radial terms."""
    rotation, translation = np.array(camera["R"]), np.array(camera["t"])
    p = np.column_stack([mm, np.zeros(len(mm))]) @ rotation.T + translation
    x = p[:, :2] / p[:, 2:]
    r2 = (x**2).sum(axis=1, keepdims=True)
    x = x * (1 + float(camera["k1"]) * r2 + float(camera["k2"]) * r2**2)  # type: ignore[arg-type]
    return Polygon(x * float(camera["f_px"]) + np.array([camera["cx"], camera["cy"]])).buffer(0)  # type: ignore[arg-type]
