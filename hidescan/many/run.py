"""Many photos mapped: what the workers give is written here, by this process alone, each file whole."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from hidescan.basics.atomic_files import clear_abandoned
from hidescan.basics.errors import BadInput
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import HideMap
from hidescan.hide_map.revisions import remember_photo
from hidescan.many.one_photo import keep
from hidescan.many.plan import DoneBefore, Order, plans
from hidescan.many.task import Failed, Mapped, Task

Engine = Callable[[Iterable[Task]], Iterable[tuple[Task, Mapped | Failed]]]


@dataclass(frozen=True, slots=True, eq=False)
class Result:
    """What came of a photo: its map, or why there is none.

    `thumbnail` is a small JPEG; None where the photo failed or was done before. `fault` is a fault of ours.
    """

    photo: Path
    target: Path
    hide_map: HideMap | None
    reason: str | None = None
    fault: bool = False
    before: bool = False
    thumbnail: bytes | None = None


def map_photos(photos: list[Path], order: Order, engine: Engine) -> Iterator[Result]:
    """Map photos; each gives one result, in the order in which they are finished.

    A run that was killed is taken up where it was: files are written whole, and what is done is not done again.
    """
    for folder in {order.keeping.folder or photo.parent for photo in photos}:
        clear_abandoned(folder)
    settled: deque[Result] = deque()
    asked: dict[Path, tuple[Path, Path]] = {}

    def tasks() -> Iterator[Task]:
        for photo, target, plan in plans(photos, order):
            if isinstance(plan, Task):
                asked[plan.path] = (photo, target)
                yield plan
            elif isinstance(plan, DoneBefore):
                settled.append(Result(photo, target, plan.hide_map, before=True))
            else:
                settled.append(Result(photo, target, None, plan.reason, plan.fault))

    for task, outcome in engine(tasks()):
        yield from _drained(settled)
        yield _kept(*asked.pop(task.path), task.seen, outcome, order)
    yield from _drained(settled)


def _drained(settled: deque[Result]) -> Iterator[Result]:
    while settled:
        yield settled.popleft()


def _kept(photo: Path, target: Path, seen: str, outcome: Mapped | Failed, order: Order) -> Result:
    if isinstance(outcome, Failed):
        return Result(photo, target, None, outcome.reason, outcome.fault)
    try:
        made = outcome.made
        hide_map = keep(target, made.hide_map, made.pictures, fresh=order.keeping.fresh, seen=seen)
        remember_photo(target, photo)
        if order.shelf is not None:
            from hidescan.shelf.register import MapDetails, shelve_map

            shelve_map(order.shelf, photo.stem, to_json(hide_map), details=MapDetails(outcome.shade))
    except BadInput as error:
        return Result(photo, target, None, str(error))
    return Result(photo, target, hide_map, thumbnail=outcome.thumbnail)
