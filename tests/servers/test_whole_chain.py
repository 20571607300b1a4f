"""From a kit's message to a row in the database, all parts real: mosquitto, `fiftyover serve`, influxd behind nginx."""

import sqlite3
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing
from pathlib import Path

import pytest

from fiftyover_kit.contract import messages, topics
from servers import boards
from servers.chain import OLDER, Broker, Hub, Kit, until

THIRD_S = 4.0
RETRY_S = 45.0  # the sender tries again after 1, 2, 4 ... s

pytestmark = pytest.mark.system


@pytest.fixture
def ends() -> Iterator[ExitStack]:
    with ExitStack() as stack:
        yield stack


def broker_for(ends: ExitStack, tmp_path: Path, hubs: dict[str, list[str]]) -> Broker:
    broker = Broker(tmp_path / "broker", hubs)
    ends.callback(broker.end)
    broker.start()
    return broker


def hub_for(ends: ExitStack, folder: Path, broker: Broker, user: str, kit: str, url: str, shared: bool = False) -> Hub:
    hub = Hub(folder, broker, user, kit, url, shared)
    ends.callback(hub.end)
    hub.start()
    return hub


def kit_for(ends: ExitStack, broker: Broker, name: str, first_degC: float = 40.0) -> Kit:
    kit = Kit(broker, name, first_degC=first_degC)
    ends.callback(kit.close)
    return kit


def rows(hub: Hub) -> list[tuple[str, int]]:
    with closing(sqlite3.connect(f"file:{hub.record}?mode=ro", uri=True)) as base:
        return base.execute("SELECT kit, seq FROM frames ORDER BY kit, seq").fetchall()


def heard(influx, kit: str) -> dict[int, float]:
    """Number of each reading -> its core, as the database has them; a row that stands twice fails."""
    found = influx.query(f'SELECT "seq" FROM "heater" WHERE "kit" = \'{kit}\'')
    numbers = {row[0]: int(row[1]) for one in found for row in one["values"]}
    found = influx.query(f'SELECT "temperature_degC" FROM "probe" WHERE "kit" = \'{kit}\' AND "probe" = \'probe-2\'')
    cores = [(numbers[row[0]], row[1]) for one in found for row in one["values"]]
    assert len({n for n, _ in cores}) == len(cores) == len(set(numbers.values())) == len(numbers)
    return dict(cores)


def test_from_the_kit_to_every_dashboard_with_the_database_gone_for_the_middle_third(ends, influx, tmp_path):
    broker = broker_for(ends, tmp_path, {"hub": ["kit-3f2a"]})
    hub = hub_for(ends, tmp_path / "hub", broker, "hub", "kit-3f2a", influx.url)
    began_ms = round(time.time() * 1000) - (OLDER + 60) * 1000
    kit = kit_for(ends, broker, "kit-3f2a")
    for third in range(3):
        if third == 1:
            until(lambda: len(heard(influx, kit.name)) > OLDER // 4, why=hub.errors)  # it was at work
            influx.kill()
        if third == 2:
            until(lambda: "did not take the readings" in hub.errors(), why=hub.errors)
            influx.start()
        kit.tell_older(OLDER // 3)
        hub.ask("/api/v1/marks", {"kind": "door", "open": third != 1})
        time.sleep(THIRD_S)
    hub.ask("/api/v1/marks", {"kind": "pulled", "chub": 1, "core_degC": 67.2, "probe": "stays"})
    kit.finish()
    sent = {seq: kit.core_degC(seq) for seq in kit.sent}
    assert len(sent) >= OLDER + 3 * 0.5 * THIRD_S / 0.2
    assert rows(hub) == [(kit.name, seq) for seq in sorted(sent)]
    until(lambda: len(heard(influx, kit.name)) >= len(sent), RETRY_S, hub.errors)
    assert heard(influx, kit.name) == sent
    until(lambda: "works again" in hub.errors(), why=hub.errors)
    assert kit.permits, "the hub never permitted heat, so nothing says that its targets are a cook's"
    asked = 0
    for board, query in boards.queries():
        full = boards.filled(query, kit.name, hub.batch(), began_ms, round(time.time() * 1000) + 1000)
        assert boards.values(influx.query(full)), f"{board}: no rows for {query}"
        asked += 1
    assert asked >= 17
    assert influx.query('SELECT "no_such" FROM "probe"') == []  # so the test above can fail


def test_two_hubs_at_one_broker_and_one_database_keep_to_their_own_kits(ends, influx, tmp_path):
    houses = {"hub-a": "kit-a", "hub-b": "kit-b"}
    broker = broker_for(ends, tmp_path, {user: [kit] for user, kit in houses.items()})
    hubs = [
        hub_for(ends, tmp_path / user, broker, user, kit, influx.url, user == "hub-a") for user, kit in houses.items()
    ]
    kits = [kit_for(ends, broker, kit, 40.0 + 5.0 * n) for n, kit in enumerate(houses.values())]
    for kit in kits:
        kit.tell_older(OLDER)
    until(lambda: all(kit.permits for kit in kits), why=lambda: hubs[0].errors() + hubs[1].errors())
    for kit in kits:
        kit.finish()
    for hub, kit in zip(hubs, kits, strict=True):
        with closing(sqlite3.connect(f"file:{hub.record}?mode=ro", uri=True)) as base:
            (name,) = base.execute("SELECT hub_id FROM hub").fetchone()
        assert {permit["hub"] for permit in kit.permits} == {name}
        assert rows(hub) == [(kit.name, seq) for seq in sorted(kit.sent)]
        sent = {seq: kit.core_degC(seq) for seq in kit.sent}
        until(lambda kit=kit, sent=sent: len(heard(influx, kit.name)) >= len(sent), RETRY_S, hub.errors)
        assert heard(influx, kit.name) == sent
        assert "is not this hub's" not in str(hub.ask("/api/v1/now"))
    for board, query in boards.queries():
        if query.startswith("SHOW TAG VALUES") and '"kit"' in query:
            assert set(boards.values(influx.query(query))) == set(houses.values()), board
    # The second hub's account, turned against the first one's kit; the broker takes the account for the hub itself.
    answers: list[str] = []
    foreign = broker.client("hub-b")
    foreign.on_publish = lambda _client, _data, _mid, reason, _properties: answers.append(str(reason))
    foreign.connect("127.0.0.1", broker.port)
    foreign.loop_start()
    stop = messages.encode_stop({"v": 1, "hub": "c01d0001", "boot": kits[0].boot, "seq": 1})
    for kit in kits:
        foreign.publish(topics.stop_set(kit.name), stop, 1)
    until(lambda: len(answers) == 2)
    assert answers == ["Not authorized", "Success"]
    until(lambda: kits[1].stops == [stop])  # so a stop does arrive where the rights allow it
    until(lambda: "took this one's place" in str(hubs[1].ask("/api/v1/now")), why=hubs[1].errors)
    foreign.disconnect()
    foreign.loop_stop()
    assert kits[0].stops == []
    assert "took this one's place" not in str(hubs[0].ask("/api/v1/now"))
