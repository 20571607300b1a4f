"""What the page costs: bytes and time of the first view, a day's curves, twenty open pages."""

from __future__ import annotations

import random
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
import psutil
import pytest

from fiftyover.store import DatedFrame
from hub.web.smokehouse import KIT, Smokehouse, plan_of

KIB = 1024
PAGES = 20
WATCHED_S = 6.0


def test_first_view_is_small_and_soon(cooking: Smokehouse, tab: Callable[..., Any]) -> None:
    page = tab()
    counted: dict[str, float] = {}
    wire = page.context.new_cdp_session(page)
    wire.send("Network.enable")
    wire.on("Network.dataReceived", lambda e: counted.update({e["requestId"]: counted.get(e["requestId"], 0.0)}))
    wire.on("Network.loadingFinished", lambda e: counted.update({e["requestId"]: e["encodedDataLength"]}))
    page.goto(cooking.address)
    page.wait_for_selector("#chart canvas")
    painted_ms = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    drawn_ms = page.evaluate("performance.now()")
    size = sum(counted.values()) / KIB
    print(
        f"first view {size:.0f} KiB over the wire, first paint {painted_ms:.0f} ms, curves drawn by {drawn_ms:.0f} ms"
    )
    assert 20 < size <= 150
    assert painted_ms <= 1000
    assert page.text_content("#chamber") != "–"


@pytest.fixture
def day_long(smokehouse: Callable[..., Smokehouse]) -> Smokehouse:
    """A batch of twelve probed chubs, a day old, a frame every ten seconds."""
    house = smokehouse()
    house.hang(plan_of(chubs=12, probes=12))
    from_ms, from_s = house.clock.utc_ms(), house.clock.monotonic_s()
    frames = []
    noise = random.Random(4)  # so that nothing is small only because it repeats
    for number in range(1, 8640):
        t = [round(noise.gauss(20.0 + number / 200 + channel, 1.5), 2) for channel in range(13)]
        ms = number * 10_000
        at_s = from_s + ms / 1000
        frames.append(
            DatedFrame(KIT, "0123456789ab", number, ms, from_ms + ms, at_s, t, ["ok"] * 13, 1, 0.5, "on", True)
        )
    house.store.add_frames(frames)
    house.store.commit()
    house.clock.advance(86_400.0)
    house.show()
    return house


def test_curves_of_a_day_are_quick_and_small(day_long: Smokehouse) -> None:
    took, size = [], 0
    with httpx.Client(base_url=day_long.address) as client:
        for points in (400, 399, 398, 397, 396):  # each asks the record anew
            with client.stream("GET", f"/history?points={points}") as answer:
                size = len(b"".join(answer.iter_raw()))
                told = answer
            began = time.perf_counter()
            day_long.hub.history(points)
            took.append((time.perf_counter() - began) * 1000)
        assert told.headers["content-encoding"] == "gzip"
        curves = client.get("/history?points=400").json()
    assert len(curves["curves"]) == 14
    assert 300 < len(curves["t"]) <= 400
    took.sort()
    print(f"24 h of 13 channels: {took[len(took) // 2]:.0f} ms, {size / KIB:.0f} KiB over the wire")
    assert took[len(took) // 2] <= 100
    assert size <= 60 * KIB


def test_day_of_twelve_chubs_is_drawn(day_long: Smokehouse, tab: Callable[..., Any]) -> None:
    page = tab(day_long.address)
    page.wait_for_selector("#chart canvas")
    assert int(page.get_attribute("html", "data-curves")) > 300
    assert page.locator("#rack .chub").count() == 12


@pytest.fixture
def busy(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The page in its own process, so that only its own time is counted."""
    program = [sys.executable, str(Path(__file__).with_name("busy_page.py")), str(tmp_path)]
    with subprocess.Popen(program, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            yield process, process.stdout.readline().strip()
        finally:
            process.kill()


def test_twenty_open_pages_take_little_of_a_core(busy: tuple[subprocess.Popen[str], str]) -> None:
    process, address = busy
    where = urlsplit(address)
    watched = psutil.Process(process.pid)
    alone = _share(watched)
    streams = []
    try:
        for _ in range(PAGES):
            one = socket.create_connection((where.hostname, where.port), 5)
            one.sendall(f"GET /live HTTP/1.1\r\nHost: {where.netloc}\r\n\r\n".encode())
            streams.append(one)
        with httpx.Client(base_url=address) as client:
            for _ in range(PAGES):
                client.get("/history?points=400")
        share = _share(watched)
        events = [one.recv(1 << 20).count(b"data: ") for one in streams]
    finally:
        for one in streams:
            one.close()
    print(f"share of a core: {share:.1%} with {PAGES} pages open, {alone:.1%} with none")
    assert min(events) >= WATCHED_S / 2  # they really were served
    assert share < 0.10


def _share(process: psutil.Process) -> float:
    """Share of one core that a process takes over some seconds."""
    before = sum(process.cpu_times()[:2])
    time.sleep(WATCHED_S)
    return (sum(process.cpu_times()[:2]) - before) / WATCHED_S
