"""Photos worked on and what was done to them, in the user's data folder.

A work is a folder with a random name: `photo` (the bytes as they came), `about.json`, `journal.jsonl`, pictures made
from the photo, and `kept/` with the maps kept. No name that came with a photo is ever part of a path. Where a disk or a
crash damaged one of these files, as much of the work is shown as is sound, and nothing is deleted.
"""

import errno
import hashlib
import json
import os
import re
import secrets
import shutil
import unicodedata
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from platformdirs import user_data_path

from hidescan.basics.atomic_files import clear_abandoned, write_whole
from hidescan.basics.errors import BadInput

_ID = re.compile(r"[0-9a-f]{16}")
_SHA256 = re.compile(r"[0-9a-f]{64}")
NAME_LOST = "photo (its name was lost)"


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
    there = [path for path in folder.iterdir() if is_work(path)]
    return [path.name for path in sorted(there, key=_newest_first)]


def is_work(path: Path) -> bool:
    """Whether a folder is a work."""
    return is_id(path.name) and (path / "about.json").exists() and (path / "photo").is_file()


def part_prefix() -> str:
    """How the name of a file that is being received begins, by which `clear_parts` knows whose it is."""
    return f".upload.{os.getpid()}-"


def clear_parts(folder: Path) -> None:
    """Delete what uploads that were killed left in a folder of works and in those of further photos."""
    for place in (folder, *(folder / name / "more" for name in works(folder))):
        clear_abandoned(place)
        for part in place.glob(f"{part_prefix()}*"):  # an earlier process had our number
            part.unlink(missing_ok=True)


def add_work(folder: Path, part: Path, file: str) -> str:
    """Make a work of an uploaded file, which is moved; the same photo again is the work that it has already."""
    try:
        sha256 = _sha256(part)
        for known in works(folder):
            if about(folder / known).sha256 == sha256:
                return known
        name = secrets.token_hex(8)
        (folder / name).mkdir()
        part.replace(folder / name / "photo")
        try:
            _write_about(folder / name, About(harmless_name(file), sha256))
        except BaseException:
            shutil.rmtree(folder / name)
            raise
        return name
    finally:
        part.unlink(missing_ok=True)


def about(work: Path) -> About:
    """What is known of a work's photo; where it cannot be read, what the photo itself says is written anew.

    Raises
    ------
    OSError
        The photo cannot be read.
    """
    try:
        found = About(**json.loads((work / "about.json").read_bytes()))
        if _SHA256.fullmatch(found.sha256):
            return About(harmless_name(found.file), found.sha256)
    except (OSError, ValueError, TypeError, RecursionError):
        pass
    made = About(NAME_LOST, _sha256(work / "photo"))
    with suppress(BadInput):  # it is found out again the next time
        _write_about(work, made)
    return made


def remove_work(work: Path) -> None:
    """Take a work and all that was kept of it off the disk."""
    shutil.rmtree(work)


def lines(work: Path) -> list[str]:
    """The journal's lines; a last one that a crash cut short never happened."""
    path = work / "journal.jsonl"
    return path.read_bytes().decode(errors="replace").split("\n")[:-1] if path.is_file() else []


def set_aside_after(work: Path, sound: int) -> Path:
    """Keep a copy of a damaged journal, then cut it after its sound lines; returns the copy's path.

    Raises
    ------
    BadInput
        The copy cannot be written; the journal is as it was.
    """
    path = work / "journal.jsonl"
    data = path.read_bytes()
    number = 1 + sum(1 for _ in work.glob("journal.damaged-*.jsonl"))
    copy = work / f"journal.damaged-{number}.jsonl"
    write_whole(copy, data)
    write_whole(path, b"".join(line + b"\n" for line in data.split(b"\n")[:sound]))
    return copy


def add_line(work: Path, line: str) -> None:
    """Add a line to the journal, on the disk before this returns; where it cannot be, the journal stays as it was."""
    with (work / "journal.jsonl").open("r+b" if (work / "journal.jsonl").exists() else "w+b", buffering=0) as file:
        size = file.read().rfind(b"\n") + 1
        file.truncate(size)
        file.seek(0, os.SEEK_END)
        try:
            new = line.encode() + b"\n"
            if file.write(new) != len(new):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            os.fsync(file.fileno())
        except BaseException:
            with suppress(OSError):
                file.truncate(size)
            raise


def _newest_first(path: Path) -> float:
    try:
        return -path.stat().st_ctime
    except OSError:  # it is being taken away
        return 0.0


def _sha256(path: Path) -> str:
    with path.open("rb") as data:
        return hashlib.file_digest(data, "sha256").hexdigest()


def _write_about(work: Path, known: About) -> None:
    write_whole(work / "about.json", json.dumps(asdict(known)).encode())
