"""The plan page in a real browser: the sheet while one types, what is wrong, the practice cook, the hanging."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hub.web.smokehouse import Smokehouse

OpenTab = Callable[..., Any]
Make = Callable[..., Smokehouse]
AXE = "axe.run().then(r => r.violations.map(v => [v.id, v.nodes.map(n => n.html + n.failureSummary)]))"


@pytest.fixture
def plan(smokehouse: Make, tab: OpenTab) -> tuple[Smokehouse, Any]:
    house = smokehouse()
    house.frame([15.0, 8.0, 8.0], why="off")
    page = tab(house.address + "plan", allow="409")
    page.wait_for_selector("#blocks table")
    return house, page


def test_amounts_follow_what_is_typed(plan: tuple[Smokehouse, Any]) -> None:
    _, page = plan
    page.fill("label:has-text('Salt in all') input", "2 %")
    page.wait_for_selector("#blocks >> text=salt in all 2.00%")
    page.fill("label:has-text('Nitrite wanted') input", "100 ppm")
    # Rounded down to the scale's step of 0.1 g, so never over what was asked for.
    page.wait_for_selector("#blocks >> text=/(99\\.\\d|100\\.0) ppm nitrite of the meat/")
    assert page.text_content("#wrong") == ""


def test_what_cannot_be_is_said_with_what_to_do_and_the_sheet_stays(plan: tuple[Smokehouse, Any]) -> None:
    _, page = plan
    page.fill("label:has-text('Nitrite wanted') input", "400 ppm")
    page.wait_for_selector("#wrong >> text=ppm")
    assert page.locator("#blocks table").count() > 3
    page.fill("label:has-text('Nitrite wanted') input", "156 ppm")
    page.wait_for_timeout(600)
    assert page.text_content("#wrong") == ""
    page.fill("fieldset:has-text('Meat') label:has-text('Fat') input >> nth=0", "much")
    page.wait_for_selector("#wrong >> text=must be a number with its unit")


def test_lines_are_added_and_taken_away(plan: tuple[Smokehouse, Any]) -> None:
    _, page = plan
    rows = page.locator("fieldset:has-text('Seasoning') .row").count()
    page.click("fieldset:has-text('Seasoning') >> text=One more")
    new = page.locator("fieldset:has-text('Seasoning') .row").nth(rows)
    new.locator("input").nth(0).fill("marjoram")
    new.locator("input").nth(1).fill("0.2 %")
    page.wait_for_selector("#blocks >> text=marjoram")
    new.locator("button").click()
    page.wait_for_selector("#blocks >> text=marjoram", state="detached")


def test_practice_cook_shows_how_far_it_is_then_hours_and_a_curve_with_their_spread(
    plan: tuple[Smokehouse, Any], axe: str
) -> None:
    _, page = plan
    page.click("#practice")
    page.wait_for_selector("#plan-said >> text=Cooking on the simulated smoker")
    page.wait_for_selector("#plan-said >> text=/: [1-9] of \\d cooks done/", timeout=150000)
    assert page.evaluate("document.querySelector('#plan-progress').position") > 0.0
    assert page.is_disabled("#practice")
    page.wait_for_selector(
        "#cooks >> text=/slim: likely \\d+:\\d\\d, between \\d+:\\d\\d and \\d+:\\d\\d/", timeout=150000
    )
    assert page.is_hidden("#plan-progress")
    assert "Not measured on yours." in page.text_content("#cooks")
    assert page.get_by_role("img", name="Line slim: the core climbs to the band in").count() == 1
    # The picture's last point of the likely core lies in the band that it draws.
    foot, top, core = page.evaluate(
        """() => { const band = document.querySelector(".likely .band");
        const points = document.querySelector(".likely-core").getAttribute("points").trim().split(" ").map(Number);
        const y = Number(band.getAttribute("y"));
        return [y + Number(band.getAttribute("height")), y, points[points.length - 1]]; }"""
    )
    assert top - 8.0 <= core <= foot + 8.0
    assert "°F" in page.text_content(".likely")
    page.select_option("#units", "C")
    assert "°C" in page.text_content(".likely")
    page.evaluate(axe)
    assert page.evaluate(AXE) == []


def test_sheet_is_taken_away_to_print(plan: tuple[Smokehouse, Any]) -> None:
    _, page = plan
    with page.expect_download() as taken:
        page.click("#print")
    text = Path(taken.value.path()).read_text("utf-8")
    assert "Pork and beef with garlic and mustard seed" in text


def test_chubs_of_the_plan_hang_after_one_question(plan: tuple[Smokehouse, Any]) -> None:
    house, page = plan
    page.click("#hang")
    page.click("#sheet >> text=Back")
    assert house.hub.state is None
    page.click("#hang")
    page.click("#sheet >> text=Yes, they hang")
    page.wait_for_selector("#rack .chub")
    assert house.hub.state.plan.name == "Pork and beef with garlic and mustard seed"
    assert page.text_content("#title") == house.hub.state.plan.name
    page.goto(house.address + "plan")
    page.wait_for_selector("#blocks table")
    page.click("#hang")
    page.click("#sheet >> text=Yes, they hang")
    page.wait_for_selector("#wrong >> text=is still in the smoker")


@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1440, "light")])
def test_plan_page_is_free_of_hurdles(smokehouse: Make, tab: OpenTab, axe: str, width: int, scheme: str) -> None:
    page = tab(smokehouse().address + "plan", width=width, scheme=scheme)
    page.wait_for_selector("#blocks table")
    page.evaluate(axe)
    assert page.evaluate(AXE) == []
    assert page.evaluate("document.scrollingElement.scrollWidth") <= width
