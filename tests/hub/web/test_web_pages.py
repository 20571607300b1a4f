"""The page answers its own people, on its own names, and changes nothing for anybody else."""

from __future__ import annotations

import asyncio
import json
import re
from typing import Any

import httpx
import pytest

from fiftyover.web.entry import BACK_OFF_AFTER, BACK_OFF_S, Entry
from fiftyover.web.live import Live
from fiftyover.web.site import application

HOST = "http://hub.test"


class Recorder:
    """Stands for the hub: records what pages ask for."""

    def __init__(self) -> None:
        self.marks: list[tuple[str, dict[str, Any], str]] = []

    def mark(self, kind: str, data: dict[str, Any], who: str) -> tuple[bool, str]:
        self.marks.append((kind, data, who))
        return kind != "undo", f"{kind} recorded"

    def choose(self, data: dict[str, Any]) -> tuple[bool, str]:
        self.marks.append(("choose", data, ""))
        return True, "chosen"

    def account(self, data: dict[str, Any]) -> tuple[bool, str]:
        self.marks.append(("account", data, ""))
        return True, "added"

    def calibrate(self, data: dict[str, Any]) -> tuple[bool, str]:
        self.marks.append(("calibrate", data, ""))
        return True, "noted"

    def begin(self, data: dict[str, Any]) -> tuple[bool, str]:
        self.marks.append(("begin", data, ""))
        return True, "Begun."

    def hang(self, data: dict[str, Any]) -> tuple[bool, str]:
        self.marks.append(("hang", data, ""))
        return True, "Hung."

    def history(self, points: int) -> dict[str, Any]:
        return {"curves": [], "band_degC": [66.7, 68.3], "points": points}


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


ROLES = {("anna", "right"): "cook", ("bo", "right"): "watcher"}


class House:
    """One hub's page with its callers."""

    def __init__(self, accounts: bool) -> None:
        self.hub, self.live, self.clock = Recorder(), Live(), Clock()
        self.live.publish({"chubs": [], "name": "test"})
        check = (lambda name, code: ROLES.get((name, code))) if accounts else None
        self.entry = Entry(frozenset({"hub.test", "127.0.0.1"}), check, self.clock)
        self.transport = httpx.ASGITransport(application(self.live, self.hub, self.entry))

    def ask(
        self, method: str, path: str, base: str = HOST, cookies: dict[str, str] | None = None, **more: Any
    ) -> httpx.Response:
        async def one() -> httpx.Response:
            async with httpx.AsyncClient(transport=self.transport, base_url=base, cookies=cookies) as client:
                return await client.request(method, path, **more)

        return asyncio.run(one())

    def token(self, cookies: dict[str, str] | None = None) -> str:
        page = self.ask("GET", "/", cookies=cookies).text
        return re.search(r'name="fiftyover-token" content="([^"]+)"', page).group(1)  # type: ignore[union-attr]

    def mark(
        self, kind: str, token: str, origin: str = HOST, cookies: dict[str, str] | None = None, **data: Any
    ) -> httpx.Response:
        headers = {"x-fiftyover-token": token, "origin": origin}
        return self.ask("POST", "/mark", headers=headers, json={"kind": kind, **data}, cookies=cookies)

    def sign_in(self, name: str, code: str = "right") -> dict[str, str]:
        answer = self.ask("POST", "/sign-in", data={"name": name, "code": code}, headers={"origin": HOST})
        assert answer.status_code == 303, answer.text
        return dict(answer.cookies)


@pytest.fixture
def loopback() -> House:
    return House(accounts=False)


@pytest.fixture
def guarded() -> House:
    return House(accounts=True)


def test_a_mark_from_the_page_reaches_the_hub(loopback: House) -> None:
    answer = loopback.mark("pulled", loopback.token(), chub=3)
    assert answer.json() == {"done": True, "sentence": "pulled recorded"}
    assert loopback.hub.marks == [("pulled", {"chub": 3}, "cook")]


def test_a_mark_the_hub_refuses_is_not_shown_as_done(loopback: House) -> None:
    answer = loopback.mark("undo", loopback.token())
    assert (answer.status_code, answer.json()["done"]) == (409, False)


@pytest.mark.parametrize("path", ["/", "/live", "/history", "/static/now.js"])
def test_a_foreign_host_name_is_refused(loopback: House, path: str) -> None:
    assert loopback.ask("GET", path, base="http://elsewhere.test").status_code == 421


def test_a_foreign_origin_is_refused(loopback: House) -> None:
    assert loopback.mark("stop-heat", loopback.token(), origin="http://elsewhere.test").status_code == 403
    assert loopback.hub.marks == []


def test_a_cross_site_request_without_origin_is_refused(loopback: House) -> None:
    headers = {"x-fiftyover-token": loopback.token(), "sec-fetch-site": "cross-site"}
    assert loopback.ask("POST", "/mark", headers=headers, json={"kind": "stop-heat"}).status_code == 403


@pytest.mark.parametrize("token", ["", "wrong", "naïve"])
def test_a_mark_without_the_pages_token_is_refused(loopback: House, token: str) -> None:
    headers = {"x-fiftyover-token": token.encode(), "origin": HOST}
    answer = loopback.ask("POST", "/mark", headers=headers, json={"kind": "stop-heat"})
    assert answer.status_code == 403
    assert loopback.hub.marks == []


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"[]",
        b'"x"',
        b'{"kind":"heat_more"}',
        b'{"kind":"hand-reading","core_degC":NaN}',
        b"[" * 4000,
        b"{" + b" " * 5000 + b"}",
    ],
)
def test_a_body_that_is_not_a_mark_is_refused_with_a_sentence(loopback: House, body: bytes) -> None:
    headers = {"x-fiftyover-token": loopback.token(), "origin": HOST, "content-type": "application/json"}
    answer = loopback.ask("POST", "/mark", headers=headers, content=body)
    assert answer.status_code == 400
    assert answer.json()["sentence"].endswith(".")
    assert loopback.hub.marks == []


def test_no_get_changes_anything(loopback: House) -> None:
    assert loopback.ask("GET", "/mark").status_code == 405
    assert loopback.ask("GET", "/sign-out").status_code == 405


def test_pages_carry_the_protective_headers(loopback: House) -> None:
    answer = loopback.ask("GET", "/")
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert "unsafe" not in answer.headers["content-security-policy"]
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "<script>" not in answer.text


def test_strangers_see_only_the_sign_in(guarded: House) -> None:
    assert guarded.ask("GET", "/").headers["location"] == "/sign-in"
    assert guarded.ask("GET", "/live").status_code == 401
    assert guarded.ask("GET", "/history").status_code == 401
    assert guarded.ask("POST", "/mark", json={"kind": "stop-heat"}).status_code == 401
    assert "Code" in guarded.ask("GET", "/sign-in").text


def test_the_cook_signs_in_and_may_mark(guarded: House) -> None:
    cookies = guarded.sign_in("anna")
    answer = guarded.mark("resume-heat", guarded.token(cookies), cookies=cookies)
    assert answer.status_code == 200
    assert guarded.hub.marks == [("resume-heat", {}, "anna")]


def test_a_watcher_may_stop_but_not_start(guarded: House) -> None:
    cookies = guarded.sign_in("bo")
    token = guarded.token(cookies)
    assert guarded.mark("stop-heat", token, cookies=cookies).status_code == 200
    for kind in ("resume-heat", "pulled", "undo", "door", "hand-reading"):
        assert guarded.mark(kind, token, cookies=cookies).status_code == 403
    assert [kind for kind, _, _ in guarded.hub.marks] == ["stop-heat"]


def test_the_session_cookie_is_out_of_a_scripts_reach(guarded: House) -> None:
    answer = guarded.ask("POST", "/sign-in", data={"name": "anna", "code": "right"}, headers={"origin": HOST})
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


def test_a_session_ends(guarded: House) -> None:
    cookies = guarded.sign_in("anna")
    guarded.clock.now += 31 * 24 * 3600
    assert guarded.ask("GET", "/", cookies=cookies).status_code == 303


def test_one_persons_token_does_not_serve_another(guarded: House) -> None:
    anna, bo = guarded.sign_in("anna"), guarded.sign_in("bo")
    assert guarded.mark("stop-heat", guarded.token(bo), cookies=anna).status_code == 403


CHANGES = (
    "settings/contacts",
    "kit/calibration",
    "settings/people",
    "settings/alarm-test",
    "plan/begin",
    "plan/hang",
    "plan/practice",
)
FOR_ALL = ("mark", "heard", "sign-out", "plan/sheet", "plan/page")
ROOMS = ("", "plan", "batches", "batches/x", "batches/compare", "kit", "settings")
DATA = (
    "live",
    "history",
    "clocks",
    "kit/now",
    "plan/practice/progress",
    "batches/x/history",
    "batches/x/csv",
    "plan/recipe/x",
)


@pytest.mark.parametrize("path", [*CHANGES, *FOR_ALL])
def test_no_change_is_taken_without_the_token_or_from_elsewhere(guarded: House, path: str) -> None:
    cookies = guarded.sign_in("anna")
    token = guarded.token(cookies)
    for headers in (
        {"origin": HOST},
        {"origin": HOST, "x-fiftyover-token": "wrong"},
        {"origin": "http://elsewhere.test", "x-fiftyover-token": token},
        {"sec-fetch-site": "cross-site", "x-fiftyover-token": token},
    ):
        answer = guarded.ask("POST", f"/{path}", headers=headers, json={"kind": "stop-heat"}, cookies=cookies)
        assert answer.status_code == 403, (path, headers)
    assert guarded.ask("POST", f"/{path}", json={}).status_code in (401, 403)
    assert guarded.hub.marks == []


@pytest.mark.parametrize("path", CHANGES)
def test_a_watcher_changes_no_setting_and_hangs_nothing(guarded: House, path: str) -> None:
    cookies = guarded.sign_in("bo")
    headers = {"x-fiftyover-token": guarded.token(cookies), "origin": HOST}
    answer = guarded.ask("POST", f"/{path}", headers=headers, json={}, cookies=cookies)
    assert (answer.status_code, answer.json()["sentence"][:9]) == (403, "A watcher")


def test_strangers_get_no_page_and_no_data(guarded: House) -> None:
    for path in ROOMS:
        assert guarded.ask("GET", f"/{path}").headers.get("location") == "/sign-in", path
    for path in DATA:
        assert guarded.ask("GET", f"/{path}").status_code == 401, path


def test_a_form_too_large_is_refused(loopback: House) -> None:
    headers = {"x-fiftyover-token": loopback.token(), "origin": HOST}
    answer = loopback.ask("POST", "/plan/sheet", headers=headers, json={"name": "x" * 40_000})
    assert answer.status_code == 400
    assert "bytes" in answer.json()["sentence"]


def test_signing_out_forgets_the_browser(guarded: House) -> None:
    cookies = guarded.sign_in("anna")
    headers = {"x-fiftyover-token": guarded.token(cookies), "origin": HOST}
    assert guarded.ask("POST", "/sign-out", headers=headers, cookies=cookies).status_code == 200
    assert guarded.ask("GET", "/live", cookies=cookies).status_code == 401


def test_wrong_codes_are_slowed_down_and_a_right_one_waits_too(guarded: House) -> None:
    for _ in range(BACK_OFF_AFTER):
        answer = guarded.ask("POST", "/sign-in", data={"name": "anna", "code": "x"}, headers={"origin": HOST})
        assert answer.status_code == 403
    right = {"name": "anna", "code": "right"}
    assert guarded.ask("POST", "/sign-in", data=right, headers={"origin": HOST}).status_code == 429
    guarded.clock.now += BACK_OFF_S
    assert guarded.ask("POST", "/sign-in", data=right, headers={"origin": HOST}).status_code == 303


def test_the_stream_gives_the_newest_snapshot_and_then_changes() -> None:
    async def listen() -> list[dict[str, Any]]:
        live = Live()
        live.publish({"n": 1})
        got = []
        async for event in live.stream():
            got.append(json.loads(event.split("data: ", 1)[1]))
            if len(got) == 1:
                live.publish({"n": 1})  # nothing new: no event
                live.publish({"n": 2})
            else:
                live.close()
        return got

    assert asyncio.run(listen()) == [{"n": 1}, {"n": 2}]


def test_a_snapshot_with_a_number_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="JSON"):
        Live().publish({"core_degC": float("nan")})
