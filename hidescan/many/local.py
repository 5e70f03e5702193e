"""Tasks through the processes of this machine: one a core, each with one thread."""

import multiprocessing
import os
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from itertools import chain

from hidescan.many.settings import FolderSettings
from hidescan.many.task import Failed, Mapped, Task, map_task

Outcome = tuple[Task, Mapped | Failed]
# Linear algebra reads these when it is loaded: a worker is one thread in all.
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def outcomes(
    tasks: Iterable[Task], workers: int, settings: FolderSettings, work: Callable[[Task], Mapped | Failed] = map_task
) -> Iterator[Outcome]:
    """Do tasks; each comes back once, in the order in which they are finished.

    A worker that dies (out of memory, a crash in a decoder) takes its pool with it. Whatever was handed out then is
    done again, one photo at a time in a process of its own, so that the photo that killed it is found and named.
    """
    waiting = iter(tasks)
    for first in waiting:  # no processes where there is nothing to do
        waiting = chain((first,), waiting)
        handed_out: dict[Future[Mapped | Failed], Task] = {}
        try:
            with _pool(workers) as pool:
                for task in waiting:
                    handed_out[_submitted(pool, work, task)] = task
                    if len(handed_out) >= settings.handed_out_per_worker * workers:
                        yield from _finished(handed_out)
                while handed_out:
                    yield from _finished(handed_out)
        except BrokenProcessPool:
            yield from _one_by_one(work, handed_out.values())


def _submitted(
    pool: ProcessPoolExecutor, work: Callable[[Task], Mapped | Failed], task: Task
) -> "Future[Mapped | Failed]":
    """The task's future; a pool found broken only now is reported by the future, so that no task is lost."""
    try:
        return pool.submit(work, task)
    except BrokenProcessPool as error:
        broken: Future[Mapped | Failed] = Future()
        broken.set_exception(error)
        return broken


def _finished(handed_out: "dict[Future[Mapped | Failed], Task]") -> Iterator[Outcome]:
    done, _ = wait(handed_out, return_when=FIRST_COMPLETED)
    for future in done:
        outcome = future.result()
        yield handed_out.pop(future), outcome


def _one_by_one(work: Callable[[Task], Mapped | Failed], tasks: Iterable[Task]) -> Iterator[Outcome]:
    """Do tasks in one process at a time: the one that it dies on is the culprit, and the rest get a new process."""
    waiting = iter(tasks)
    for first in waiting:
        task = first
        try:
            with _pool(1) as pool:
                for task in chain((first,), waiting):
                    yield task, pool.submit(work, task).result()
        except BrokenProcessPool:
            yield (
                task,
                Failed(f"{task.path.name}: the process that mapped it died. Is there enough memory?", fault=True),
            )


@contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    before = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    # Spawned, not forked: a forked copy of a process that has run OpenCV's threads can hang.
    pool = ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"), _end_with_parent)
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _end_with_parent() -> None:
    """End when the run does: a run that was killed would leave its workers waiting for ever."""
    parent = multiprocessing.parent_process()
    assert parent is not None

    def wait_for_it() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=wait_for_it, daemon=True).start()
