"""Works that a disk or a crash damaged, disks that are full: the rest goes on, and nothing of the machine is told."""

import errno
import io
import json
import os
import random
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from starlette.testclient import TestClient

from hidescan.basics.errors import CannotWrite
from hidescan.page import works
from hidescan.page.desk import Desk
from hidescan.page.door import Door
from hidescan.page.failures import sentence_for
from hidescan.page.journal import sound_state_of, state_of
from hidescan.page.mapper import Mapper
from hidescan.page.routes.hides import make_app
from hidescan.page.settings import PageSettings
from tests.hide_map.test_disk import fill, small_disk

HOST = "127.0.0.1:8747"
OURS = {"origin": f"http://{HOST}"}
LINES = [json.dumps({"what": f"{n}", "set": {"species": "deer" if n % 2 else "goat"}}) for n in range(9)]


def picture(size: tuple[int, int]) -> bytes:
    data = io.BytesIO()
    Image.new("RGB", size, "grey").save(data, "JPEG", quality=30)
    return data.getvalue()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three works, each with a journal."""
    made = tmp_path / "page"
    made.mkdir()
    for n in range(3):
        part = made / "part"
        part.write_bytes(picture((1200 + n, 900)))
        name = works.add_work(made, part, f"hide {n}.jpg")
        for line in LINES:
            works.add_line(made / name, line)
    return made


def client_of(folder: Path) -> Iterator[TestClient]:
    door = Door(PageSettings(), lambda code: None, lambda: 0.0)
    app = make_app(folder, door, frozenset({HOST}), "hidescan", PageSettings())
    with TestClient(app, base_url=f"http://{HOST}", follow_redirects=False, raise_server_exceptions=False) as client:
        assert client.get("/", params={"code": door.code}).status_code == 303
        yield client


@pytest.mark.parametrize(
    "data", [b"", b"{", b"[]", b"null", b'{"file": 1, "sha256": "x"}', b"\xff\xfe\x00", b"[" * 9000]
)
def test_a_torn_about_takes_no_other_work_down(folder: Path, data: bytes) -> None:
    torn = works.works(folder)[0]
    (folder / torn / "about.json").write_bytes(data)
    for client in client_of(folder):
        listed = {work["id"]: work for work in client.get("/api/works").json()["hides"]}
        assert len(listed) == 3 and listed[torn]["label"] == Path(works.NAME_LOST).stem
        assert all(work["at"] == len(LINES) for work in listed.values())
        shown = client.get(f"/api/works/{torn}").json()
        assert shown["file"] == works.NAME_LOST and shown["given"]["inputs"]["species"] == "goat"
        same = (folder / torn / "photo").read_bytes()
        assert client.post("/api/works?name=a.jpg", content=same, headers=OURS).json()["id"] == torn


def test_a_flipped_byte_in_a_journal_costs_what_comes_after_it_and_nothing_else(folder: Path) -> None:
    """Every bit of some bytes, seeded; what is still a journal is one, what is not is named and kept aside."""
    rng, name = random.Random(7), works.works(folder)[0]
    path = folder / name / "journal.jsonl"
    whole = path.read_bytes()
    for _ in range(60):
        data = bytearray(whole)
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
        path.write_bytes(data)
        mapper = Mapper(PageSettings())
        desk = Desk(folder, mapper)
        assert len(desk.listed()) == 3
        sheet = desk.sheet(name)
        sound = path.read_bytes()
        assert state_of(works.lines(folder / name)) == sheet.state and bytes(data).startswith(sound)
        assert (sheet.damage is None) == (not list((folder / name).glob("journal.damaged-*")))
        if sheet.damage is not None:
            (copy,) = (folder / name).glob("journal.damaged-*")
            assert copy.name in sheet.damage and copy.read_bytes() == data
            copy.unlink()
        works.add_line(folder / name, LINES[0])
        assert state_of(works.lines(folder / name)).at == sheet.state.at + 1


def test_a_journal_is_read_as_far_as_it_is_sound() -> None:
    for bad in (
        "{",
        "[]",
        '{"what": 1}',
        '{"what": "x", "set": {"species": 7}}',
        "[" * 9000,
        '{"what": "x", "add": {"x": [1]}}',
    ):
        for at in range(len(LINES) + 1):
            state, sound = sound_state_of([*LINES[:at], bad, *LINES[at:]])
            assert sound == at and state == state_of(LINES[:at])


@pytest.mark.parametrize("file", ["kept/kept.json", "pieces.json", "placing.json", "screen.jpg"])
def test_other_damaged_files_get_a_sentence(folder: Path, file: str) -> None:
    name = works.works(folder)[0]
    (folder / name / file).parent.mkdir(exist_ok=True)
    (folder / name / file).write_bytes(b"{\xff torn")
    for client in client_of(folder):
        for path in ("", "/pieces", "/screen.jpg", "/files/map"):
            answer = client.get(f"/api/works/{name}{path}")
            assert answer.status_code in (200, 404, 422), (path, answer.text)
            assert str(folder) not in answer.text and "Error" not in answer.text
        assert len(client.get("/api/works").json()["hides"]) == 3


def test_a_photo_that_is_gone_gets_a_sentence(folder: Path) -> None:
    name = works.works(folder)[0]
    for client in client_of(folder):
        shutil.rmtree(folder / name)
        assert len(client.get("/api/works").json()["hides"]) == 2
        assert client.get(f"/api/works/{name}").status_code == 404


def test_a_full_disk_is_said_in_a_sentence_without_a_path(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    with small_disk(disk, 600):
        folder = disk / "page"
        for client in client_of(folder):
            name = client.post("/api/works?name=a.jpg", content=picture((1200, 900)), headers=OURS).json()["id"]
            fill(disk)
            url = f"/api/works/{name}"
            edit = {"what": "x" * 5000, "set": {"species": "deer"}, "base": 0}
            answers = [
                client.post(f"{url}/edits", json=edit, headers=OURS),
                client.post("/api/works?name=b.jpg", content=picture((2000, 900)) * 9, headers=OURS),
                client.post(f"{url}/more?name=c.jpg", content=picture((1300, 900)) * 9, headers=OURS),
            ]
            for answer in answers:
                assert answer.status_code == 507 and "full" in answer.json()["refused"]
                assert str(tmp_path) not in answer.text and "Errno" not in answer.text
            assert client.get(url).json()["at"] == 0 and len(client.get("/api/works").json()["hides"]) == 1
            (disk / "filler").unlink()
            assert client.post(f"{url}/edits", json=edit, headers=OURS).json()["at"] == 1
            assert not [path for path in folder.rglob(".*")]


def test_no_sentence_about_the_disk_names_a_folder() -> None:
    for number in (errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EACCES, errno.ENOENT, errno.EIO):
        error = OSError(number, os.strerror(number), "/home/ann/.local/share/hidescan/page/0/photo")
        for said in (sentence_for(error), sentence_for(CannotWrite(str(error), number))):
            assert "/" not in said and "Errno" not in said and said.endswith(".")


def test_what_a_killed_upload_left_goes_at_the_next_start(folder: Path) -> None:
    ended = subprocess.Popen(["true"])
    ended.wait()
    name = works.works(folder)[0]
    (folder / name / "more").mkdir()
    left = [folder / f".upload.{ended.pid}-abc.part", folder / name / "more" / f".upload.{ended.pid}-d.part"]
    mine, working = (
        folder / f"{works.part_prefix()}x.part",
        folder / ".upload.1-y.part",
    )  # of our number, of a running one
    for path in (*left, mine, working):
        path.write_bytes(b"half a photo")
    for _ in client_of(folder):
        assert not any(path.exists() for path in (*left, mine)) and working.exists()
