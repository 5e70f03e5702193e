"""The page as a person has it: the program running, and a browser."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import numpy as np
import pytest

from hidescan.page.routes.hides import BUILT
from hidescan.page.settings import PageSettings

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_images"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
BUILT_HERE = (BUILT / "index.html").is_file()
# Where the tests must run for real, HIDESCAN_PAGE_TESTS=1 turns a missing browser into a failure.
needs_browser = pytest.mark.skipif(
    (CHROMIUM is None or not BUILT_HERE) and not os.environ.get("HIDESCAN_PAGE_TESTS"),
    reason="chromium is not there" if BUILT_HERE else "the page was not built (Node.js was not there)",
)
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
DESKTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 800}}
PHONE: dict[str, Any] = {
    "viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2,
}  # fmt: skip


@dataclass
class Program:
    """`hidescan page` running over a data folder."""

    data: Path
    process: subprocess.Popen[str]
    url: str

    @property
    def root(self) -> str:
        return self.url.partition("?")[0]

    @property
    def works(self) -> Path:
        return self.data / "hidescan" / "page"

    def next_url(self) -> str:
        """The address for one more browser, printed when the one before was used."""
        assert self.process.stdout is not None
        return _url(self.process.stdout.readline())

    def kill(self) -> None:
        """As a crash would: without a word."""
        with suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()


# The program looks for a free port from here on; a test that wants the same one twice looks where no other test does.
START = """
import sys
from functools import partial
from hidescan.page import serve
from hidescan.cli.app import main
serve.PageSettings = partial(serve.PageSettings, port=int(sys.argv.pop()))
main()
"""


def start(data: Path, port: int = PageSettings().port, errors: IO[bytes] | None = None) -> Program:
    environment = {
        **os.environ, "XDG_DATA_HOME": str(data), "XDG_CONFIG_HOME": str(data / "config"), "PYTHONUNBUFFERED": "1",
        "PYTHONPATH": str(ROOT), "HOME": str(data),
    }  # fmt: skip
    process = subprocess.Popen(
        [sys.executable, "-c", START, "page", "--no-browser", str(port)],
        env=environment, stdout=subprocess.PIPE, stderr=errors, text=True, start_new_session=True,
    )  # fmt: skip
    assert process.stdout is not None
    url = _url(process.stdout.readline())
    process.stdout.readline()
    return Program(data, process, url)


def _url(line: str) -> str:
    found = re.search(r"http://\S+", line)
    assert found, line
    return found[0]


@contextmanager
def program(data: Path) -> Iterator[Program]:
    running = start(data)
    try:
        yield running
    finally:
        running.kill()


class Screen:
    """A browser's window with the page in it, and the hands of a person before it."""

    def __init__(self, context: Any, running: Program, *, url: str | None = None) -> None:
        self.context, self.program = context, running
        self.faults: list[str] = []
        self.outside: list[str] = []
        self.page = context.new_page()
        self.page.on("console", lambda m: self._told(m.type, m.text))
        self.page.on("pageerror", lambda e: self.faults.append(str(e)))
        self.page.on(
            "request",
            lambda r: None if r.url.startswith((running.root, "blob:", "data:")) else self.outside.append(r.url),
        )
        if url is not None:
            self.page.goto(url)

    def _told(self, kind: str, text: str) -> None:
        if kind == "error" and not re.search(r"status of (409|422)", text):  # those are the program's own refusals
            self.faults.append(text)

    def upload(self, *names: str) -> None:
        self.page.set_input_files("#files", [SAMPLES / name for name in names])

    def mapped(self, timeout_s: float = 60.0) -> dict[str, Any]:
        self.page.wait_for_selector("body[data-ready=true]", timeout=1000 * timeout_s)
        return self.work()

    def work(self) -> dict[str, Any]:
        found: dict[str, Any] = self.page.evaluate(
            "fetch('/api/works/' + location.hash.slice(1)).then((a) => a.json())"
        )
        return found

    def after(self, act: Any) -> dict[str, Any]:
        """Do something and wait until the program has answered; returns what it says."""
        before = self.page.get_attribute("body", "data-at")
        act()
        self.page.wait_for_function("(was) => document.body.dataset.at !== was", arg=before, timeout=30000)
        return self.work()

    def tool(self, name: str) -> None:
        """Take up a tool: its group first, then it."""
        correcting = name in ("rim", "taps", "back", "marks")
        self.page.click(f"[data-group={'correct' if correcting else name}]")
        if correcting:
            self.page.click(f"[data-tool={name}]")

    def spot(self, x: float, y: float) -> tuple[float, float]:
        """Where on the screen a photo pixel is."""
        left, top, resolution = (
            float(self.page.get_attribute("#map", f"data-{n}")) for n in ("left", "top", "resolution")
        )
        box = self.page.locator("#map").bounding_box()
        return box["x"] + (x - left) / resolution, box["y"] + (y - top) / resolution

    def show(self, x: float, y: float, *, presses: int = 3) -> None:
        """Zoom in on a photo pixel."""
        self.page.mouse.move(*self.spot(x, y))
        for _ in range(presses):
            self.page.mouse.wheel(0, -200)
            self.page.wait_for_timeout(100)
        self.settled()

    def settled(self) -> None:
        """Wait until the photo stands still and what was done last is on the screen."""
        self.page.evaluate(
            """async () => {
            const data = document.getElementById("map").dataset, now = () => [data.left, data.top, data.resolution].join();
            for (let still = 0, was = ""; still < 4; ) {
                await new Promise((go) => setTimeout(() => requestAnimationFrame(go), 80));
                still = now() === was ? still + 1 : 0;
                was = now();
            }
            }"""
        )

    def drag(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        self.page.mouse.move(*start)
        self.page.mouse.down()
        for share in np.linspace(0, 1, 9)[1:]:
            self.page.mouse.move(*(np.array(start) + share * (np.array(end) - start)).tolist())
        self.page.mouse.up()

    def close(self) -> None:
        self.context.close()
        assert self.outside == [], "a request left the machine"


def kept_map(running: Program) -> dict[str, Any]:
    (path,) = running.works.glob("*/kept/map.hide.json")
    found: dict[str, Any] = json.loads(path.read_text())
    return found


def ring_of(view: dict[str, Any]) -> np.ndarray[Any, Any]:
    return np.array(view["rim"]).reshape(-1, 2)


def within(seconds: float, check: Any) -> None:
    until = time.monotonic() + seconds
    while not check():
        assert time.monotonic() < until, "not within the time"
        time.sleep(0.05)
