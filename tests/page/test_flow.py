"""The whole way on a desktop: photo, map, corrections, keeping; and the page's own undoing."""

import io
import json
import sqlite3
import time
import zipfile
from collections.abc import Callable
from contextlib import closing
from typing import Any

import numpy as np
import pytest
from shapely.geometry import Polygon

from hidescan.hide_map.json_io import from_json
from hidescan.hide_map.model import HideMap
from hidescan.photo.reading import read_photo
from hidescan.pipeline import Pipeline
from hidescan.settings import Settings
from tests.page.served import PHONE, SAMPLES, Program, Screen, needs_browser, ring_of

pytestmark = needs_browser


def plan_area(view: dict[str, Any], ring_px: np.ndarray[Any, Any]) -> float:
    """Area on a plane at the rim's mean height, by the pinhole model written out here (Brown's radial terms)."""
    c = view["camera"]
    xd = (ring_px - c["principal_px"]) / c["focal_px"]
    n = xd.copy()
    for _ in range(50):  # fixed point: contracts for a phone's small distortion
        r2 = (n**2).sum(axis=1, keepdims=True)
        n = xd / (1 + c["k1"] * r2 + c["k2"] * r2**2)
    R, t = np.array(c["rotation"]), np.array(c["translation_mm"])
    z = view["heights"]["lift_mm"] + view["heights"]["thickness_mm"] / 2
    H = np.column_stack([R[:, 0], R[:, 1], R[:, 2] * z + t])  # plane at height z to camera
    mm = np.column_stack([n, np.ones(len(n))]) @ np.linalg.inv(H).T
    return Polygon(mm[:, :2] / mm[:, 2:]).area


def test_upload_to_map(screen: Callable[..., Screen]) -> None:
    s = screen()
    began = time.monotonic()
    s.upload("side_on_tile.jpg")
    work = s.mapped()
    print(f"first map {time.monotonic() - began:.2f} s after the photo was chosen")
    truth = json.loads((SAMPLES / "side_on_tile.truth.json").read_text())
    net = work["view"]["figures"]["area_net"]
    assert abs(net["value"] - truth["net_area_mm2"]) < net["u"]
    assert "±" in s.page.inner_text("#net") and "±" in s.page.inner_text("#usable")
    wide, mm = s.page.locator("#scale").bounding_box()["width"], float(s.page.get_attribute("#scale", "data-mm"))
    s.page.click("#in")
    s.page.wait_for_timeout(100)
    wide_in, mm_in = s.page.locator("#scale").bounding_box()["width"], float(s.page.get_attribute("#scale", "data-mm"))
    assert (wide_in / mm_in) / (wide / mm) == pytest.approx(1.6, rel=0.03)  # the bar follows the zoom


@pytest.mark.parametrize("reach", ["Point", "Long"])
def test_dragging_the_rim_changes_the_area_by_the_shoelace_difference(
    screen: Callable[..., Screen], reach: str
) -> None:
    s = screen()
    s.upload("goat_on_concrete.jpg")
    before = s.mapped()
    ring = ring_of(before["view"])
    at = ring[len(ring) // 3]
    s.tool("rim")
    s.page.get_by_role("button", name=reach, exact=True).click()
    s.show(*at)
    start = s.spot(*at)
    shown = float(s.page.get_attribute("#net", "data-mm2"))
    s.page.mouse.move(*start)
    s.page.mouse.down()
    for k in range(1, 6):
        s.page.mouse.move(start[0] + 10 * k, start[1] + 6 * k)
    s.settled()
    dragging = float(s.page.get_attribute("#net", "data-mm2"))
    after = s.after(lambda: s.page.mouse.up())
    changed = ring_of(after["view"])
    moved = np.abs(changed[:, None] - ring[None]).sum(axis=2).min(axis=1) > 0.02
    assert moved.any() and not moved.all()
    expected = plan_area(after["view"], changed) - plan_area(before["view"], ring)
    gross = [w["view"]["figures"]["area_gross"]["value"] for w in (before, after)]
    assert abs((gross[1] - gross[0]) - expected) < 0.001 * gross[0]
    assert abs(expected) > 0
    assert (dragging - shown) == pytest.approx(gross[1] - gross[0], abs=0.0005 * gross[0])  # live, as measured later
    vector = np.array([50.0, 30.0]) * float(s.page.get_attribute("#map", "data-resolution"))
    assert np.abs(changed - (at + vector)).sum(axis=1).min() < 1.0  # the point went where it was dragged to
    undone = s.after(lambda: s.page.click("#undo"))
    assert undone["view"]["rim"] == before["view"]["rim"]
    redone = s.after(lambda: s.page.click("#redo"))
    assert redone["view"]["rim"] == after["view"]["rim"]
    s.after(lambda: s.page.keyboard.press("Control+z"))


def test_correct_keep_and_take_away(screen: Callable[..., Screen], running: Program) -> None:
    s = screen()
    s.upload("goat_hair_on_grass.jpg")
    work = s.mapped()
    # neck and tail
    s.tool("back")
    turned = s.after(lambda: s.page.click("#flip"))
    assert turned["view"]["back"]["source"] == "given"
    assert np.allclose(turned["view"]["back"]["neck"], work["view"]["back"]["tail"], atol=30)
    # a back line by hand
    neck = turned["view"]["back"]["neck"]
    x, y = s.spot(*neck)
    dragged = s.after(lambda: s.drag((x, y), (x + 20, y - 15)))
    assert dragged["given"]["inputs"]["back_line_px"] is not None and dragged["view"]["back"]["source"] == "given"
    # a tap: what it costs is measured in tests/benchmarks
    s.tool("taps")
    middle = ring_of(work["view"]).mean(axis=0)
    tapped = s.after(lambda: s.page.mouse.click(*s.spot(*middle)))
    assert [h["inside"] for h in tapped["given"]["inputs"]["hints"]] == [True]
    # a mark that was missed
    s.tool("marks")
    s.page.click("#add-mark")
    corners = middle + 60.0 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -0.9]])

    def draw() -> None:
        s.page.mouse.move(*s.spot(*corners[0]))
        s.page.mouse.down()
        for corner in corners[1:]:
            s.page.mouse.move(*s.spot(*corner), steps=4)
        s.page.mouse.up()

    draw()
    assert s.work()["at"] == tapped["at"]  # a mark drawn does not count before its kind is chosen
    marked = s.after(lambda: s.page.click("[data-kind=stain]"))
    stain = next(m for m in marked["view"]["marks"] if m["kind"] == "stain" and m["status"] == "added")
    lost = [w["view"]["figures"]["area_usable"]["value"] for w in (tapped, marked)]
    assert lost[0] - lost[1] >= stain["area_mm2"] * 0.99  # and its margin
    # retype and refuse it
    s.page.mouse.click(*s.spot(*(middle)))
    kinds = s.after(lambda: s.page.select_option("#mark-kind", "scratch"))
    assert any(m["kind"] == "scratch" for m in kinds["view"]["marks"])
    refused = s.after(
        lambda: s.page.get_by_role("button", name=f"Not a mark, number {stain['id'].split('-')[1]}").click()
    )
    assert any(m["status"] == "rejected" for m in refused["view"]["marks"])
    assert refused["view"]["figures"]["area_usable"]["value"] == pytest.approx(lost[0], rel=1e-6)
    # facts
    s.tool("facts")
    s.page.fill("#f-thickness", "3,5")
    s.page.select_option("[aria-label='unit of Thickness']", "oz")
    thick = s.after(lambda: s.page.locator("form", has_text="Thickness").first.get_by_role("button").click())
    assert thick["given"]["inputs"]["thickness_mm"] == pytest.approx(3.5 * 25.4 / 64)  # 1 oz = 1/64 inch, the trade's
    s.after(lambda: s.page.select_option("#f-species", "deer"))
    s.tool("look")
    s.page.get_by_role("button", name="m²").click()
    s.tool("facts")
    s.page.mouse.click(*s.spot(*middle))
    s.page.fill("#f-reading-at-the-yellow-point", "1.4")
    gauged = s.after(lambda: s.page.keyboard.press("Enter"))
    assert gauged["given"]["inputs"]["gauge"][0]["thickness_mm"] == 1.4
    s.page.fill("#f-across", "149.7")
    s.page.fill("#f-along", "199.8")
    s.after(lambda: s.page.locator("form", has_text="check bars").get_by_role("button").click())
    # keep
    s.tool("keep")
    s.page.click("#keep")
    s.page.wait_for_selector("#keep[disabled]")
    (path,) = [
        p
        for p in running.works.glob("*/kept/map.hide.json")
        if (p.parents[1] / "about.json").read_text().find("goat_hair") > 0
    ]
    kept = from_json(path.read_bytes(), path.name)
    assert kept.revision == 1 and kept.back_line.source == "given" and kept.inputs.species == "deer"
    assert any(m.status == "rejected" for m in kept.marks)
    # the same from the same inputs: nothing that the page keeps warm changes the map
    photo = read_photo(SAMPLES / "goat_hair_on_grass.jpg", Settings().photo)
    again = Pipeline(photo, Settings()).hide_map(kept.inputs)
    assert isinstance(again, HideMap)
    assert again.measures.area_gross.value == pytest.approx(kept.measures.area_gross.value, rel=1e-6)
    # a second keep is a second revision, and the first stays
    s.tool("back")
    s.after(lambda: s.page.click("#flip"))
    s.tool("keep")
    s.page.click("#keep")
    s.page.wait_for_selector("#keep[disabled]")
    assert from_json(path.read_bytes(), path.name).revision == 2
    assert (
        from_json((path.parent / "map.hide" / "1.json").read_bytes(), "1").back_line.neck_px == kept.back_line.neck_px
    )
    # the shelf
    s.page.fill("#f-label", "goat of the meadow")
    s.page.click("#shelf button")
    s.page.wait_for_selector("#told.good >> text=On the shelf as goat of the meadow.")
    s.page.click("#shelf button")
    s.page.wait_for_selector("#told.good >> text=already")
    with closing(sqlite3.connect(running.data / "hidescan" / "shelf.sqlite")) as db:
        assert db.execute("SELECT label, species FROM hide").fetchall() == [("goat of the meadow", "deer")]
    # take away
    for form in ("map", "sheet", "pdf", "tiles", "svg", "dxf", "geojson", "csv", "png"):
        with s.page.expect_download() as waited:
            s.page.click(f"[data-form={form}]")
        data = waited.value.path().read_bytes()
        name = waited.value.suggested_filename
        assert name.startswith("goat_hair_on_grass"), name
        if form == "csv":
            assert sorted(zipfile.ZipFile(io.BytesIO(data)).namelist()) == [
                "goat_hair_on_grass.csv",
                "goat_hair_on_grass.marks.csv",
            ]
        assert len(data) > 200


def test_several_hides_and_none(screen: Callable[..., Screen]) -> None:
    s = screen()
    s.upload("two_hides.jpg")
    s.page.wait_for_selector("body[data-ready=true]", timeout=60000)
    assert s.work()["view"]["problem"]["code"] == "several-hides"
    assert "Tap the one" in s.page.inner_text("#panel")  # opened with the taps in hand
    truth = json.loads((SAMPLES / "two_hides.truth.json").read_text())
    x, y = np.array(truth["silhouette_px"]).mean(axis=0)
    chosen = s.after(lambda: s.page.mouse.click(*s.spot(x, y)))
    assert chosen["view"]["figures"]["area_net"]["value"] == pytest.approx(truth["net_area_mm2"], rel=0.05)

    s.page.click("#hides")
    s.upload("no_card.jpg")
    s.page.wait_for_selector("body[data-ready=true]", timeout=60000)
    assert "No card can be seen" in s.page.inner_text("#panel") and s.page.locator("#panel svg.how").is_visible()


def test_tracing_a_stretch(screen: Callable[..., Screen]) -> None:
    s = screen(**PHONE)
    s.upload("goat_on_concrete.jpg")
    work = s.mapped()
    ring = ring_of(work["view"])
    n = len(ring)
    part = ring[np.arange(n // 2, n // 2 + n // 10) % n]
    out = part - ring.mean(axis=0)
    line = (
        part
        + 40.0 * out / np.linalg.norm(out, axis=1, keepdims=True) * np.sin(np.linspace(0, np.pi, len(part)))[:, None]
    )
    s.tool("rim")
    s.page.get_by_role("button", name="Trace").click()

    def draw() -> None:
        s.page.mouse.move(*s.spot(*line[0]))
        s.page.mouse.down()
        for point in line[:: max(1, len(line) // 25)]:
            s.page.mouse.move(*s.spot(*point))
        s.page.mouse.move(*s.spot(*line[-1]))
        s.page.mouse.up()

    traced = s.after(draw)
    grown = traced["view"]["figures"]["area_gross"]["value"] - work["view"]["figures"]["area_gross"]["value"]
    expected = plan_area(
        work["view"],
        np.vstack(
            [
                np.delete(ring, np.arange(n // 2, n // 2 + n // 10) % n, axis=0)[: n // 2],
                line,
                np.delete(ring, np.arange(n // 2, n // 2 + n // 10) % n, axis=0)[n // 2 :],
            ]
        ),
    ) - plan_area(work["view"], ring)
    assert grown == pytest.approx(expected, rel=0.15)  # drawn in steps of a few pixels
