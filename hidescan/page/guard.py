"""What every request must pass before it reaches the page.

- Its Host is one that we serve: a name that someone else's page made point here (DNS rebinding) is not.
- A request that changes something comes from our own page (its Origin): no other page's form or script.
- It carries a token, or comes with a code to get one.

Every answer forbids scripts, styles, pictures and connections from elsewhere (Content Security Policy, level 3), frames
round it, guessing of types, and keeping it in caches.
"""

from contextvars import ContextVar
from urllib.parse import parse_qs, quote

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request, cookie_parser
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from hidescan.page.connections import Connections, TooSlow, bounded
from hidescan.page.door import Door
from hidescan.page.settings import PageSettings

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; "
        "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}
# Whose request is being answered: the token that came with it.
PERSON: ContextVar[str] = ContextVar("person", default="")
_MOST_FORM_BYTES = 2000  # a code has eight letters
OPEN = ("/static/main.css", "/static/icon.svg")  # what the door's own page needs

ENTER = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>hidescan</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="stylesheet" href="/static/main.css">
<link rel="icon" href="/static/icon.svg"></head><body class="door"><main><h1>hidescan</h1>
<form method="post" action="/enter"><p><label for="code">Code from the screen where hidescan runs</label></p>
<p><input id="code" name="code" autocomplete="off" autocapitalize="characters" required maxlength="20"></p>
<p role="alert">{told}</p><p><button type="submit">Come in</button></p></form></main></body></html>"""


class Guard:
    """ASGI middleware."""

    def __init__(
        self,
        app: ASGIApp,
        door: Door,
        hosts: frozenset[str],
        cookie: str,
        connections: Connections,
        settings: PageSettings,
    ) -> None:
        self.app, self.door, self.hosts, self.cookie = app, door, hosts, cookie
        self.connections, self.settings = connections, settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, or answer."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
            await send_in_time(message)

        token = cookie_parser(Headers(scope=scope).get("cookie", "")).get(self.cookie, "")
        known = self.door.knows(token)
        PERSON.set(token if known else "")
        with self.connections.answering(scope, known=known) as connection:
            receive, send_in_time = bounded(receive, send, connection, self.settings)
            answer = await self._answer(scope, receive, known=known)
            await (answer or self.app)(scope, receive, send_guarded)

    async def _answer(self, scope: Scope, receive: Receive, *, known: bool) -> Response | None:
        """The answer to a request that goes no further."""
        headers = Headers(scope=scope)
        if headers.get("host") not in self.hosts:
            return PlainTextResponse("This is not an address of hidescan.", 421)
        if scope["method"] not in ("GET", "HEAD") and headers.get("origin") not in {f"http://{h}" for h in self.hosts}:
            return PlainTextResponse("This did not come from hidescan's own page.", 403)
        request = Request(scope, receive)
        address = scope["client"][0] if scope.get("client") else ""
        if scope["path"] == "/" and scope["method"] == "GET" and "code" in request.query_params:
            return self._enter(request.query_params["code"], address)
        if scope["path"] == "/enter" and scope["method"] == "POST":
            code = await _code_in(request)
            if code is None:
                return PlainTextResponse("That is no code.", 400, {"connection": "close"})
            return self._enter(code, address)
        if known or scope["path"] in OPEN:
            return None
        return self._shut(address) if scope["path"] == "/" else PlainTextResponse("A code is needed.", 401)

    def _enter(self, code: str, address: str) -> Response:
        token = self.door.enter(code, address)
        if token is None:
            return self._shut(address, wrong=True)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(self.cookie, quote(token), httponly=True, samesite="strict", path="/")
        return answer

    def _shut(self, address: str, *, wrong: bool = False) -> Response:
        if self.door.locked(address):
            return HTMLResponse(ENTER.format(told="Too many wrong codes. Wait a minute."), 429)
        return HTMLResponse(ENTER.format(told="That code does not open. Each opens once." if wrong else ""), 401)


async def _code_in(request: Request) -> str | None:
    """The code in the door's own form; None where it is anything else."""
    data = b""
    try:
        async for chunk in request.stream():
            data += chunk
            if len(data) > _MOST_FORM_BYTES:
                return None
        found = parse_qs(data.decode("ascii"), max_num_fields=2).get("code", [])
    except (TooSlow, ValueError):
        return None
    return found[0] if len(found) == 1 else None
