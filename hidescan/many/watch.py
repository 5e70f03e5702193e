"""Photos mapped as they arrive, each when it is fully written."""

import threading
import time
from collections.abc import Iterator
from pathlib import Path

from hidescan.many.one_photo import is_photo
from hidescan.many.settings import FolderSettings

_UNSEEN = (-1, -1)


def arrivals(folder: Path, settings: FolderSettings, stop: threading.Event | None = None) -> Iterator[list[Path]]:
    """The photos of a folder as they are written, in batches by name; ends on an interrupt, or when `stop` is set.

    A photo counts as written when its size and time have stayed the same for `settings.settled_s`: a copy over a
    network or from a phone grows for a while. Those that stand there at the start come first.
    """
    from watchfiles import Change, watch

    look_ms = round(1000 * settings.look_s)
    changes = watch(
        folder, recursive=False, step=look_ms, debounce=look_ms, rust_timeout=look_ms, yield_on_timeout=True,
        raise_interrupt=False, stop_event=stop,
    )  # fmt: skip
    growing: dict[Path, tuple[tuple[int, int], float]] | None = None
    for batch in changes:
        now_s = time.monotonic()
        if growing is None:  # only now is nothing missed that comes
            growing = {path: (_UNSEEN, now_s) for path in folder.iterdir() if is_photo(path)}
        for change, name in batch:
            if change != Change.deleted and is_photo(Path(name)):
                growing.setdefault(Path(name), (_UNSEEN, now_s))
        if ready := settled(growing, now_s, settings.settled_s):
            yield ready


def settled(growing: dict[Path, tuple[tuple[int, int], float]], now_s: float, settled_s: float) -> list[Path]:
    """Take out of `growing` the files that have not changed for `settled_s`; those that vanished are forgotten.

    Parameters
    ----------
    growing
        For each file: its size and time (ns) when last looked at, and since when they are so.
    """
    ready = []
    for path in sorted(growing):
        (before, since), state = growing[path], _state(path)
        if state is None:
            del growing[path]
        elif state != before:
            growing[path] = (state, now_s)
        elif state[0] > 0 and now_s - since >= settled_s:
            ready.append(path)
            del growing[path]
    return ready


def _state(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns
