"""The Now page in a real browser: what it shows, what one can do on it, and how it looks after itself."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from typing import Any

import pytest

from hub.web.smokehouse import Smokehouse

OpenTab = Callable[..., Any]
Make = Callable[..., Smokehouse]
LOOKS = [(360, "light"), (360, "dark"), (1440, "light"), (1440, "dark")]


@pytest.fixture
def called(smokehouse: Make) -> Smokehouse:
    """An hour in the smoker; chub 1 is called, chub 6 has no probe."""
    one = smokehouse()
    one.hang()
    one.cook(1.0, step_s=10.0)
    one.call(1)
    return one


def settled(page: Any) -> Any:
    """The page once it has drawn rack and curves and its buttons can be pressed."""
    page.wait_for_selector("html[data-ready]")
    page.wait_for_selector("#chart canvas")
    page.wait_for_timeout(750)  # a button that just changed is not pressed by a finger that was on its way
    return page


def until(page: Any, expression: str, within_s: float = 9.0) -> None:
    """Wait for an expression of the page to come true (the page's own policy forbids Playwright's way)."""
    ends = time.monotonic() + within_s
    while not page.evaluate(expression):
        assert time.monotonic() < ends, f"not within {within_s} s: {expression}"
        page.wait_for_timeout(50)


def test_chamber_target_limit_and_clock_are_shown_in_the_persons_units(cooking: Smokehouse, tab: OpenTab) -> None:
    page = settled(tab(cooking.address))
    chamber = cooking.hub.last_frame.t[0]
    assert page.text_content("#chamber") == f"{chamber * 1.8 + 32:.0f} °F"
    assert page.text_content("#limit") == "190 °F"
    assert re.fullmatch(r"2:\d\d of 6:00", page.text_content("#clock"))
    page.select_option("#units", "C")
    assert page.text_content("#chamber") == f"{chamber:.0f} °C"
    page.reload()
    page.wait_for_selector("html[data-ready]")
    assert page.text_content("#chamber") == f"{chamber:.0f} °C"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Chub 3 cools too slowly: 2 h left from 130 to 80 °F.", "Chub 3 cools too slowly: 2 h left from 54 to 27 °C."),
        ("Held at 147 °F: answer.", "Held at 64 °C: answer."),
        ("Chub 2 is 27 °F behind the next.", "Chub 2 is 15 K behind the next."),
    ],
)
def test_sentences_of_the_hub_are_told_in_degC(cooking: Smokehouse, tab: OpenTab, text: str, shown: str) -> None:
    page = settled(tab(cooking.address))
    tell = "async (text) => (await import('/static/units.js')).sentence(text)"
    assert page.evaluate(tell, text) == text
    page.select_option("#units", "C")
    assert page.evaluate(tell, text) == shown


def test_rack_hangs_every_chub_and_fills_the_warmer_ones_further(cooking: Smokehouse, tab: OpenTab) -> None:
    page = settled(tab(cooking.address))
    heights = page.eval_on_selector_all("#rack .filling", "all => all.map(e => Number(e.getAttribute('height')))")
    assert len(heights) == 6
    assert heights[:5] == sorted(heights[:5], reverse=True)
    assert min(heights) > 0
    assert max(heights) < 132
    assert page.locator("#rack .guessed").count() == 1  # the chub without a probe
    assert page.locator("#chubs tr").count() == 6


def test_called_chub_is_told_by_shape_and_words(called: Smokehouse, tab: OpenTab) -> None:
    page = settled(tab(called.address))
    assert page.text_content("#next") == "Pull chub 1 now."
    assert page.locator("#rack .called .outline").count() == 2
    assert page.locator("#rack .hanging .outline").count() == 5
    assert page.text_content("#rack text.called") == "PULL"
    low, usual = (
        page.eval_on_selector(f"#rack .{state} .skin", "e => Number(e.getAttribute('y'))")
        for state in ("called", "hanging")
    )
    assert low > usual  # it hangs lower
    assert "Pull chub 1 now." in page.text_content("#alarms-act")


def test_big_button_pulls_asks_for_the_probe_and_can_be_undone(called: Smokehouse, tab: OpenTab) -> None:
    page = settled(tab(called.address, width=360))
    assert page.text_content("#do") == "Chub 1 is out"
    page.click("#do")
    assert page.locator("#sheet button").all_text_contents() == [
        "Stays in, for the cooling", "Into chub 6", "Put away", "Back",
    ]  # fmt: skip
    page.click("#sheet >> text=Into chub 6")
    page.wait_for_selector("#said >> text=Pulled.")
    book = called.hub.state.book
    assert set(book.pulled_s) == {1}
    assert book.chub_of[1] == 6
    page.wait_for_selector("#rack .pulled")
    page.click("#undo")
    page.wait_for_selector("#said >> text=Undone.")
    assert not called.hub.state.book.pulled_s
    page.wait_for_selector("#next >> text=Pull chub 1 now.")


def test_going_back_from_the_sheet_marks_nothing(called: Smokehouse, tab: OpenTab) -> None:
    page = settled(tab(called.address, width=360))
    before = len(called.hub.state.book.log)
    page.click("#do")
    page.click("#sheet >> text=Back")
    page.wait_for_selector("#sheet", state="hidden")
    page.click("#do")
    page.keyboard.press("Escape")
    assert len(called.hub.state.book.log) == before


def test_hand_reading_is_typed_in_the_shown_unit_and_kept_in_celsius(called: Smokehouse, tab: OpenTab) -> None:
    page = settled(tab(called.address, width=360))
    page.click("#more")
    page.click("#sheet >> text=Type in a hand reading")
    page.click("#sheet >> text=Chub 6, front right")
    page.click("#sheet >> text=Enter")
    assert "Type what the thermometer shows." in page.text_content("#sheet")
    page.fill("#typed", "131")
    page.keyboard.press("Enter")
    page.wait_for_selector("#said >> text=Reading noted.")
    assert called.hub.state.book.hands[6].core_degC == pytest.approx(55.0, abs=0.01)


def test_stop_is_one_tap_and_heat_comes_back_only_by_a_mark(called: Smokehouse, tab: OpenTab) -> None:
    page = settled(tab(called.address))
    page.click("#stop")
    page.wait_for_selector("#said >> text=Stopped.")
    assert called.hub.state.book.stopped == "person"
    assert any(topic.endswith("heater/stop/set") for topic, _ in called.broker.sent)
    called.hub.mark("pulled", {"chub": 1, "probe": "away"}, "test")
    page.wait_for_selector("#do >> text=Heat again")
    page.wait_for_timeout(750)
    page.click("#do")
    page.wait_for_selector("#said >> text=Heat may go on.")
    assert called.hub.state.book.stopped is None


def test_button_that_changed_under_a_finger_is_not_taken(called: Smokehouse, tab: OpenTab) -> None:
    page = settled(tab(called.address))
    called.hub.mark("pulled", {"chub": 1, "probe": "away"}, "test")
    until(page, "document.getElementById('do').textContent !== 'Chub 1 is out'")
    page.evaluate("document.getElementById('do').click()")
    page.wait_for_timeout(300)
    assert not called.hub.state.book.door_open


def test_watcher_may_stop_but_is_offered_nothing_else(smokehouse: Make, tab: OpenTab) -> None:
    house = smokehouse(accounts=lambda name, code: "watcher" if (name, code) == ("bo", "right") else None)
    house.hang()
    house.cook(0.2)
    house.call(1)
    page = tab(house.address, allow="403")
    page.fill("[name=name]", "bo")
    page.fill("[name=code]", "wrong")
    page.click("button")
    assert "do not fit" in page.text_content("[role=alert]")
    page.fill("[name=name]", "bo")
    page.fill("[name=code]", "right")
    page.click("button")
    settled(page)
    for name in ("#do", "#more", "#undo"):
        assert not page.is_visible(name)
    token = page.get_attribute("[name=fiftyover-token]", "content")
    answer = page.evaluate(
        "token => fetch('/mark', {method: 'POST', headers: {'x-fiftyover-token': token},"
        " body: JSON.stringify({kind: 'pulled', chub: 1})}).then(a => a.status)",
        token,
    )
    assert answer == 403
    page.click("#stop")
    page.wait_for_selector("#said >> text=Stopped.")
    assert house.hub.state.book.stopped == "person"
    assert not house.hub.state.book.pulled_s


def test_restarted_hub_is_found_again_and_the_curves_have_no_gap(smokehouse: Make, tab: OpenTab) -> None:
    house = smokehouse()
    house.hang()
    house.cook(0.4)
    page = settled(tab(house.address, allow="ERR_|Failed to load"))
    before = int(page.get_attribute("html", "data-curves"))
    house.close()
    page.wait_for_selector("#link.bad", timeout=15000)
    assert page.text_content("#link") == "The hub does not answer. What you see is old."
    again = smokehouse(clock=house.clock, port=house.page.port)
    again.cook(0.5, from_hours=0.4)
    page.wait_for_selector("#link >> text=kit-3f2a, heard", timeout=15000)
    until(page, f"Number(document.documentElement.dataset.curves) > {before}")
    told = page.evaluate("fetch('/history?points=400').then(a => a.json())")
    steps = [b - a for a, b in zip(told["t"], told["t"][1:], strict=False)]
    assert max(steps) <= 15  # a frame every five seconds, some buckets of 4.5 s are empty
    again.call(1)
    page.wait_for_selector("#do >> text=Chub 1 is out")
    page.wait_for_timeout(750)
    page.click("#do")  # with the old page's token: the page gets the new one by itself
    page.click("#sheet >> text=Put away")
    page.wait_for_selector("#said >> text=Pulled.")


def test_alarm_sounds_until_it_is_heard_and_again_for_another(called: Smokehouse, tab: OpenTab) -> None:
    page = tab()
    page.add_init_script("navigator.vibrate = p => { (window.shaken ??= []).push(p); return true; }")
    page.goto(called.address)
    settled(page)
    assert page.get_attribute("html", "data-sounded") is None  # sound is off until the person allows it
    page.click("#sound")
    assert page.get_attribute("#sound", "aria-pressed") == "true"
    until(page, "Number(document.documentElement.dataset.sounded) >= 2")
    assert page.evaluate("window.shaken")[-1] == [300, 120, 300]  # shaken as well as sounded
    page.click("#heard")
    assert not page.is_visible("#heard")
    quiet = page.get_attribute("html", "data-sounded")
    page.wait_for_timeout(4300)
    assert page.get_attribute("html", "data-sounded") == quiet
    shaken = len(page.evaluate("window.shaken"))
    called.call(2)
    until(page, f"Number(document.documentElement.dataset.sounded) > {quiet}")
    assert page.is_visible("#heard")
    assert len(page.evaluate("window.shaken")) > shaken


def test_coming_pulls_are_told_in_words_in_the_table_and_in_the_chart(smokehouse: Make, tab: OpenTab) -> None:
    house = smokehouse()
    house.hang()
    house.cook(0.5)
    page = settled(tab(house.address))
    before = page.locator("#chart canvas").screenshot()
    at_ms = house.clock.utc_ms()
    minutes = {2: (60, 75), 1: (25, 40)}
    house.hub.foresight.finishes = lambda hanging, now_s: {  # type: ignore[method-assign]
        chub: (at_ms + low * 60_000, at_ms + high * 60_000) for chub, (low, high) in minutes.items()
    }
    house.frame(house.cores(0.5, 6))
    house.show()
    page.wait_for_selector("#next >> text=Next, pull chub 1, between")
    clock = f"m => new Date({at_ms} + m * 60000).toLocaleTimeString([], {{hour: 'numeric', minute: '2-digit'}})"
    wanted = page.evaluate(f"[25, 40].map({clock})")
    assert page.text_content("#next").endswith(f"between {wanted[0]} and {wanted[1]}.")
    assert page.locator("#chubs tr").nth(0).text_content().count(wanted[0]) == 1
    page.wait_for_timeout(100)
    assert page.locator("#chart canvas").screenshot() != before
    # A page that is opened now shows them too, without waiting for the next reading: its time goes on to the last.
    page = settled(tab(house.address))
    with_spans = page.locator("#chart canvas").screenshot()
    house.hub.foresight.finishes = lambda hanging, now_s: {}  # type: ignore[method-assign]
    house.show()
    page.wait_for_selector("#next >> text=Nothing to do: the smoker follows the meat.")
    page.wait_for_timeout(150)
    assert page.locator("#chart canvas").screenshot() != with_spans


def test_chart_is_moved_by_wheel_and_fingers_and_comes_back(cooking: Smokehouse, tab: OpenTab) -> None:
    page = settled(tab(cooking.address))
    page.locator("#chart").scroll_into_view_if_needed()
    before = page.locator("#chart canvas").screenshot()
    page.locator("#chart .u-over").hover()
    page.mouse.wheel(0, -300)
    page.wait_for_timeout(100)
    near = page.locator("#chart canvas").screenshot()
    assert near != before
    page.click("#reach-hour")
    page.wait_for_timeout(100)
    assert page.locator("#chart canvas").screenshot() != near
    page.click("#reach-all")
    page.wait_for_timeout(100)
    assert page.locator("#chart canvas").screenshot() == before


def test_page_with_nothing_in_the_smoker_says_what_to_do(smokehouse: Make, tab: OpenTab) -> None:
    house = smokehouse()
    house.frame([15.0, None], ["ok", "open"], why="off")
    page = tab(house.address, width=360)
    page.wait_for_selector("html[data-ready]")
    assert "Nothing hangs." in page.text_content("#rack-empty")
    assert page.is_visible("#stop")
    page.click("#stop")
    page.wait_for_selector("#said >> text=Stopped.")


@pytest.mark.parametrize(("width", "scheme"), LOOKS)
def test_nothing_stands_in_the_way_of_a_reader_or_of_bad_eyes(
    called: Smokehouse, tab: OpenTab, axe: str, width: int, scheme: str
) -> None:
    called.check(6)
    called.hub.mark("door", {"open": True}, "test")
    page = settled(tab(called.address, width=width, scheme=scheme))
    page.evaluate(axe)
    found = page.evaluate(
        "axe.run().then(r => r.violations.map(v => [v.id, v.nodes.map(n => n.html + n.failureSummary)]))"
    )
    assert found == []
    assert page.evaluate("document.scrollingElement.scrollWidth") <= width
    page.click("#more")
    found = page.evaluate("axe.run('#sheet').then(r => r.violations.map(v => [v.id, v.nodes.map(n => n.html)]))")
    assert found == []


def test_everything_on_the_bar_is_reached_by_the_keyboard(called: Smokehouse, tab: OpenTab) -> None:
    called.hub.mark("hand-reading", {"chub": 6, "core_degC": 40.0}, "test")  # so that there is something to undo
    page = settled(tab(called.address))
    reached = []
    for _ in range(25):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.id || document.activeElement.className"))
    assert reached[0] == "skip"
    assert {"units", "sound", "do", "more", "stop", "undo"} <= set(reached)
    page.focus("#stop")
    page.keyboard.press("Enter")
    page.wait_for_selector("#said >> text=Stopped.")


def test_thirty_chubs_hang_on_a_phone(smokehouse: Make, tab: OpenTab) -> None:
    from hub.web.smokehouse import plan_of

    house = smokehouse()
    house.hang(plan_of(chubs=30, probes=2))
    house.cook(0.2, channels=3)
    page = settled(tab(house.address, width=360))
    assert page.locator("#rack .chub").count() == 30
    assert page.evaluate("document.scrollingElement.scrollWidth") <= 360
    sizes = page.eval_on_selector_all("#rack .number", "all => all.map(e => e.getBoundingClientRect().height)")
    assert min(sizes) >= 12


def test_reading_is_painted_within_half_a_second(called: Smokehouse, tab: OpenTab) -> None:
    page = settled(tab(called.address))
    took = []
    for number in range(5):
        page.evaluate(
            "window.painted = new Promise(done => { const seen = new MutationObserver(() => requestAnimationFrame(() =>"
            " { seen.disconnect(); done(Date.now()); })); seen.observe(document.getElementById('chamber'),"
            " {childList: true, characterData: true, subtree: true}); }); 0"
        )
        began = time.time() * 1000
        called.frame([70.0 + 5 * number, *called.cores(1.0, 6)[1:]], after_s=10.0)
        called.show()
        took.append(page.evaluate("window.painted") - began)
    print(f"event to paint, ms: {[round(one) for one in took]}")
    assert max(took) <= 500
