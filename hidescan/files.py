"""Writing files whole: a reader never sees half of one, and a full disk or a kill leaves the old one as it was."""

import os
import tempfile
from pathlib import Path

from hidescan.problems import BadInput


def write_whole(path: Path, data: bytes) -> None:
    """Write to a temporary file in the same folder, flush it to disk, then rename it over `path`.

    Raises
    ------
    BadInput
        The folder cannot be made or written, or the disk is full.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
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


def _umask() -> int:
    """The process's umask; it can only be read by setting it."""
    umask = os.umask(0)
    os.umask(umask)
    return umask
