"""The page's application: every address, the guard before them, the worker's life."""

import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles

from hidescan.basics.errors import BadInput, CannotWrite
from hidescan.page import thrown_away
from hidescan.page.connections import Connections, TooSlow
from hidescan.page.desk import Desk, Elsewhere
from hidescan.page.door import Door
from hidescan.page.failures import fault_sentence, sentence_for, without_folders
from hidescan.page.guard import Guard
from hidescan.page.mapper import Mapper
from hidescan.page.routes.cards import card_routes
from hidescan.page.routes.one_hide import hide_routes, picture_routes
from hidescan.page.routes.pieces import piece_routes
from hidescan.page.routes.several_photos import more_routes
from hidescan.page.routes.vocabulary import vocabulary_route
from hidescan.page.routes.wall import comparison_route, wall_routes
from hidescan.page.settings import PageSettings
from hidescan.page.works import clear_parts

BUILT = Path(__file__).parents[1] / "built"


def make_app(
    folder: Path,
    door: Door,
    hosts: frozenset[str],
    cookie: str,
    settings: PageSettings,
    connections: Connections | None = None,
) -> Starlette:
    """The page over the works in a folder.

    Parameters
    ----------
    hosts
        Host headers served, port included.
    cookie
        Name of the cookie that holds a token.
    connections
        Those of the server that runs this.
    """
    mapper = Mapper(settings)
    desk = Desk(folder, mapper)

    @asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        folder.mkdir(parents=True, exist_ok=True)
        clear_parts(folder)
        thrown_away.empty(folder, time.time())
        mapper.start()
        try:
            yield
        finally:
            mapper.stop()
            await desk.ended()

    return Starlette(
        routes=_routes(desk, settings),
        middleware=[
            Middleware(
                Guard,
                door=door,
                hosts=hosts,
                cookie=cookie,
                connections=connections or Connections(settings),
                settings=settings,
            )
        ],
        exception_handlers={
            KeyError: _missing,
            Elsewhere: _elsewhere,
            TooSlow: _too_slow,
            CannotWrite: _disk,
            OSError: _disk,
            BadInput: _refused,
            Exception: _fault,
        },
        lifespan=life,
    )


def _routes(desk: Desk, settings: PageSettings) -> list[BaseRoute]:
    """Every address."""
    all_hides, one = "/api/works", "/api/works/{name}"
    return [
        Route("/", _page),
        vocabulary_route("/api/vocabulary"),
        *card_routes("/api/cards", settings),
        *wall_routes(all_hides, desk, BUILT / "sample.jpg", settings),
        comparison_route("/api/compare.pdf", desk),
        *hide_routes(one, desk, settings),
        *picture_routes(one, desk),
        *more_routes(one + "/more", desk, settings),
        *piece_routes(one + "/pieces", desk, settings),
        Mount("/static", StaticFiles(directory=BUILT)),
    ]


async def _page(request: Request) -> Response:
    return FileResponse(BUILT / "index.html")


def _refused(request: Request, error: Exception) -> Response:
    return JSONResponse({"refused": without_folders(str(error))}, 422)


def _disk(request: Request, error: Exception) -> Response:
    assert isinstance(error, OSError | BadInput)
    return JSONResponse({"refused": sentence_for(error)}, 507)


def _too_slow(request: Request, error: Exception) -> Response:
    return JSONResponse({"refused": str(error)}, 408, {"connection": "close"})


def _fault(request: Request, error: Exception) -> Response:
    return JSONResponse({"refused": fault_sentence(error)}, 500)


def _elsewhere(request: Request, error: Exception) -> Response:
    return JSONResponse({"refused": str(error)}, 409)


def _missing(request: Request, error: Exception) -> Response:
    return JSONResponse({"refused": "There is no such hide here."}, 404)
