"""The dashboards: rebuilt equals committed, and their structure holds."""

import json
import re
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer
from itertools import combinations
from pathlib import Path

import pytest

from fiftyover.cli import main
from fiftyover.influx.schema import MEASUREMENTS

ROOT = Path(__file__).resolve().parents[2]
BUILT = ROOT / "dashboards" / "built"
BOARDS = sorted(BUILT.glob("*.json"))
PANEL_TYPES = {"timeseries", "stat", "state-timeline", "table"}


def queries(board: dict) -> list[str]:
    asked = [target["query"] for panel in board["panels"] for target in panel["targets"]]
    return asked + [variable["query"] for variable in board["templating"]["list"]]


def strangers(query: str) -> set[str]:
    """Quoted names of an InfluxQL text that its measurement does not have."""
    measurement = re.search(r'FROM "(\w+)"', query)[1]
    shape = MEASUREMENTS[measurement]
    names = set(re.findall(r'"(\w+)"', query)) - {measurement}
    if f'"{measurement}"' in query.replace(f'FROM "{measurement}"', ""):
        names.add(measurement)
    return names - set(shape.fields) - set(shape.tags)


def faults(board: dict) -> list[str]:
    panels, found = board["panels"], []
    ids = [panel["id"] for panel in panels]
    if len(set(ids)) != len(ids):
        found.append("ids")
    for one, other in combinations([panel["gridPos"] for panel in panels], 2):
        beside = one["x"] + one["w"] <= other["x"] or other["x"] + other["w"] <= one["x"]
        above = one["y"] + one["h"] <= other["y"] or other["y"] + other["h"] <= one["y"]
        if not (beside or above):
            found.append("overlap")
    for panel in panels:
        if panel["type"] not in PANEL_TYPES:
            found.append("type")
        if panel["gridPos"]["x"] + panel["gridPos"]["w"] > 24:
            found.append("width")
        refs = [target["refId"] for target in panel["targets"]]
        if not refs or len(set(refs)) != len(refs):
            found.append("refs")
    found += [f"stranger {name}" for query in queries(board) for name in strangers(query)]
    known = {variable["name"] for variable in board["templating"]["list"]}
    used = {name for query in queries(board) for name in re.findall(r"\$(\w+)", query)} - {"timeFilter", "__interval"}
    return found + [f"variable {name}" for name in used - known]


@pytest.mark.parametrize("file", BOARDS, ids=lambda file: file.stem)
def test_structure_holds(file):
    assert faults(json.loads(file.read_text())) == []


def test_a_planted_fault_of_each_kind_is_found():
    whole = BOARDS[0].read_text()
    for change, name in (
        (lambda b: b["panels"][1].update(id=b["panels"][0]["id"]), "ids"),
        (lambda b: b["panels"][1]["gridPos"].update(y=0), "overlap"),
        (lambda b: b["panels"][0].update(type="timeseris"), "type"),
        (lambda b: b["panels"][0]["gridPos"].update(w=25), "width"),
        (lambda b: b["panels"][0].update(targets=[]), "refs"),
        (lambda b: b["panels"][0]["targets"][0].update(query='SELECT "temp" FROM "probe"'), "stranger temp"),
        (lambda b: b["panels"][0]["targets"][0].update(query='SELECT "status" FROM "probe" $kti'), "variable kti"),
    ):
        board = json.loads(whole)
        change(board)
        assert name in faults(board)


def test_three_boards_with_ids_of_their_own():
    boards = [json.loads(file.read_text()) for file in BOARDS]
    assert [file.stem for file in BOARDS] == ["cook", "kits", "record"]
    assert len({board["uid"] for board in boards}) == 3
    assert all(len(board["uid"]) <= 40 for board in boards)  # Grafana's limit, from memory


def test_rebuilt_equals_committed(monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT))
    from dashboards import boards

    for name, text in boards.build().items():
        assert (BUILT / name).read_text("utf-8") == text, f"{name}: run `fiftyover dashboards build` and commit"
    assert {file.name for file in BOARDS} <= set(boards.build())


def test_a_name_that_the_hub_does_not_write_stops_the_build(monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT))
    from dashboards import queries as q

    with pytest.raises(KeyError, match="no field temp"):
        q.newest("probe", "temp")
    with pytest.raises(KeyError, match="no tag smoker"):
        q.values_of("probe", "smoker")


def test_push_hands_each_board_over_and_names_a_refusal(tmp_path, capsys):
    got, code = [], [200]

    class Grafana(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            got.append((self.path, self.headers["Authorization"], body["dashboard"]["uid"], body["overwrite"]))
            self.send_response_only(code[0])
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Grafana) as http:
        threading.Thread(target=http.serve_forever, daemon=True).start()
        (tmp_path / "token").write_text("t0ken\n")
        words = ["dashboards", "push", "--url", f"http://127.0.0.1:{http.server_address[1]}", "--token-file"]
        assert main([*words, str(tmp_path / "token")]) == 0
        assert [(path, auth, over) for path, auth, _, over in got] == [("/api/dashboards/db", "Bearer t0ken", True)] * 3
        code[0] = 401
        assert main([*words, str(tmp_path / "token")]) == 2
        told = capsys.readouterr().err
        assert "the token may not do that" in told
        assert "t0ken" not in told
        http.shutdown()
    assert main([*words, str(tmp_path / "none")]) == 2
