"""Photos worked on and what was done to them, in the user's data folder.

A work is a folder with a random name: `photo` (the bytes as they came), `about.json`, `journal.jsonl`, pictures made
from the photo, and `kept/` with the maps kept. No name that came with a photo is ever part of a path.
"""

import hashlib
import json
import os
import re
import secrets
import shutil
import unicodedata
from dataclasses import asdict, dataclass
from pathlib import Path

from platformdirs import user_data_path

from hidescan.basics.atomic_files import write_whole

_ID = re.compile(r"[0-9a-f]{16}")


@dataclass(frozen=True, slots=True)
class About:
    """What is known of a work's photo: the name it came with, made harmless, and its content's hash."""

    file: str
    sha256: str


def works_folder() -> Path:
    """Where the page keeps its work."""
    return Path(user_data_path("hidescan", appauthor=False)) / "page"


def is_id(text: str) -> bool:
    """Whether a text can be a work's name."""
    return _ID.fullmatch(text) is not None


def harmless_name(text: str) -> str:
    r"""A file name as it came, without folders and without anything that a file system or a header minds.

    Examples
    --------
    >>> harmless_name("../../etc/pass\x00wd.jpg")
    'passwd.jpg'
    >>> harmless_name("..")
    'photo'
    """
    last = re.split(r"[/\\]", unicodedata.normalize("NFC", text))[-1]
    plain = "".join(c for c in last if c.isalnum() or c in " ._-()+").strip(" .")
    return plain[-80:].strip(" .") or "photo"


def works(folder: Path) -> list[str]:
    """Names of the works there are, newest first."""
    if not folder.is_dir():
        return []
    there = [path for path in folder.iterdir() if is_id(path.name) and (path / "about.json").is_file()]
    return [path.name for path in sorted(there, key=lambda path: -path.stat().st_ctime)]


def add_work(folder: Path, part: Path, file: str) -> str:
    """Make a work of an uploaded file, which is moved; the same photo again is the work that it has already."""
    with part.open("rb") as data:
        sha256 = hashlib.file_digest(data, "sha256").hexdigest()
    for known in works(folder):
        if about(folder / known).sha256 == sha256:
            part.unlink()
            return known
    name = secrets.token_hex(8)
    (folder / name).mkdir()
    part.replace(folder / name / "photo")
    write_whole(folder / name / "about.json", json.dumps(asdict(About(harmless_name(file), sha256))).encode())
    return name


def about(work: Path) -> About:
    """What is known of a work's photo."""
    return About(**json.loads((work / "about.json").read_text("utf-8")))


def remove_work(work: Path) -> None:
    """Take a work and all that was kept of it off the disk."""
    shutil.rmtree(work)


def lines(work: Path) -> list[str]:
    """The journal's lines; a last one that a crash cut short never happened."""
    path = work / "journal.jsonl"
    return path.read_text("utf-8").split("\n")[:-1] if path.is_file() else []


def add_line(work: Path, line: str) -> None:
    """Add a line to the journal, on the disk before this returns."""
    with (work / "journal.jsonl").open("r+b" if (work / "journal.jsonl").exists() else "w+b") as file:
        data = file.read()
        file.truncate(data.rfind(b"\n") + 1)
        file.seek(0, os.SEEK_END)
        file.write(line.encode() + b"\n")
        file.flush()
        os.fsync(file.fileno())
