"""The OpenAPI 3.1 document, made from the operations (which are also the routes) and the models they name."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaMode, models_json_schema
from starlette.requests import Request
from starlette.responses import Response

from . import api_model as m

Handler = Callable[[Request], Awaitable[Response]]
VERSION = "1.0"  # of the API; which version of the hub answers is nobody's business before the sign-in
JSON, STREAM = "application/json", "text/event-stream"
REFUSALS = {
    400: "What was sent cannot be used.",
    401: "Nobody is signed in.",
    403: "Not for this role, or the request did not prove that it is meant.",
    404: "It is not there.",
    409: "It does not fit what is going on, or there are no accounts yet.",
    422: "It can be read, but not be made: the sentence says why.",
    429: "Too many tries: wait.",
}
TAGS = {
    "now": "What goes on now.",
    "record": "Batches, finished or running.",
    "plan": "Recipes and batch sheets. Nothing is kept.",
    "session": "Signing in and out.",
}
ABOUT = """\
Reads of everything that the pages show, and the person's marks. Sign in with `POST /api/v1/session` and send the key as
`Authorization: Bearer <key>`, or use the browser's own session with the token of `GET /api/v1/session`. Until
`fiftyover setup` ran there are no accounts and the hub answers on its own machine only. No call of this API gives heat
with a lifetime: permits come from the hub's own decisions alone. A hub answers only under names it was told it has
(else 421)."""


@dataclass(frozen=True)
class Operation:
    """One method of one path: its handler and everything that the document says of it."""

    method: str
    path: str
    handler: Handler
    summary: str
    tag: str
    gives: Any  # a model, or a list of one, or [str]
    given_as: JsonSchemaMode = "serialization"  # "validation": what is given is what another operation takes
    takes: type[BaseModel] | None = None
    query: type[BaseModel] = m.Nothing
    refuses: tuple[int, ...] = ()
    open: bool = False  # True: no sign-in
    media: str = JSON
    path_about: dict[str, str] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Unique within the document."""
        words = re.sub(r"[{}]", "", self.path.removeprefix("/api/v1/")).replace("/", "-")
        return f"{self.method.lower()}-{words}"

    @property
    def model(self) -> type[BaseModel] | None:
        """The model that is given, without its list; None for a list of texts."""
        found = self.gives[0] if isinstance(self.gives, list) else self.gives
        return found if issubclass(found, BaseModel) else None


class _Schema(GenerateJsonSchema):
    """Defaults are left out: those of a recipe are figures in our units, what is written is a text with its own."""

    def default_schema(self, schema: Any) -> Any:
        """The schema without its default."""
        return self.generate_inner(schema["schema"])


def document(operations: Sequence[Operation]) -> dict[str, Any]:
    """The whole document, JSON-able."""
    pairs: list[tuple[type[BaseModel], JsonSchemaMode]] = [(m.Refusal, "serialization")]
    for one in operations:
        pairs += [(one.model, one.given_as)] if one.model else []
        pairs += [(one.takes, "validation")] if one.takes else []
    refs, defined = models_json_schema(
        list(dict.fromkeys(pairs)), ref_template="#/components/schemas/{model}", schema_generator=_Schema
    )
    paths: dict[str, dict[str, Any]] = {}
    for one in operations:
        paths.setdefault(one.path, {})[one.method.lower()] = _operation(one, refs)
    return {
        "openapi": "3.1.0",
        "info": {"title": "fiftyover hub", "version": VERSION, "description": ABOUT, "license": {"name": "MIT"}},
        "servers": [{"url": "/"}],
        "tags": [{"name": name, "description": text} for name, text in TAGS.items()],
        "paths": paths,
        "components": {
            "schemas": defined["$defs"],
            "securitySchemes": {
                "key": {"type": "http", "scheme": "bearer", "description": "The key of `POST /api/v1/session`."}
            },
        },
    }


def _operation(one: Operation, refs: Any) -> dict[str, Any]:
    told: dict[str, Any] = {"operationId": one.name, "summary": one.summary, "tags": [one.tag]}
    told["security"] = [] if one.open else [{"key": []}]
    parameters = [*_path_parameters(one), *_query_parameters(one)]
    if parameters:
        told["parameters"] = parameters
    if one.takes is not None:
        told["requestBody"] = {"required": True, "content": {JSON: {"schema": refs[one.takes, "validation"]}}}
    told["responses"] = {"200": _answer(one, refs)}
    statuses = {400, *one.refuses} | (set() if one.open else {401})
    for status in sorted(statuses):
        content = {JSON: {"schema": refs[m.Refusal, "serialization"]}}
        told["responses"][str(status)] = {"description": REFUSALS[status], "content": content}
    return told


def _answer(one: Operation, refs: Any) -> dict[str, Any]:
    schema = {"type": "string"} if one.model is None else refs[one.model, one.given_as]
    if one.media == STREAM:
        about = "Server-sent events (WHATWG HTML): each has `id`, a number that grows, and `data`, one line of JSON."
        return {"description": about, "content": {STREAM: {"schema": {"type": "string"}, "x-event-data": schema}}}
    if isinstance(one.gives, list):
        schema = {"type": "array", "items": schema}
    return {"description": one.summary, "content": {JSON: {"schema": schema}}}


def _path_parameters(one: Operation) -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            "in": "path",
            "required": True,
            "description": one.path_about.get(name, name),
            "schema": {"type": "string", "minLength": 1, "maxLength": 80},
        }
        for name in re.findall(r"{(\w+)}", one.path)
    ]


def _query_parameters(one: Operation) -> list[dict[str, Any]]:
    schema = one.query.model_json_schema()
    return [
        {"name": name, "in": "query", "required": False, "description": one.query.__doc__, "schema": told}
        for name, told in schema.get("properties", {}).items()
    ]
