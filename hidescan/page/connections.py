"""Who is connected: slow or silent clients lose their place to those who ask for something.

A connection has a deadline while nothing is asked on it (a half-sent header, an idle keep-alive) and while a body or an
answer does not move on. Where there are as many connections as there may be, of one address or in all, a new one takes
the place of the oldest that has shown no token, so that a person who holds one gets in however many strangers wait.
"""

import asyncio
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from starlette.types import Message, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from hidescan.basics.errors import BadInput
from hidescan.page.settings import PageSettings

Peer = tuple[str, int]


class TooSlow(BadInput):
    """A client that stopped in the middle of its request."""


@dataclass(slots=True, eq=False)
class Connection:
    """One connection: whether a token came over it, whether a request is being answered, and its deadline."""

    peer: Peer
    transport: asyncio.Transport
    known: bool = False
    busy: bool = False
    deadline: asyncio.TimerHandle | None = None


class Connections:
    """All connections, oldest first."""

    def __init__(self, settings: PageSettings) -> None:
        self._settings = settings
        self._open: dict[Peer, Connection] = {}
        self._from: Counter[str] = Counter()

    def __len__(self) -> int:
        return len(self._open)

    def opened(self, peer: Peer, transport: asyncio.Transport) -> None:
        """Take in a connection, for which another may have to go."""
        if self._from[peer[0]] >= self._settings.most_connections_of_an_address:
            self._close_one([c for c in self._open.values() if c.peer[0] == peer[0]])
        elif len(self) >= self._settings.most_connections:
            self._close_one(list(self._open.values()))
        self._open[peer] = connection = Connection(peer, transport)
        self._from[peer[0]] += 1
        self._expect_request(connection)

    def closed(self, peer: Peer, transport: asyncio.Transport) -> None:
        """Forget a connection; one that another of the same peer followed is forgotten already."""
        connection = self._open.get(peer)
        if connection is None or connection.transport is not transport:
            return
        del self._open[peer]
        self._from[peer[0]] -= 1
        if not self._from[peer[0]]:
            del self._from[peer[0]]
        if connection.deadline is not None:
            connection.deadline.cancel()

    @contextmanager
    def answering(self, scope: Scope, *, known: bool) -> Iterator[Connection | None]:
        """While a request is answered its connection has no deadline but those of body and answer."""
        connection = self._open.get(tuple(scope.get("client") or ("", 0)))
        if connection is None:  # the tests' client connects to nothing
            yield None
            return
        connection.known, connection.busy = connection.known or known, True
        if connection.deadline is not None:
            connection.deadline.cancel()
        try:
            yield connection
        finally:
            connection.busy = False
            if self._open.get(connection.peer) is connection:
                self._expect_request(connection)

    def _expect_request(self, connection: Connection) -> None:
        wait = connection.transport.abort
        connection.deadline = asyncio.get_running_loop().call_later(self._settings.header_s, wait)

    def _close_one(self, among: list[Connection]) -> None:
        """Close the first of the strangers, else of those with nothing in hand, else of all."""
        chosen = min(among, key=lambda connection: (connection.known, connection.busy))
        self.closed(chosen.peer, chosen.transport)
        chosen.transport.abort()


def protocol_over(connections: Connections) -> type[H11Protocol]:
    """Uvicorn's protocol, each of whose connections is counted."""

    class Counted(H11Protocol):
        def connection_made(self, transport: asyncio.BaseTransport) -> None:
            super().connection_made(transport)  # type: ignore[arg-type]
            if self.client is not None:
                connections.opened(self.client, self.transport)

        def connection_lost(self, exc: Exception | None) -> None:
            super().connection_lost(exc)
            if self.client is not None:
                connections.closed(self.client, self.transport)

    return Counted


def bounded(
    receive: Receive, send: Send, connection: Connection | None, settings: PageSettings
) -> tuple[Receive, Send]:
    """Receive and send of a request, with deadlines for each part of a body, all of it, and each part sent.

    `receive` raises `TooSlow`; a client that does not take its answer is cut off.
    """
    until: list[float] = []

    async def received() -> Message:
        now = asyncio.get_running_loop().time()
        if not until:
            until.append(now + (settings.body_s if connection is None or connection.known else settings.header_s))
        try:
            async with asyncio.timeout(min(settings.body_part_s, until[0] - now)):
                return await receive()
        except TimeoutError:
            raise TooSlow("The rest of that did not come. Is the network slow? Try again.") from None

    async def sent(message: Message) -> None:
        try:
            async with asyncio.timeout(settings.answer_part_s):
                await send(message)
        except TimeoutError:
            if connection is not None:
                connection.transport.abort()
            raise

    return received, sent
