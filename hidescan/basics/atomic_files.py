"""Writing files whole: a reader never sees half of one, and a full disk or a kill leaves the old one as it was."""

import glob
import os
import re
import stat
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from hidescan.basics.errors import BadInput, CannotWrite
from hidescan.basics.operating_system import is_running

LOCK_NAME = ".hidescan.lock"
_PART = re.compile(r"\..+\.(\d+)-[^.]+\.part")  # a file that is being written, and by which process


def write_whole(path: Path, data: bytes) -> None:
    """Write to a temporary file in the same folder, flush it to disk, then rename it over `path`.

    Raises
    ------
    BadInput
        The folder cannot be made or written, the disk is full, or what is there is no regular file.
    """
    write_together({path: data})


def write_together(files: Mapping[Path, bytes]) -> None:
    """Write several files, or none of them where the disk is full or one cannot be written.

    Raises
    ------
    BadInput
        As for `write_whole`.
    """
    with writing_together(files):
        pass


@contextmanager
def writing_together(files: Mapping[Path, bytes]) -> Iterator[None]:
    """While this lasts the files are on the disk under other names; at its end they get their own.

    Raises
    ------
    BadInput
        As for `write_whole`. Before what is done meanwhile is begun, nothing was changed.
    """
    parts: dict[Path, Path] = {}
    try:
        for path, data in files.items():
            try:
                _refuse_special(path)
                _write_part(path, data, parts)
            except OSError as error:
                message = f"{path}: cannot be written ({error.strerror}). Nothing was changed."
                raise CannotWrite(message, error.errno) from error
        yield
        _rename(parts)
    finally:
        for part in parts.values():
            part.unlink(missing_ok=True)


def _write_part(path: Path, data: bytes, parts: dict[Path, Path]) -> None:
    """Write a file under another name, which is kept in `parts` from its start."""
    path.parent.mkdir(parents=True, exist_ok=True)
    clear_abandoned(path.parent, path.name)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.{os.getpid()}-", suffix=".part")
    parts[path] = Path(temporary)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    parts[path].chmod(0o666 & ~_umask())


def _rename(parts: dict[Path, Path]) -> None:
    done: list[str] = []
    for path, part in parts.items():
        try:
            part.replace(path)
        except OSError as error:
            before = f"Written before it: {', '.join(done)}." if done else "Nothing was changed."
            raise CannotWrite(f"{path}: cannot be written ({error.strerror}). {before}", error.errno) from error
        done.append(path.name)


def _refuse_special(path: Path) -> None:
    """Refuse to put a file in the place of a device, a pipe, a link or a folder: it would be lost."""
    try:
        mode = path.lstat().st_mode
    except OSError:  # not there, or writing says why
        return
    if stat.S_ISLNK(mode):
        raise BadInput(f"{path}: is a link to {path.readlink()}. Name the file itself.")
    if not stat.S_ISREG(mode):
        what = "a folder" if stat.S_ISDIR(mode) else "a device or a pipe"
        raise BadInput(f"{path}: is {what}, no file. Nothing was written; choose another name.")


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
