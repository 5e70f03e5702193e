"""Open the page: on this machine, or for the workshop's network."""

import asyncio
import socket
import time
import webbrowser
from contextlib import closing, suppress
from dataclasses import replace

import uvicorn

from hidescan.basics.errors import BadInput
from hidescan.basics.operating_system import PORTS_REUSABLE
from hidescan.page.connections import Connections, protocol_over
from hidescan.page.door import Door
from hidescan.page.routes.hides import BUILT, make_app
from hidescan.page.settings import PageSettings
from hidescan.page.works import works_folder

NOT_BUILT = (
    "page: it was not built, because Node.js was not there when hidescan was installed. "
    "Install Node.js 18 or newer with npm, then install hidescan again (bash .ci/setup)."
)


# Few at a time, so that what the first of them ask is read before they could be the oldest of too many; the rest waits
# in the system's own queue.
_ACCEPTED_AT_ONCE, _WAITING = 16, 2048
_OTHER_FILES = 200


class _Server(uvicorn.Server):
    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        for listener in sockets or ():
            listener.listen(_WAITING)


def serve_page(*, lan: bool, browser: bool) -> None:
    """Serve until interrupted.

    Parameters
    ----------
    lan
        For every machine on the network that has a code, else for this one only.
    browser
        Open the page in this machine's browser.

    Raises
    ------
    BadInput
        The page was not built, or there is no network to serve.
    """
    if not (BUILT / "index.html").is_file():
        raise BadInput(NOT_BUILT)
    settings = _within_open_files(PageSettings())
    address = _network_address() if lan else "127.0.0.1"
    with closing(_listening(address, settings.port)) as listener:
        port = listener.getsockname()[1]
        names = (address,) if lan else (address, "localhost")
        root = f"http://{address}:{port}/"

        def show(code: str) -> None:
            _show(f"{root}?code={code}", again=True, qr=lan)

        door = Door(settings, show, time.monotonic)
        connections = Connections(settings)
        hosts = frozenset(f"{n}:{port}" for n in names)
        app = make_app(works_folder(), door, hosts, f"hidescan-{port}", settings, connections)
        _show(f"{root}?code={door.code}", again=False, qr=lan)
        if browser and not lan:
            webbrowser.open(f"{root}?code={door.code}")
        # No log: what anybody sends must not put a line on the screen that shows the code.
        server = _Server(
            uvicorn.Config(
                app, http=protocol_over(connections), ws="none", log_config=None, access_log=False, server_header=False,
                timeout_graceful_shutdown=2, backlog=_ACCEPTED_AT_ONCE,
            )
        )  # fmt: skip
        with suppress(KeyboardInterrupt):
            asyncio.run(server.serve(sockets=[listener]))


def _within_open_files(settings: PageSettings) -> PageSettings:
    """The settings with no more connections than this process may have open files; as many as they ask where it may."""
    wanted = settings.most_connections + _OTHER_FILES
    try:
        import resource
    except ImportError:  # Windows has no such limit
        return settings
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        soft = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        with suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
    soft, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    most = settings.most_connections if soft == resource.RLIM_INFINITY else min(settings.most_connections, soft - 100)
    return replace(
        settings,
        most_connections=most,
        most_connections_of_an_address=min(settings.most_connections_of_an_address, most * 2 // 3),
    )


def _show(url: str, *, again: bool, qr: bool) -> None:
    """Print an address and, for phones, its QR code."""
    print(f"for another browser: {url}" if again else f"hidescan's page: {url}\nCtrl-C ends it.", flush=True)
    if qr:
        import segno

        segno.make(url, error="m").terminal(compact=True)


def _listening(address: str, port: int) -> socket.socket:
    """A socket on the usual port or one of the next few: a browser keeps what it could not send by address and port."""
    for wanted in (*range(port, port + 10), 0):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if PORTS_REUSABLE:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((address, wanted))
            # At once: a browser may come before the server runs, another program for the port.
            listener.listen(_WAITING)
        except OSError:
            listener.close()
            continue
        return listener
    raise BadInput("page: no port is free.")


def _network_address() -> str:
    """The machine's address on the network; asking sends nothing."""
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address kept for documentation (RFC 5737)
            address = str(probe.getsockname()[0])
        except OSError:
            address = "127.0.0.1"
    if address.startswith("127."):
        raise BadInput("page: this machine is on no network. Leave --lan away to use the page here.")
    return address
