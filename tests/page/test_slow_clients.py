"""Clients that connect and say nothing, say half of it, or never take their answer: a person with a code gets in.

All of it against a program of the test's own on 127.0.0.1, bounded in number and time.
"""

import json
import socket
import time
import urllib.request
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from tests.page.served import BUILT_HERE, Program, start

pytestmark = pytest.mark.skipif(not BUILT_HERE, reason="the page was not built (Node.js was not there)")
PORT = 18765
HALF = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Half: "


@pytest.fixture(scope="module")
def screen(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the program prints beside the addresses."""
    return tmp_path_factory.mktemp("screen") / "stderr"


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory, screen: Path) -> Iterator[Program]:
    with screen.open("wb") as errors:
        program = start(tmp_path_factory.mktemp("slow"), PORT, errors=errors)
    try:
        yield program
    finally:
        program.kill()


class Person:
    """Somebody who came in by the code; each request has a connection of its own, as from a new window."""

    def __init__(self, program: Program) -> None:
        parts = urlsplit(program.url)
        self.host, self.at = parts.netloc, (str(parts.hostname), int(parts.port or 0))
        answer = raw(
            self.at, f"GET /?{parts.query} HTTP/1.1\r\nHost: {self.host}\r\nConnection: close\r\n\r\n".encode()
        )
        cookie = next(line for line in answer.split(b"\r\n") if line.lower().startswith(b"set-cookie"))
        self.cookie = cookie.split(b": ")[1].split(b";")[0].decode()

    def ask(self, path: str, data: bytes | None = None, method: str | None = None) -> Any:
        headers = {"Cookie": self.cookie, "Origin": f"http://{self.host}"}
        request = urllib.request.Request(f"http://{self.host}{path}", data, headers, method=method)
        with urllib.request.urlopen(request, timeout=60) as answer:
            body = answer.read()
        return json.loads(body) if body else None

    def mapped_s(self, photo: bytes, name: str) -> float:
        """Seconds from sending a photo until its map is there."""
        began = time.monotonic()
        made = self.ask(f"/api/works?name={name}", photo)
        assert isinstance(made, dict)
        while True:
            shown = self.ask(f"/api/works/{made['id']}")
            assert isinstance(shown, dict) and not shown["refused"]
            if shown["view"] and not shown["stage"]:
                return time.monotonic() - began
            time.sleep(0.05)


@pytest.fixture(scope="module")
def person(running: Program) -> Person:
    return Person(running)


def raw(at: tuple[str, int], data: bytes, timeout_s: float = 30.0) -> bytes:
    """Everything that comes back until the other side closes."""
    with closing(socket.create_connection(at, timeout=timeout_s)) as client:
        client.sendall(data)
        parts = []
        while part := client.recv(65536):
            parts.append(part)
        return b"".join(parts)


@contextmanager
def crowd(at: tuple[str, int], silent: int, half: int) -> Iterator[Callable[[], int]]:
    """Connections that say nothing, and such as send half a header; gives what opens them anew where they were cut."""
    with ExitStack() as stack:

        def one(start: bytes) -> socket.socket | None:
            with suppress(OSError):
                client = stack.enter_context(closing(socket.create_connection(at, timeout=10)))
                client.sendall(start)
                client.setblocking(False)
                return client
            return None

        def cut(client: socket.socket | None) -> bool:
            if client is None:
                return True
            try:
                return not client.recv(1)
            except BlockingIOError:
                return False
            except OSError:
                return True

        clients = [one(b"") for _ in range(silent)] + [one(HALF) for _ in range(half)]

        def again() -> int:
            done = 0
            for n, client in enumerate(clients):
                if cut(client):
                    if client is not None:
                        client.close()
                    clients[n] = one(b"" if n < silent else HALF)
                    done += 1
                else:
                    with suppress(OSError):
                        if n >= silent and client is not None:
                            client.send(b"x")  # one more letter of its header
            return done

        yield again


def test_a_person_with_a_code_gets_in_while_many_hold_the_door(person: Person) -> None:
    """600 connections that come again whenever they are cut; a fixed number and time."""
    with crowd(person.at, 200, 400) as again, ThreadPoolExecutor(1) as apart:
        until = time.monotonic() + 6.0

        def keep_on() -> None:
            while time.monotonic() < until:
                again()
                time.sleep(0.2)

        load = apart.submit(keep_on)
        waits = []
        while time.monotonic() < until:
            began = time.monotonic()
            assert isinstance(person.ask("/api/works")["hides"], list)
            waits.append(time.monotonic() - began)
            time.sleep(0.1)
        load.result()
    assert max(waits) < 1.0


@pytest.mark.parametrize(
    "start",
    [b"", HALF, b"POST /enter HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Length: 90\r\n\r\ncode="],
    ids=["silent", "half a header", "half a body"],
)
def test_who_does_not_go_on_is_cut_off(person: Person, start: bytes) -> None:
    """In 10 s (PageSettings), one letter a second or not."""
    began = time.monotonic()
    with closing(socket.create_connection(person.at, timeout=20)) as client:
        client.sendall(start.replace(b"{host}", person.host.encode()))
        with suppress(OSError):
            while time.monotonic() - began < 19:
                client.settimeout(1.0)
                try:
                    if not client.recv(65536):
                        break
                except TimeoutError:
                    if start:
                        client.sendall(b"x")
    assert time.monotonic() - began < 14


def test_a_body_without_a_code_is_not_waited_for(person: Person) -> None:
    head = f"POST /api/works HTTP/1.1\r\nHost: {person.host}\r\nOrigin: http://{person.host}\r\nContent-Length: 9999\r\n\r\n"
    began = time.monotonic()
    with closing(socket.create_connection(person.at, timeout=20)) as client:
        client.sendall(head.encode())
        assert b" 401 " in client.recv(65536)
    assert time.monotonic() - began < 2


@pytest.mark.parametrize(
    "data",
    [
        b"\x16\x03\x01\x02\x00\x01\x00",  # a TLS greeting
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET " + b"a" * 70_000 + b" HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\nConnection: upgrade\r\nUpgrade: websocket\r\n\r\n",
        b"POST /enter HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nTransfer-Encoding: chunked\r\n\r\nZZ\r\n",
        b"GET / HTTP/1.1\r\nHost: {host}\r\nCookie: a/b=1; hidescan=\xff\r\nConnection: close\r\n\r\n",
        b"GET /?code=%ff%00 HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n",
    ],
)
def test_what_anybody_sends_leaves_the_screen_with_the_code_as_it_is(person: Person, screen: Path, data: bytes) -> None:
    answer = raw(person.at, data.replace(b"{host}", person.host.encode()), timeout_s=15)
    assert answer.startswith(b"HTTP/1.1 4"), answer[:80]
    assert isinstance(person.ask("/api/works")["hides"], list)
    assert screen.read_bytes() == b""
