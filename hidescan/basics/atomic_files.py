"""Writing files whole: a reader never sees half of one, and a full disk or a kill leaves the old one as it was."""

import glob
import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from hidescan.basics.errors import BadInput
from hidescan.basics.operating_system import is_running

LOCK_NAME = ".hidescan.lock"
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
        if (match := _PART.fullmatch(path.name)) and not is_running(int(match[1])):
            path.unlink(missing_ok=True)


@contextmanager
def folder_lock(folder: Path) -> Iterator[None]:
    """While this lasts no other program is in here with the same folder: what is read stays as it is till written.

    The lock is a hidden file in the folder, gone at the end; it ends with the process, however that ends. Where a file
    cannot be locked (a folder that is read-only, some network disks) what is between reading and writing is short.
    """
    from filelock import FileLock

    with suppress(OSError):  # writing says what is wrong with the folder
        folder.mkdir(parents=True, exist_ok=True)
    lock = FileLock(folder / LOCK_NAME)
    try:
        lock.acquire()
    except OSError:
        yield
        return
    try:
        yield
    finally:
        with suppress(OSError):  # Windows deletes it by itself when it is closed
            Path(lock.lock_file).unlink()  # while it is held: who waits for it sees that it has no name, and asks anew
        lock.release()


def _umask() -> int:
    """The process's umask; it can only be read by setting it."""
    umask = os.umask(0)
    os.umask(umask)
    return umask
