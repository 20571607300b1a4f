"""What a person or a wire gets wrong: a sentence that names the thing and the remedy, exit 2, and the rest goes on."""

import contextlib
import json
import os
import re
import resource
import signal
import socket
import subprocess
import sys
import time
import urllib.request

import paho.mqtt.client as paho
import pytest

from fiftyover.broker import accounts
from fiftyover.broker.child import ACCOUNTS, ChildBroker
from fiftyover.rehearse.kit_process import KitOptions, KitProcess
from fiftyover_kit.contract import messages

pytestmark = pytest.mark.system

KIT, BOOT = "kit-3f2a", "9f3c1a02b7e4"


def start(folder, *words, **more):
    """Start the command line as a person does."""
    command = [sys.executable, "-m", "fiftyover", *words]
    return subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more)


def refused(folder, *words, **more):
    """What it says when it refuses: exit 2, no traceback, one sentence at the end."""
    process = start(folder, *words, **more)
    try:
        _, told = process.communicate(timeout=60)
    except subprocess.TimeoutExpired:
        process.kill()
        raise AssertionError(f"went on: {process.communicate()}") from None
    assert process.returncode == 2, told
    assert "Traceback" not in told
    last = told.strip().splitlines()[-1]
    assert last.startswith(f"fiftyover {words[0]}: "), told
    return last


def settings(folder, text):
    (folder / "hub.toml").write_text(text)
    return "serve", "--settings", str(folder / "hub.toml")


@pytest.fixture
def taken_port():
    """A port on which another program listens."""
    with socket.create_server(("127.0.0.1", 0)) as other:
        yield other.getsockname()[1]


def free_port():
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return trial.getsockname()[1]


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("[broker]\nhots = 'hub.local'\n", ["[broker] hots", "did you mean host"]),
        ("[brokr]\nhost = 'hub.local'\n", ["[brokr]", "did you mean broker"]),
        ("[broker]\nuser = 'hub'\n", ["user is given without password_file"]),
        ("[broker]\nport = 99999\n", ["[broker] port = 99999", "between 0 and 65535"]),
        ("[web\n", ["hub.toml is not TOML", "mend that line"]),
        ("[web]\nhost = '0.0.0.0'\n", ["run `fiftyover setup` first"]),
    ],
)
def test_wrong_line_of_the_hubs_settings(tmp_path, text, named):
    told = refused(tmp_path, *settings(tmp_path, text))
    for words in named:
        assert words in told


def test_settings_file_that_is_not_there(tmp_path):
    told = refused(tmp_path, "serve", "--settings", "elsewhere.toml")
    assert "no settings file elsewhere.toml" in told
    assert "fiftyover setup" in told


@pytest.mark.parametrize(
    ("text", "named"),
    [
        (None, "There is no batch file batch.toml"),
        ("name = 'x'\nchubbs = []\n", "The plan's chub"),
        ("name = 'x'\nchubs = [{number = 1, diameter_mm = 45.0, probe = 0}]\n", "chubs.0.probe"),
        ("name = 'x'\nchubs = [{number = 1, diameter_mm = 450.0}]\n", "The diameter of chub 1 is 450"),
        ("name = \n", "batch.toml cannot be read"),
    ],
)
def test_wrong_batch_file(tmp_path, text, named):
    if text is not None:
        (tmp_path / "batch.toml").write_text(text)
    assert named in refused(tmp_path, "serve", "--batch", "batch.toml")


def test_broker_that_cannot_be_reached(tmp_path):
    port = free_port()
    told = refused(tmp_path, *settings(tmp_path, f"[broker]\nport = {port}\n[web]\nport = 0\n"))
    assert f"the broker at 127.0.0.1:{port} cannot be reached" in told
    assert "is it running, and are host and port right" in told


def test_wrong_password_of_the_broker(tmp_path, part):
    part("mosquitto")
    broker = ChildBroker("mosquitto", tmp_path / "broker", accounts.fresh(KIT))
    port = broker.start().port
    try:
        (tmp_path / "secret").write_text("not the password\n")
        text = f"[broker]\nport = {port}\nuser = 'hub'\npassword_file = 'secret'\n[web]\nport = 0\n"
        told = refused(tmp_path, *settings(tmp_path, text))
    finally:
        broker.stop()
    assert "name or password is wrong; check user and password_file" in told
    assert "not the password" not in told


def test_port_of_the_page_in_use(tmp_path, taken_port):
    told = refused(tmp_path, *settings(tmp_path, f"[broker]\nchild = true\nport = 0\n[web]\nport = {taken_port}\n"))
    assert f"The page's port {taken_port} is in use" in told
    assert "choose another port" in told


def test_port_of_the_hubs_own_broker_in_use(tmp_path, part, taken_port):
    part("mosquitto")
    told = refused(tmp_path, *settings(tmp_path, f"[broker]\nchild = true\nport = {taken_port}\n[web]\nport = 0\n"))
    assert f"port {taken_port}" in told
    assert "in use by another program" in told


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["--speed", "0"], "between 1 and 200"),
        (["--port", "70000"], "between 0 and 65535"),
        (["--keep", "a-file/below"], "a-file"),
    ],
)
def test_wrong_option_of_the_demo(tmp_path, words, named):
    (tmp_path / "a-file").write_text("")
    assert named in refused(
        tmp_path, "demo", "--until-done", *(["--port", "0"] if "--port" not in words else []), *words
    )


def test_port_of_the_demos_page_in_use(tmp_path, taken_port):
    assert f"port {taken_port} is in use" in refused(tmp_path, "demo", "--port", str(taken_port))


def test_record_of_another_demo_is_not_gone_on_with(tmp_path):
    (tmp_path / "demo.sqlite").write_text("")
    assert "name another folder" in refused(tmp_path, "demo", "--port", "0", "--keep", str(tmp_path))


@pytest.fixture
def full_disk(tmp_path):
    """A folder on a disk without a free block, where one can be mounted; else None."""
    folder = tmp_path / "disk"
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=64k", "fiftyover-test", str(folder)]
    try:
        mounted = subprocess.run(command, capture_output=True, timeout=20, check=False).returncode == 0
    except OSError:
        mounted = False
    if mounted:
        with contextlib.suppress(OSError), open(folder / "filler", "wb", buffering=0) as out:
            while out.write(b"x" * 512):
                pass
    yield folder if mounted else None
    if mounted:
        subprocess.run(["umount", "-l", str(folder)], check=True, timeout=20)


def test_full_disk_at_the_start(tmp_path, full_disk):
    folder = full_disk or tmp_path
    text = f"[broker]\nchild = true\nport = 0\n[web]\nport = 0\n[store]\npath = '{folder / 'record.sqlite'}'\n"

    def no_room():  # without a disk of our own: no file may grow
        resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))

    told = refused(tmp_path, *settings(tmp_path, text), preexec_fn=None if full_disk else no_room)
    assert str(folder / "record.sqlite") in told
    assert re.search("the disk is full; free some space|the disk reports an error; check the disk|cannot be made", told)


def kit_settings(**changed):
    curve = {"points": [[0, 32650.0], [50, 3602.0], [100, 678.0]]}
    channel = {"series_ohm": 10000, "thermistor": curve, "calibrated": True}
    good = {
        "kit": KIT,
        "relay": "solid-state",
        "wifi": None,
        "broker": {"host": "127.0.0.1", "port": 9, "user": "", "password": "", "tls": False, "ca": ""},
        "pins": {"relay": 2, "button": 3, "sounder": 4, "lamp": 5, "adc": [26], "mux": [10, 11]},
        "channels": [{"input": 0, **channel}, {"input": 1, **channel}],
    }
    return {key: value for key, value in {**good, **changed}.items() if value is not Ellipsis}


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"relais": "solid-state"}, "'relais' is not a key, did you mean 'relay'?"),
        ({"broker": ...}, "'broker' is missing"),
        ({"cap_degC": 120}, "must not be over 107.2"),
        (
            {
                "channels": [
                    {"input": 0, "series_ohm": 10000, "thermistor": {"betta": [1e4, 3950]}, "calibrated": True}
                ]
                * 2
            },
            "'betta' is no kind, did you mean 'beta'?",
        ),
    ],
)
def test_wrong_settings_of_the_kit(micropython, changed, named):
    kit = KitProcess(KitOptions(kit_settings(**changed), plant_port=9))
    try:
        kit.start()
        until_s = time.monotonic() + 20
        while kit.alive() and time.monotonic() < until_s:
            time.sleep(0.05)
        told = " ".join(kit.log_tail())
        assert not kit.alive()
    finally:
        kit.close()
    assert "The kit does not start:" in told
    assert named in told
    assert "Traceback" not in told


class Running:
    """A hub that serves, and a kit's own account at its broker."""

    def __init__(self, folder):
        self.folder = folder
        secrets = accounts.kept(folder / "broker" / ACCOUNTS, KIT, "kit-9")
        self.port = free_port()
        text = f"[broker]\nchild = true\nport = {self.port}\n[web]\nport = 0\n[kit]\nid = '{KIT}'\n"
        self.process = start(folder, *settings(folder, text))
        self.page = self.process.stdout.readline().split()[-1]
        self.clients = {user: self._client(user, accounts.secret_of(secrets, user)) for user in (KIT, "kit-9")}
        self.acks = []

    def _client(self, user, secret):
        client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id=user)
        client.username_pw_set(user, secret)
        client.on_message = lambda _client, _data, message: self.acks.append(messages.decode_ack(message.payload))
        client.on_connect = lambda *_: client.subscribe(f"homie/5/{user}/frame/ack/set", 1)
        client.connect("127.0.0.1", self.port)
        client.loop_start()
        return client

    def publish(self, rest, payload, user=KIT):
        self.clients[user].publish(f"homie/5/{user}/{rest}", payload, 1).wait_for_publish(10)

    def shown(self):
        """The newest snapshot of the page."""
        with urllib.request.urlopen(self.page + "live", timeout=10) as stream:
            for line in stream:
                if line.startswith(b"data: "):
                    return json.loads(line[6:])
        raise AssertionError("the page's stream ended")

    def told(self, words, limit_s=10.0):
        """Wait until the page says these words."""
        until_s = time.monotonic() + limit_s
        while words not in (told := " | ".join(alarm["text"] for alarm in self.shown()["alarms"])):
            assert time.monotonic() < until_s, f"{words!r} is not in {told!r}"
            time.sleep(0.1)

    def stop(self):
        for client in self.clients.values():
            client.disconnect()
            client.loop_stop()
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        out, err = self.process.communicate(timeout=30)
        return self.process.returncode, out + err


def sample(seq, **given):
    frame = {"v": 1, "boot": BOOT, "seq": seq, "up": 1000 * seq, "t": [60.0, 20.0], "s": ["ok", "ok"], "on": 0}
    frame |= {"duty": 0.0, "why": "off", "left": 0, "thinned": 0, "dropped": 0}
    return messages.encode_frame({**frame, **given})


# over 8 KB: as long as a broker of ours lets pass, so that it is the hub that refuses it
BROKEN = {
    "truncated": (sample(1)[:60], f"Kit {KIT}: frame refused"),
    "not JSON": (b"smoke", f"Kit {KIT}: frame refused"),
    "of a future version": (
        sample(2).replace(b'"v":1', b'"v":2'),
        "its contract version is 2, this end speaks 1; update the older end",
    ),
    "over 8 KB": (b"[" * 8300, f"homie/5/{KIT}/frame/sample of over 8 KB was refused unread"),
    "not text": (b"\xff\xfe\xfd", f"Kit {KIT}: frame refused"),
}


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_running_hub_names_each_broken_message_and_works_on(tmp_path, part):
    part("mosquitto")
    hub = Running(tmp_path)
    try:
        for seq, (payload, words) in enumerate(BROKEN.values()):
            hub.publish("frame/sample", payload)
            hub.told(words)
            hub.publish("frame/sample", sample(seq * 10))  # and the next good one is taken, stored and acknowledged
            until_s = time.monotonic() + 10
            while not any(first <= seq * 10 <= last for ack in list(hub.acks) for first, last in ack["got"]):
                assert time.monotonic() < until_s, f"{seq * 10} was not acknowledged: {hub.acks}"
                time.sleep(0.05)
        hub.publish("frame/sample", sample(0), user="kit-9")
        hub.told("Kit kit-9 is not this hub's")
        hub.told("fiftyover kit setup")
        assert hub.shown()["chamber_degC"] == 60.0
        assert hub.process.poll() is None
    finally:
        code, told = hub.stop()
    assert code == 0, told
    assert "Traceback" not in told
    assert f"Kit {KIT}:" in told


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_running_hub_outlives_its_broker(tmp_path, part):
    part("mosquitto")
    hub = Running(tmp_path)
    try:
        hub.publish("frame/sample", sample(0))
        pid = int((tmp_path / "broker" / "mosquitto.pid").read_text())
        os.kill(pid, signal.SIGKILL)
        until_s = time.monotonic() + 20
        while not any(first <= 7 <= last for ack in list(hub.acks) for first, last in ack["got"]):
            assert time.monotonic() < until_s
            hub.clients[KIT].publish(f"homie/5/{KIT}/frame/sample", sample(7), 1)
            time.sleep(0.5)
    finally:
        code, told = hub.stop()
    assert code == 0, told
    assert "Traceback" not in told
    assert "the broker ended by itself" in told


def test_second_hub_on_one_record_is_refused(tmp_path, part):
    part("mosquitto")
    hub = Running(tmp_path)
    try:
        told = refused(tmp_path, "serve", "--settings", str(tmp_path / "hub.toml"))
        assert "fiftyover.sqlite" in told
        assert hub.process.poll() is None
    finally:
        hub.stop()
