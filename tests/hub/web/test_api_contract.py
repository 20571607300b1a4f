"""The HTTP API keeps to its own document: schemathesis against the real application over a real socket.

The document is made from the routes; here it is also held against a list that was written by hand, so that an operation
cannot vanish, open or change its rights unseen.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from fiftyover.broker import people
from fiftyover.web.desk import Desk
from fiftyover.web.entry import BACK_OFF_S
from hub.web.smokehouse import Smokehouse

EXAMPLES = 5
CONFIG = Path(__file__).with_name("schemathesis.toml")
# method and path -> who may: anybody, someone signed in, a cook (a watcher only the stop)
BY_HAND = {
    "GET /api/v1/now": "signed in",
    "GET /api/v1/events": "signed in",
    "GET /api/v1/kits": "signed in",
    "POST /api/v1/marks": "signed in",
    "GET /api/v1/batches": "signed in",
    "GET /api/v1/batches/{batch}": "signed in",
    "GET /api/v1/batches/{batch}/series": "signed in",
    "GET /api/v1/recipes": "signed in",
    "GET /api/v1/recipes/{name}": "signed in",
    "POST /api/v1/plan": "signed in",
    "GET /api/v1/session": "signed in",
    "POST /api/v1/session": "anybody",
    "DELETE /api/v1/session": "signed in",
}


class Guarded:
    """A hub with accounts, one batch an hour on, and who may come in."""

    def __init__(self, folder: Path) -> None:
        file = folder / "accounts.json"
        self.codes = {"anna": people.add(file, "anna", "cook"), "bo": people.add(file, "bo", "watcher")}
        self.house = Smokehouse(folder, accounts=people.checker(file))
        self.house.hang()
        self.house.cook(1.0)
        self.address = self.house.address.rstrip("/")

    def ask(self, method: str, path: str, key: str = "", **more: Any) -> httpx.Response:
        headers = {"authorization": f"Bearer {key}"} if key else {}
        headers |= more.pop("headers", {})
        with httpx.Client(trust_env=False) as client:
            return client.request(method, f"{self.address}{path}", headers=headers, **more)

    def key(self, name: str = "anna") -> str:
        self.house.clock.advance(BACK_OFF_S)  # what was tried wrongly before is over
        answer = self.ask("POST", "/api/v1/session", json={"name": name, "code": self.codes[name]})
        assert answer.status_code == 200, answer.text
        return str(answer.json()["key"])

    def document(self) -> dict[str, Any]:
        return dict(self.ask("GET", "/api/openapi.json").json())


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Guarded]:
    one = Guarded(tmp_path_factory.mktemp("api"))
    yield one
    one.house.close()


def schemathesis(house: Guarded, key: str, folder: Path, *words: str) -> tuple[int, dict[str, Any], str]:
    """Exit code, report and what was printed of one run."""
    report = folder / "report.json"
    line = [
        sys.executable, "-m", "schemathesis.cli", "--config-file", str(CONFIG),
        "run", f"{house.address}/api/openapi.json", "--header", f"Authorization: Bearer {key}",
        "--max-examples", str(EXAMPLES), "--seed", "20261125", "--no-color", "--no-shrink",
        "--report-json-path", str(report), *words,
    ]  # fmt: skip
    environment = {**os.environ, "NO_PROXY": "*", "PYTHONWARNINGS": "ignore"}
    done = subprocess.run(line, capture_output=True, text=True, cwd=folder, env=environment, timeout=280, check=False)
    return done.returncode, json.loads(report.read_text()) if report.exists() else {}, done.stdout + done.stderr


@pytest.mark.long
def test_every_operation_keeps_to_the_document(guarded: Guarded, tmp_path: Path) -> None:
    leave = ["--exclude-path", "/api/v1/events", "--exclude-method", "DELETE"]  # endless; ends the session
    code, _, said = schemathesis(guarded, guarded.key(), tmp_path, *leave)
    assert code == 0, said[-6000:]
    assert "11 selected / 13 total" in said
    assert "Tested: 11" in said
    assert guarded.house.hub.faults == 0


def test_signing_out_keeps_to_the_document(guarded: Guarded, tmp_path: Path) -> None:
    code, _, said = schemathesis(guarded, guarded.key(), tmp_path, "--include-method", "DELETE")
    assert code == 0, said[-6000:]


def test_planted_faults_are_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A server fault, an answer of another shape, one without a key that the document promises."""
    one = Guarded(tmp_path)
    try:
        desk = type(one.house.desk)
        monkeypatch.setattr(desk, "recipes", lambda self: 1 / 0)
        monkeypatch.setattr(desk, "recipe", lambda self, name: {"name": name})
        monkeypatch.setattr(desk, "batches", lambda self: [{"id": 7}])
        only = ["--include-path-regex", "/(recipes|batches)", "--phases", "coverage", "--max-examples", "2"]
        code, _, said = schemathesis(one, one.key(), tmp_path, *only)
    finally:
        one.house.close()
    assert code == 1, said[-3000:]
    failed = said.partition("= FAILURES =")[2].partition("= SUMMARY =")[0]
    found = [path for path in ("recipes", "recipes/{name}", "batches") if f"_ GET /api/v1/{path} _" in failed]
    assert found == ["recipes", "recipes/{name}", "batches"], said[-3000:]


def test_the_document_lists_exactly_the_operations_of_the_hand_written_list(guarded: Guarded) -> None:
    told = guarded.document()
    found = {
        f"{method.upper()} {path}": "anybody" if one["security"] == [] else "signed in"
        for path, methods in told["paths"].items()
        for method, one in methods.items()
    }
    assert found == BY_HAND
    assert told["openapi"].startswith("3.1")
    names = [one["operationId"] for methods in told["paths"].values() for one in methods.values()]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("operation", [one for one, who in BY_HAND.items() if who == "signed in"])
@pytest.mark.parametrize("key", ["", "wrong"])
def test_without_a_key_that_fits_nothing_is_told(guarded: Guarded, operation: str, key: str) -> None:
    method, path = operation.split()
    path = path.format(batch="7f2c0001", name="garlic_mustard")
    answer = guarded.ask(method, path, key, json={} if method == "POST" else None)
    assert (answer.status_code, set(answer.json())) == (401, {"done", "sentence"})


def test_a_wrong_code_gives_no_key_and_is_slowed_down(tmp_path: Path) -> None:
    one = Guarded(tmp_path)
    try:
        wish = {"name": "anna", "code": "wrong"}
        statuses = [one.ask("POST", "/api/v1/session", json=wish).status_code for _ in range(6)]
    finally:
        one.house.close()
    assert statuses == [403, 403, 403, 403, 403, 429]


def test_a_watcher_may_stop_but_nothing_else(guarded: Guarded) -> None:
    key = guarded.key("bo")
    for kind in ("pulled", "resume-heat", "undo", "door"):
        assert guarded.ask("POST", "/api/v1/marks", key, json={"kind": kind}).status_code == 403
    assert guarded.ask("POST", "/api/v1/marks", key, json={"kind": "stop-heat"}).status_code == 200


def test_a_browsers_session_needs_the_token_for_a_change(guarded: Guarded) -> None:
    cookie = {"cookie": f"fiftyover_session={guarded.key()}"}
    mark = {"kind": "wood", "note": "apple"}
    assert guarded.ask("POST", "/api/v1/marks", headers=cookie, json=mark).status_code == 403
    token = guarded.ask("GET", "/api/v1/session", headers=cookie).json()["token"]
    headers = cookie | {"x-fiftyover-token": token}
    assert guarded.ask("POST", "/api/v1/marks", json=mark, headers=headers).status_code == 200
    foreign = headers | {"origin": "http://elsewhere.test"}
    assert guarded.ask("POST", "/api/v1/marks", json=mark, headers=foreign).status_code == 403
    # Nor does a page elsewhere get further with a key it guessed beside the browser's cookie.
    guessed = cookie | {"authorization": "Bearer guessed"}
    assert guarded.ask("POST", "/api/v1/marks", json=mark, headers=guessed).status_code == 401


def test_the_key_of_a_removed_person_opens_nothing(tmp_path: Path) -> None:
    one = Guarded(tmp_path)
    try:
        key = one.key("bo")
        assert one.ask("GET", "/api/v1/now", key).status_code == 200
        assert one.house.desk.account({"remove": "bo"})[0]
        assert one.ask("GET", "/api/v1/now", key).status_code == 401
    finally:
        one.house.close()


def test_each_event_is_what_the_document_says(guarded: Guarded) -> None:
    import jsonschema_rs

    told = guarded.document()
    operation = told["paths"]["/api/v1/events"]["get"]["responses"]["200"]["content"]["text/event-stream"]
    validator = jsonschema_rs.validator_for({**operation["x-event-data"], "components": told["components"]})
    headers = {"authorization": f"Bearer {guarded.key()}"}
    events: list[dict[str, Any]] = []
    with (
        httpx.Client(trust_env=False) as client,
        client.stream("GET", f"{guarded.address}/api/v1/events", headers=headers) as answer,
    ):
        assert answer.headers["content-type"].startswith("text/event-stream")
        for line in answer.iter_lines():
            if line.startswith("data: "):
                events.append(json.loads(line.removeprefix("data: ")))
                guarded.house.cook(1.0 + len(events) / 60, 1.0 + (len(events) - 1) / 60)
            if len(events) == 3:
                break
    assert [validator.is_valid(one) for one in events] == [True] * 3
    assert len({one["at_ms"] for one in events}) == 3
    assert not validator.is_valid({**events[0], "t": "warm"})  # the check can fail


def test_what_is_read_is_what_the_hub_has(guarded: Guarded) -> None:
    key = guarded.key()
    listed = guarded.ask("GET", "/api/v1/batches", key).json()
    assert [(one["id"], one["chubs"]) for one in listed] == [("7f2c0001", 6)]
    record = guarded.ask("GET", "/api/v1/batches/7f2c0001", key).json()
    assert [one["diameter_mm"] for one in record["chubs"]] == [45.0, 45.0, 64.0] * 2
    series = guarded.ask("GET", "/api/v1/batches/7f2c0001/series?points=10", key).json()
    assert {len(one["v"]) for one in series["curves"]} == {len(series["t"])}
    assert [one["kind"] for one in series["curves"]] == ["chamber", *["core"] * 5, "target"]
    recipe = guarded.ask("GET", "/api/v1/recipes/garlic_mustard", key).json()
    sheet = guarded.ask("POST", "/api/v1/plan", key, json=recipe).json()
    # 12 lb of meat at 155 ppm nitrite from a mix of 6.25 %: 5443 g x 155e-6 / 0.0625 = 13.5 g, worked by hand
    cure = {row[1] for block in sheet["blocks"] for row in block["rows"] if row[0] == "cure No. 1"}
    assert cure == {"13.5 g (0.48 oz)"}


def test_before_setup_the_token_is_asked_for_all_the_same(smokehouse: Any) -> None:
    house = smokehouse()
    with httpx.Client(base_url=house.address, trust_env=False) as client:
        assert client.post("/api/v1/marks", json={"kind": "stop-heat"}).status_code == 403
        assert (
            client.post("/api/v1/marks", json={"kind": "stop-heat"}, headers={"authorization": "Bearer x"}).status_code
            == 403
        )
        token = client.get("/api/v1/session").json()["token"]
        assert (
            client.post("/api/v1/marks", json={"kind": "stop-heat"}, headers={"x-fiftyover-token": token}).status_code
            == 200
        )


def test_no_way_of_the_api_gives_heat(guarded: Guarded) -> None:
    """The desk is all that the API can reach, and nothing on it publishes a permit or a duty."""
    words = {name for name in vars(Desk) if not name.startswith("_")}
    assert [
        name for name in words if any(part in name for part in ("grant", "permit", "duty", "heat", "publish"))
    ] == []
    before = len(guarded.house.broker.sent)
    key = guarded.key()
    for path in BY_HAND:
        method, where = path.split()
        if method == "GET" and not where.endswith("/events"):
            guarded.ask(method, where.format(batch="7f2c0001", name="x"), key)
    assert len(guarded.house.broker.sent) == before
