"""Who may come in, and what is let through: the page's server without a browser."""

import asyncio
import base64
import io
import json
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient

from hidescan.basics.errors import BadInput
from hidescan.page import works
from hidescan.page.door import ALPHABET, Door, new_code
from hidescan.page.failures import out_of_memory
from hidescan.page.routes.hides import make_app
from hidescan.page.settings import PageSettings
from hidescan.page.works import harmless_name

SETTINGS = PageSettings(most_upload_bytes=300_000, most_edit_bytes=2_000, most_drawing_bytes=100_000)
HOST = "127.0.0.1:8743"
OURS = {"origin": f"http://{HOST}"}


class Clock:
    time_s = 1000.0

    def __call__(self) -> float:
        return self.time_s


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[TestClient, Door, Path, Clock]]:
    folder, clock = tmp_path_factory.mktemp("works") / "page", Clock()
    door = Door(SETTINGS, lambda code: None, clock)
    made = make_app(folder, door, frozenset({HOST}), "hidescan", SETTINGS)
    with TestClient(made, base_url=f"http://{HOST}", follow_redirects=False) as client:
        yield client, door, folder, clock


@pytest.fixture
def inside(app: tuple[TestClient, Door, Path, Clock]) -> Iterator[TestClient]:
    client, door, _, _ = app
    client.cookies.clear()
    assert client.get("/", params={"code": door.code}).status_code == 303
    yield client
    client.cookies.clear()


def wait_for(client: TestClient, name: str) -> dict[str, object]:
    for _ in range(600):
        found: dict[str, object] = client.get(f"/api/works/{name}").json()
        if found["view"] or found["refused"]:
            return found
        time.sleep(0.05)
    raise AssertionError("no answer")


def picture(size: tuple[int, int] = (1200, 900)) -> bytes:
    data = io.BytesIO()
    Image.new("RGB", size, "grey").save(data, "JPEG", quality=30)
    return data.getvalue()


def test_without_a_token_nothing_is_told(app: tuple[TestClient, Door, Path, Clock]) -> None:
    client = app[0]
    client.cookies.clear()
    assert client.get("/").status_code == 401
    for path in (
        "/api/works",
        "/api/works/0123456789abcdef",
        "/api/works/0123456789abcdef/screen.jpg",
        "/static/main.js",
    ):
        assert client.get(path).status_code == 401
    assert client.post("/api/works?name=a.jpg", content=b"x", headers=OURS).status_code == 401


def test_a_code_opens_once(app: tuple[TestClient, Door, Path, Clock]) -> None:
    client, door, _, _ = app
    client.cookies.clear()
    code = door.code
    answer = client.get("/", params={"code": code})
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    assert client.get("/api/works").status_code == 200
    client.cookies.clear()
    assert client.get("/", params={"code": code}).status_code == 401  # used up
    assert client.post("/enter", data={"code": door.code.lower()}, headers=OURS).status_code == 303  # typed by hand


def test_a_look_ahead_does_not_use_a_code_up(app: tuple[TestClient, Door, Path, Clock]) -> None:
    """HEAD asks for what GET would answer without doing anything (RFC 9110, 9.3.2); previews of links send it."""
    client, door, _, _ = app
    client.cookies.clear()
    code = door.code
    assert client.head("/", params={"code": code}).status_code == 401
    assert door.code == code and client.get("/", params={"code": code}).status_code == 303


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("multipart/form-data; boundary=x", b"--x\r\nContent-Disposition: form-data; name=code\r\n\r\nA"),
        ("multipart/form-data", b"--x"),
        ("application/x-www-form-urlencoded", b"code=" + b"A" * 100_000),
        ("application/x-www-form-urlencoded", b"code=A&code=B"),
        ("application/x-www-form-urlencoded", b"&".join(b"a=1" for _ in range(300))),
        ("application/x-www-form-urlencoded", b"\xff\xfe=\x00"),
        ("application/json", b'{"code": 1}'),
        ("", b""),
    ],
)
def test_a_malformed_post_to_the_door_gets_400(
    app: tuple[TestClient, Door, Path, Clock], kind: str, body: bytes, capfd: pytest.CaptureFixture[str]
) -> None:
    client, door, _, _ = app
    client.cookies.clear()
    code = door.code
    assert client.post("/enter", content=body, headers={**OURS, "content-type": kind}).status_code == 400
    assert door.code == code and capfd.readouterr() == ("", "")


def test_cookies_of_any_kind_get_an_answer(app: tuple[TestClient, Door, Path, Clock]) -> None:
    client = app[0]
    client.cookies.clear()
    for cookie in (b"a/b=1", b"path=1; =; ;;", b"hidescan=\xff", b'hidescan="\\777"', b"x" * 9000):
        assert client.get("/api/works", headers={b"cookie": cookie}).status_code == 401


def test_five_wrong_codes_lock_for_a_minute(app: tuple[TestClient, Door, Path, Clock]) -> None:
    client, door, _, clock = app
    client.cookies.clear()
    for _ in range(SETTINGS.wrong_codes):
        assert client.get("/", params={"code": "WRONG"}).status_code in (401, 429)
    assert client.get("/", params={"code": door.code}).status_code == 429  # even the right one
    clock.time_s += SETTINGS.locked_s + 1
    assert client.get("/", params={"code": door.code}).status_code == 303


def test_one_address_does_not_lock_another() -> None:
    door = Door(SETTINGS, lambda code: None, Clock())
    for _ in range(SETTINGS.wrong_codes):
        assert door.enter("WRONG", "10.0.0.2") is None
    assert door.locked("10.0.0.2") and not door.locked("10.0.0.3")
    assert door.enter(door.code, "10.0.0.3") is not None


def test_codes_and_tokens_are_of_this_run_only() -> None:
    one, other = (Door(SETTINGS, lambda code: None, Clock()) for _ in range(2))
    token = one.enter(one.code, "a")
    assert token is not None and one.knows(token) and not other.knows(token) and not one.knows("")
    assert len(new_code()) == 8 and set(new_code()) <= set(ALPHABET) and new_code() != new_code()


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8743", "127.0.0.1", "localhost.evil.example:8743", ""])
def test_other_hosts_are_refused(inside: TestClient, host: str) -> None:
    """DNS rebinding: a name of someone else's that resolves to this machine."""
    assert inside.get("/api/works", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1:8743", "http://127.0.0.1:9999", None]
)
def test_changes_from_other_pages_are_refused(inside: TestClient, origin: str | None) -> None:
    """Cross-site request forgery: with the cookie, from another page."""
    headers = {} if origin is None else {"origin": origin}
    assert inside.post("/api/works?name=a.jpg", content=picture(), headers=headers).status_code == 403
    assert inside.delete("/api/works/0123456789abcdef", headers=headers).status_code == 403


def test_every_answer_forbids_what_is_not_ours(inside: TestClient) -> None:
    for path in ("/", "/api/works", "/nothing", "/static/icon.svg"):
        headers = inside.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "script-src 'self'" in policy and "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy and "*" not in policy
        assert headers["x-content-type-options"] == "nosniff" and headers["cache-control"] == "no-store"


def test_an_upload_too_large_is_refused_and_leaves_nothing(
    inside: TestClient, app: tuple[TestClient, Door, Path, Clock]
) -> None:
    before = sorted(app[2].iterdir())
    answer = inside.post("/api/works?name=a.jpg", content=b"x" * (SETTINGS.most_upload_bytes + 1), headers=OURS)
    assert answer.status_code == 422 and "MB" in answer.json()["refused"]
    assert sorted(app[2].iterdir()) == before


def test_too_many_pixels_are_refused_before_they_are_decoded(inside: TestClient) -> None:
    """A decompression bomb: 200 megapixels of one grey in a small file."""
    data = io.BytesIO()
    Image.new("L", (20_000, 10_000)).save(data, "PNG")
    name = inside.post("/api/works?name=bomb.png", content=data.getvalue(), headers=OURS).json()["id"]
    assert "megapixels" in str(wait_for(inside, name)["refused"])


def test_a_file_that_is_no_picture_is_refused(inside: TestClient) -> None:
    name = inside.post("/api/works?name=a.jpg", content=b"\xff\xd8\xff" + b"\0" * 500, headers=OURS).json()["id"]
    assert "picture" in str(wait_for(inside, name)["refused"])


@pytest.mark.parametrize(
    "name", ["../../../../tmp/evil.jpg", "..\\..\\evil.jpg", "/etc/passwd", "a\0b.jpg", "..", "a" * 300]
)
def test_names_that_come_with_photos_are_never_paths(
    inside: TestClient, app: tuple[TestClient, Door, Path, Clock], name: str
) -> None:
    folder = app[2]
    made = inside.post("/api/works", params={"name": name}, content=picture() + name.encode(), headers=OURS).json()[
        "id"
    ]
    assert works.is_id(made)
    assert {path.name for path in folder.iterdir() if not works.is_id(path.name)} == set()
    file = works.about(folder / made).file
    assert file == harmless_name(name) and not set(file) & set('/\\\0\n"') and len(file) <= 80 and file.strip(".")
    assert not Path("/tmp/evil.jpg").exists()
    assert inside.delete(f"/api/works/{made}", headers=OURS).status_code == 204


def test_what_is_thrown_away_while_it_is_mapped_is_gone(
    inside: TestClient, app: tuple[TestClient, Door, Path, Clock]
) -> None:
    """The worker once wrote its picture into the folder while that was taken off the disk, or after."""
    names = []
    for n in "uv":
        sent = picture((3000, 2000)) + n.encode()
        names.append(inside.post(f"/api/works?name={n}.jpg", content=sent, headers=OURS).json()["id"])
        url = f"/api/works/{names[-1]}"
        until = time.monotonic() + 30.0
        while inside.get(url).json()["stage"] in ("waiting", None) and time.monotonic() < until:
            time.sleep(0.002)
        assert inside.delete(url, headers=OURS).status_code == 204
    wait_for(inside, inside.post("/api/works?name=y.jpg", content=picture() + b"y", headers=OURS).json()["id"])
    assert not set(names) & {path.name for path in app[2].iterdir()}


@pytest.mark.parametrize("name", ["..", "%2e%2e", "..%2f..", "0123456789ABCDEF", "0123456789abcdef", "x"])
def test_works_that_are_none_are_not_there(inside: TestClient, name: str) -> None:
    for path in (f"/api/works/{name}", f"/api/works/{name}/screen.jpg", f"/api/works/{name}/files/map"):
        assert inside.get(path).status_code == 404


def test_the_same_photo_again_is_the_same_work(inside: TestClient) -> None:
    first, second = (
        inside.post(f"/api/works?name={n}.jpg", content=picture((1300, 900)), headers=OURS).json()["id"] for n in "ab"
    )
    assert first == second


def test_edits_that_cannot_be_are_refused_and_change_nothing(inside: TestClient) -> None:
    name = inside.post("/api/works?name=a.jpg", content=picture((1400, 900)), headers=OURS).json()["id"]
    wait_for(inside, name)
    url = f"/api/works/{name}/edits"
    bodies: list[object] = [
        {"what": "x", "set": {"nothing": 1}},
        {"what": "x", "set": {"thickness_mm": "thick"}},
        {"what": "x", "add": {"species": ["deer"]}},
        {"what": "x", "set": {"neck_px": [1, "NaN"]}},
        {"set": {}},
        [1],
        {"what": "x", "mark": {"kind": "dragon"}},
    ]
    for body in bodies:
        plain = {**body, "base": 0} if isinstance(body, dict) else body
        assert inside.post(url, json=plain, headers=OURS).status_code == 422
    assert inside.post(url, content=b"{" * 5000, headers=OURS).status_code == 422
    assert inside.get(f"/api/works/{name}").json()["at"] == 0
    good = {"what": "x", "set": {"species": "deer"}, "key": "k1", "base": 0}
    assert inside.post(url, json=good, headers=OURS).json()["at"] == 1
    assert inside.post(url, json=good, headers=OURS).json()["at"] == 1  # sent again: the answer was lost, not the edit
    stale = inside.post(url, json={**good, "key": "k2"}, headers=OURS)
    assert stale.status_code == 409  # another window was faster


def test_pieces_that_cannot_be_are_refused_and_leave_nothing(
    inside: TestClient, app: tuple[TestClient, Door, Path, Clock]
) -> None:
    name = inside.post("/api/works?name=a.jpg", content=picture((1500, 900)), headers=OURS).json()["id"]
    wait_for(inside, name)
    url = f"/api/works/{name}/pieces"
    square = '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm"><path id="a" d="M0 0H30V30H0Z"/></svg>'
    laughs = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 12))
    bomb = f'<!DOCTYPE svg [<!ENTITY l0 "ha">{laughs}]><svg width="9mm" height="9mm"><path id="&l11;"/></svg>'
    sent = {
        "evil.txt": square, "bomb.svg": bomb, "broken.svg": square[:40], "empty.svg": "", "no.dxf": square,
    }  # fmt: skip
    for file, text in sent.items():
        body = {"file": file, "drawing": base64.b64encode(text.encode()).decode(), "rules": ""}
        began = time.monotonic()
        assert inside.post(f"{url}/load", json=body, headers=OURS).status_code == 422, file
        assert time.monotonic() - began < 10.0
    many = {"file": "a.svg", "drawing": base64.b64encode(square.encode()).decode(), "rules": "[pieces.a]\ncount = 900"}
    assert "900 pieces" in inside.post(f"{url}/load", json=many, headers=OURS).json()["refused"]
    for plain in ({"file": "a.svg", "drawing": "%%", "rules": ""}, {"rules": "[pieces.a]"}, {}):
        assert inside.post(f"{url}/load", json=plain, headers=OURS).status_code == 422
    large = {"file": "a.svg", "drawing": "A" * SETTINGS.most_drawing_bytes, "rules": ""}
    assert inside.post(f"{url}/load", json=large, headers=OURS).status_code == 422
    for path in ("check", "lay", "rest"):
        assert inside.post(f"{url}/{path}", json={"spots": [], "base": ""}, headers=OURS).status_code == 422
        assert inside.post(f"{url}/{path}", json={}, headers={"origin": "http://evil.example"}).status_code == 403
        missing = inside.post(f"/api/works/0123456789abcdef/pieces/{path}", json={}, headers=OURS)
        assert missing.status_code == 404
    assert inside.get(url).json() is None and inside.get(f"{url}/files/exe").status_code == 404
    assert inside.get("/api/works/..%2f/pieces").status_code == 404
    assert not {"pieces.json", "placing.json"} & {path.name for path in (app[2] / name).iterdir()}


def test_the_worker_has_a_limit_on_its_memory_and_comes_back(tmp_path: Path) -> None:
    """With hardly more than its libraries need, a photo is refused; the server goes on with a fresh worker."""
    from hidescan.page.journal import Given
    from hidescan.page.mapper import Mapper
    from hidescan.page.worker.bench import Subject

    tight = Mapper(PageSettings(worker_address_bytes=1_300_000_000))
    large, small = tmp_path / "large", tmp_path / "small"
    for folder, size in ((large, (9000, 8000)), (small, (1200, 900))):
        folder.mkdir()
        (folder / "photo").write_bytes(picture(size))

    async def ask() -> tuple[str, bytes]:
        tight.start()
        try:
            with pytest.raises(BadInput) as refused:
                await tight.ask("view", Subject(large, "a.jpg", Given()))
            return str(refused.value), await tight.ask("view", Subject(small, "b.jpg", Given()))
        finally:
            tight.stop()

    with ThreadPoolExecutor(1) as apart:  # this thread may have a browser's event loop
        told, shown = apart.submit(asyncio.run, ask()).result()
    assert "memory" in told or "ended" in told
    assert json.loads(shown)["problem"]["code"] == "no-card"


def test_no_memory_is_known_by_whoever_says_it() -> None:
    """OpenCV is asked for more than any computer has: 2**30 px a side; its other errors are faults."""
    with pytest.raises(cv2.error) as none_left:
        cv2.copyMakeBorder(np.zeros((1, 1), np.float64), 0, 2**30, 0, 2**30, cv2.BORDER_CONSTANT)
    with pytest.raises(cv2.error) as fault:
        cv2.cvtColor(np.zeros((1, 1), np.uint8), cv2.COLOR_BGR2GRAY)
    assert out_of_memory(none_left.value) and out_of_memory(MemoryError())
    assert not out_of_memory(fault.value) and not out_of_memory(ValueError("memory"))


def test_what_was_done_is_on_the_disk_line_by_line(tmp_path: Path) -> None:
    works.add_line(tmp_path, json.dumps({"what": "a"}))
    with (tmp_path / "journal.jsonl").open("a") as file:
        file.write('{"what": "cut sho')  # a crash while writing
    assert works.lines(tmp_path) == ['{"what": "a"}']
    works.add_line(tmp_path, json.dumps({"what": "b"}))
    assert works.lines(tmp_path) == ['{"what": "a"}', '{"what": "b"}']
