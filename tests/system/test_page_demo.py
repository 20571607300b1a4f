"""The page over a real demo: broker, the kit's firmware, hub and browser together, for some minutes of a cook."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.system


@pytest.fixture
def demo() -> Iterator[str]:
    """A demo a hundred times as fast as life; gives its address."""
    program = [sys.executable, "-m", "fiftyover", "demo", "--speed", "100", "--port", "0"]
    with subprocess.Popen(program, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        try:
            assert process.stdout is not None
            line = process.stdout.readline()
            assert "http://" in line, line
            yield line.split()[-1]
        finally:
            process.send_signal(signal.SIGINT)
            try:
                process.communicate(timeout=20)
            except subprocess.TimeoutExpired:
                process.kill()


@pytest.fixture
def page() -> Iterator[Any]:
    """One browser page; what goes wrong in its scripts fails the test."""
    chromium = shutil.which("chromium")
    if chromium is None:
        if os.environ.get("CI") == "true":
            pytest.fail("Chromium is not installed: tests/run installs it as root.")
        pytest.skip("Chromium is not installed (apt-get install chromium)")
    from playwright.sync_api import sync_playwright

    wrong: list[str] = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        one = browser.new_page(viewport={"width": 360, "height": 780})
        one.on("pageerror", lambda fault: wrong.append(str(fault)))
        yield one
        if picture := os.environ.get("FIFTYOVER_PICTURE"):  # to look at
            one.screenshot(path=Path(picture), full_page=True)
        browser.close()
    assert wrong == []


def test_demo_is_seen_on_a_phone_as_it_cooks(demo: str, page: Any) -> None:
    page.goto(demo)
    page.wait_for_selector("#rack .chub", timeout=25000)
    assert page.locator("#rack .chub").count() == 8
    assert "simulated" in page.text_content("#link")
    first = _heights(page)
    ends = time.monotonic() + 40.0
    while not (_heights(page)[0] > first[0] + 5 and page.query_selector("#chart canvas") and _chamber_degF(page) > 90):
        assert time.monotonic() < ends, (first, _heights(page), page.text_content("main"))
        page.wait_for_timeout(500)
    assert re.fullmatch(r"\d+ °F", page.text_content("#chamber"))
    page.click("#stop")
    page.wait_for_selector("#said >> text=Stopped.")
    page.wait_for_selector("#do >> text=Heat again")
    page.wait_for_timeout(750)
    page.click("#do")
    page.wait_for_selector("#said >> text=Heat may go on.")


def _chamber_degF(page: Any) -> int:
    found = re.fullmatch(r"(\d+) °F", page.text_content("#chamber"))
    return int(found[1]) if found else 0


def _heights(page: Any) -> list[float]:
    found: list[float] = page.eval_on_selector_all(
        "#rack .filling", "all => all.map(e => Number(e.getAttribute('height')))"
    )
    return found or [0.0]
