"""The pages beside Now: batches, the kit, settings, and the link that answers an alarm test."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import BaseRoute, Route

from .desk import Desk
from .entry import Entry
from .fence import RefusalError, json_body, may_change, signed_in
from .pages import Pages, points_asked

FORMS = ("json", "csv", "label")


class Rooms:
    """The handlers, with what they need."""

    def __init__(self, pages: Pages, desk: Desk, entry: Entry) -> None:
        self._pages = pages
        self._desk = desk
        self._entry = entry

    def routes(self) -> list[BaseRoute]:
        """Where each lives."""
        return [
            Route("/batches", self.batches),
            Route("/batches/compare", self.compare),
            Route("/batches/{batch}", self.batch),
            Route("/batches/{batch}/history", self.past),
            Route("/batches/{batch}/{form}", self.export),
            Route("/kit", self.kit),
            Route("/kit/now", self.kit_now),
            Route("/kit/calibration", self.calibration, methods=["POST"]),
            Route("/clocks", self.clocks),
            Route("/settings", self.settings),
            Route("/settings/contacts", self.contacts, methods=["POST"]),
            Route("/settings/people", self.people, methods=["POST"]),
            Route("/settings/alarm-test", self.alarm_test, methods=["POST"]),
            Route("/heard", self.heard, methods=["POST"]),
            Route("/heard/{code}", self.heard_page),
            Route("/heard/{code}", self.heard_by_link, methods=["POST"]),
        ]

    async def batches(self, request: Request) -> Response:
        """All batches of the record."""
        return await self._pages.tab(request, "batches.html", "/batches", lambda: {"batches": self._desk.batches()})

    async def batch(self, request: Request) -> Response:
        """One batch's record."""
        batch_id, units = request.path_params["batch"], _units(request)

        def found() -> dict[str, Any]:
            told = self._desk.batch(batch_id, units)
            if told is None:
                raise RefusalError("There is no such batch in the record.", 404)
            others = [one for one in self._desk.batches() if one["id"] != batch_id]
            return {"batch": told, "others": others, "units": units}

        return await self._pages.tab(request, "batch.html", "/batches", found)

    async def compare(self, request: Request) -> Response:
        """Two batches side by side."""
        first, second = request.query_params.get("first", ""), request.query_params.get("second", "")

        def found() -> dict[str, Any]:
            told = self._desk.compared(first, second, _units(request))
            if told is None:
                raise RefusalError("One of the two batches is not in the record: choose both under Batches.", 404)
            return {"told": told, "first": first, "second": second}

        return await self._pages.tab(request, "compare.html", "/batches", found)

    async def past(self, request: Request) -> Response:
        """The curves of one batch."""
        signed_in(self._entry, request)
        points = points_asked(request)
        return JSONResponse(await run_in_threadpool(self._desk.past, request.path_params["batch"], points))

    async def export(self, request: Request) -> Response:
        """A file of one batch, to be saved."""
        signed_in(self._entry, request)
        form = request.path_params["form"]
        file = None
        if form in FORMS:
            file = await run_in_threadpool(self._desk.export, request.path_params["batch"], form, _units(request))
        if file is None:
            raise RefusalError("There is no such file of that batch.", 404)
        name, media, text = file
        return PlainTextResponse(
            text, media_type=media, headers={"content-disposition": f'attachment; filename="{name}"'}
        )

    async def kit(self, request: Request) -> Response:
        """The kit."""
        return await self._pages.tab(request, "kit.html", "/kit", lambda: {"kit": self._desk.kit()})

    async def kit_now(self, request: Request) -> Response:
        """The same as data."""
        signed_in(self._entry, request)
        return JSONResponse(await run_in_threadpool(self._desk.kit))

    async def calibration(self, request: Request) -> Response:
        """A probe's kind, and its two baths."""
        return await self._changed(request, self._desk.calibrate)

    async def clocks(self, request: Request) -> Response:
        """Cooling and hold clocks, and the marks that belong to them."""
        signed_in(self._entry, request)
        return JSONResponse(await run_in_threadpool(self._desk.clocks))

    async def settings(self, request: Request) -> Response:
        """Who is told, who may come in."""
        return await self._pages.tab(request, "settings.html", "/settings", lambda: {"told": self._desk.settings()})

    async def contacts(self, request: Request) -> Response:
        """Change who is told."""
        return await self._changed(request, self._desk.choose)

    async def people(self, request: Request) -> Response:
        """Add or remove a person."""
        return await self._changed(request, self._desk.account)

    async def alarm_test(self, request: Request) -> Response:
        """Send the alarm test."""
        return await self._changed(request, lambda _: self._desk.try_alarm())

    async def heard(self, request: Request) -> Response:
        """Somebody at a page heard the alarm; a watcher may say so too."""
        may_change(self._entry, request, cook=False)
        await run_in_threadpool(self._desk.heard, None)
        return JSONResponse({"done": True, "sentence": "Heard."})

    async def heard_page(self, request: Request) -> Response:
        """What the alarm test's link opens: one button. Its code lets in, so that no sign-in is needed."""
        return self._pages.plain("heard.html", done=False, code=request.path_params["code"])

    async def heard_by_link(self, request: Request) -> Response:
        """The button of that page."""
        if not self._entry.origin_allowed(request):
            raise RefusalError("This request did not come from the hub's own page. Load the page again.", 403)
        if not await run_in_threadpool(self._desk.heard, request.path_params["code"]):
            raise RefusalError("This alarm test is over: answer the newest one, or send another under Settings.", 403)
        return self._pages.plain("heard.html", done=True)

    async def _changed(self, request: Request, change: Callable[[dict[str, Any]], tuple[bool, str]]) -> Response:
        may_change(self._entry, request)
        done, sentence = await run_in_threadpool(change, await json_body(request))
        return JSONResponse({"done": done, "sentence": sentence}, 200 if done else 409)


def _units(request: Request) -> str:
    """The units of this browser, as the page's address says them."""
    return "C-kg" if request.query_params.get("units") == "C" else "F-lb"
