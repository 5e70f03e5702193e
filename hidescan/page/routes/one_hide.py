"""The page's addresses for one hide: its map, edits, steps back, keeping, pictures, files."""

from typing import Any

from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from hidescan.basics.units import parse_length_mm, parse_thickness_mm
from hidescan.exports.formats import FORMATS, PAPERS
from hidescan.page.desk import Desk
from hidescan.page.journal import Edit, edit_from
from hidescan.page.routes.answers import download, json_answer, json_body
from hidescan.page.routes.vocabulary import read_page_facts
from hidescan.page.settings import PageSettings
from hidescan.settings import Settings


def hide_routes(at: str, desk: Desk, settings: PageSettings) -> list[Route]:
    """Routes of what a person does to a hide, at its address."""

    async def shown(request: Request) -> Response:
        name = request.path_params["name"]
        sheet = desk.sheet(name)
        if sheet.shown_at != sheet.state.at:
            desk.start(name)
        return json_answer(desk.answer(name))

    async def edits(request: Request) -> Response:
        name, plain = request.path_params["name"], await json_body(request, settings.most_edit_bytes)
        await desk.edit(name, _edit(plain), _base(plain))
        return json_answer(desk.answer(name))

    async def step(request: Request) -> Response:
        name, plain = request.path_params["name"], await json_body(request, settings.most_edit_bytes)
        await desk.step(name, request.url.path.rpartition("/")[2], _base(plain))
        return json_answer(desk.answer(name))

    async def keep(request: Request) -> Response:
        name = request.path_params["name"]
        await desk.keep(name)
        return json_answer(desk.answer(name))

    async def shelve(request: Request) -> Response:
        name, plain = request.path_params["name"], await json_body(request, settings.most_edit_bytes)
        label, changed = await desk.shelve(name, str(plain.get("label", "")))
        return JSONResponse({"label": label, "changed": changed})

    async def noted(request: Request) -> Response:
        name, plain = request.path_params["name"], await json_body(request, settings.most_edit_bytes)
        desk.note(name, plain)
        return json_answer(desk.answer(name))

    async def thrown_away(request: Request) -> Response:
        await desk.throw_away(request.path_params["name"])
        return Response(status_code=204)

    return [
        Route(at, shown),
        Route(at, thrown_away, methods=["DELETE"]),
        Route(at + "/edits", edits, methods=["POST"]),
        Route(at + "/undo", step, methods=["POST"]),
        Route(at + "/redo", step, methods=["POST"]),
        Route(at + "/keep", keep, methods=["POST"]),
        Route(at + "/shelf", shelve, methods=["POST"]),
        Route(at + "/notes", noted, methods=["POST"]),
    ]


def picture_routes(at: str, desk: Desk) -> list[Route]:
    """Routes of a hide's pictures and of the files to take away, at its address."""

    async def photo(request: Request) -> Response:
        name, size = request.path_params["name"], request.path_params["size"]
        desk.sheet(name)
        path = desk.folder / name / f"{size}.jpg"
        if size == "full" and not path.exists():
            await desk.mapper.ask("full", desk.subject(name))
        return FileResponse(path) if size in ("full", "screen") and path.exists() else Response(status_code=404)

    async def above(request: Request) -> Response:
        name = request.path_params["name"]
        desk.sheet(name)
        path = desk.folder / name / "above.webp"
        return FileResponse(path) if path.exists() else Response(status_code=404)

    async def mark(request: Request) -> Response:
        subject = desk.subject(request.path_params["name"])
        data = await desk.mapper.ask("mark picture", subject, request.path_params["mark"])
        return Response(data, media_type="image/jpeg")

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
            made = await desk.mapper.ask("sheet", subject, units, paper or "a4")
        else:
            made = await desk.mapper.ask("export", subject, form, "mirror" in asked, paper)
        return download(made, subject.file, form)

    return [
        Route(at + "/{size}.jpg", photo),
        Route(at + "/above.webp", above),
        Route(at + "/marks/{mark}.jpg", mark),
        Route(at + "/files/{form}", files),
    ]


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
