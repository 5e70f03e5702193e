"""The page's addresses for all hides: the wall, photos that come in, a hide to try, what was thrown away."""

import os
import shutil
import tempfile
from contextlib import closing
from pathlib import Path
from typing import Any

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from hidescan.basics.errors import BadInput
from hidescan.page import thrown_away
from hidescan.page.desk import Desk
from hidescan.page.photo_files import refuse_no_photo
from hidescan.page.routes.answers import download, packed_json, received
from hidescan.page.settings import PageSettings
from hidescan.page.works import add_work, harmless_name, part_prefix
from hidescan.shelf.database import default_path, open_shelf

MOST_COMPARED = 4


def wall_routes(at: str, desk: Desk, sample: Path, settings: PageSettings) -> list[Route]:
    """Routes at the address of all hides; `sample` is the photo of the hide to try."""

    async def listed(request: Request) -> Response:
        cards, shelved = desk.listed(), await to_thread.run_sync(_on_shelf)
        for card in cards:
            card["shelf"] = shelved.get(card.pop("photo_sha256"))
        gone = [{"id": name, "file": file} for name, file in thrown_away.thrown(desk.folder)]
        return packed_json(request, {"hides": cards, "thrown": gone})

    async def upload(request: Request) -> Response:
        file = harmless_name(request.query_params.get("name", ""))
        part = await received(request, desk.folder, settings.most_upload_bytes)
        return _taken_in(desk, part, file)

    async def try_one(request: Request) -> Response:
        handle, part = tempfile.mkstemp(dir=desk.folder, prefix=part_prefix(), suffix=".part")
        os.close(handle)
        shutil.copyfile(sample, part)
        return _taken_in(desk, Path(part), "sample hide.jpg")

    async def brought_back(request: Request) -> Response:
        thrown_away.bring_back(desk.folder, request.path_params["name"])
        return Response(status_code=204)

    return [
        Route(at, listed),
        Route(at, upload, methods=["POST"]),
        Route(at + "/sample", try_one, methods=["POST"]),
        Route(at + "/{name}/back", brought_back, methods=["POST"]),
    ]


def comparison_route(at: str, desk: Desk) -> Route:
    """The route of the page that sets hides side by side."""

    async def made(request: Request) -> Response:
        asked = request.query_params
        ids = list(dict.fromkeys(asked.get("ids", "").split(",")))
        if not 2 <= len(ids) <= MOST_COMPARED:
            raise BadInput(f"Choose two to {MOST_COMPARED} hides to compare.")
        (label, subject), *others = [(desk.label(name), desk.subject(name)) for name in ids]
        units = "metric" if asked.get("units") == "metric" else "ft"
        paper = "letter" if asked.get("paper") == "letter" else "a4"
        return download(await desk.mapper.ask("compared", subject, label, others, units, paper), "hides", "compared")

    return Route(at, made)


def _taken_in(desk: Desk, part: Path, file: str) -> Response:
    """A file that came in becomes a hide, unless it is no photo."""
    try:
        refuse_no_photo(part, file)
        name = add_work(desk.folder, part, file)
    finally:
        part.unlink(missing_ok=True)
    desk.start(name)
    return JSONResponse({"id": name}, 201)


def _on_shelf() -> dict[str, Any]:
    """Labels of the hides on the shelf, by the photo that each was mapped from."""
    if not default_path().is_file():
        return {}
    with closing(open_shelf(default_path())) as db:
        rows = db.execute(
            "SELECT photo_sha256, label FROM map JOIN hide ON hide.id = map.hide_id WHERE removed_at IS NULL"
        )
        return dict(rows.fetchall())
