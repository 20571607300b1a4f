"""The web application of one hub: its pages behind the fence."""

from __future__ import annotations

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from .api import Api
from .desk import Desk
from .entry import Entry
from .fence import Fence, RefusalError, refused
from .live import Live
from .pages import HERE, Pages
from .planning import Planning
from .rooms import Rooms

GZIP_FROM_BYTES = 1000


def application(live: Live, desk: Desk, entry: Entry) -> Starlette:
    """Everything that a browser or a program can ask for."""
    pages = Pages(live, desk, entry)
    static = Mount("/static", StaticFiles(directory=HERE / "static"))
    return Starlette(
        routes=[
            *pages.routes(),
            *Rooms(pages, desk, entry).routes(),
            *Planning(pages, desk, entry).routes(),
            *Api(live, desk, entry).routes(),
            static,
        ],
        middleware=[Middleware(Fence, entry=entry), Middleware(GZipMiddleware, minimum_size=GZIP_FROM_BYTES)],
        exception_handlers={RefusalError: refused},
    )
