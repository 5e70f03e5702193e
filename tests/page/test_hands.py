"""By touch, by keyboard, with other eyes; and what is left after a crash or beside another window."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.page.served import PHONE, ROOT, Screen, needs_browser, program, ring_of, start, within

pytestmark = needs_browser

AXE = ROOT / "hidescan" / "page" / "node_modules" / "axe-core" / "axe.min.js"
TOOLS = ("look", "rim", "taps", "back", "marks", "facts", "pieces", "keep")
PHOTO = "goat_on_concrete.jpg"
OWN_PORT = 18765  # for a program that comes back: no other test takes it meanwhile


def test_a_thumb_on_a_phone(screen: Callable[..., Screen]) -> None:
    s = screen(**PHONE)
    s.upload(PHOTO)
    before = s.mapped()
    fingers = s.context.new_cdp_session(s.page)

    def touch(kind: str, *spots: tuple[float, float]) -> None:
        points = [{"x": x, "y": y, "id": k} for k, (x, y) in enumerate(spots)]
        fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    # two fingers zoom
    resolution = float(s.page.get_attribute("#map", "data-resolution"))
    x, y = s.spot(*ring_of(before["view"]).mean(axis=0))
    touch("touchStart", (x - 20, y), (x + 20, y))
    for k in range(1, 8):
        touch("touchMove", (x - 20 - 6 * k, y), (x + 20 + 6 * k, y))
    touch("touchEnd")
    within(3, lambda: float(s.page.get_attribute("#map", "data-resolution")) < 0.6 * resolution)
    s.page.click("#all")
    s.page.wait_for_timeout(400)
    # a thumb that is 15 px off still takes hold of the rim
    s.tool("rim")
    ring = ring_of(before["view"])
    at = ring[int(np.argmin(ring[:, 1]))]  # the top of the rim
    x, y = s.spot(*at)

    def drag() -> None:
        touch("touchStart", (x, y - 15))
        for k in range(1, 6):
            touch("touchMove", (x, y - 15 + 8 * k))
        touch("touchEnd")

    after = s.after(drag)
    assert after["view"]["figures"]["area_gross"]["value"] < before["view"]["figures"]["area_gross"]["value"]
    s.after(lambda: s.page.tap("#undo"))
    # where nothing can be taken hold of, one finger moves the photo
    left = s.page.get_attribute("#map", "data-left")
    x, y = s.spot(*ring.mean(axis=0))
    touch("touchStart", (x, y))
    for k in range(1, 6):
        touch("touchMove", (x + 8 * k, y))
    touch("touchEnd")
    within(3, lambda: s.page.get_attribute("#map", "data-left") != left)
    s.tool("back")
    turned = s.after(lambda: s.page.tap("#flip"))
    assert turned["view"]["back"]["source"] == "given"
    s.after(lambda: s.page.tap("#undo"))


@pytest.mark.parametrize(
    "look", [{**PHONE, "color_scheme": "dark"}, {"color_scheme": "light"}], ids=["phone-dark", "desktop-light"]
)
def test_accessible_and_plain(screen: Callable[..., Screen], look: dict[str, Any]) -> None:
    """axe-core's rules for WCAG 2.2 A and AA; targets of 44 CSS px (WCAG 2.2, 2.5.5, level AAA); reflow (1.4.10)."""
    s = screen(**look)
    s.upload(PHOTO)
    s.mapped()
    for tool in TOOLS:
        s.tool(tool)
        s.page.wait_for_timeout(100)
        if tool == "marks":
            s.page.click("#add-mark")
        checked(s)
        if tool == "look":
            s.page.click("#zones")
            checked(s)
    s.page.click("#hides")
    s.page.wait_for_selector("#works li")
    checked(s)
    s.page.locator("#works .throw").first.click()
    checked(s)
    s.page.get_by_role("button", name="No, leave it").click()


def checked(s: Screen) -> None:
    s.page.evaluate(AXE.read_text())
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    found = s.page.evaluate("(tags) => axe.run({runOnly: {type: 'tag', values: tags}})", tags)
    assert [(v["id"], v["nodes"][0]["html"][:120]) for v in found["violations"]] == []
    small = s.page.evaluate(
        """() => [...document.querySelectorAll("button, select, summary, input:not([type=file], [type=checkbox]), label.pick, .button, .links a, #works a")]
        .filter((e) => e.checkVisibility()).map((e) => [e.textContent || e.id, e.getBoundingClientRect()])
        .filter(([, box]) => box.width < 43.9 || box.height < 43.9).map(([text, box]) => `${text} ${box.width} ${box.height}`)"""
    )
    assert small == []
    assert s.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_all_by_keyboard(screen: Callable[..., Screen]) -> None:
    s = screen()
    s.upload(PHOTO)
    before = s.mapped()
    keys = s.page.keyboard

    def to(selector: str) -> None:
        for _ in range(60):
            if s.page.evaluate("(selector) => document.activeElement?.matches(selector)", selector):
                return
            keys.press("Tab")
        raise AssertionError(f"{selector} cannot be reached")

    def cross_to(x: float, y: float) -> None:
        """Walk the cross from the middle of the photo's window to a place."""
        box = s.page.locator("#map").bounding_box()
        sx, sy = s.spot(x, y)
        dx, dy = round(sx - box["x"] - box["width"] / 2), round(sy - box["y"] - box["height"] / 2)
        for d, plus, minus in ((dx, "ArrowRight", "ArrowLeft"), (dy, "ArrowDown", "ArrowUp")):
            for _ in range(abs(d) // 10):
                keys.press(plus if d > 0 else minus)
            for _ in range(abs(d) % 10):
                keys.press("Shift+" + (plus if d > 0 else minus))

    # the rim: take hold, move, let go
    to("[data-group=correct]")
    keys.press("Enter")
    to("[data-tool=rim]")
    keys.press("Enter")
    to("#map")
    ring = ring_of(before["view"])
    cross_to(*ring[int(np.argmax(ring[:, 1]))])
    keys.press("Enter")
    for _ in range(3):
        keys.press("ArrowDown")
    moved = s.after(lambda: keys.press("Enter"))
    assert moved["view"]["figures"]["area_gross"]["value"] > before["view"]["figures"]["area_gross"]["value"]
    s.after(lambda: keys.press("Control+z"))
    s.after(lambda: keys.press("Control+Shift+z"))
    s.after(lambda: keys.press("Control+z"))
    # a tap
    s.page.evaluate("document.body.focus(); document.activeElement.blur()")
    to("[data-group=correct]")
    keys.press("Enter")
    to("[data-tool=taps]")
    keys.press("Enter")
    to("#map")
    tapped = s.after(lambda: keys.press("Enter"))  # at the middle
    assert len(tapped["given"]["inputs"]["hints"]) == 1
    s.after(lambda: keys.press("Control+z"))
    # zoom, and a form
    resolution = float(s.page.get_attribute("#map", "data-resolution"))
    keys.press("+")
    within(2, lambda: float(s.page.get_attribute("#map", "data-resolution")) < 0.8 * resolution)
    s.page.evaluate("document.activeElement.blur()")
    to("[data-group=facts]")
    keys.press("Enter")
    to("#f-thickness")
    keys.type("4")
    thick = s.after(lambda: keys.press("Enter"))
    assert thick["given"]["inputs"]["thickness_mm"] == pytest.approx(4 * 25.4 / 64)  # ounces, where areas are in feet
    s.after(lambda: s.page.click("#undo"))


def test_a_closed_tab_and_a_killed_program_lose_nothing(tmp_path: Path, browser: Any) -> None:
    first = start(tmp_path, OWN_PORT)
    try:
        context = browser.new_context(viewport={"width": 1000, "height": 700})
        s = Screen(context, first, url=first.url)
        s.upload(PHOTO)
        s.mapped()
        s.tool("back")
        s.after(lambda: s.page.click("#flip"))
        name = s.page.evaluate("location.hash")
        s.page.reload()
        assert s.mapped()["undo"] == "neck and tail turned round"
        s.page.close()
        s = Screen(context, first, url=first.root + name)
        assert s.mapped()["at"] == 1
        s.tool("facts")
        first.kill()
        # done while nothing answers: said so, and kept in the browser
        s.page.select_option("#f-species", "goat")
        s.page.wait_for_selector("#waiting:not([hidden])")
        assert "kept in this browser" in s.page.inner_text("#told")
        s.page.close()
        second = start(tmp_path, OWN_PORT)
        try:
            assert second.root == first.root
            s = Screen(context, second, url=second.url)
            s.page.goto(second.root + name)
            s.mapped()
            within(30, lambda: s.work()["given"]["inputs"]["species"] == "goat" and s.work()["view"])
            work = s.work()
            assert work["at"] == 2 and work["view"]["back"]["source"] == "given"
            for _ in range(2):
                s.after(lambda: s.page.click("#undo"))
            assert s.work()["given"]["inputs"]["species"] is None
        finally:
            context.close()
            second.kill()
    finally:
        first.kill()


def test_two_windows_at_once(screen: Callable[..., Screen]) -> None:
    one = screen()
    one.upload(PHOTO)
    work = one.mapped()
    other = screen()
    other.page.goto(one.page.url)
    other.page.reload()
    assert other.mapped()["at"] == work["at"]
    one.tool("facts")
    changed = one.after(lambda: one.page.select_option("#f-species", "goat"))
    # the other one sees it by itself, and goes on from there
    within(10, lambda: other.page.get_attribute("body", "data-at") == str(changed["at"]))
    other.tool("facts")
    assert other.page.input_value("#f-species") == "goat"
    both = other.after(lambda: other.page.select_option("#f-form", "whole"))
    assert both["given"]["inputs"]["species"] == "goat" and both["given"]["inputs"]["form"] == "whole"
    # two different hides at once: each window keeps its own
    other.page.click("#hides")
    other.upload("goat_hair_on_grass.jpg")
    other.mapped()
    one.after(lambda: one.page.click("#undo"))
    assert one.work()["file"] == PHOTO and other.work()["file"] == "goat_hair_on_grass.jpg"


def test_a_long_rim_is_dragged_smoothly(screen: Callable[..., Screen], browser: Any) -> None:
    """At least 50 pictures a second while a rim of 3,000 points is dragged: 20 ms for each."""
    s = screen()
    s.upload("side_on_tile.jpg")
    work = s.mapped()
    ring = ring_of(work["view"])
    assert len(ring) >= 3000
    s.tool("rim")
    s.show(*ring[500], presses=2)
    x, y = s.spot(*ring[500])
    s.page.mouse.move(x, y)
    s.page.mouse.down()
    inner = browser.new_browser_cdp_session()

    def worked_s() -> float:
        """Processor time of the browser's pages so far: other programs' is not in it."""
        found = inner.send("SystemInfo.getProcessInfo")["processInfo"]
        return float(sum(process["cpuTime"] for process in found if process["type"] == "renderer"))

    began = worked_s()
    s.page.evaluate(
        """async ([x, y]) => {
        const target = document.querySelector("#map .ol-viewport");
        for (let k = 0; k < 120; k++) {
            const [px, py] = [x + 30 * Math.sin(k / 9), y + 30 * Math.cos(k / 9)];
            target.dispatchEvent(new PointerEvent("pointermove", { clientX: px, clientY: py, pointerId: 1,
                pointerType: "mouse", buttons: 1, bubbles: true, isPrimary: true }));
            await new Promise((go) => requestAnimationFrame(go));
        }
        }""",
        [x, y],
    )
    cost = 1000 * (worked_s() - began) / 120
    s.after(lambda: s.page.mouse.up())
    print(f"{cost:.1f} ms of processor time for each picture")
    assert 0.0 < cost <= 20.0
    s.after(lambda: s.page.click("#undo"))


def test_a_second_browser_needs_its_own_code(tmp_path: Path, browser: Any) -> None:
    with program(tmp_path) as running:
        context = browser.new_context()
        page = context.new_page()
        page.goto(running.root)
        assert page.locator("#code").is_visible() and not page.locator("#works").count()
        page.fill("#code", running.url.rpartition("=")[2].lower())
        page.get_by_role("button", name="Come in").click()
        page.wait_for_selector("#list:not([hidden])")
        other = browser.new_context()
        second = other.new_page()
        second.goto(running.url)  # used up
        assert "does not open" in second.inner_text("[role=alert]")
        second.goto(running.next_url())
        second.wait_for_selector("#list:not([hidden])")
        context.close()
        other.close()


def test_the_program_says_in_one_line_what_is_missing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from hidescan.basics.errors import BadInput
    from hidescan.page import serve

    monkeypatch.setattr(serve, "BUILT", tmp_path)
    with pytest.raises(BadInput) as said:
        serve.serve_page(lan=False, browser=False)
    assert "Node.js" in str(said.value) and "\n" not in str(said.value)
