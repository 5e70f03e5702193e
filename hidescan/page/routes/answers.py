"""What the page's addresses share: a request's body read within bounds, answers in JSON, files to take away."""

import gzip
import io
import json
import os
import tempfile
import zipfile
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import Response

from hidescan.basics.errors import BadInput
from hidescan.page.works import part_prefix


def json_answer(data: bytes) -> Response:
    """JSON as it is."""
    return Response(data, media_type="application/json")


def packed_json(request: Request, plain: Any) -> Response:
    """A plain value as JSON, compressed where the browser takes that."""
    data = json.dumps(plain, separators=(",", ":")).encode()
    if "gzip" not in request.headers.get("accept-encoding", ""):
        return json_answer(data)
    return Response(
        gzip.compress(data, compresslevel=5, mtime=0),
        media_type="application/json",
        headers={"content-encoding": "gzip", "vary": "accept-encoding"},
    )


async def json_body(request: Request, most_bytes: int) -> dict[str, Any]:
    """A request's JSON object, read no further than is allowed.

    Raises
    ------
    BadInput
        Too much, or no JSON object.
    """
    data = b""
    async for chunk in request.stream():
        data += chunk
        if len(data) > most_bytes:
            raise BadInput("That is too much for one edit.")
    try:
        plain = json.loads(data or b"{}")
    except (ValueError, RecursionError):
        plain = None
    if not isinstance(plain, dict):
        raise BadInput("That is no edit.")
    return plain


async def received(request: Request, folder: Path, most_bytes: int) -> Path:
    """A request's body as a file of its own in a folder.

    Raises
    ------
    BadInput
        It is too large; nothing is left of it.
    """
    handle, part = tempfile.mkstemp(dir=folder, prefix=part_prefix(), suffix=".part")
    try:
        size = 0
        with os.fdopen(handle, "wb") as file:
            async for chunk in request.stream():
                size += len(chunk)
                if size > most_bytes:
                    raise BadInput(f"The file is over {most_bytes // 1_000_000} MB; no photo is.")
                file.write(chunk)
    except BaseException:
        Path(part).unlink(missing_ok=True)
        raise
    return Path(part)


def download(made: list[tuple[str, bytes]], file: str, form: str) -> Response:
    """One file as it is, several in a ZIP."""
    name, data = made[0]
    if len(made) > 1:
        name, packed = f"{Path(file).stem}.{form}.zip", io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as pack:
            for inner, content in made:
                pack.writestr(inner, content)
        data = packed.getvalue()
    shown = f"attachment; filename=\"hide.{name.rpartition('.')[2]}\"; filename*=UTF-8''{quote(name)}"
    return Response(data, media_type="application/octet-stream", headers={"content-disposition": shown})
