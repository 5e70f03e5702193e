"""The process that decodes and maps: it holds the photos warm, and has a limit on its memory.

What comes in from outside (a picture that claims to be huge, a file made to break a decoder) is opened here and nowhere
else: the worst that it can do is end this process.
"""

import json
import resource
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from hidescan.batch import known_for
from hidescan.config import card_scales
from hidescan.exports.formats import contents, file_names
from hidescan.files import write_whole
from hidescan.hidemap import HideMap, to_json
from hidescan.page.journal import Given
from hidescan.page.settings import PageSettings
from hidescan.page.view import view_of
from hidescan.page.warm import Warm, solve
from hidescan.page.words import with_words
from hidescan.photo import decode_photo
from hidescan.problems import BadInput, NotFound
from hidescan.settings import Settings
from hidescan.store import save_map

Files = list[tuple[str, bytes]]


@dataclass(frozen=True, slots=True)
class Subject:
    """Which work a request is about: its folder, its photo's file name, what is given."""

    folder: Path
    file: str
    given: Given


@dataclass(slots=True, eq=False)
class Bench:
    """What the worker keeps between requests."""

    page: PageSettings
    settings: Settings
    warm: dict[Path, Warm] = field(default_factory=dict)


def serve(pipe: Connection, page: PageSettings) -> None:
    """Answer requests (name, arguments) until the pipe closes; each answer is ("stage", text)... then one more.

    The last is ("done", value), ("refused", text) where the person can do something about it, or ("failed", text).
    """
    resource.setrlimit(resource.RLIMIT_AS, (page.worker_address_bytes, page.worker_address_bytes))
    bench = Bench(page, Settings())
    _warm_up()
    while True:
        try:
            name, arguments = pipe.recv()
        except EOFError:
            return
        pipe.send(_answer(bench, name, arguments, lambda text: pipe.send(("stage", text))))


def _answer(bench: Bench, name: str, arguments: tuple[Any, ...], say: Callable[[str], None]) -> tuple[str, Any]:
    try:
        return "done", REQUESTS[name](bench, *arguments, say)
    except BadInput as error:
        return "refused", str(error)
    except MemoryError:
        bench.warm.clear()
        return "refused", "The photo needs more memory than is allowed here. Use a smaller picture."
    except Exception as error:  # a fault of ours in one request must not end the photos held warm
        return "failed", f"{type(error).__name__}: {error}"


def view(bench: Bench, subject: Subject, say: Callable[[str], None]) -> bytes:
    """The map as the page draws it, or why there is none; makes the picture for the screen as well."""
    warm = _warm(bench, subject, say)
    found = _map(bench, warm, subject, say, quick=True)
    photo = warm.photo
    shown: dict[str, Any] = {
        "photo": {"file": photo.file, "width": photo.width_px, "height": photo.height_px, "taken": photo.taken}
    }
    if isinstance(found, NotFound):
        shown["problem"] = {"code": found.code, "reason": found.reason, "advice": found.advice}
    else:
        shown |= view_of(found, bench.settings)
    return json.dumps(shown, separators=(",", ":"), allow_nan=False).encode()


def keep(bench: Bench, subject: Subject, say: Callable[[str], None]) -> int:
    """Save the map as a new revision; returns its number."""
    hide_map = _found(bench, subject, say)
    say("saving")
    return save_map(subject.folder / "kept" / "map.hide.json", hide_map, keep_old=True).revision


def shelve(bench: Bench, subject: Subject, label: str, say: Callable[[str], None]) -> tuple[str, bool]:
    """Save the map and put it on the user's shelf; returns its label there and whether the shelf changed."""
    from hidescan.shelf.database import default_path, open_shelf
    from hidescan.shelf.register import shelve_map
    from hidescan.shelf.settings import ShadeSettings
    from hidescan.shelf.shade import measured_shade

    hide_map = _found(bench, subject, say)
    say("putting it on the shelf")
    saved = save_map(subject.folder / "kept" / "map.hide.json", hide_map, keep_old=True)
    shade = measured_shade(_warm(bench, subject, say).photo.rgb, hide_map, ShadeSettings())
    with closing(open_shelf(default_path())) as db:
        return shelve_map(db, label, to_json(saved), shade=None if isinstance(shade, NotFound) else shade)


def export(
    bench: Bench, subject: Subject, form: str, mirror: bool, paper: str | None, say: Callable[[str], None]
) -> Files:
    """The files of one export format; "map" is the map file itself."""
    hide_map, name = _found(bench, subject, say), Path(subject.file).stem
    say("writing")
    if form == "map":
        return [(f"{name}.hide.json", to_json(hide_map))]
    rgb = _warm(bench, subject, say).photo.rgb if form == "png" else None
    made = contents(form, hide_map, name=name, mirror=mirror, paper=paper, rgb=rgb)
    return list(zip(file_names(form, name, mirror=mirror, paper=paper), made, strict=True))


def sheet(bench: Bench, subject: Subject, units: str, paper: str, say: Callable[[str], None]) -> Files:
    """The one-page record."""
    from hidescan import sheet as record

    hide_map, name = _found(bench, subject, say), Path(subject.file).stem
    say("writing")
    rgb = _warm(bench, subject, say).photo.rgb
    return [(f"{name}.sheet.pdf", record.to_bytes(hide_map, name=name, units=units, paper=paper, rgb=rgb))]


def full(bench: Bench, subject: Subject, say: Callable[[str], None]) -> None:
    """Make the upright picture at full size beside the photo."""
    _picture(bench, _warm(bench, subject, say), subject.folder / "full.jpg", None)


REQUESTS: dict[str, Callable[..., Any]] = {
    "view": view, "keep": keep, "shelve": shelve, "export": export, "sheet": sheet, "full": full,
}  # fmt: skip


def _found(bench: Bench, subject: Subject, say: Callable[[str], None]) -> HideMap:
    found = _map(bench, _warm(bench, subject, say), subject, say, quick=False)
    if isinstance(found, NotFound):
        raise BadInput(str(found))
    return found


def _map(bench: Bench, warm: Warm, subject: Subject, say: Callable[[str], None], *, quick: bool) -> HideMap | NotFound:
    found = solve(warm, subject.given.inputs, bench.settings, say, quick=quick)
    return found if isinstance(found, NotFound) else with_words(found, subject.given.marks, bench.settings)


def _warm(bench: Bench, subject: Subject, say: Callable[[str], None]) -> Warm:
    """The decoded photo, from the ones held or from disk."""
    warm = bench.warm.pop(subject.folder, None)
    if warm is None:
        while len(bench.warm) >= bench.page.warm_photos:
            del bench.warm[next(iter(bench.warm))]
        say("reading the photo")
        photo = decode_photo((subject.folder / "photo").read_bytes(), subject.file, bench.settings.photo)
        known = known_for(photo, subject.given.inputs, card_scales())
        warm = Warm(photo, known, bench.page.warm_outlines)
        screen = subject.folder / "screen.jpg"
        if not screen.exists():
            _picture(bench, warm, screen, bench.page.screen_long_side_px)
    bench.warm[subject.folder] = warm  # now the last one used
    return warm


def _picture(bench: Bench, warm: Warm, path: Path, long_side_px: int | None) -> None:
    """Write the upright photo as a JPEG, reduced to a long side; nothing that the photo's file held goes with it."""
    import cv2

    rgb = warm.photo.rgb
    reduce = 1.0 if long_side_px is None else long_side_px / max(rgb.shape[:2])
    if reduce < 1.0:
        rgb = cv2.resize(rgb, None, fx=reduce, fy=reduce, interpolation=cv2.INTER_AREA)  # type: ignore[assignment]
    ok, data = cv2.imencode(
        ".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, bench.page.jpeg_quality]
    )
    if not ok:
        raise BadInput("The picture cannot be made.")
    write_whole(path, data.tobytes())


def _warm_up() -> None:
    """Load what the first photo would otherwise wait for."""
    import numpy as np
    import skimage.graph
    import skimage.measure  # noqa: F401

    from hidescan.networks import run_network

    run_network("region", np.zeros((5, 64, 64), np.float32))
    run_network("fine", np.zeros((4, 64, 64), np.float32))
