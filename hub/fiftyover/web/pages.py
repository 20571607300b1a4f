"""The Now page, what it asks for, and the sign-in. Everything goes through the `Desk`; nothing is decided here."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, select_autoescape
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import BaseRoute, Route

from .desk import Desk
from .entry import COOKIE, SESSION_S, Entry, Session
from .fence import BODY_MAX_BYTES, RefusalError, json_body, may_change, signed_in
from .live import Live
from .words import MARKS, PAGE, TABS, WATCHER_MARKS

HERE = Path(__file__).parent
POINTS = (10, 400, 2000)  # rows of a chart: least, usual, most


class Pages:
    """The handlers, with what they need."""

    def __init__(self, live: Live, desk: Desk, entry: Entry, smoker: str = "") -> None:
        """`smoker`: whose pages these are, where there are several; they then lie under a path of their own."""
        self._live = live
        self._desk = desk
        self._entry = entry
        self._smoker = smoker
        self._root = f"/smokers/{smoker}" if smoker else ""
        self._templates = templates()

    def routes(self) -> list[BaseRoute]:
        """Where each lives."""
        return [
            Route("/", self.now),
            Route("/live", self.live),
            Route("/history", self.history),
            Route("/mark", self.mark, methods=["POST"]),
            *self.entrance(),
        ]

    def entrance(self) -> list[BaseRoute]:
        """Where one signs in and out."""
        return [
            Route("/sign-in", self.sign_in_page),
            Route("/sign-in", self.sign_in, methods=["POST"]),
            Route("/sign-out", self.sign_out, methods=["POST"]),
        ]

    async def now(self, request: Request) -> Response:
        """The page one looks at."""
        return await self.tab(request, "now.html", "/")

    async def live(self, request: Request) -> Response:
        """Server-sent events of the snapshot."""
        signed_in(self._entry, request)
        headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
        return StreamingResponse(self._live.stream(), media_type="text/event-stream", headers=headers)

    async def history(self, request: Request) -> Response:
        """The curves so far."""
        signed_in(self._entry, request)
        return JSONResponse(await run_in_threadpool(self._desk.history, points_asked(request)))

    async def mark(self, request: Request) -> Response:
        """A mark by the person: pulled, a hand reading, stop, resume, undo."""
        session = may_change(self._entry, request, cook=False)
        body = await json_body(request)
        kind = body.pop("kind", None)
        if not isinstance(kind, str) or kind not in MARKS:
            raise RefusalError(f"There is no mark called {kind!r:.40}.", 400)
        if kind not in WATCHER_MARKS:
            may_change(self._entry, request)
        done, sentence = await run_in_threadpool(self._desk.mark, kind, body, session.name)
        return JSONResponse({"done": done, "sentence": sentence}, 200 if done else 409)

    async def sign_in_page(self, request: Request) -> Response:
        """Name and code."""
        if self._entry.check_code is None or self._entry.session(request):
            return RedirectResponse("/", 303)
        return self._page("sign_in.html", sentence="")

    async def sign_in(self, request: Request) -> Response:
        """Check name and code; wrong ones are slowed down."""
        if not self._entry.origin_allowed(request):
            raise RefusalError("This request did not come from the hub's own page. Load the page again.", 403)
        address = request.client.host if request.client else ""
        wait_s = self._entry.wait_s(address)
        if wait_s > 0:
            return self._page("sign_in.html", 429, sentence=f"Too many tries. Wait {wait_s:.0f} s and try again.")
        if int(request.headers.get("content-length", "0") or 0) > BODY_MAX_BYTES:
            raise RefusalError("Name or code is too long: type them as they were printed.", 413)
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
        may_change(self._entry, request, cook=False)
        await run_in_threadpool(self._entry.sign_out, request)
        return JSONResponse({"done": True, "sentence": "Signed out."})

    async def tab(self, request: Request, name: str, tab: str, found: Callable[[], dict[str, Any]] = dict) -> Response:
        """One of the pages under the tabs, for who is signed in; the others are sent to the sign-in."""
        session = self._entry.session(request)
        if session is None:
            return RedirectResponse("/sign-in", 303)
        _, snapshot = self._live.latest()
        values = await run_in_threadpool(found)
        return self._page(name, session=session, tab=tab, snapshot=snapshot, **values)

    def plain(self, name: str, **values: Any) -> Response:
        """A page outside the tabs."""
        return self._page(name, **values)

    def _page(self, name: str, status: int = 200, **values: Any) -> HTMLResponse:
        session: Session | None = values.get("session")
        text = self._templates.get_template(name).render(
            token=session.token if session else "",
            signed_in=self._entry.check_code is not None,
            tabs=TABS,
            root=self._root,
            smoker=self._smoker,
            words=PAGE,
            **values,
        )
        return HTMLResponse(text, status, headers={"cache-control": "no-store"})


@cache
def templates() -> Environment:
    """The pages' templates, read once."""
    loader = FileSystemLoader(HERE / "templates")
    made = Environment(loader=loader, autoescape=select_autoescape(), trim_blocks=True)
    made.filters["safe_json"] = lambda text: Markup(text.replace("<", "\\u003c"))  # noqa: S704 - escaped
    return made


def points_asked(request: Request) -> int:
    """How many rows of a chart the page asks for, within bounds."""
    least, usual, most = POINTS
    asked = request.query_params.get("points", "")
    return min(most, max(least, int(asked))) if asked.isascii() and asked.isdecimal() and len(asked) < 9 else usual
