"""One program and one browser for all tests that share them."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from tests.page.served import CHROMIUM, DESKTOP, FLAGS, Program, Screen, program


@pytest.fixture(scope="session")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Program]:
    with program(tmp_path_factory.mktemp("data")) as found:
        yield found


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        made = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield made
        made.close()


@pytest.fixture(scope="session")
def cookies(running: Program, browser: Any) -> Any:
    """What a browser holds that came in by the code."""
    context = browser.new_context()
    page = context.new_page()
    page.goto(running.url)
    found = context.cookies()
    context.close()
    return found


@pytest.fixture
def screen(running: Program, browser: Any, cookies: Any) -> Iterator[Callable[..., Screen]]:
    """Opens windows; each must end without an error in its console and without a request to elsewhere."""
    opened: list[Screen] = []

    def new(**look: Any) -> Screen:
        context = browser.new_context(**{**DESKTOP, **look})
        context.add_cookies(cookies)
        made = Screen(context, running, url=running.root)
        opened.append(made)
        return made

    yield new
    for made in opened:
        made.close()
    assert [fault for made in opened for fault in made.faults] == []
