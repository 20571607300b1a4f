"""The HTTP API under /api/v1: what the pages show as data, the person's marks, and the document that describes both.

The table of operations is the one source of routes and document. Answers pass through their model, so that nothing
leaves the hub that the document does not name.
"""

from __future__ import annotations

import json
from typing import Any, TypeVar

from pydantic import BaseModel, TypeAdapter, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import BaseRoute, Route

from . import api_model as m
from .desk import Desk
from .entry import Entry, Session
from .fence import BODY_MAX_BYTES, RefusalError, json_body, may_change, signed_in
from .live import Live
from .openapi import STREAM, Handler, Operation, document
from .planning import FORM_MAX_BYTES
from .words import WATCHER_MARKS

T = TypeVar("T", bound=BaseModel)
BATCH = {"batch": "The id of a batch, from the list of batches."}


class Api:
    """The handlers, with what they need."""

    def __init__(self, live: Live, desk: Desk, entry: Entry) -> None:
        self._live = live
        self._desk = desk
        self._entry = entry
        self.operations = self._operations()
        self._document = json.dumps(document(self.operations)).encode()

    def routes(self) -> list[BaseRoute]:
        """Where each lives."""
        by_path: dict[str, dict[str, Handler]] = {}
        for one in self.operations:
            by_path.setdefault(one.path, {})[one.method] = one.handler
        # One route a path, so that a method that is not there is told all that are (RFC 9110, Allow).
        told = [Route(path, _by_method(handlers), methods=list(handlers)) for path, handlers in by_path.items()]
        return [Route("/api/openapi.json", self.openapi), *told]

    def _operations(self) -> list[Operation]:
        return [
            Operation("GET", "/api/v1/now", self.now, "What goes on now.", "now", m.Now),
            Operation(
                "GET", "/api/v1/events", self.events, "The same, whenever it changes.", "now", m.Now, media=STREAM,
            ),
            Operation("GET", "/api/v1/kits", self.kits, "The kits that were heard.", "now", [m.Kit]),
            Operation(
                "POST", "/api/v1/marks", self.mark, "Make a mark: a cook any, a watcher the stop.", "now", m.Done,
                takes=m.MarkWish, refuses=(403, 409),
            ),
            Operation("GET", "/api/v1/batches", self.batches, "Batches, the newest first.", "record", [m.BatchLine]),
            Operation(
                "GET", "/api/v1/batches/{batch}", self.batch, "The record of a batch.", "record", m.Record,
                refuses=(404,), path_about=BATCH,
            ),
            Operation(
                "GET", "/api/v1/batches/{batch}/series", self.series, "The curves of a batch.", "record", m.Series,
                query=m.Points, refuses=(404,), path_about=BATCH,
            ),
            Operation("GET", "/api/v1/recipes", self.recipes, "Names of the shipped recipes.", "plan", [str]),
            Operation(
                "GET", "/api/v1/recipes/{name}", self.recipe, "A shipped recipe.", "plan", m.PlanWish,
                given_as="validation", refuses=(404,), path_about={"name": "From the list of recipes."},
            ),
            Operation(
                "POST", "/api/v1/plan", self.plan, "The batch sheet of a recipe; nothing is kept.", "plan", m.Sheet,
                takes=m.PlanWish, refuses=(403, 422),
            ),
            Operation("GET", "/api/v1/session", self.who, "Who is asking.", "session", m.Who),
            Operation(
                "POST", "/api/v1/session", self.sign_in, "Sign in.", "session", m.SignedIn, takes=m.SignIn,
                refuses=(403, 409, 429), open=True,
            ),
            Operation(
                "DELETE", "/api/v1/session", self.sign_out, "Sign out.", "session", m.Done, refuses=(403,),
            ),
        ]  # fmt: skip

    async def openapi(self, _: Request) -> Response:
        """The document; it holds nothing of this hub's own."""
        return Response(self._document, media_type="application/json")

    # -- now

    async def now(self, request: Request) -> Response:
        """The newest snapshot."""
        self._reads(request)
        return _given(m.Now, json.loads(self._live.latest()[1]))

    async def events(self, request: Request) -> Response:
        """Server-sent events of it, each through the model."""
        self._reads(request)
        headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
        return StreamingResponse(self._live.stream(_narrowed), media_type=STREAM, headers=headers)

    async def kits(self, request: Request) -> Response:
        """The kit of this hub, if one was heard or named."""
        self._reads(request)
        kit = await run_in_threadpool(self._desk.kit)
        return _given(list[m.Kit], [kit] if kit["id"] else [])

    async def mark(self, request: Request) -> Response:
        """A mark by the person."""
        session = self._changes(request)
        wish = _taken(m.MarkWish, await json_body(request))
        data = wish.model_dump(exclude_unset=True)
        kind = data.pop("kind")
        if kind not in WATCHER_MARKS:
            may_change(self._entry, request)
        done, sentence = await run_in_threadpool(self._desk.mark, kind, data, session.name)
        if not done:
            raise RefusalError(sentence, 409)
        return _given(m.Done, {"done": True, "sentence": sentence})

    # -- record

    async def batches(self, request: Request) -> Response:
        """The list."""
        self._reads(request)
        return _given(list[m.BatchLine], await run_in_threadpool(self._desk.batches))

    async def batch(self, request: Request) -> Response:
        """One record."""
        self._reads(request)
        file = await run_in_threadpool(self._desk.export, request.path_params["batch"], "json", "F-lb")
        if file is None:
            raise RefusalError("There is no such batch in the record.", 404)
        return _given(m.Record, json.loads(file[2]))

    async def series(self, request: Request) -> Response:
        """Its curves."""
        asked = self._reads(request, m.Points)
        batch_id = request.path_params["batch"]
        known = await run_in_threadpool(self._desk.batches)
        if batch_id not in [one["id"] for one in known]:
            raise RefusalError("There is no such batch in the record.", 404)
        return _given(m.Series, await run_in_threadpool(self._desk.past, batch_id, asked.points))

    # -- plan

    async def recipes(self, request: Request) -> Response:
        """Names."""
        self._reads(request)
        return JSONResponse(await run_in_threadpool(self._desk.recipes))

    async def recipe(self, request: Request) -> Response:
        """One, as `plan` takes it."""
        self._reads(request)
        told = await run_in_threadpool(self._desk.recipe, request.path_params["name"])
        if told is None:
            raise RefusalError("There is no such recipe.", 404)
        return JSONResponse(told)

    async def plan(self, request: Request) -> Response:
        """The sheet; `Desk.sheet` reads the recipe itself and says what is wrong with it in one sentence."""
        self._changes(request)
        told = await run_in_threadpool(self._desk.sheet, await json_body(request, FORM_MAX_BYTES), False)
        if "blocks" not in told:
            raise RefusalError(told["sentence"], 422)
        return _given(m.Sheet, told)

    # -- session

    async def who(self, request: Request) -> Response:
        """The session of this request. No other origin can read the answer, so that its token proves the origin."""
        session = signed_in(self._entry, request)
        _query(m.Nothing, request)
        return _given(m.Who, {"name": session.name, "role": session.role, "token": session.token}, secret=True)

    async def sign_in(self, request: Request) -> Response:
        """Name and code for a key; wrong ones are slowed down as at the page."""
        _query(m.Nothing, request)
        if not self._entry.origin_allowed(request):
            raise RefusalError("This request did not come from the hub's own page. Load the page again.", 403)
        wish = _taken(m.SignIn, await json_body(request, BODY_MAX_BYTES))
        if self._entry.check_code is None:
            raise RefusalError("There are no accounts yet: run `fiftyover setup` on the hub.", 409)
        address = request.client.host if request.client else ""
        wait_s = self._entry.wait_s(address)
        if wait_s > 0:
            raise RefusalError(f"Too many tries. Wait {wait_s:.0f} s and try again.", 429)
        key = await run_in_threadpool(self._entry.sign_in, wish.name, wish.code, address)
        session = None if key is None else self._entry.session_of(key)
        if key is None or session is None:
            raise RefusalError("Name and code do not fit.", 403)
        return _given(m.SignedIn, {"key": key, "name": session.name, "role": session.role}, secret=True)

    async def sign_out(self, request: Request) -> Response:
        """Forget this session."""
        self._changes(request)
        await run_in_threadpool(self._entry.sign_out, request)
        return _given(m.Done, {"done": True, "sentence": "Signed out."})

    # -- before each

    def _reads(self, request: Request, query: type[T] = m.Nothing) -> T:  # type: ignore[assignment]
        signed_in(self._entry, request)
        return _query(query, request)

    def _changes(self, request: Request) -> Session:
        session = may_change(self._entry, request, cook=False)
        _query(m.Nothing, request)
        return session


def _by_method(handlers: dict[str, Handler]) -> Handler:
    async def handle(request: Request) -> Response:
        return await handlers["GET" if request.method == "HEAD" else request.method](request)

    return handle


def _query(model: type[T], request: Request) -> T:
    found: dict[str, Any] = {}
    for key, value in request.query_params.multi_items():
        if key in found:
            raise RefusalError(f"{key} stands twice in the address.", 400)
        found[key] = value
    return _taken(model, found)


def _taken(model: type[T], data: dict[str, Any]) -> T:
    try:
        return model.model_validate(data)
    except ValidationError as fault:
        first = fault.errors(include_input=False, include_url=False)[0]
        where = ".".join(map(str, first["loc"])) or "The request"
        raise RefusalError(f"{where[:80]}: {first['msg']}.", 400) from None


def _given(model: Any, data: Any, secret: bool = False) -> Response:
    adapter: TypeAdapter[Any] = TypeAdapter(model)
    text = adapter.dump_json(adapter.validate_python(data))
    headers = {"cache-control": "no-store"} if secret else None
    return Response(text, media_type="application/json", headers=headers)


def _narrowed(text: str) -> str:
    return m.Now.model_validate_json(text).model_dump_json()
