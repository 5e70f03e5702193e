"""The page's addresses for pieces on a hide."""

import base64

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from hidescan.basics.errors import BadInput
from hidescan.page.desk import Desk
from hidescan.page.routes.answers import download, json_answer, json_body
from hidescan.page.settings import PageSettings
from hidescan.page.worker.pieces import FORMS


def piece_routes(at: str, desk: Desk, settings: PageSettings) -> list[Route]:
    """Routes below a work's address."""
    ask = desk.mapper.ask

    async def shown(request: Request) -> Response:
        return json_answer(await ask("pieces", desk.subject(request.path_params["name"])))

    async def loaded(request: Request) -> Response:
        subject = desk.subject(request.path_params["name"])
        plain = await json_body(request, settings.most_drawing_bytes)
        drawing, rules = plain.get("drawing"), str(plain.get("rules") or "")
        try:
            data = None if drawing is None else base64.b64decode(str(drawing), validate=True)
        except ValueError as error:  # no base64, or no ASCII at all
            raise BadInput("The drawing did not come through. Choose it again.") from error
        return json_answer(await ask("load pieces", subject, str(plain.get("file", "")), data, rules))

    async def checked(request: Request) -> Response:
        subject = desk.subject(request.path_params["name"])
        plain = await json_body(request, settings.most_edit_bytes)
        return json_answer(await ask("check piece", subject, plain))

    async def laid(request: Request) -> Response:
        subject = desk.subject(request.path_params["name"])
        plain = await json_body(request, settings.most_edit_bytes)
        return json_answer(await ask("lay pieces", subject, plain.get("spots"), str(plain.get("base"))))

    async def rest(request: Request) -> Response:
        subject = desk.subject(request.path_params["name"])
        plain = await json_body(request, settings.most_edit_bytes)
        return json_answer(await ask("place rest", subject, str(plain.get("base"))))

    async def files(request: Request) -> Response:
        subject, form = desk.subject(request.path_params["name"]), request.path_params["form"]
        if form not in FORMS:
            return Response(status_code=404)
        made = await ask("export pieces", subject, form, "mirror" in request.query_params)
        return download(made, subject.file, form)

    return [
        Route(at, shown),
        Route(at + "/load", loaded, methods=["POST"]),
        Route(at + "/check", checked, methods=["POST"]),
        Route(at + "/lay", laid, methods=["POST"]),
        Route(at + "/rest", rest, methods=["POST"]),
        Route(at + "/files/{form}", files),
    ]
