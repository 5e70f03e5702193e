"""Which photos are to be mapped, and which are done: same photo, same settings, same version, nothing new given."""

import hashlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from hidescan import __version__
from hidescan.basics.errors import BadInput
from hidescan.floor.priors import with_known_print
from hidescan.hide_map.json_io import as_saved
from hidescan.hide_map.model import HideMap, ProgramInfo
from hidescan.hide_map.revisions import earlier_map, file_digest, map_path, merged
from hidescan.many.one_photo import PICTURES, Job, lenses_for, picture_of
from hidescan.many.settings import FolderSettings
from hidescan.many.task import Failed, Task
from hidescan.settings import Settings, settings_as_saved


@dataclass(frozen=True, slots=True, eq=False)
class DoneBefore:
    """A photo whose map stands already."""

    hide_map: HideMap


@dataclass(frozen=True, slots=True, eq=False)
class Order:
    """How photos are to be mapped.

    Attributes
    ----------
    by_content
        Send the workers the photos themselves: they do not see the files.
    shelf
        Put the maps on this shelf, too.
    """

    job: Job
    settings: Settings
    folder_settings: FolderSettings
    by_content: bool = False
    shelf: sqlite3.Connection | None = None


def plans(photos: list[Path], order: Order) -> Iterator[tuple[Path, Path, Task | DoneBefore | Failed]]:
    """For each photo: its path, where its map goes, and what is to be done."""
    taken: dict[Path, Path] = {}
    for photo in photos:
        target = map_path(order.job.folder or photo.parent, photo.name)
        if target in taken:
            other = f"{photo.name}: its map would have the name of that of {taken[target].name}. Rename one."
            yield photo, target, Failed(other)
            continue
        taken[target] = photo
        try:
            yield photo, target, _plan(photo, target, order)
        except BadInput as error:
            yield photo, target, Failed(str(error))


def _plan(photo: Path, target: Path, order: Order) -> Task | DoneBefore:
    job = order.job
    old, sha256, data, seen = None, None, None, file_digest(target)
    if target.exists() or order.by_content:
        data = _content(photo)
    if data is not None and target.exists():
        sha256 = hashlib.sha256(data).hexdigest()
        earlier = earlier_map(target, sha256, force=job.force)
        old = None if job.fresh else earlier
    inputs = job.inputs if old is None else merged(old.inputs, job.inputs)
    if old is not None and _is_done(old, target, order):
        return DoneBefore(old)
    return Task(
        path=photo.absolute(),
        data=data if order.by_content else None,
        sha256=sha256,
        inputs=inputs,
        old=old,
        lenses=lenses_for(inputs),
        card_scales=dict(job.card_scales),
        units=job.units,
        with_shade=order.shelf is not None,
        thumbnail_px=order.folder_settings.thumbnail_px,
        settings=order.settings,
        seen=seen,
    )


def _is_done(old: HideMap, target: Path, order: Order) -> bool:
    """Whether mapping the photo again would give the map that stands there."""
    program = ProgramInfo(__version__, settings_as_saved(order.settings))
    numbers = (card.number for card in old.cards)
    given = with_known_print(merged(old.inputs, order.job.inputs), numbers, order.job.card_scales)
    return (
        as_saved(old.program) == as_saved(program)
        and as_saved(old.inputs) == as_saved(given)
        and all(picture_of(target, kind).exists() for kind in PICTURES)
        and (order.shelf is None or _on_shelf(order.shelf, target))
    )


def _on_shelf(shelf: sqlite3.Connection, target: Path) -> bool:
    from hidescan.shelf.hides import has_map

    return has_map(shelf, hashlib.sha256(target.read_bytes()).hexdigest())


def _content(photo: Path) -> bytes:
    try:
        return photo.read_bytes()
    except OSError as error:
        raise BadInput(f"{photo}: cannot be read ({error.strerror}). Check its name and permissions.") from error
