"""The page without a browser: what a program needs to put a photo in and get its map out."""

import json
import re
import subprocess
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path
from typing import Any


class PlainClient:
    """Comes in by the code that `hidescan page` printed."""

    def __init__(self, program: "subprocess.Popen[str]") -> None:
        assert program.stdout is not None
        found = re.search(r"(http://[^/\s]+)/\S+", program.stdout.readline())
        assert found is not None
        self.root = found[1]
        self._opener = urllib.request.build_opener(
            urllib.request.ProxyHandler({}), urllib.request.HTTPCookieProcessor(CookieJar())
        )
        self.first_status = self._opener.open(found[0], timeout=60).status

    def ask(self, path: str, body: bytes | None = None) -> bytes:
        request = urllib.request.Request(self.root + path, body, {"Origin": self.root})
        with self._opener.open(request, timeout=120) as answer:
            read: bytes = answer.read()
            return read

    def map_of(self, photo: Path) -> dict[str, Any]:
        """The map that the page's worker makes of a photo, kept and fetched."""
        work = json.loads(self.ask(f"/api/works?name={photo.name}", photo.read_bytes()))["id"]
        self.ask(f"/api/works/{work}/keep", b"{}")
        found: dict[str, Any] = json.loads(self.ask(f"/api/works/{work}/files/map"))
        return found
