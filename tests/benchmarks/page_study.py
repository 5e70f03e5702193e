"""How long a person waits at the page: aim against figure, each the median of some tries, in a real browser.

    python -m tests.benchmarks.page_study

Needs chromium and a built page (bash .ci/setup --dev). The time runs from the act (photo chosen, tap, button let go) to
the new map on the screen.
"""

import statistics
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.recorded import recorded
from tests.page.served import CHROMIUM, DESKTOP, FLAGS, SAMPLES, Screen, program, ring_of
from tests.page.test_pieces import RULES, SVG, after

TRIES = 5


def timed(s: Screen, act: Callable[[], Any]) -> float:
    before = s.page.get_attribute("body", "data-at")
    began = time.perf_counter()
    act()
    s.page.wait_for_function("(was) => document.body.dataset.at !== was", arg=before, timeout=60000, polling="raf")
    seconds = time.perf_counter() - began
    s.page.wait_for_selector("#stage", state="hidden")
    return seconds


def shown(name: str, seconds: list[float]) -> None:
    print(f"{name:45s} {statistics.median(seconds):5.2f} s  ({min(seconds):.2f} to {max(seconds):.2f})", flush=True)


def first_map(s: Screen) -> float:
    """A photo that was never seen: one byte more each time, after the picture's end."""
    s.page.click("#hides")
    data = (SAMPLES / "side_on_tile.jpg").read_bytes() + time.time_ns().to_bytes(8)
    began = time.perf_counter()
    s.page.set_input_files("#files", [{"name": "side.jpg", "mimeType": "image/jpeg", "buffer": data}])
    s.page.wait_for_selector("body[data-ready=false]", timeout=60000)
    s.page.wait_for_selector("body[data-ready=true]", timeout=60000)
    return time.perf_counter() - began


def piece_checks(s: Screen) -> list[float]:
    """What each question about a piece took, from the browser's asking to its having the answer."""
    s.tool("pieces")
    s.page.wait_for_selector("#stage", state="hidden")
    drawing = {"name": "uppers.svg", "mimeType": "image/svg+xml", "buffer": SVG}
    s.page.set_input_files("#piece-files", [drawing])
    s.page.fill("#f-rules", RULES.replace("pair = true", "pair = true\ncount = 4"))
    s.page.click("#load-pieces button[type=submit]")
    s.page.wait_for_selector("#rest")
    after(s, lambda: s.page.click("#rest"))
    s.page.click("[data-piece=vamp-1-left]")
    after(s, lambda: s.page.get_by_role("button", name="Take it off").click())
    after(s, lambda: s.page.click("[data-piece=vamp-1-left]"))  # now in the middle of what is seen
    box = s.page.locator("#map").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    s.page.evaluate("performance.clearResourceTimings()")  # it holds 250 only
    s.page.mouse.move(x, y)
    s.page.mouse.down()
    for k in range(60):
        s.page.mouse.move(x + 80 * np.sin(k / 6), y + 60 * np.cos(k / 7))
        s.page.wait_for_timeout(30)
    s.page.mouse.up()
    found: list[float] = s.page.evaluate(
        "performance.getEntriesByType('resource').filter((e) => e.name.endsWith('/check')).map((e) => e.duration / 1000)"
    )
    return found


def main() -> None:
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, program(Path(folder)) as running, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        s = Screen(browser.new_context(**DESKTOP), running, url=running.url)
        s.upload("goat_on_concrete.jpg")
        s.mapped()
        shown("first map of 12 megapixels (aim 4 s)", [first_map(s) for _ in range(TRIES)])
        ring = ring_of(s.work()["view"])
        middle = ring.mean(axis=0)
        s.settled()
        s.tool("taps")
        spots = [middle + 0.5 * (ring[k] - middle) for k in np.linspace(0, len(ring) - 1, TRIES + 1).astype(int)[1:]]
        shown(
            "a tap, the outline found anew (aim 0.7 s)",
            [timed(s, partial(s.page.mouse.click, *s.spot(*at))) for at in spots],
        )
        shown("undoing a tap", [timed(s, partial(s.page.click, "#undo")) for _ in range(TRIES - 1)])
        s.tool("back")
        shown("neck and tail turned round", [timed(s, partial(s.page.click, "#flip")) for _ in range(TRIES)])
        s.tool("rim")
        drags = []
        for k in range(TRIES):
            x, y = s.spot(*ring_of(s.work()["view"])[600 + 200 * k])
            s.page.mouse.move(x, y)
            s.page.mouse.down()
            s.page.mouse.move(x + 10, y + 10, steps=3)  # under 6 px it is a press, not a drag
            drags.append(timed(s, s.page.mouse.up))
        shown("the rim let go after a drag", drags)
        live = piece_checks(s)
        shown(f"a live answer while a piece is dragged ({len(live)}; aim 0.1 s)", live)
        browser.close()


if __name__ == "__main__":
    with recorded("page"):
        main()
