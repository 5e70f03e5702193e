"""The worker processes seen from the server: one job of a person and of a work at a time, within a time limit."""

import asyncio
import multiprocessing
import time
from collections.abc import AsyncIterator, Callable, Hashable
from contextlib import asynccontextmanager, suppress
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any
from weakref import WeakValueDictionary

from anyio import to_thread

from hidescan.basics.errors import BadInput
from hidescan.page.guard import PERSON
from hidescan.page.settings import PageSettings
from hidescan.page.worker.bench import Subject
from hidescan.page.worker.requests import serve

Say = Callable[[str], None]
_TRIES = 2  # something else than the photo may have ended a worker: the system, for its memory


class Mapper:
    """Sends requests to worker processes that are kept warm.

    A person has one job in hand at a time, so that another one always finds a worker; a work is in one worker's hands
    at a time, and one that did not have it last forgets what it held of it.
    """

    def __init__(self, settings: PageSettings) -> None:
        self._workers = [_Worker(settings) for _ in range(settings.workers)]
        self._idle = list(self._workers)
        self._places = asyncio.Semaphore(settings.workers)
        self._turns: WeakValueDictionary[Hashable, asyncio.Lock] = WeakValueDictionary()
        self._had_last: dict[Path, _Worker] = {}

    def start(self) -> None:
        """Start the first process, which loads the networks while the person looks for a photo."""
        self._workers[0].start()

    def stop(self) -> None:
        """End the processes."""
        for worker in self._workers:
            worker.end()

    @asynccontextmanager
    async def idle(self, folder: Path) -> AsyncIterator[None]:
        """While no worker has a work in hand."""
        async with self._turn(folder):
            yield
            self._had_last.pop(folder, None)

    async def ask(self, name: str, subject: Subject, *arguments: Any, say: Say = lambda text: None) -> Any:
        """Ask a worker; `say` is told each stage it enters.

        Raises
        ------
        BadInput
            The worker refused, failed, died twice or took too long; the next request finds a fresh one.
        """
        async with self._turn(PERSON.get()), self._turn(subject.folder), self._places:
            had_last = self._had_last.get(subject.folder)
            worker = had_last if had_last in self._idle else self._idle[0]
            assert worker is not None
            self._idle.remove(worker)
            try:
                self._had_last[subject.folder] = worker
                return await to_thread.run_sync(worker.ask, name, (subject, *arguments), say, worker is not had_last)
            finally:
                self._idle.append(worker)
                self._idle.sort(key=self._workers.index)

    def _turn(self, whose: Hashable) -> asyncio.Lock:
        lock = self._turns.get(whose)
        if lock is None:
            lock = self._turns[whose] = asyncio.Lock()
        return lock


class _Worker:
    """One process."""

    def __init__(self, settings: PageSettings) -> None:
        self._settings = settings
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None
        self._ended = False

    def start(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=serve, args=(theirs, self._settings), daemon=True)
        self._process.start()
        theirs.close()

    def stop(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._process = None
        if self._pipe is not None:
            self._pipe.close()
            self._pipe = None

    def end(self) -> None:
        """Stop for good: what is still being asked does not start it again."""
        self._ended = True
        self.stop()

    def ask(self, name: str, arguments: tuple[Any, ...], say: Say, forget: bool) -> Any:
        until = time.monotonic() + self._settings.most_seconds
        for _ in range(_TRIES):
            if self._ended:
                raise BadInput("hidescan is being ended.")
            fresh = self._process is None or not self._process.is_alive()
            if fresh:
                self.stop()
                self.start()
            with suppress(EOFError, OSError):
                if forget and not fresh:
                    self._answer(until, "forget", arguments[:1], say)
                return self._answer(until, name, arguments, say)
            self.stop()
        raise BadInput("The photo could not be worked on: it ended the program that reads it, twice.")

    def _answer(self, until: float, name: str, arguments: tuple[Any, ...], say: Say) -> Any:
        assert self._pipe is not None
        self._pipe.send((name, arguments))
        while True:
            if not self._pipe.poll(max(0.0, until - time.monotonic())):
                self.stop()
                raise BadInput(
                    f"This was given up after {self._settings.most_seconds:.0f} s. Try a smaller picture or drawing."
                )
            kind, value = self._pipe.recv()
            if kind == "done":
                return value
            if kind != "stage":
                raise BadInput(value)
            with suppress(RuntimeError):  # the server may be closing
                say(value)
