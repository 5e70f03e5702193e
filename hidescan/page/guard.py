"""What every request must pass before it reaches the page.

- Its Host is one that we serve: a name that someone else's page made point here (DNS rebinding) is not.
- A request that changes something comes from our own page (its Origin): no other page's form or script.
- It carries a token, or comes with a code to get one.

Every answer forbids scripts, styles, pictures and connections from elsewhere (Content Security Policy, level 3), frames
round it, guessing of types, and keeping it in caches.
"""

from http.cookies import SimpleCookie
from urllib.parse import quote

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from hidescan.page.door import Door

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
OPEN = ("/static/main.css", "/static/icon.svg")  # what the door's own page needs

ENTER = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>hidescan</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="stylesheet" href="/static/main.css">
<link rel="icon" href="/static/icon.svg"></head><body class="door"><main><h1>hidescan</h1>
<form method="post" action="/enter"><p><label for="code">Code from the screen where hidescan runs</label></p>
<p><input id="code" name="code" autocomplete="off" autocapitalize="characters" required maxlength="20"></p>
<p role="alert">{told}</p><p><button type="submit">Come in</button></p></form></main></body></html>"""


class Guard:
    """ASGI middleware."""

    def __init__(self, app: ASGIApp, door: Door, hosts: frozenset[str], cookie: str) -> None:
        self.app, self.door, self.hosts, self.cookie = app, door, hosts, cookie

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
            await send(message)

        answer = await self._answer(scope, receive)
        await (answer or self.app)(scope, receive, send_guarded)

    async def _answer(self, scope: Scope, receive: Receive) -> Response | None:
        """The answer to a request that goes no further."""
        headers = Headers(scope=scope)
        if headers.get("host") not in self.hosts:
            return PlainTextResponse("This is not an address of hidescan.", 421)
        if scope["method"] not in ("GET", "HEAD") and headers.get("origin") not in {f"http://{h}" for h in self.hosts}:
            return PlainTextResponse("This did not come from hidescan's own page.", 403)
        request = Request(scope, receive)
        address = scope["client"][0] if scope.get("client") else ""
        if scope["path"] == "/" and "code" in request.query_params:
            return self._enter(request.query_params["code"], address)
        if scope["path"] == "/enter" and scope["method"] == "POST":
            async with request.form(max_files=0, max_fields=2) as form:
                return self._enter(str(form.get("code", "")), address)
        if self.door.knows(_cookie(headers, self.cookie)) or scope["path"] in OPEN:
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


def _cookie(headers: Headers, name: str) -> str:
    jar = SimpleCookie(headers.get("cookie", ""))
    return jar[name].value if name in jar else ""
