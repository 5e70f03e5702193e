"""The worker's process seen from the server: one request at a time, started again if it died."""

import asyncio
import multiprocessing
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any

from anyio import to_thread

from hidescan.basics.errors import BadInput
from hidescan.page.settings import PageSettings
from hidescan.page.worker.requests import serve


class Mapper:
    """Sends requests to a worker process that is kept warm."""

    def __init__(self, settings: PageSettings) -> None:
        self._settings = settings
        self._turn = asyncio.Lock()
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None

    def start(self) -> None:
        """Start the process, which loads the networks while the person looks for a photo."""
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=serve, args=(theirs, self._settings), daemon=True)
        self._process.start()
        theirs.close()

    def stop(self) -> None:
        """End the process."""
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._process = None

    @asynccontextmanager
    async def idle(self) -> AsyncIterator[None]:
        """While the worker has nothing in hand."""
        async with self._turn:
            yield

    async def ask(self, name: str, *arguments: Any, say: Callable[[str], None] = lambda text: None) -> Any:
        """Ask the worker; `say` is told each stage it enters.

        Raises
        ------
        BadInput
            The worker refused, failed, died or took too long; the next request finds a fresh one.
        """
        async with self._turn:
            return await to_thread.run_sync(self._ask, name, arguments, say)

    def _ask(self, name: str, arguments: tuple[Any, ...], say: Callable[[str], None]) -> Any:
        if self._process is None or not self._process.is_alive():
            self.stop()
            self.start()
        assert self._pipe is not None
        try:
            self._pipe.send((name, arguments))
            while True:
                if not self._pipe.poll(self._settings.most_seconds):
                    self.stop()
                    raise BadInput("This takes too long; the photo was given up. Try a smaller picture.")
                kind, value = self._pipe.recv()
                if kind == "done":
                    return value
                if kind != "stage":
                    raise BadInput(value)
                with suppress(RuntimeError):  # the server may be closing
                    say(value)
        except (EOFError, OSError):
            self.stop()
            raise BadInput("The photo could not be worked on: it ended the program that reads it.") from None
