"""Several smokers at one hub: the page that lists them, and the way to each one's own pages."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.types import ASGIApp, Receive, Scope, Send

from .desk import Desk
from .entry import Entry
from .fence import RefusalError, may_change
from .live import Live
from .pages import Pages

Site = Callable[[str], ASGIApp]  # all pages of one smoker


class SmokerList:
    """`live` shows all smokers in short; `site` makes the pages of one when they are first asked for."""

    def __init__(self, live: Live, desks: Mapping[str, Desk], entry: Entry, site: Site) -> None:
        self._desks = desks
        self._entry = entry
        self._site = site
        self._made: dict[str, ASGIApp] = {}
        # Of one smoker's pages only the stream and the entrance are used here: they ask no desk for anything.
        self._pages = Pages(live, next(iter(desks.values())), entry)

    def routes(self) -> list[BaseRoute]:
        """Where each lives."""
        return [
            Route("/", self.list),
            Route("/live", self._pages.live),
            Route("/heard", self.heard, methods=["POST"]),
            *self._pages.entrance(),
            Mount("/smokers/{smoker}", app=self.one),
        ]

    async def list(self, request: Request) -> Response:
        """All smokers, those that need a person first."""
        return await self._pages.tab(request, "smokers.html", "/")

    async def heard(self, request: Request) -> Response:
        """Somebody at the list heard what is urgent, at whichever smoker."""
        may_change(self._entry, request, cook=False)
        for desk in self._desks.values():
            await run_in_threadpool(desk.heard, None)
        return JSONResponse({"done": True, "sentence": "Heard."})

    async def one(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand a request to the pages of the smoker that it names."""
        name = scope["path_params"]["smoker"]
        if name not in self._desks:
            raise RefusalError("There is no smoker of that name at this hub.", 404)
        if name not in self._made:
            self._made[name] = self._site(name)
        await self._made[name](scope, receive, send)
