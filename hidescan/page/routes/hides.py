"""The page's addresses."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from hidescan.basics.errors import BadInput, CannotWrite
from hidescan.basics.units import parse_length_mm, parse_thickness_mm
from hidescan.exports.formats import FORMATS, PAPERS
from hidescan.page.connections import Connections, TooSlow
from hidescan.page.desk import Desk, Elsewhere
from hidescan.page.door import Door
from hidescan.page.failures import fault_sentence, sentence_for, without_folders
from hidescan.page.guard import Guard
from hidescan.page.journal import Edit, edit_from
from hidescan.page.mapper import Mapper
from hidescan.page.routes.answers import download, json_answer, json_body, received
from hidescan.page.routes.pieces import piece_routes
from hidescan.page.routes.several_photos import more_routes
from hidescan.page.routes.vocabulary import read_page_facts, vocabulary_route
from hidescan.page.settings import PageSettings
from hidescan.page.works import add_work, clear_parts
from hidescan.settings import Settings

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
        mapper.start()
        try:
            yield
        finally:
            mapper.stop()

    async def page(request: Request) -> Response:
        return FileResponse(BUILT / "index.html")

    async def listed(request: Request) -> Response:
        return JSONResponse(desk.listed())

    async def upload(request: Request) -> Response:
        part = await received(request, folder, settings.most_upload_bytes)
        name = add_work(folder, part, request.query_params.get("name", ""))
        desk.start(name)
        return JSONResponse({"id": name}, 201)

    async def work(request: Request) -> Response:
        name = request.path_params["name"]
        sheet = desk.sheet(name)
        if sheet.shown_at != sheet.state.at:
            desk.start(name)
        return json_answer(desk.answer(name))

    async def edits(request: Request) -> Response:
        name, plain = request.path_params["name"], await json_body(request, settings.most_edit_bytes)
        await desk.edit(name, _edit(plain), _base(plain))
        return json_answer(desk.answer(name))

    async def undo(request: Request) -> Response:
        return await step(request, "undo")

    async def redo(request: Request) -> Response:
        return await step(request, "redo")

    async def step(request: Request, word: str) -> Response:
        name, plain = request.path_params["name"], await json_body(request, settings.most_edit_bytes)
        await desk.step(name, word, _base(plain))
        return json_answer(desk.answer(name))

    async def keep(request: Request) -> Response:
        name = request.path_params["name"]
        await desk.keep(name)
        return json_answer(desk.answer(name))

    async def shelve(request: Request) -> Response:
        name, plain = request.path_params["name"], await json_body(request, settings.most_edit_bytes)
        label, changed = await desk.shelve(name, str(plain.get("label", "")))
        return JSONResponse({"label": label, "changed": changed})

    async def remove(request: Request) -> Response:
        await desk.remove(request.path_params["name"])
        return Response(status_code=204)

    async def picture(request: Request) -> Response:
        name, size = request.path_params["name"], request.path_params["size"]
        desk.sheet(name)
        path = folder / name / f"{size}.jpg"
        if size == "full" and not path.exists():
            await mapper.ask("full", desk.subject(name))
        return FileResponse(path) if path.exists() else Response(status_code=404)

    async def files(request: Request) -> Response:
        name, form = request.path_params["name"], request.path_params["form"]
        desk.sheet(name)
        asked = request.query_params
        paper = asked.get("paper")
        if form not in (*FORMATS, "map", "sheet") or paper not in (None, *PAPERS):
            return Response(status_code=404)
        subject = desk.subject(name)
        if form == "sheet":
            units = "metric" if asked.get("units") == "metric" else "ft"
            made = await mapper.ask("sheet", subject, units, paper or "a4")
        else:
            made = await mapper.ask("export", subject, form, "mirror" in asked, paper)
        return download(made, subject.file, form)

    one = "/api/works/{name}"
    return Starlette(
        routes=[
            Route("/", page),
            vocabulary_route("/api/vocabulary"),
            Route("/api/works", listed),
            Route("/api/works", upload, methods=["POST"]),
            Route(one, work),
            Route(one, remove, methods=["DELETE"]),
            Route(one + "/edits", edits, methods=["POST"]),
            Route(one + "/undo", undo, methods=["POST"]),
            Route(one + "/redo", redo, methods=["POST"]),
            Route(one + "/keep", keep, methods=["POST"]),
            Route(one + "/shelf", shelve, methods=["POST"]),
            Route(one + "/{size}.jpg", picture),
            Route(one + "/files/{form}", files),
            *more_routes(one + "/more", desk, settings),
            *piece_routes(one + "/pieces", desk, settings),
            Mount("/static", StaticFiles(directory=BUILT)),
        ],
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


def _base(plain: dict[str, Any]) -> int:
    base = plain.get("base")
    return base if isinstance(base, int) else -1


def _edit(plain: dict[str, Any]) -> Edit:
    """An edit as sent, with facts and lengths that people wrote as text ("4.5oz") read."""
    if isinstance(plain.get("set"), dict):
        plain = plain | {"set": read_page_facts(plain["set"])}
    for part in (plain.get("set"), plain.get("add")):
        if not isinstance(part, dict):
            continue
        for item in _items(part, "gauge"):
            item["thickness_mm"] = parse_thickness_mm(str(item.get("thickness_mm", "")))
            item["u_mm"] = Settings().thickness.reading_u_mm
        for item in _items(part, "tapes"):
            item["distance_mm"] = parse_length_mm(str(item.get("distance_mm", "")))
    return edit_from({key: plain[key] for key in ("what", "set", "add", "mark", "key") if key in plain})


def _items(part: dict[str, Any], name: str) -> list[dict[str, Any]]:
    """New items of a list, those whose length is still text."""
    length = "thickness_mm" if name == "gauge" else "distance_mm"
    found = part.get(name)
    if not isinstance(found, list):
        return []
    return [item for item in found if isinstance(item, dict) and isinstance(item.get(length), str)]
