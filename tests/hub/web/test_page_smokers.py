"""Several smokers in a real browser: the list of them, and each one's own pages below its name."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from fiftyover import settings
from fiftyover.app.serve import serving
from fiftyover.app.yard import Yard
from fiftyover.batch.plan import Chub, Plan

OpenTab = Callable[..., Any]
AXE = "axe.run().then(r => r.violations.map(v => [v.id, v.nodes.map(n => n.html + n.failureSummary)]))"
TOML = """
[store]
path = "record.sqlite"
[broker]
port = 0
child = true
[web]
port = 0
[kit]
smokers = ["kit-a", "kit-b"]
"""


@pytest.fixture
def club(tmp_path: Path) -> Iterator[tuple[Yard, str]]:
    (tmp_path / "hub.toml").write_text(TOML, "utf-8")
    with serving(settings.load(tmp_path / "hub.toml")) as (hub, page, _):
        assert isinstance(hub, Yard)
        until_s = time.monotonic() + 5.0
        while hub.taken_up < 2 and time.monotonic() < until_s:
            time.sleep(0.05)
        yield hub, page.address


def ready(page: Any) -> Any:
    page.wait_for_selector("html[data-ready]")
    return page


def test_the_list_leads_to_each_smokers_own_pages(club: tuple[Yard, str], tab: OpenTab, axe: str) -> None:
    hub, address = club
    hung = (Chub(1, "slim", 45.0, "left", 1),)
    hub.smokers["kit-b"].start_batch(Plan("7f2c0001", "Pork with mace", hung, 85.0))
    for width in (360, 1440):
        page = ready(tab(address, width=width))
        page.wait_for_selector("tr[data-smoker=kit-b]:has-text('Pork with mace')")
        assert page.locator("tr[data-smoker]").count() == 2
        page.evaluate(axe)
        assert page.evaluate(AXE) == []
        page.fill("#find", "mace")
        assert page.locator("tr[data-smoker]").count() == 1
    page.click("a[href='/smokers/kit-b/']")
    ready(page)
    assert page.url == f"{address}smokers/kit-b/"
    assert "Smoker kit-b" in page.inner_text("main")
    for name in ("Plan", "Batches", "Kit", "Settings"):
        page.click(f"nav a:has-text('{name}')")
        ready(page)
        assert page.url.startswith(f"{address}smokers/kit-b/"), name
        foreign = page.eval_on_selector_all("main a[href^='/']", "all => all.map(a => a.getAttribute('href'))")
        assert [href for href in foreign if not href.startswith("/smokers/kit-b/")] == [], name
    page.click("nav a:has-text('All smokers')")
    ready(page)
    assert page.url == address


def test_a_stop_pressed_at_one_smoker_is_that_ones(club: tuple[Yard, str], tab: OpenTab) -> None:
    hub, address = club
    hung = (Chub(1, "slim", 45.0, "left", 1),)
    for number, one in enumerate(hub.smokers.values()):
        one.start_batch(Plan(f"7f2c000{number}", "Pork with mace", hung, 85.0))
    page = ready(tab(f"{address}smokers/kit-a/"))
    page.evaluate(
        """async () => { const { ask } = await import('/static/ask.js'); await ask('/mark', { kind: 'stop-heat' }); }"""
    )
    stopped = {kit: one.state.book.stopped for kit, one in hub.smokers.items() if one.state is not None}
    assert stopped == {"kit-a": "person", "kit-b": None}


def test_an_unknown_smoker_is_said(club: tuple[Yard, str], tab: OpenTab) -> None:
    page = tab(f"{club[1]}smokers/kit-x/", allow="404")
    assert "There is no smoker of that name" in page.inner_text("body")
