"""`fiftyover demo` as it is typed: the address first, lines of progress, and a closing table whenever it ends."""

import re
import signal
import subprocess
import sys
import urllib.request

import pytest

pytestmark = pytest.mark.system


def test_demo_says_its_address_first_then_progress_and_ends_with_the_table(tmp_path, micropython, part):
    part("mosquitto")
    command = [sys.executable, "-m", "fiftyover", "demo", "--port", "0", "--keep", str(tmp_path / "kept")]
    demo = subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        first = demo.stdout.readline()
        address = re.fullmatch(r"The page: (http://127\.0\.0\.1:\d+/)\n", first)
        assert address, first
        progress = demo.stdout.readline()  # the first after ten seconds
        assert re.match(r"\d+:\d\d  chamber \d+ °F  target \d+ °F .* out 0 of 8  permits run out \d+", progress), (
            progress
        )
        page = urllib.request.urlopen(address.group(1), timeout=10).read().decode()
        assert "Pork and beef with garlic and mustard seed" in page
    finally:
        demo.send_signal(signal.SIGINT)
        rest, _ = demo.communicate(timeout=30)
    assert demo.returncode == 1, "the chubs are not out"
    assert "Traceback" not in rest
    assert re.search(r"chub +line +place +probe +called +pulled +true core", rest)
    assert len(re.findall(r"slim .*outside its band", rest)) == 8
    probes = re.findall(r"slim .* (\d+|none) +\S+ +\S+ +\S+(?: °F)?  outside its band", rest)
    assert "1" not in probes, "1 is the chamber's"
    assert "2" in probes
    assert re.search(r"peak memory hub \d+ MiB, kit [\d.]+ MiB \(MicroPython\)", rest)
    assert "The simulated smoker stands on our own study" in rest
    assert not (tmp_path / "kept" / "broker" / "mosquitto.pid").exists(), "the broker has ended too"
