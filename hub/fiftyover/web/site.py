"""The web application of one hub: its pages behind the fence."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.routing import BaseRoute, Mount, Router
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from .api import Api
from .desk import Desk
from .entry import Entry
from .fence import Fence, RefusalError, refused
from .live import Live
from .pages import HERE, Pages
from .planning import Planning
from .rooms import Rooms
from .smoker_list import SmokerList

GZIP_FROM_BYTES = 1000


def application(live: Live, desk: Desk, entry: Entry) -> Starlette:
    """Everything that a browser or a program can ask for."""
    return _fenced(rooms(live, desk, entry), entry)


def several(live: Live, smokers: Mapping[str, tuple[Live, Desk]], entry: Entry) -> Starlette:
    """The same for several smokers: a list of them (`live`), and below each one's name all its pages."""

    def site(smoker: str) -> ASGIApp:
        return Router(rooms(*smokers[smoker], entry, smoker))

    return _fenced(SmokerList(live, {name: desk for name, (_, desk) in smokers.items()}, entry, site).routes(), entry)


def rooms(live: Live, desk: Desk, entry: Entry, smoker: str = "") -> list[BaseRoute]:
    """All that is one smoker's."""
    pages = Pages(live, desk, entry, smoker)
    return [
        *pages.routes(),
        *Rooms(pages, desk, entry).routes(),
        *Planning(pages, desk, entry).routes(),
        *Api(live, desk, entry).routes(),
    ]


def _fenced(routes: list[BaseRoute], entry: Entry) -> Starlette:
    return Starlette(
        routes=[*routes, Mount("/static", StaticFiles(directory=HERE / "static"))],
        middleware=[Middleware(Fence, entry=entry), Middleware(GZipMiddleware, minimum_size=GZIP_FROM_BYTES)],
        exception_handlers={RefusalError: refused},
    )
