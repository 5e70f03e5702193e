"""Pieces on the page: load them, drag and turn them with mouse and finger, live answers, the program for the rest."""

from collections.abc import Callable
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from hidescan.placing.file import from_json
from tests.page.served import PHONE, Screen, needs_browser, within
from tests.page.test_hands import checked

SVG = b"""<svg xmlns="http://www.w3.org/2000/svg" width="320mm" height="130mm" viewBox="0 0 320 130">
<path id="vamp" d="M20 20 C60 0 100 0 140 20 L150 120 C120 90 40 90 10 120 Z"/><circle id="vamp-toe" cx="80" cy="25" r="4"/>
<path id="quarter" d="M200 20 L300 30 L310 110 L190 120 Z"/></svg>"""
RULES = """[pieces.vamp]
pair = true
turn_deg = 0.5
thick_parts = ["toe"]
[pieces.quarter]
turn_deg = 15
"""
pytestmark = needs_browser
PHOTO = "goat_on_concrete.jpg"


def table(s: Screen) -> dict[str, Any]:
    found: dict[str, Any] = s.page.evaluate(
        "fetch('/api/works/' + location.hash.slice(1) + '/pieces').then((a) => a.json())"
    )
    return found


def on_the_table(s: Screen) -> None:
    s.upload(PHOTO)
    s.mapped()
    s.page.evaluate(
        """async () => {
        const at = "/api/works/" + location.hash.slice(1) + "/pieces";
        const there = await (await fetch(at)).json();
        if (there) await fetch(at + "/lay", { method: "POST", body: JSON.stringify({ spots: [], base: there.tag }) });
        }"""
    )
    s.tool("pieces")
    s.page.wait_for_selector("#load-pieces")
    s.page.wait_for_selector("#stage", state="hidden")
    drawing = {"name": "uppers.svg", "mimeType": "image/svg+xml", "buffer": SVG}
    rules = {"name": "uppers.toml", "mimeType": "application/toml", "buffer": RULES.encode()}
    s.page.set_input_files("#piece-files", [drawing, rules])
    s.page.wait_for_selector("#chosen-file >> text=uppers.svg")
    within(5, lambda: s.page.input_value("#f-rules") == RULES)
    s.page.click("#load-pieces button[type=submit]")
    s.page.wait_for_selector("[data-piece=vamp-1-left]")
    s.page.wait_for_selector("#stage", state="hidden")


def after(s: Screen, act: Callable[[], Any]) -> dict[str, Any]:
    """Do something to the pieces and wait for where they lie then."""
    before = s.page.get_attribute("body", "data-pieces")
    act()
    s.page.wait_for_function("(was) => document.body.dataset.pieces !== was", arg=before, timeout=30000)
    s.page.wait_for_selector("#stage", state="hidden")
    return table(s)


def of(told: dict[str, Any], label: str) -> dict[str, Any]:
    found: dict[str, Any] = next(one for one in told["placed"] if one["id"] == label)
    return found


def middle(s: Screen) -> tuple[float, float]:
    box = s.page.locator("#map").bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_pieces_by_mouse(screen: Callable[..., Screen]) -> None:
    s = screen()
    on_the_table(s)
    # laid in the middle of what is seen, then dragged onto the floor: every move asks, and the words follow
    put = after(s, lambda: s.page.click("[data-piece=vamp-1-left]"))
    assert [one["id"] for one in put["placed"]] == ["vamp-1-left"] and of(put, "vamp-1-left")["kept"]
    checks: list[str] = []
    s.page.on("request", lambda r: checks.append(r.url) if r.url.endswith("/check") else None)
    x, y = middle(s)
    s.page.mouse.move(x, y)
    s.page.mouse.down()
    s.page.mouse.move(x, y + 330, steps=4)
    s.page.wait_for_selector("#piece-told >> text=over the rim or a hole")  # while it is held
    assert checks and table(s)["tag"] == put["tag"]
    s.page.mouse.move(x, y, steps=4)
    s.page.wait_for_selector("#piece-told >> text=All its rules are kept")
    s.page.mouse.move(x - 20, y - 40, steps=4)
    moved = after(s, s.page.mouse.up)
    per_px = float(s.page.get_attribute("#map", "data-resolution"))
    shift = np.subtract(of(moved, "vamp-1-left")["at"], of(put, "vamp-1-left")["at"])
    camera = s.work()["view"]["camera"]
    high = -(np.array(camera["rotation"]).T @ camera["translation_mm"])[2]
    expected = per_px * np.hypot(20, 40) * high / camera["focal_px"]  # pinhole, looking nearly straight down
    assert np.linalg.norm(shift) == pytest.approx(expected, rel=0.1)
    # back and forth
    assert after(s, lambda: s.page.click("#undo"))["placed"] == put["placed"]
    assert after(s, lambda: s.page.keyboard.press("Control+Shift+z"))["placed"] == moved["placed"]
    # turned by a button beyond what is allowed, and back
    turned = after(s, lambda: s.page.get_by_role("button", name="1° left").click())
    one = of(turned, "vamp-1-left")
    assert one["turned"] == 1.0 and one["broken"] == ["turned 1.0 degrees from the back line"]
    s.page.wait_for_selector("#piece-told >> text=turned 1.0 degrees")
    assert "breaks a rule" in s.page.inner_text("[data-piece=vamp-1-left]")
    checked(s)
    turned = after(s, lambda: s.page.get_by_role("button", name="1° right").click())
    assert of(turned, "vamp-1-left")["broken"] == []
    # the program finds places for the rest; what a person put stays
    rest = after(s, lambda: s.page.click("#rest"))
    assert sorted(o["id"] for o in rest["placed"]) == ["quarter-1", "vamp-1-left", "vamp-1-right"]
    assert (
        all(o["broken"] == [] for o in rest["placed"])
        and of(rest, "vamp-1-left")["at"] == of(turned, "vamp-1-left")["at"]
    )
    assert [o["kept"] for o in rest["placed"]] == [o["id"] == "vamp-1-left" for o in rest["placed"]]
    # taken away
    for form in ("pdf", "svg", "dxf", "csv", "json"):
        with s.page.expect_download() as waited:
            s.page.click(f"[data-pieces={form}]")
        data = waited.value.path().read_bytes()
        assert waited.value.suggested_filename == f"goat_on_concrete.placing.{form}"
        if form == "svg":
            ids = {element.get("id") for element in ElementTree.fromstring(data).iter()}
            assert {"pieces.quarter-1", "pieces.vamp-1-left", "pieces.vamp-1-right"} <= ids
        if form == "json":
            made = from_json(data, "placing.json")
            assert {p.id: p.kept for p in made.placed}["vamp-1-left"] and made.pieces[0].rules.thick_parts == ("toe",)
    # new rules for the same drawing: what lies there stays, and is judged by them
    s.page.fill("#f-rules", RULES.replace("turn_deg = 15", "turn_deg = 15\nmin_thickness_mm = 50"))
    thick = after(s, lambda: s.page.click("#load-pieces button[type=submit]"))
    assert "mm thick only, 50 mm asked for" in " ".join(of(thick, "quarter-1")["broken"])
    s.page.fill("#f-rules", "[pieces.vamp]\ncolour = 1")
    s.page.click("#load-pieces button[type=submit]")
    s.page.wait_for_selector("#told >> text=there is no key 'colour'")
    assert table(s)["tag"] == thick["tag"]
    # the neck at the other end: the pieces are judged on the map as it is now
    s.tool("back")
    s.after(lambda: s.page.click("#flip"))
    s.tool("pieces")
    s.page.wait_for_selector("#stage", state="hidden")
    assert table(s)["tag"]
    s.page.click("#hides")


def test_pieces_by_finger(screen: Callable[..., Screen]) -> None:
    s = screen(**PHONE)
    on_the_table(s)
    put = after(s, lambda: s.page.tap("[data-piece=quarter-1]"))
    fingers = s.context.new_cdp_session(s.page)

    def stroke(*way: tuple[float, float]) -> None:
        for kind, (x, y) in zip(("touchStart", *("touchMove",) * (len(way) - 1)), way, strict=True):
            fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
        fingers.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    x, y = middle(s)
    moved = after(s, lambda: stroke((x, y), (x - 10, y - 8), (x - 20, y - 16), (x - 30, y - 24)))
    assert of(moved, "quarter-1")["at"] != of(put, "quarter-1")["at"]
    # the knob beyond the end of its grain: a quarter of a turn round the piece
    view, one = s.work()["view"], of(moved, "quarter-1")
    tail, neck = np.array(view["back"]["tail"]), np.array(view["back"]["neck"])
    along = (neck - tail) / np.linalg.norm(neck - tail)
    at = np.array((x - 30, y - 24))
    half = max(moved["kinds"]["quarter"]["ring"][1::2]) / (_mm_per_px(s))
    knob, aside = at + along * (half + 34), at + np.array((along[1], -along[0])) * (half + 34)
    steps = [tuple(knob + share * (aside - knob)) for share in (0.0, 0.3, 0.7, 1.0)]
    turned = after(s, lambda: stroke(*steps))
    assert abs(abs(of(turned, "quarter-1")["turned"]) - 90.0) < 25.0 and of(turned, "quarter-1")["at"] == one["at"]
    assert "turned" in " ".join(of(turned, "quarter-1")["broken"])
    s.page.wait_for_selector("#piece-told >> text=Breaks a rule")  # in words
    checked(s)
    gone = after(s, lambda: s.page.get_by_role("button", name="Take it off").tap())
    assert gone["placed"] == []


def _mm_per_px(s: Screen) -> float:
    """Millimetres to one CSS pixel: the scale bar's."""
    return float(s.page.get_attribute("#scale", "data-mm")) / s.page.locator("#scale").bounding_box()["width"]
