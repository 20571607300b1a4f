"""A browser for the tests of the page: Debian's Chromium through Playwright, one a module, a fresh context a test."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from hub.web.smokehouse import Smokehouse

CHROMIUM = "/usr/bin/chromium"


@pytest.fixture(scope="module")  # while Playwright runs, its event loop keeps every other out of this thread
def chromium() -> Iterator[Any]:
    """The running browser."""
    found = CHROMIUM if Path(CHROMIUM).exists() else shutil.which("chromium")
    if found is None:
        if os.environ.get("CI") == "true":
            pytest.fail("Chromium is not installed: tests/run installs it as root.")
        pytest.skip("Chromium is not installed (apt-get install chromium)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """The accessibility rules, as a script."""
    return (resources.files("axe_playwright_python") / "axe.min.js").read_text("utf-8")


@pytest.fixture
def tab(chromium: Any) -> Iterator[Callable[..., Any]]:
    """Open pages; an error or a warning in a page's script, or a refused load, fails the test."""
    wrong: list[str] = []
    contexts: list[Any] = []

    def open_tab(address: str = "", width: int = 1440, scheme: str = "light", allow: str = "", **more: Any) -> Any:
        context = chromium.new_context(
            viewport={"width": width, "height": 800 if width < 600 else 900},
            color_scheme=scheme,
            timezone_id="America/Chicago",
            locale="en-US",
            has_touch=width < 600,
            **more,
        )
        contexts.append(context)
        context.set_default_timeout(4000)
        page = context.new_page()
        page.on("pageerror", lambda fault: wrong.append(str(fault)))
        page.on("console", lambda m: wrong.append(m.text) if m.type in ("error", "warning") and not _let(m.text) else 0)

        def _let(text: str) -> bool:
            return bool(allow) and any(part in text for part in allow.split("|"))

        if address:
            page.goto(address)
        return page

    yield open_tab
    for context in contexts:
        context.close()
    assert wrong == []


@pytest.fixture
def smokehouse(tmp_path: Path) -> Iterator[Callable[..., Smokehouse]]:
    """Make hubs; each is closed at the end, unless the test did."""
    made: list[Smokehouse] = []

    def make(**options: Any) -> Smokehouse:
        made.append(Smokehouse(options.pop("folder", tmp_path), **options))
        return made[-1]

    yield make
    for one in made:
        one.close()


@pytest.fixture(scope="module")
def cooking(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Smokehouse]:
    """One batch three hours on, for tests that only look."""
    one = Smokehouse(tmp_path_factory.mktemp("cooking"))
    one.hang()
    one.cook(3.0)
    yield one
    one.close()
