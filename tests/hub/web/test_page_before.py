"""A batch before it hangs, in a real browser: begun on the plan page, marked on the way, hung with the same plan."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from fiftyover.batch import day
from hub.web.smokehouse import Smokehouse

AXE = "axe.run().then(r => r.violations.map(v => [v.id, v.nodes.map(n => n.html + n.failureSummary)]))"


@pytest.fixture
def begun(smokehouse: Callable[..., Smokehouse], tab: Callable[..., Any]) -> tuple[Smokehouse, Any]:
    house = smokehouse()
    house.frame([15.0, 8.0, 8.0], why="off")
    page = tab(house.address + "plan", allow="409")
    page.wait_for_selector("#blocks table")
    page.click("#begin")
    page.click("dialog >> text=Yes, begin")
    page.wait_for_selector("#coming >> text=Pork and beef with garlic and mustard seed")
    return house, page


def test_batch_goes_from_the_bowl_to_the_smoker_on_the_page(begun: tuple[Smokehouse, Any]) -> None:
    house, page = begun
    page.click("#coming >> text=It is mixed")
    page.click("dialog >> text=Not measured")
    page.click("#coming >> text=It is stuffed")
    page.click("dialog >> text=Type in what the thermometer shows")
    page.fill("dialog input", "55")
    page.click("dialog >> text=Enter")
    page.wait_for_selector("#coming >> text=Warm-up clock since stuffing: 0:00 of 6:00")
    page.click("#coming >> text=It is in the refrigerator")
    page.wait_for_selector("#coming >> text=/Cure hold: 1[34]:\\d\\d left/")
    page.click("#coming >> text=Undo: into the refrigerator")
    page.wait_for_selector("#coming >> text=It is in the refrigerator")
    page.click("#coming >> text=It is in the refrigerator")
    page.click("#coming >> text=The chubs hang")
    page.click("dialog >> text=Yes, they hang")
    page.wait_for_selector("#coming-box", state="hidden")
    batch = house.hub.state.plan.batch_id  # type: ignore[union-attr]
    kinds = [event.kind for event in house.store.reader.events(batch)]
    assert kinds.count(day.STUFFED) == 1
    assert kinds[-1] == "hung"
    assert house.hub.today.stuffed_degC == pytest.approx(12.78)


def test_batch_on_its_way_stands_beside_the_one_that_hangs_and_is_readable(
    tab: Callable[..., Any], begun: tuple[Smokehouse, Any], axe: str
) -> None:
    house, page = begun
    house.hang()
    house.frame([60.0, 20.0, 20.0, 20.0, 20.0, 20.0])
    page.reload()
    page.wait_for_selector("#coming >> text=It is mixed")
    assert page.locator("#rack").is_visible()
    page.evaluate(axe)
    assert page.evaluate(AXE) == []
    phone = tab(house.address, width=390)
    phone.wait_for_selector("#coming >> text=It is mixed")
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
