"""The process that decodes and maps: it holds the photos warm, and has a limit on its memory.

What comes in from outside (a picture that claims to be huge, a file made to break a decoder) is opened here and nowhere
else: the worst that it can do is end this process.
"""

import json
from collections.abc import Callable
from contextlib import closing
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from hidescan.basics.errors import BadInput, NotFound
from hidescan.basics.operating_system import limit_address_space
from hidescan.exports.formats import FORMATS, contents, file_names
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import HideMap
from hidescan.hide_map.revisions import path_of_hide, save_map
from hidescan.page.failures import fault_sentence, out_of_memory, sentence_for
from hidescan.page.settings import PageSettings
from hidescan.page.worker import pieces
from hidescan.page.worker import several_photos as more
from hidescan.page.worker.bench import Bench, Files, Subject, found_map, open_photo, seen_map, write_picture
from hidescan.page.worker.from_above import mark_jpeg, write_from_above
from hidescan.page.worker.view import view_of
from hidescan.settings import Settings


def serve(pipe: Connection, page: PageSettings) -> None:
    """Answer requests (name, arguments) until the pipe closes; each answer is ("stage", text)... then one more.

    The last is ("done", value), ("refused", text) where the person can do something about it, or ("failed", text).
    """
    limit_address_space(page.worker_address_bytes)
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
    except (BadInput, OSError) as error:
        return "refused", sentence_for(error)
    except Exception as error:  # a fault of ours in one request must not end the photos held warm
        if out_of_memory(error):
            bench.photos.clear()
            return "refused", "The photo needs more memory than is allowed here. Use a smaller picture."
        return "failed", fault_sentence(error)


def view(bench: Bench, subject: Subject, say: Callable[[str], None]) -> bytes:
    """The map as the page draws it, or why there is none; makes the picture for the screen as well."""
    pipeline = open_photo(bench, subject, say)
    found = seen_map(bench, pipeline, subject, say, quick=True)
    photo = pipeline.photo
    shown: dict[str, Any] = {
        "photo": {"file": photo.file, "width": photo.width_px, "height": photo.height_px, "taken": photo.taken}
    }
    if isinstance(found, NotFound):
        shown["problem"] = {"code": found.code, "reason": found.reason, "advice": found.advice}
    else:
        shown |= view_of(found, bench.settings)
        shown["above"] = write_from_above(
            photo.rgb, found, subject.folder / "above.webp", bench.page.above_long_side_px
        )
    return json.dumps(shown, separators=(",", ":"), allow_nan=False).encode()


def keep(bench: Bench, subject: Subject, say: Callable[[str], None]) -> int:
    """Save the map as a new revision; returns its number."""
    hide_map = found_map(bench, subject, say)
    say("saving")
    return save_map(_kept_at(subject, hide_map), hide_map, keep_old=True).revision


def _kept_at(subject: Subject, hide_map: HideMap) -> Path:
    """Where the map is kept: another hide of the photo has a map of its own."""
    return path_of_hide(subject.folder / "kept" / "map.hide.json", hide_map)


def shelve(bench: Bench, subject: Subject, label: str, say: Callable[[str], None]) -> tuple[str, bool]:
    """Save the map and put it on the user's shelf; returns its label there and whether the shelf changed."""
    from hidescan.shelf.database import default_path, open_shelf
    from hidescan.shelf.register import MapDetails, shelve_map
    from hidescan.shelf.settings import ShadeSettings
    from hidescan.shelf.shade import measured_shade

    hide_map = found_map(bench, subject, say)
    say("putting it on the shelf")
    saved = save_map(_kept_at(subject, hide_map), hide_map, keep_old=True)
    shade = measured_shade(open_photo(bench, subject, say).photo.rgb, hide_map, ShadeSettings())
    with closing(open_shelf(default_path())) as db:
        lab = None if isinstance(shade, NotFound) else shade
        return shelve_map(db, label, to_json(saved), details=MapDetails(lab), bring_back=True)


def export(
    bench: Bench, subject: Subject, form: str, mirror: bool, paper: str | None, say: Callable[[str], None]
) -> Files:
    """The files of one export format; "map" is the map file itself."""
    hide_map, name = found_map(bench, subject, say), Path(subject.file).stem
    say("writing")
    if form == "map":
        return [(f"{name}.hide.json", to_json(hide_map))]
    rgb = open_photo(bench, subject, say).photo.rgb if FORMATS[form].needs_photo else None
    made = contents(form, hide_map, name=name, mirror=mirror, paper=paper, rgb=rgb)
    return list(zip(file_names(form, name, mirror=mirror, paper=paper), made, strict=True))


def sheet(bench: Bench, subject: Subject, units: str, paper: str, say: Callable[[str], None]) -> Files:
    """The one-page record."""
    from hidescan.record import one_page as record

    hide_map, name = found_map(bench, subject, say), Path(subject.file).stem
    say("writing")
    rgb = open_photo(bench, subject, say).photo.rgb
    return [(f"{name}.sheet.pdf", record.to_bytes(hide_map, name=name, units=units, paper=paper, rgb=rgb))]


def mark_picture(bench: Bench, subject: Subject, mark_id: str, say: Callable[[str], None]) -> bytes:
    """A mark cut out of the photo, JPEG; refused where there is no mark of that name."""
    hide_map = found_map(bench, subject, say, quick=True)
    mark = next((mark for mark in hide_map.marks if mark.id == mark_id), None)
    if mark is None:
        raise BadInput("That mark is no longer there.")
    return mark_jpeg(open_photo(bench, subject, say).photo.rgb, hide_map, mark, bench.page.mark_side_px)


def compared(
    bench: Bench,
    subject: Subject,
    label: str,
    others: list[tuple[str, Subject]],
    units: str,
    paper: str,
    say: Callable[[str], None],
) -> Files:
    """One page that sets a hide and others side by side, each under its label."""
    from hidescan.record import comparison

    maps = [(label, found_map(bench, subject, say)) for label, subject in ((label, subject), *others)]
    say("writing")
    return [("hides compared.pdf", comparison.to_bytes(maps, units=units, paper=paper))]


def full(bench: Bench, subject: Subject, say: Callable[[str], None]) -> None:
    """Make the upright picture at full size beside the photo."""
    write_picture(bench, open_photo(bench, subject, say).photo, subject.folder / "full.jpg", None)


def forget(bench: Bench, subject: Subject, say: Callable[[str], None]) -> None:
    """Drop what is held of a work: another worker has changed it since."""
    for held in (bench.photos, bench.tables, bench.looks):
        for folder in [path for path in held if path.is_relative_to(subject.folder)]:
            del held[folder]


REQUESTS: dict[str, Callable[..., Any]] = {
    "view": view, "keep": keep, "shelve": shelve, "export": export, "sheet": sheet, "full": full,
    "forget": forget, "mark picture": mark_picture, "compared": compared,
    "more": more.shown, "export more": more.exported,
    "pieces": pieces.shown, "load pieces": pieces.loaded, "check piece": pieces.checked, "lay pieces": pieces.laid,
    "place rest": pieces.rest, "export pieces": pieces.exported,
}  # fmt: skip


def _warm_up() -> None:
    """Load what the first photo would otherwise wait for."""
    import numpy as np
    import skimage.graph
    import skimage.measure  # noqa: F401

    from hidescan.outline.networks import run_network

    run_network("region", np.zeros((5, 64, 64), np.float32))
    run_network("fine", np.zeros((4, 64, 64), np.float32))
