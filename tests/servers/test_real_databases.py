"""What the store hands out, written to real servers: an outage in the middle of a lot leaves every row once."""

import time
import urllib.request

import pytest

from fiftyover.batch.events import Event
from fiftyover.clock import VirtualClock
from fiftyover.influx.backfill import Span, backfill
from fiftyover.influx.sender import Sender
from fiftyover.influx.server import NotTakenError, Server
from fiftyover.settings import InfluxSettings
from fiftyover.store import DatedFrame, Reader, Store
from servers.chain import until

KIT, BOOT, BATCH = "kit-3f2a", "9f3c1a02b7e4", "7f2c"
START_MS = int(time.time()) * 1000 - 3_600_000
COOK = 3000

pytestmark = pytest.mark.system


@pytest.fixture
def store(tmp_path):
    made = Store(tmp_path / "record.sqlite", VirtualClock(0.0, START_MS), reserve_bytes=0)
    yield made
    made.close()


def settings(server, **given) -> InfluxSettings:
    return InfluxSettings(**{"url": server.url, "bucket": "fiftyover", "timeout_s": 5.0, **given})


def record(store: Store, first: int, count: int) -> None:
    store.add_frames(
        DatedFrame(
            KIT, BOOT, n, n * 1000 % 2**30, START_MS + n * 1000, float(n),
            [80.0 + n / 1000, 40.0 + n / 100, None], ["ok", "ok", "open"], n % 2, 0.5, "on", True,
        )
        for n in range(first, first + count)
    )  # fmt: skip
    store.add_target(KIT, START_MS + first * 1000, 71.0)
    store.add_event(BATCH, Event("called", first, START_MS + first * 1000, {"chub": 1 + first % 3, "core_degC": 66.9}))
    store.commit()


def an_outage_in_the_middle_third(store, server) -> Sender:
    sender = Sender(store.path, Server(settings(server)), lambda _: None, back_off_s=(0.1, 0.5))
    sender.start()
    for first in range(0, COOK, 100):
        if first == COOK // 3:
            until(lambda: sender.sent > 100)  # it is at work, and may be cut in the middle of a lot
            server.kill()
        if first == 2 * COOK // 3:
            until(lambda: sender.failures)
            server.start()
        record(store, first, 100)
    looks = sender.looks
    until(lambda: sender.looks > looks + 1)  # a look that found nothing left began after the last row
    sender.stop()
    assert sender.failures > 0
    return sender


def test_influx_killed_for_the_middle_third_has_every_row_once(store, influx):
    an_outage_in_the_middle_third(store, influx)
    (rows,) = influx.query('SELECT "temperature_degC" FROM "probe" WHERE "probe" = \'probe-2\'')
    assert len(rows["values"]) == COOK
    assert [row[1] for row in rows["values"]] == [40.0 + n / 100 for n in range(COOK)]
    (rows,) = influx.query('SELECT "seq" FROM "heater"')
    assert [row[1] for row in rows["values"]] == list(range(COOK))
    (rows,) = influx.query('SELECT "number" FROM "event"')
    assert [row[1] for row in rows["values"]] == list(range(1, COOK // 100 + 1))


def test_victoria_killed_for_the_middle_third_has_every_row_once(store, victoria):
    an_outage_in_the_middle_third(store, victoria)
    urllib.request.urlopen(f"{victoria.url}/internal/force_flush", timeout=10).close()
    wanted = [(START_MS + n * 1000, 40.0 + n / 100) for n in range(COOK)]
    until(lambda: len(victoria.series("probe_temperature_degC").get("probe-2", [])) >= COOK)
    found = victoria.series("probe_temperature_degC")["probe-2"]
    assert sorted((utc_ms, round(degC, 2)) for utc_ms, degC in found) == [(ms, round(degC, 2)) for ms, degC in wanted]


def test_a_wrong_bucket_and_a_field_of_another_type_are_named(influx):
    server = Server(settings(influx, bucket="nowhere"))
    with pytest.raises(NotTakenError, match="has no bucket nowhere"):
        server.write(["heater,kit=a duty=0.5 1000"])
    server.close()
    server = Server(settings(influx))
    server.write(["heater,kit=a duty=1i 1000"])  # as some other program may have
    with pytest.raises(NotTakenError, match="with another type"):
        server.write(["heater,kit=a duty=0.5 2000"])
    server.close()


def test_readings_beyond_the_retention_are_told_apart(influx):
    influx.command("CREATE RETENTION POLICY short ON fiftyover DURATION 1h REPLICATION 1 DEFAULT")
    server = Server(settings(influx))

    def write_until_refused():
        for second in range(10):  # the server takes a moment to hold to a new policy
            server.write([f"heater,kit=a duty=0.5 {1000 * (second + 1)}"])
            time.sleep(0.5)

    with pytest.raises(NotTakenError) as caught:
        write_until_refused()
    assert caught.value.too_old
    server.close()


def test_a_backfill_run_twice_leaves_every_row_once(store, influx):
    record(store, 0, 1200)
    server = Server(settings(influx))
    reader = Reader(store.path, store.clock.utc_zero_ms, "x")
    seen = []
    for _ in range(2):
        span = Span(BATCH, KIT, START_MS, START_MS + 1_200_000)
        assert backfill(reader, span, server, lambda rows, about: seen.append((rows, about))) == 1202
    server.close()
    reader.close()
    assert seen[:3] == [(500, 1202), (1000, 1202), (1202, 1202)]
    (rows,) = influx.query('SELECT count("seq") FROM "heater"')
    assert rows["values"][0][1] == 1200
