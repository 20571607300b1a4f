"""The plan page: a recipe as a form, its sheet while one types, a practice cook, and the hanging."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from .desk import Desk
from .entry import Entry
from .fence import RefusalError, json_body, may_change, signed_in
from .pages import Pages
from .words import PLAN

FORM_MAX_BYTES = 32_768


class Planning:
    """The handlers, with what they need."""

    def __init__(self, pages: Pages, desk: Desk, entry: Entry) -> None:
        self._pages = pages
        self._desk = desk
        self._entry = entry

    def routes(self) -> list[BaseRoute]:
        """Where each lives."""
        return [
            Route("/plan", self.plan),
            Route("/plan/recipe/{name}", self.recipe),
            Route("/plan/sheet", self.sheet, methods=["POST"]),
            Route("/plan/practice", self.practice, methods=["POST"]),
            Route("/plan/practice/progress", self.progress),
            Route("/plan/page", self.page, methods=["POST"]),
            Route("/plan/begin", self.begin, methods=["POST"]),
            Route("/plan/hang", self.hang, methods=["POST"]),
        ]

    async def plan(self, request: Request) -> Response:
        """The form."""

        def found() -> dict[str, Any]:
            names = self._desk.recipes()
            first = self._desk.recipe(names[0]) if names else {}
            return {"recipes": names, "recipe": first, "schedules": self._desk.schedules(), "fields": PLAN}

        return await self._pages.tab(request, "plan.html", "/plan", found)

    async def recipe(self, request: Request) -> Response:
        """A shipped recipe."""
        signed_in(self._entry, request)
        told = await run_in_threadpool(self._desk.recipe, request.path_params["name"])
        if told is None:
            raise RefusalError("There is no such recipe.", 404)
        return JSONResponse(told)

    async def sheet(self, request: Request) -> Response:
        """The sheet of the form as it stands; nothing is kept, so a watcher may look too."""
        return await self._worked_out(request, False)

    async def practice(self, request: Request) -> Response:
        """The same after a practice cook."""
        return await self._worked_out(request, True)

    async def progress(self, request: Request) -> Response:
        """How far the practice cook is."""
        signed_in(self._entry, request)
        return JSONResponse(self._desk.practised())

    async def page(self, request: Request) -> Response:
        """The sheet as a page to print."""
        may_change(self._entry, request, cook=False)
        data = await json_body(request, FORM_MAX_BYTES)
        return JSONResponse(await run_in_threadpool(self._desk.sheet_page, data))

    async def begin(self, request: Request) -> Response:
        """Begin the batch in the bowl."""
        return await self._begun(request, self._desk.begin)

    async def hang(self, request: Request) -> Response:
        """Begin the batch in the smoker."""
        return await self._begun(request, self._desk.hang)

    async def _begun(self, request: Request, begin: Callable[[dict[str, Any]], tuple[bool, str]]) -> Response:
        may_change(self._entry, request)
        data = await json_body(request, FORM_MAX_BYTES)
        done, sentence = await run_in_threadpool(begin, data)
        return JSONResponse({"done": done, "sentence": sentence}, 200 if done else 409)

    async def _worked_out(self, request: Request, practice: bool) -> Response:
        may_change(self._entry, request, cook=practice)
        data = await json_body(request, FORM_MAX_BYTES)
        return JSONResponse(await run_in_threadpool(self._desk.sheet, data, practice))
