"""The page's addresses for several photos of one hide."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from hidescan.basics.errors import BadInput
from hidescan.page.desk import Desk
from hidescan.page.routes.answers import download, json_answer, received
from hidescan.page.settings import PageSettings
from hidescan.page.works import about, add_work, is_id, remove_work, works


def more_routes(at: str, desk: Desk, settings: PageSettings) -> list[Route]:
    """Routes below a work's address."""
    ask = desk.mapper.ask

    async def shown(request: Request) -> Response:
        return json_answer(await ask("more", desk.subject(request.path_params["name"])))

    async def added(request: Request) -> Response:
        subject = desk.subject(request.path_params["name"])
        folder = subject.folder / "more"
        folder.mkdir(exist_ok=True)
        if len(works(folder)) + 1 >= settings.most_photos:
            raise BadInput(f"{settings.most_photos} photos of one hide are enough. Take one away first.")
        part = await received(request, folder, settings.most_upload_bytes)
        name = add_work(folder, part, request.query_params.get("name", ""))
        if about(folder / name).sha256 == about(subject.folder).sha256:
            remove_work(folder / name)
            raise BadInput("That is the first photo again. Take another one, of another side.")
        return json_answer(await ask("more", subject))

    async def removed(request: Request) -> Response:
        subject, photo = desk.subject(request.path_params["name"]), request.path_params["photo"]
        if not is_id(photo) or photo not in works(subject.folder / "more"):
            return Response(status_code=404)
        async with desk.mapper.idle(subject.folder):
            remove_work(subject.folder / "more" / photo)
        return json_answer(await ask("more", subject))

    async def file(request: Request) -> Response:
        subject = desk.subject(request.path_params["name"])
        return download(await ask("export more", subject), subject.file, "map")

    return [
        Route(at, shown),
        Route(at, added, methods=["POST"]),
        Route(at + "/map", file),
        Route(at + "/{photo}", removed, methods=["DELETE"]),
    ]
