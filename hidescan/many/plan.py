"""Which photos are to be mapped, and which are done: same photo, same settings, same version, nothing new given."""

import hashlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from hidescan import __version__
from hidescan.basics.errors import BadInput
from hidescan.basics.reading import read_bytes
from hidescan.floor.priors import known_print_scale
from hidescan.hide_map.json_io import as_saved
from hidescan.hide_map.model import HideMap, Inputs, ProgramInfo
from hidescan.hide_map.revisions import earlier_map, file_digest, map_path, merged
from hidescan.many.one_photo import PICTURES, Keeping, picture_of
from hidescan.many.settings import FolderSettings
from hidescan.many.task import Failed, Task
from hidescan.mapping.calibration import Calibration, kept_calibration
from hidescan.settings import PhotoSettings, Settings, settings_as_saved


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

    inputs: Inputs
    keeping: Keeping
    settings: Settings
    folder_settings: FolderSettings
    by_content: bool = False
    shelf: sqlite3.Connection | None = None


def plans(photos: list[Path], order: Order) -> Iterator[tuple[Path, Path, Task | DoneBefore | Failed]]:
    """For each photo: its path, where its map goes, and what is to be done."""
    taken: dict[Path, Path] = {}
    for photo in photos:
        target = map_path(order.keeping.folder or photo.parent, photo.name)
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
    keeping = order.keeping
    old, sha256, data, seen = None, None, None, file_digest(target)
    if target.exists() or order.by_content:
        data = _content(photo)
    if data is not None and target.exists():
        sha256 = hashlib.sha256(data).hexdigest()
        earlier = earlier_map(target, sha256, force=keeping.force)
        old = None if keeping.fresh else earlier
    inputs = order.inputs if old is None else merged(old.inputs, order.inputs)
    calibration = kept_calibration(inputs.lens)
    if old is not None and _is_done(old, inputs, calibration, target, order):
        return DoneBefore(old)
    return Task(
        path=photo.absolute(),
        data=data if order.by_content else None,
        sha256=sha256,
        inputs=inputs,
        old=old,
        calibration=calibration,
        units=keeping.units,
        with_shade=order.shelf is not None,
        thumbnail_px=order.folder_settings.thumbnail_px,
        settings=order.settings,
        seen=seen,
    )


def _is_done(old: HideMap, inputs: Inputs, calibration: Calibration, target: Path, order: Order) -> bool:
    """Whether mapping the photo again would give the map that stands there."""
    program = ProgramInfo(__version__, settings_as_saved(order.settings))
    if inputs.card_scale is None:
        numbers = (card.number for card in old.cards)
        inputs = replace(inputs, card_scale=known_print_scale(numbers, calibration.card_scales))
    return (
        as_saved(old.program) == as_saved(program)
        and as_saved(old.inputs) == as_saved(inputs)
        and all(picture_of(target, kind).exists() for kind in PICTURES)
        and (order.shelf is None or _on_shelf(order.shelf, target))
    )


def _on_shelf(shelf: sqlite3.Connection, target: Path) -> bool:
    from hidescan.shelf.hides import has_map

    return has_map(shelf, file_digest(target))


def _content(photo: Path) -> bytes:
    return read_bytes(photo, PhotoSettings().most_file_bytes, "Check its name and permissions.")
