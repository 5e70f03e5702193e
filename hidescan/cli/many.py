"""`hidescan map` for many photos: workers, progress, the table and the contact sheet."""

import sys
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hidescan.basics.errors import BadInput

if TYPE_CHECKING:
    from hidescan.hide_map.model import Inputs
    from hidescan.many.one_photo import Keeping
    from hidescan.many.plan import Order
    from hidescan.many.run import Engine, Result
    from hidescan.many.settings import FolderSettings
    from hidescan.many.summary import Line
    from hidescan.many.task import Failed, Mapped, Task
    from hidescan.settings import Settings


@dataclass(frozen=True, slots=True)
class BatchOptions:
    """What was asked for beyond mapping photos one after the other."""

    watch: Annotated[
        bool, typer.Option("--watch", help="Map each photo of the folder as it arrives; ends with Ctrl-C.")
    ] = False
    cluster: Annotated[
        str | None, typer.Option(help="Address of a dask scheduler whose workers map the photos: tcp://HOST:8786.")
    ] = None
    shared: Annotated[
        bool, typer.Option("--shared", help="The cluster sees the photos under the same paths; else they are sent.")
    ] = False
    to_shelf: Annotated[bool, typer.Option("--to-shelf", help="Put every map on your shelf, too.")] = False
    shelf: Annotated[Path | None, typer.Option("--shelf", help="Put every map on this shelf.")] = None
    json: Annotated[bool, typer.Option("--json", help="Print each map as one line of JSON, nothing else.")] = False

    @property
    def asked(self) -> bool:
        """Whether anything was."""
        return self.watch or self.cluster is not None or self.to_shelf or self.shelf is not None


def map_many(
    named: list[Path],
    photos: list[Path],
    inputs: "Inputs",
    keeping: "Keeping",
    settings: "Settings",
    many: BatchOptions,
) -> int:
    """Map many photos, say what comes of each, and write the table and the contact sheet.

    Parameters
    ----------
    named
        What the person named: photos, or folders of photos.
    photos
        The photos in it; none where they are watched for.

    Returns
    -------
    Exit code: 0, 2 where a photo could not be mapped, 1 where a fault of ours was the reason.
    """
    from hidescan.many.plan import Order
    from hidescan.many.run import map_photos
    from hidescan.many.settings import FolderSettings

    limits = FolderSettings()
    folder = keeping.folder or (named[0] if len(named) == 1 and named[0].is_dir() else None)
    lines: list[Line] = []
    with ExitStack() as stack:
        shelf = None
        if many.to_shelf or many.shelf is not None:
            from hidescan.shelf.database import default_path, open_shelf

            shelf = stack.enter_context(closing(open_shelf(many.shelf or default_path())))
        sent = many.cluster is not None and not many.shared
        order = Order(inputs, keeping, settings, limits, by_content=sent, shelf=shelf)
        if many.watch:
            for batch in _arriving(named, limits):
                lines += [
                    _said(result, keeping.units, many) for result in map_photos(batch, order, _engine(many, batch))
                ]
                _write_summary(folder, lines, order)
        else:
            found = map_photos(photos, order, _engine(many, photos))
            lines += [_said(result, keeping.units, many) for result in _progress(found, len(photos))]
            _write_summary(folder, lines, order)
    return _closing_words(lines, folder, many)


def _engine(many: BatchOptions, photos: list[Path]) -> "Engine":
    from hidescan.basics.operating_system import usable_cores
    from hidescan.many import cluster, local
    from hidescan.many.settings import FolderSettings
    from hidescan.many.task import map_task

    def run(tasks: "Iterable[Task]") -> "Iterable[tuple[Task, Mapped | Failed]]":
        if many.cluster is not None:
            return cluster.outcomes(tasks, many.cluster, FolderSettings())
        if len(photos) == 1:
            return ((task, map_task(task)) for task in tasks)
        return local.outcomes(tasks, min(usable_cores(), len(photos)), FolderSettings())

    return run


def _arriving(named: list[Path], limits: "FolderSettings") -> Iterator[list[Path]]:
    from hidescan.many.watch import arrivals

    if len(named) != 1 or not named[0].is_dir():
        raise BadInput("--watch: name one folder to watch.")
    print(f"watching {named[0]}; Ctrl-C ends it", file=sys.stderr)
    return arrivals(named[0], limits)


def _progress(results: "Iterator[Result]", count: int) -> "Iterator[Result]":
    """The results, with a bar and the time left on stderr."""
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeElapsedColumn,
        TimeRemainingColumn,
    )

    columns = (
        TextColumn("mapping"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(), TextColumn("left"),
        TimeRemainingColumn(),
    )  # fmt: skip
    # Redirected, what is meant for stdout would come out on stderr.
    with Progress(*columns, console=Console(stderr=True), redirect_stdout=sys.stdout.isatty()) as bar:
        yield from bar.track(results, total=count)


def _said(result: "Result", units: str, many: BatchOptions) -> "Line":
    """Say what came of a photo, and give what the summary needs of it."""
    from hidescan.figures.summary import area_with_u
    from hidescan.hide_map.json_io import to_json
    from hidescan.many.summary import line_of

    made = result.hide_map
    if made is None:
        print(result.reason, file=sys.stderr)
    elif many.json:
        sys.stdout.write(to_json(made).decode())
    else:
        doubts = f", {len(made.warnings)} warnings" if made.warnings else ""
        before = " (done before)" if result.before else ""
        print(f"{result.photo.stem}: {made.form.name}, {area_with_u(made.measures.area_net, units)}{doubts}{before}")
    return line_of(result)


def _write_summary(folder: Path | None, lines: "list[Line]", order: "Order") -> None:
    from hidescan.basics.atomic_files import write_whole
    from hidescan.many.one_photo import CONTACT_SHEET
    from hidescan.many.summary import TABLE, contact_sheet, table

    if folder is not None and any(line.mapped for line in lines):
        write_whole(folder / TABLE, table(lines))
        write_whole(folder / CONTACT_SHEET, contact_sheet(lines, order.folder_settings))


def _closing_words(lines: "list[Line]", folder: Path | None, many: BatchOptions) -> int:
    from hidescan.many.one_photo import CONTACT_SHEET
    from hidescan.many.summary import TABLE

    failed = sorted(line.photo.name for line in lines if not line.mapped)
    if folder is not None and len(failed) < len(lines) and not many.json:
        print(f"{len(lines) - len(failed)} mapped; {folder / TABLE}, {folder / CONTACT_SHEET}")
    if not failed:
        return 0
    print(f"{len(failed)} of {len(lines)} photos were not mapped: {', '.join(failed)}", file=sys.stderr)
    return 1 if any(line.fault for line in lines) else 2
