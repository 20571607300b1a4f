"""The pages: now, its stream, its history, the marks. Everything the page does goes through `Actions`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Protocol

from jinja2 import Environment, FileSystemLoader, select_autoescape
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import MutableHeaders
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import (
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .entry import COOKIE, SESSION_S, Entry, Session
from .live import Live
from .words import MARKS, WATCHER_MARKS

HERE = Path(__file__).parent
BODY_MAX_BYTES = 4096
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
}


class Actions(Protocol):
    """What a page can ask of the hub. Both answer only after it is so."""

    def mark(self, kind: str, data: dict[str, Any], who: str) -> tuple[bool, str]:
        """Record a mark; (done, one sentence for the person)."""

    def history(self, points: int) -> dict[str, Any]:
        """Series of the running batch for the chart, at most `points` a series."""


class Pages:
    """The handlers, with what they need."""

    def __init__(self, live: Live, actions: Actions, entry: Entry, title: str) -> None:
        self._live = live
        self._actions = actions
        self._entry = entry
        self._title = title
        loader = FileSystemLoader(HERE / "templates")
        self._templates = Environment(loader=loader, autoescape=select_autoescape(), trim_blocks=True)

    async def now(self, request: Request) -> Response:
        """The page one looks at."""
        session = self._entry.session(request)
        if session is None:
            return RedirectResponse("/sign-in", 303)
        _, snapshot = self._live.latest()
        return self._page("now.html", session=session, snapshot=snapshot, signed_in=self._entry.check_code is not None)

    async def live(self, request: Request) -> Response:
        """Server-sent events of the snapshot."""
        if self._entry.session(request) is None:
            return _refused("Sign in first.", 401)
        headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
        return StreamingResponse(self._live.stream(), media_type="text/event-stream", headers=headers)

    async def history(self, request: Request) -> Response:
        """The curves so far."""
        if self._entry.session(request) is None:
            return _refused("Sign in first.", 401)
        asked = request.query_params.get("points", "400")
        points = min(2000, max(10, int(asked))) if asked.isdecimal() else 400
        return JSONResponse(await run_in_threadpool(self._actions.history, points))

    async def mark(self, request: Request) -> Response:
        """A mark by the person: pulled, a hand reading, stop, resume, undo."""
        session = self._entry.session(request)
        if session is None:
            return _refused("Sign in first.", 401)
        if not (self._entry.origin_allowed(request) and self._entry.token_fits(request, session)):
            return _refused("This request did not come from the hub's own page. Load the page again.", 403)
        body, fault = await _json_body(request)
        if fault:
            return _refused(fault, 400)
        kind = body.pop("kind", None)
        if kind not in MARKS:
            return _refused(f"There is no mark called {kind!r}.", 400)
        if session.role != "cook" and kind not in WATCHER_MARKS:
            return _refused("A watcher may stop the heat; ask the cook for everything else.", 403)
        done, sentence = await run_in_threadpool(self._actions.mark, kind, body, session.name)
        return JSONResponse({"done": done, "sentence": sentence}, 200 if done else 409)

    async def sign_in_page(self, request: Request) -> Response:
        """Name and code."""
        if self._entry.check_code is None or self._entry.session(request):
            return RedirectResponse("/", 303)
        return self._page("sign_in.html", sentence="")

    async def sign_in(self, request: Request) -> Response:
        """Check name and code; wrong ones are slowed down."""
        if not self._entry.origin_allowed(request):
            return _refused("This request did not come from the hub's own page.", 403)
        address = request.client.host if request.client else ""
        wait_s = self._entry.wait_s(address)
        if wait_s > 0:
            return self._page("sign_in.html", 429, sentence=f"Too many tries. Wait {wait_s:.0f} s and try again.")
        if int(request.headers.get("content-length", "0") or 0) > BODY_MAX_BYTES:
            return _refused("That is too long.", 413)
        form = await request.form(max_fields=4, max_files=0)
        name, code = str(form.get("name", "")), str(form.get("code", ""))
        key = await run_in_threadpool(self._entry.sign_in, name, code, address)
        if key is None:
            return self._page(
                "sign_in.html", 403, sentence="Name and code do not fit. The code was printed by `fiftyover setup`."
            )
        answer = RedirectResponse("/", 303)
        secure = request.url.scheme == "https"
        answer.set_cookie(COOKIE, key, int(SESSION_S), httponly=True, samesite="strict", secure=secure)
        return answer

    async def sign_out(self, request: Request) -> Response:
        """Forget this browser."""
        session = self._entry.session(request)
        if session is None or not (self._entry.origin_allowed(request) and self._entry.token_fits(request, session)):
            return _refused("Load the page again.", 403)
        self._entry.sign_out(request)
        return JSONResponse({"done": True, "sentence": "Signed out."})

    def _page(self, name: str, status: int = 200, **values: Any) -> HTMLResponse:
        session: Session | None = values.get("session")
        text = self._templates.get_template(name).render(
            title=self._title, token=session.token if session else "", **values
        )
        return HTMLResponse(text, status, headers={"cache-control": "no-store"})


def application(live: Live, actions: Actions, entry: Entry, title: str = "fiftyover") -> Starlette:
    """The web application of one hub."""
    pages = Pages(live, actions, entry, title)

    routes = [
        Route("/", pages.now),
        Route("/live", pages.live),
        Route("/history", pages.history),
        Route("/mark", pages.mark, methods=["POST"]),
        Route("/sign-in", pages.sign_in_page),
        Route("/sign-in", pages.sign_in, methods=["POST"]),
        Route("/sign-out", pages.sign_out, methods=["POST"]),
        Mount("/static", StaticFiles(directory=HERE / "static")),
    ]
    return Starlette(routes=routes, middleware=[Middleware(Fence, entry=entry)])


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
        if not self._entry.host_allowed(Request(scope)):
            refusal = PlainTextResponse("This hub does not answer under that name.", 421)
            await refusal(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for key, value in HEADERS.items():
                    headers.setdefault(key, value)
            await send(message)

        await self._app(scope, receive, with_headers)


def _refused(sentence: str, status: int) -> JSONResponse:
    return JSONResponse({"done": False, "sentence": sentence}, status)


async def _json_body(request: Request) -> tuple[dict[str, Any], str]:
    """The body as a JSON object of plain values, or why not."""
    raw = b""
    async for chunk in request.stream():
        raw += chunk
        if len(raw) > BODY_MAX_BYTES:
            return {}, f"The request is over {BODY_MAX_BYTES} bytes."
    try:
        body = json.loads(raw, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        return {}, "The request is not JSON."
    if not isinstance(body, dict):
        return {}, "The request is not a JSON object."
    return body, ""


def _no_constant(text: str) -> float:
    raise ValueError(text)
