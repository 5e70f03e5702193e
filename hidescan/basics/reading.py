"""Reading files that a person named: regular files only, and no more of them than such a file can have."""

import os
import stat
from pathlib import Path

from hidescan.basics.errors import BadInput

MOST_TEXT_BYTES = 20_000_000  # a table of marks, a placing or a price list has some kilobytes
_MORE = 65_536  # read beyond the size that a file said it has


def read_bytes(path: Path, most_bytes: int, advice: str = "Check the name.") -> bytes:
    """A file's content.

    Opening does not wait, as it would for the other end of a pipe, and reading ends at the bound, as a device never
    would.

    Parameters
    ----------
    advice
        What to do where the file cannot be read.

    Raises
    ------
    BadInput
        Missing, no regular file (a folder, a pipe, a device, a socket), unreadable, or larger than `most_bytes`.
    """
    return _read(path, most_bytes + 1, most_bytes, advice)


def read_start(path: Path, count: int, advice: str = "Check the name.") -> bytes:
    """The first bytes of a file, or all where it has fewer.

    Raises
    ------
    BadInput
        As `read_bytes`, but for the size.
    """
    return _read(path, count, None, advice)


def _read(path: Path, count: int, most_bytes: int | None, advice: str) -> bytes:
    """Up to `count` bytes; refused where there are more than `most_bytes`, before they are read if the file says so."""
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
    try:
        handle = os.open(path, flags)
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror}). {advice}") from error
    except ValueError as error:  # a null character
        raise BadInput(f"{path}: is no name of a file. {advice}") from error
    try:
        found = os.fstat(handle)
        if not stat.S_ISREG(found.st_mode):
            what = "a folder" if stat.S_ISDIR(found.st_mode) else "a pipe or a device"
            raise BadInput(f"{path}: is {what}, not a file. {advice}")
        blocks, size = [], 0
        large = most_bytes is not None and found.st_size > most_bytes
        # Most often one piece, which is not copied; more where the file grows.
        while not large and (want := min(count - size, max(found.st_size - size, 0) + _MORE)) > 0:
            block = os.read(handle, want)
            if not block:
                break
            blocks.append(block)
            size += len(block)
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror}). {advice}") from error
    finally:
        os.close(handle)
    if large or (most_bytes is not None and size > most_bytes):
        raise BadInput(f"{path}: is over {_shown(most_bytes or 0)}, more than such a file has. {advice}")
    return b"".join(blocks)


def read_text(
    path: Path, advice: str = "Check the name.", *, most_bytes: int = MOST_TEXT_BYTES, encoding: str = "utf-8"
) -> str:
    """A file's text.

    Raises
    ------
    BadInput
        As `read_bytes`, or it is no text.
    """
    try:
        return read_bytes(path, most_bytes, advice).decode(encoding)
    except UnicodeDecodeError as error:
        raise BadInput(f"{path}: cannot be read as text. {advice}") from error


def kind_of(data: bytes) -> str | None:
    """What a file plainly is, for someone who gave it at another's place; None where it is not plain."""
    start = data[:4096].lstrip()
    if (
        start.startswith((b"\xff\xd8\xff", b"\x89PNG", b"II*\0", b"MM\0*"))
        or data[4:8] == b"ftyp"
        or data[8:12] == b"WEBP"
    ):
        return "a photo"
    if start.startswith(b"{") and b'"hidescan-map"' in data:
        return "a map"
    if start.startswith(b"<") and b"<svg" in data[:4096]:
        return "a drawing"
    return None


def _shown(size: int) -> str:
    return f"{size // 1_000_000} MB" if size >= 1_000_000 else f"{size} bytes"
