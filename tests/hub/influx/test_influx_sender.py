"""The copy to a database: every way the server can fail is said once, tried again, and loses nothing."""

import logging
import threading
import time
from collections.abc import Iterator
from email.utils import formatdate
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from fiftyover.batch.events import Event
from fiftyover.clock import VirtualClock
from fiftyover.errors import HubError, SettingsError
from fiftyover.influx.copy import copying
from fiftyover.influx.sender import Sender
from fiftyover.influx.server import NotTakenError, Server
from fiftyover.settings import InfluxSettings
from fiftyover.store import DatedFrame, Store

TOKEN = "s3cret-token-of-the-test"
KIT, BOOT, ZERO_MS = "kit-3f2a", "9f3c1a02b7e4", 1_764_028_800_000


class Stand:
    """A server that answers as it is told to, and keeps what it took."""

    def __init__(self) -> None:
        self.code, self.body, self.garbage, self.delay_s, self.ahead_s = 204, b"", False, 0.0, 0.0
        self.asked: list[tuple[str, str]] = []
        self.lines: list[str] = []
        stand = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                stand.asked.append((self.path, self.headers["Authorization"]))
                time.sleep(stand.delay_s)
                if stand.garbage:
                    self.wfile.write(b"\x00\xffthis is no HTTP\r\n\r\n")
                    self.close_connection = True
                    return
                if stand.code == 204:
                    stand.lines += body.decode().splitlines()
                self.send_response_only(stand.code)
                self.send_header("Date", formatdate(time.time() + stand.ahead_s, usegmt=True))
                self.send_header("Content-Length", str(len(stand.body)))
                self.end_headers()
                self.wfile.write(stand.body)

            def log_message(self, *_: object) -> None:
                pass

        self.http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.http.server_address[1]}"
        threading.Thread(target=self.http.serve_forever, daemon=True).start()


@pytest.fixture
def stand() -> Iterator[Stand]:
    made = Stand()
    yield made
    made.http.shutdown()
    made.http.server_close()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    made = Store(tmp_path / "record.sqlite", VirtualClock(0.0, ZERO_MS), reserve_bytes=0)
    yield made
    made.close()


def settings(stand: Stand, tmp_path: Path, **given: object) -> InfluxSettings:
    file = tmp_path / "token"
    file.write_text(TOKEN + "\n")
    return InfluxSettings(**{"url": stand.url, "token_file": file, "timeout_s": 3.0, **given})  # type: ignore[arg-type]


def record(store: Store, first: int, count: int) -> None:
    store.add_frames(
        DatedFrame(KIT, BOOT, n, n * 1000, ZERO_MS + n * 1000, n, [80.0, None], ["ok", "open"], 1, 0.5, "on", True)
        for n in range(first, first + count)
    )
    store.commit()


def until(true, seconds: float = 10.0) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it did not come"
        time.sleep(0.01)


def heaters(stand: Stand) -> list[str]:
    return [line for line in stand.lines if line.startswith("heater")]


def test_what_is_recorded_arrives_in_the_written_form(stand, store, tmp_path):
    with copying(settings(stand, tmp_path), store.path, lambda _: None) as sender:
        record(store, 0, 1)
        store.add_target(KIT, ZERO_MS, 71.0)
        store.add_target(KIT, ZERO_MS + 1, None)
        store.add_event("7f2c", Event("called", 1.0, ZERO_MS + 2, {"chub": 2, "core_degC": 66.9, "note": "ours, only"}))
        store.commit()
        until(lambda: sender.sent == 4)
    assert stand.lines == [
        f"probe,kit=kit-3f2a,probe=probe-1 temperature_degC=80.0,status=0.0 {ZERO_MS}",
        f"probe,kit=kit-3f2a,probe=probe-2 status=1.0 {ZERO_MS}",
        f"heater,kit=kit-3f2a element_on=1.0,duty=0.5,why=0.0,seq=0.0 {ZERO_MS}",
        f"target,kit=kit-3f2a target_degC=71.0,wanted=1.0 {ZERO_MS}",
        f"target,kit=kit-3f2a wanted=0.0 {ZERO_MS + 1}",
        f"event,batch=7f2c,chub=2,kind=called number=1.0,core_degC=66.9 {ZERO_MS + 2}",
    ]
    path, authorization = stand.asked[0]
    assert path.startswith("/api/v2/write?")
    assert "bucket=fiftyover" in path
    assert "precision=ms" in path
    assert authorization == f"Token {TOKEN}"


FAULTS = {
    "wrong token": ({"code": 401, "body": b'{"message":"unauthorized access"}'}, "does not accept the token"),
    "wrong bucket": ({"code": 404, "body": b'{"message":"bucket \\"x\\" not found"}'}, "has no bucket fiftyover"),
    "field conflict": (
        {"code": 422, "body": b'{"message":"field type conflict: input field duty is integer"}'},
        "with another type",
    ),
    "server error": ({"code": 503, "body": b"<html>" + TOKEN.encode() + b"\x00 busy"}, "code 503"),
    "slow": ({"delay_s": 0.8}, "no answer in time"),
    "garbage": ({"garbage": True}, "is no HTTP"),
    "another web server": ({"code": 200, "body": b"<html>It works</html>"}, "answers like something else"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_said_once_tried_again_and_loses_nothing(stand, store, tmp_path, caplog, name):
    caplog.set_level(logging.DEBUG)
    wrong, says = FAULTS[name]
    for key, value in wrong.items():
        setattr(stand, key, value)
    told: list[str | None] = []
    timeout_s = 0.5 if name == "slow" else 5.0
    sender = Sender(
        store.path, Server(settings(stand, tmp_path, timeout_s=timeout_s)), told.append, back_off_s=(0.02, 0.1)
    )
    sender.start()
    record(store, 0, 3)
    until(lambda: sender.failures >= 3)
    record(store, 3, 3)
    assert len(told) == 1
    assert says in told[0]
    stand.lines.clear()  # of a slow server: taken, but it never said so
    stand.code, stand.body, stand.garbage, stand.delay_s = 204, b"", False, 0.0
    until(lambda: sender.sent == 6)
    until(lambda: told[-1] is None)
    sender.stop()
    assert len(told) == 2
    assert len(set(heaters(stand))) == 6
    assert TOKEN not in caplog.text
    assert TOKEN not in str(told)


def test_waits_grow_to_the_longest(stand, store, tmp_path):
    stand.code = 500
    sender = Sender(store.path, Server(settings(stand, tmp_path)), lambda _: None, back_off_s=(0.05, 0.4))
    sender.start()
    record(store, 0, 1)
    until(lambda: sender.failures)
    time.sleep(1.2)
    tries = sender.failures
    sender.stop()
    assert 3 <= tries <= 7  # after 0, 0.05, 0.15, 0.35, 0.75, 1.15 s; without back-off about 25


def test_a_server_that_was_away_gets_everything_after_a_restart_of_the_hub(stand, store, tmp_path):
    stand.code = 503
    with copying(settings(stand, tmp_path), store.path, lambda _: None) as sender:
        record(store, 0, 700)
        until(lambda: sender.failures)
    record(store, 700, 700)  # the hub records, nobody sends
    stand.code = 204
    with copying(settings(stand, tmp_path), store.path, lambda _: None) as sender:
        until(lambda: sender.sent == 1400)
    assert [line.split()[1].split("seq=")[1] for line in heaters(stand)] == [f"{n}.0" for n in range(1400)]


def test_readings_older_than_the_server_keeps_are_counted_not_stuck(stand, store, tmp_path, caplog):
    stand.code, stand.body = 422, b'{"message":"partial write: points beyond retention policy dropped=4"}'
    sender = Sender(store.path, Server(settings(stand, tmp_path)), lambda _: None, back_off_s=(0.02, 0.1))
    sender.start()
    record(store, 0, 4)
    until(lambda: sender.too_old == 4)
    stand.code = 204
    record(store, 4, 2)
    until(lambda: sender.sent == 2)
    sender.stop()
    assert "older than it keeps" in caplog.text
    assert "4 rows were passed over" in caplog.text


def test_clocks_that_are_apart_are_told(stand, store, tmp_path):
    stand.ahead_s = 86_400.0
    told: list[str | None] = []
    with copying(settings(stand, tmp_path), store.path, told.append):
        record(store, 0, 1)
        until(lambda: told)
    assert "86400 s behind the database's" in told[0] or "86399 s behind" in told[0]


def test_no_token_file_is_one_sentence_at_the_start(stand, store, tmp_path):
    missing = settings(stand, tmp_path, token_file=tmp_path / "none")
    with pytest.raises(SettingsError, match=r"token file .* cannot be read"), copying(missing, store.path, print):
        pass


def test_without_an_address_nothing_is_copied(store):
    with copying(InfluxSettings(), store.path, lambda _: None) as sender:
        assert sender is None


def test_nobody_listening_is_told(tmp_path):
    file = tmp_path / "token"
    file.write_text(TOKEN)
    server = Server(InfluxSettings(url="http://127.0.0.1:9", token_file=file, timeout_s=1.0))
    with pytest.raises(NotTakenError, match="cannot be reached"):
        server.write(["a b=1.0 1"])
    server.close()
    assert issubclass(NotTakenError, HubError)


def test_what_a_killed_server_lost_of_the_last_minute_is_sent_again(stand, store, tmp_path):
    sender = Sender(store.path, Server(settings(stand, tmp_path)), lambda _: None, back_off_s=(0.02, 0.1))
    sender.start()
    record(store, 0, 5)
    until(lambda: sender.sent == 5)
    stand.lines.clear()  # acknowledged, and gone with the server
    stand.code = 503
    record(store, 5, 1)
    until(lambda: sender.failures)
    stand.code = 204
    until(lambda: len(set(heaters(stand))) == 6)
    sender.stop()


def test_the_cursor_follows_once_a_lot_has_settled(stand, store, tmp_path, monkeypatch):
    monkeypatch.setattr("fiftyover.influx.sender.SETTLE_S", 0.2)
    sender = Sender(store.path, Server(settings(stand, tmp_path)), lambda _: None)
    sender._outbox.sign_in()
    record(store, 0, 5)
    assert sender.step()
    assert sender.waiting() == 5
    time.sleep(0.25)
    assert not sender.step()
    assert sender.waiting() == 0
    sender.stop()
