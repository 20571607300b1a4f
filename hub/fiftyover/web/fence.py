"""Around every page: foreign host names refused, protective headers added, bodies read with a limit."""

from __future__ import annotations

import json
from html import escape
from typing import Any

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .entry import Entry, Session

BODY_MAX_BYTES = 4096
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",  # with no-referrer a browser sends the sign-in form with "Origin: null"
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-cache",  # asked again with its tag each time: an upgraded hub serves no old script
}


class Fence:
    """Refuses foreign host names and adds the protective headers to every answer."""

    def __init__(self, app: ASGIApp, entry: Entry) -> None:
        self._app = app
        self._entry = entry

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for key, value in HEADERS.items():
                    headers.setdefault(key, value)
            await send(message)

        if not self._entry.host_allowed(Request(scope)):
            refusal = PlainTextResponse("This hub does not answer under that name.", 421)
            await refusal(scope, receive, with_headers)
            return
        await self._app(scope, receive, with_headers)


class RefusalError(Exception):
    """A request that is not served: the sentence for the person, and the HTTP status."""

    def __init__(self, sentence: str, status: int) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.status = status


def refused(request: Request, fault: Exception) -> Response:
    """The answer to a refused request: a sentence and a way on for a person, data for a script."""
    assert isinstance(fault, RefusalError)  # noqa: S101 - Starlette hands over what it was registered for
    if "text/html" in request.headers.get("accept", ""):
        page = (
            '<!doctype html><html lang="en"><meta charset="utf-8"><title>fiftyover</title>'
            '<meta name="viewport" content="width=device-width, initial-scale=1">'
            '<link rel="icon" href="/static/chub.svg" type="image/svg+xml">'
            '<link rel="stylesheet" href="/static/page.css"><main class="narrow">'
            f'<h1>fiftyover</h1><p class="alarm soon">{escape(fault.sentence)}</p>'
            f'<p><a href="{escape(request.scope.get("root_path", ""))}/">To the Now page</a></p>'
        )
        return HTMLResponse(page, fault.status)
    return JSONResponse({"done": False, "sentence": fault.sentence}, fault.status)


def signed_in(entry: Entry, request: Request) -> Session:
    """The session of a request for data; RefusalError when there is none."""
    session = entry.session(request)
    if session is None:
        raise RefusalError("Sign in first.", 401)
    return session


def may_change(entry: Entry, request: Request, cook: bool = True) -> Session:
    """The session of a request for a change: from this hub's own page, with its token, and by a cook if need be."""
    session = signed_in(entry, request)
    if not (entry.origin_allowed(request) and entry.token_fits(request, session)):
        raise RefusalError("This request did not come from the hub's own page. Load the page again.", 403)
    if cook and session.role != "cook":
        raise RefusalError("A watcher may stop the heat; ask the cook for everything else.", 403)
    return session


async def json_body(request: Request, most_bytes: int = BODY_MAX_BYTES) -> dict[str, Any]:
    """The body as a JSON object of plain values; RefusalError when it is not."""
    raw = b""
    async for chunk in request.stream():
        raw += chunk
        if len(raw) > most_bytes:
            raise RefusalError(f"The request is over {most_bytes} bytes.", 400)
    try:
        body = json.loads(raw, parse_constant=_no_constant)
        json.dumps(body, ensure_ascii=False).encode()  # half of a surrogate pair is no text, and no disk takes it
    except (ValueError, RecursionError):
        raise RefusalError("The request is not JSON.", 400) from None
    if not isinstance(body, dict):
        raise RefusalError("The request is not a JSON object.", 400)
    return body


def _no_constant(text: str) -> float:
    raise ValueError(text)
