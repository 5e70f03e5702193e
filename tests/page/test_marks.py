"""The list of marks: a cut-out of each, yes or no, numbers that stay, a kind before a mark drawn counts."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from tests.page.served import Screen, needs_browser, ring_of, within
from tests.page.test_first_minute import LOOKS, NAMES
from tests.page.test_hands import checked

pytestmark = needs_browser


def numbers(s: Screen) -> dict[str, tuple[float, float]]:
    """Where each mark lies in the photo, by the number that the list shows."""
    found = {}
    for mark in s.work()["view"]["marks"]:
        row = s.page.locator(f"[data-mark='{mark['id']}'] strong")
        x, y = np.array(mark["ring"]).reshape(-1, 2).mean(axis=0)
        found[row.inner_text().strip()] = (float(x), float(y))
    return found


@pytest.mark.parametrize("look", LOOKS, ids=NAMES)
def test_each_mark_is_seen_and_judged(screen: Callable[..., Screen], look: dict[str, Any]) -> None:
    s = screen(**look)
    s.upload("deer_on_tile.jpg")
    work = s.mapped()
    s.tool("marks")
    marks = work["view"]["marks"]
    assert len(marks) >= 3 and s.page.locator(".mark").count() == len(marks)
    for image in s.page.locator(".mark img").all():
        image.scroll_into_view_if_needed()
        within(20, lambda image=image: image.evaluate("(i) => i.complete && i.naturalWidth === 176"))
    checked(s)
    first = marks[0]
    row = s.page.locator(f"[data-mark='{first['id']}']")
    press = (lambda b: b.tap()) if "has_touch" in look else (lambda b: b.click())
    refused = s.after(lambda: press(row.get_by_role("button", name="Not a mark")))
    assert refused["view"]["marks"][0]["status"] == "rejected"
    assert refused["view"]["figures"]["area_usable"]["value"] > work["view"]["figures"]["area_usable"]["value"]
    checked(s)
    yes = s.after(lambda: press(row.get_by_role("button", name="Yes, a")))
    assert yes["view"]["marks"][0]["status"] == "confirmed"
    assert yes["view"]["figures"]["area_usable"]["value"] == pytest.approx(
        work["view"]["figures"]["area_usable"]["value"], rel=1e-9
    )
    for _ in range(2):
        s.after(lambda: press(s.page.locator("#undo")))


def test_numbers_stay_whatever_is_turned(screen: Callable[..., Screen]) -> None:
    s = screen()
    s.upload("deer_on_tile.jpg")
    s.mapped()
    s.tool("marks")
    before = numbers(s)
    assert len(before) >= 3
    s.tool("back")
    s.after(lambda: s.page.click("#flip"))
    s.tool("marks")
    turned = numbers(s)
    assert set(turned) == set(before)
    for number, place in before.items():
        assert np.hypot(*np.subtract(turned[number], place)) < 20.0
    second = s.page.locator(".mark").nth(1)
    kept = second.locator("strong").inner_text()
    s.after(lambda: second.get_by_role("button", name="Not a mark").click())
    assert set(numbers(s)) == set(before) and s.page.locator(".mark").nth(1).locator("strong").inner_text() == kept
    for _ in range(2):
        s.after(lambda: s.page.click("#undo"))


def test_a_mark_drawn_asks_its_kind_by_keyboard_alone(screen: Callable[..., Screen]) -> None:
    s = screen()
    s.upload("deer_on_tile.jpg")
    before = s.mapped()
    keys = s.page.keyboard

    def to(selector: str) -> None:
        for _ in range(80):
            if s.page.evaluate("(selector) => document.activeElement?.matches(selector)", selector):
                return
            keys.press("Tab")
        raise AssertionError(f"{selector} cannot be reached")

    for selector in ("[data-group=correct]", "[data-tool=marks]", "#add-mark"):
        to(selector)
        keys.press("Enter")
    to("#map")
    keys.press("Enter")
    for key in ("ArrowRight", "ArrowDown", "ArrowLeft", "ArrowUp"):
        for _ in range(3):
            keys.press(key)
    keys.press("Enter")
    s.page.wait_for_selector("#which-kind")
    checked(s)
    assert s.work()["at"] == before["at"]
    to("[data-kind=scratch]")
    drawn = s.after(lambda: keys.press("Enter"))
    assert [m["kind"] for m in drawn["view"]["marks"] if m["status"] == "added"] == ["scratch"]
    known = {m["id"] for m in before["view"]["marks"]}
    assert known < {m["id"] for m in drawn["view"]["marks"]}  # the others keep their numbers
    assert ring_of(drawn["view"]).shape == ring_of(before["view"]).shape
    s.after(lambda: keys.press("Control+z"))
