"""Seeded attacks on the page: raw requests, bodies of any kind, works damaged on the disk.

    python -m tests.benchmarks.page_attack_study TRIES [FIRST_SEED]

A try is broken if the answer is a fault (5xx but 507), takes over 10 s, names a folder of the machine, or if anything
is printed beside the addresses. Only against a program of its own on 127.0.0.1.
"""

import json
import random
import socket
import sys
import tempfile
import time
from collections import Counter
from contextlib import closing, suppress
from pathlib import Path

from tests.benchmarks.recorded import recorded
from tests.fuzz.mutated import flipped
from tests.page.served import SAMPLES, Program, start
from tests.page.test_slow_clients import Person

PORT, HANG_S = 18795, 10.0
ODD: tuple[object, ...] = (
    None, True, -1, 0, 1e300, 10**40, "", "x" * 4000, "\ud800", [], {}, [[1, 2], [3, 4]], [[0, 0], [1e9, 1e9], [0, 1]], "4.5oz", "1e12mm",
    {"photo_px": [1, 2], "inside": True}, [{"photo_px": [1e30, 0], "inside": 1}], "deer", "../..", 1e12, [1, 2], "NaN",
)  # fmt: skip
ROUTES = (
    "edits",
    "undo",
    "redo",
    "keep",
    "shelf",
    "pieces/load",
    "pieces/check",
    "pieces/lay",
    "pieces/rest",
    "more",
    "x",
)
FIELDS = (
    "thickness_mm",
    "card_scale",
    "tapes",
    "neck_px",
    "arrow",
    "species",
    "hints",
    "gauge",
    "rim_px",
    "zone_lines",
    "lens",
    "no",
)
READS = (
    "",
    "/pieces",
    "/more",
    "/screen.jpg",
    "/full.jpg",
    "/files/map",
    "/files/svg",
    "/files/sheet",
    "/files/csv",
    "/../../x",
)


def body(rng: random.Random) -> bytes:
    plain: dict[str, object] = {"what": "x", "base": rng.choice((-1, 0, 1, 10**30, "0"))}
    for key in ("set", "add", "mark", "key", "label", "drawing", "file", "rules", "spots"):
        if rng.random() < 0.4:
            plain[key] = rng.choice(ODD)
    if rng.random() < 0.5:
        plain[rng.choice(("set", "add"))] = {rng.choice(FIELDS): rng.choice(ODD)}
    data = json.dumps(plain).encode()
    return flipped(data, rng) if rng.random() < 0.3 else data


def request(person: Person, name: str, rng: random.Random, *, known: bool) -> tuple[bytes, bool]:
    """One request as bytes, and whether it was broken."""
    cookie = f"Cookie: {person.cookie}\r\n" if known else ""
    origin = f"Origin: http://{person.host}\r\n" if rng.random() < 0.9 else "Origin: http://evil.example\r\n"
    if rng.random() < 0.6:
        data = body(rng)
        path = (
            f"/api/works/{name}/{rng.choice(ROUTES)}"
            if rng.random() < 0.8
            else rng.choice(("/enter", "/api/works?name=a.jpg", "/"))
        )
        head = f"POST {path} HTTP/1.1\r\nHost: {person.host}\r\n{cookie}{origin}Content-Length: {len(data)}\r\nConnection: close\r\n\r\n"
    else:
        data = b""
        path = (
            f"/api/works/{name}{rng.choice(READS)}"
            if rng.random() < 0.8
            else rng.choice(("/?code=%ff", "/static/../x", "/api/works", "/%00"))
        )
        method = rng.choice(("GET", "GET", "HEAD", "PUT", "OPTIONS", "TRACE"))
        head = f"{method} {path} HTTP/1.1\r\nHost: {person.host}\r\n{cookie}{origin}Connection: close\r\n\r\n"
    whole = head.encode() + data
    cut = rng.random() < 0.25
    return (flipped(whole, rng) if cut else whole), cut


def damage(program: Program, name: str, rng: random.Random) -> None:
    """Break one file of a work."""
    folder = program.works / name
    path = folder / rng.choice(("about.json", "journal.jsonl", "pieces.json", "placing.json", "kept/kept.json"))
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(flipped(path.read_bytes() if path.is_file() else b'{"what": "x"}\n', rng))


def sent(at: tuple[str, int], data: bytes, *, cut: bool) -> bytes:
    with closing(socket.create_connection(at, timeout=HANG_S + 5)) as client:
        with suppress(OSError):
            client.sendall(data)
            if cut:  # an unfinished request would wait for its deadline
                client.shutdown(socket.SHUT_WR)
        parts = []
        with suppress(ConnectionError):
            while part := client.recv(65536):
                parts.append(part)
        return b"".join(parts)


def peak_mb(program: Program) -> int:
    """The most memory that the server or one of its workers took."""
    most = 0
    for status in Path("/proc").glob("[0-9]*/status"):
        with suppress(OSError):
            text = status.read_text()
            session = int((status.parent / "stat").read_text().rpartition(")")[2].split()[3])
            if session == program.process.pid and "VmHWM:" in text:
                most = max(most, int(text.partition("VmHWM:")[2].split()[0]) // 1024)
    return most


def main() -> None:
    tries, first = int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0
    counted, longest = Counter[str](), 0.0
    with tempfile.TemporaryDirectory() as folder, (Path(folder) / "screen").open("wb") as screen:
        program = start(Path(folder), PORT, errors=screen)
        try:
            person = Person(program)
            person.mapped_s((SAMPLES / "goat_on_concrete.jpg").read_bytes(), "a.jpg")
            (name,) = (path.name for path in program.works.iterdir() if len(path.name) == 16)
            for seed in range(first, first + tries):
                rng = random.Random(seed)
                if rng.random() < 0.05:
                    damage(program, name, rng)
                data, cut = request(person, name, rng, known=rng.random() < 0.8)
                began = time.monotonic()
                try:
                    answer = sent(person.at, data, cut=cut)
                except TimeoutError:
                    answer = b"HTTP/1.1 hang"
                took = time.monotonic() - began
                longest = max(longest, took)
                status = answer.split(b" ")[1][:4].decode(errors="replace") if answer else "cut"
                broken = (status[0] == "5" and status != "507") or took > HANG_S or folder.encode() in answer
                counted["broken" if broken else status] += 1
                if broken:
                    print(f"!! {seed} {took:.1f} s {answer[-200:]!r} to {data[:120]!r}", flush=True)
            assert isinstance(person.ask("/api/works"), list)
            memory = peak_mb(program)
        finally:
            program.kill()
        printed = (Path(folder) / "screen").read_bytes()
    print("| what | tries | answers | broken | longest | memory | printed |\n" + "|---" * 7 + "|")
    print(
        f"| page | {tries} | {dict(counted)} | broken {counted['broken']} | longest {longest:.1f} s | {memory} MB | printed {printed!r} |"
    )


if __name__ == "__main__":
    with recorded("page-attack"):
        main()
