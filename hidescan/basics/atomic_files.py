"""Writing files whole: a reader never sees half of one, and a full disk or a kill leaves the old one as it was."""

import glob
import os
import re
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from hidescan.basics.errors import BadInput

_PART = re.compile(r"\..+\.(\d+)-[^.]+\.part")  # a file that is being written, and by which process


def write_whole(path: Path, data: bytes) -> None:
    """Write to a temporary file in the same folder, flush it to disk, then rename it over `path`.

    Raises
    ------
    BadInput
        The folder cannot be made or written, or the disk is full.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        clear_abandoned(path.parent, path.name)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.{os.getpid()}-", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(temporary).chmod(0o666 & ~_umask())
            Path(temporary).replace(path)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise BadInput(f"{path}: cannot be written ({error.strerror}). Nothing was changed.") from error


def clear_abandoned(folder: Path, name: str = "") -> None:
    """Delete what writers that were killed in the middle of a file left behind; those still at work are let be.

    Parameters
    ----------
    name
        Of this file only; else of any.
    """
    for path in folder.glob(f".{glob.escape(name)}*.part"):
        if (match := _PART.fullmatch(path.name)) and not _is_running(int(match[1])):
            path.unlink(missing_ok=True)


@contextmanager
def folder_lock(folder: Path) -> Iterator[None]:
    """While this lasts no other program is in here with the same folder: what is read stays as it is till written.

    The folder itself is locked (flock), which leaves no file behind and ends with the process. Where there is no such
    lock (Windows, some network disks) it only makes the folder; what is between reading and writing is then short.
    """
    with suppress(OSError):  # writing says what is wrong with the folder
        folder.mkdir(parents=True, exist_ok=True)
    if sys.platform == "win32":
        yield
        return
    import fcntl

    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        yield
        return
    try:
        with suppress(OSError):
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _is_running(pid: int) -> bool:
    if os.name != "posix":
        return True  # there is no harmless way to ask
    try:
        os.kill(pid, 0)  # signal 0 only asks
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _umask() -> int:
    """The process's umask; it can only be read by setting it."""
    umask = os.umask(0)
    os.umask(umask)
    return umask
