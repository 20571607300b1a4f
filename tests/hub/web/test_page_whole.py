"""A whole batch in a real browser, from the code that `setup` prints to the closed record, with the hub restarted."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fiftyover.alerts.delivery import NOT_HEARD
from fiftyover.broker import people
from fiftyover.broker.setup import Wish, set_up
from hub.web.smokehouse import KIT, Smokehouse

OpenTab = Callable[..., Any]
Make = Callable[..., Smokehouse]


def press(page: Any, what: str) -> None:
    """Press a button once it has been there for a moment, as a person would."""
    page.wait_for_selector(what)
    page.wait_for_timeout(720)
    page.click(what)


def sign_in(page: Any, name: str, code: str) -> Any:
    page.fill("[name=name]", name)
    page.fill("[name=code]", code)
    page.click("button")
    page.wait_for_selector("html[data-ready]")
    return page


def plan_and_hang(page: Any) -> None:
    """Three slim chubs with two probes, after the sheet was read."""
    page.click("nav >> text=Plan")
    page.wait_for_selector("#blocks table")
    for place, weight in ((0, "2 lb"), (1, "1 lb")):
        page.locator("fieldset:has-text('Meat') label:has-text('Weight') input").nth(place).fill(weight)
    page.fill("label:has-text('Chubs') input", "3")
    page.wait_for_selector("#blocks >> text=/3(\\.0)? lb/")
    page.click("#hang")
    page.click("#sheet >> text=Yes, they hang")
    page.wait_for_selector("#rack .chub")


def answered_from_the_phone(house: Smokehouse, page: Any, tab: OpenTab) -> None:
    """The test goes out as the chubs hang; until the phone answers, without a sign-in, the page says so."""
    house.delivery.step()
    house.delivery.step()
    house.show()
    page.wait_for_selector(f"#alarms-rest >> text={NOT_HEARD[:35]}")
    link = house.messages[0][2].split(": ")[-1]
    phone = tab(link, width=360, allow="403")
    phone.click("text=I heard it")
    assert "Heard." in phone.text_content("main")
    house.show()
    page.wait_for_selector("#alarms-rest p", state="detached")
    assert house.hub.state.book.phone == "heard"
    phone.goto(link)
    phone.click("text=I heard it")  # the link serves once
    assert "This alarm test is over" in phone.text_content("main")


def after_the_cook(page: Any) -> None:
    press(page, "#do >> text=They are in the ice")
    press(page, "#do >> text=They are out of the ice")
    press(page, "#do >> text=Type in the second thermometer")
    page.click("#sheet >> text=Chub 2")
    page.fill("#typed", "40.0")
    page.click("#sheet >> text=Enter")
    press(page, "#do >> text=They have bloomed")
    press(page, "#do >> text=They are in the refrigerator")
    press(page, "#do >> text=Type in the cooked weight")
    page.fill("#typed", "7")
    page.click("#sheet >> text=Enter")
    press(page, "#do >> text=They are packed")
    press(page, "#do >> text=Close the batch")
    page.wait_for_selector("#next >> text=The batch is closed.")


def test_whole_batch_from_the_printed_code_to_the_closed_record(smokehouse: Make, tab: OpenTab, tmp_path: Path) -> None:
    printed = "\n".join(set_up(Wish(tmp_path, kits=(KIT,), open_to_house=False)))
    code = re.search(r"shown this once:\s+(\S+)", printed)[1]  # type: ignore[index]
    check = people.checker(tmp_path / "people.json")
    house = smokehouse(accounts=check)
    house.frame([15.0, 8.0, 8.0], why="off")
    house.desk.choose({"to": "first", "add": "json://phone.home/smoker"})
    page = sign_in(tab(house.address, width=360, allow="ERR_|Failed to load"), "cook", code)
    plan_and_hang(page)
    answered_from_the_phone(house, page, tab)
    house.cook(0.5, channels=3)
    house.close()  # the hub goes away while the page is open, and comes back
    page.wait_for_selector("#link.bad", timeout=15000)
    house = smokehouse(accounts=check, clock=house.clock, port=house.page.port)
    house.cook(0.75, from_hours=0.5, channels=3)
    house.delivery.step()
    assert house.messages == []  # neither the test nor anything else is told again
    page.wait_for_selector("#link >> text=heard", timeout=15000)
    house.call(1)
    house.delivery.step()
    assert house.messages[0][2] == "Pull chub 1 now."
    press(page, "#do >> text=Chub 1 is out")
    page.click("#sheet >> text=Into chub 2")
    page.wait_for_selector("#said >> text=Pulled.")
    assert house.hub.state.book.chub_of == {1: 2, 2: 3}  # the sheet put probes into 1 and 3
    for chub in (3, 2):
        house.call(chub)
        press(page, f"#do >> text=Chub {chub} is out")
        page.click("#sheet >> text=Stays in")
        page.wait_for_selector(f"#undo >> text=Undo: chub {chub} is out")
    house.hub.write()
    after_the_cook(page)
    page.click("nav >> text=Batches")
    page.wait_for_selector("tbody tr")
    assert page.locator("tbody tr").all_text_contents()[0].endswith("closed")
    page.click("tbody a")
    page.wait_for_selector("#chart canvas")
    batch = house.hub.state.plan.batch_id
    told = json.loads(house.desk.export(batch, "json", "F-lb")[2])
    assert told["closed"] is True
    assert told["weights"]["cooked_kg"] == pytest.approx(7 * 0.45359237)
    assert told["second_reading"]["chub"] == 2
    gaps = page.evaluate(f"fetch('/batches/{batch}/history?points=600').then(a => a.json())")["t"]
    assert max(b - a for a, b in zip(gaps, gaps[1:], strict=False)) <= 15


def test_unheard_phone_holds_the_batch_and_one_tap_says_that_somebody_stays(smokehouse: Make, tab: OpenTab) -> None:
    house = smokehouse()
    page = tab(house.address, width=360)
    house.hang()
    house.delivery.step()
    house.show()
    house.delivery.step()  # nobody's phone is named
    house.show()
    page.wait_for_selector("#alarms-rest >> text=Nobody's phone is told of alarms: add an address under Settings")
    house.cook(0.75, step_s=10.0)
    page.wait_for_selector("#alarms-act >> text=Held at 147 °F: the phone has not been heard")
    assert house.hub.state.why == "unattended"
    press(page, "#do >> text=I stay with the smoker")
    page.wait_for_selector("#said >> text=for half an hour the smoker counts on you")
    house.cook(0.76, from_hours=0.75)
    page.wait_for_selector("#alarms-act p", state="detached")
    assert house.hub.state.why != "unattended"
