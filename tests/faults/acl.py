"""Who may say and hear what, behind a mosquitto with exactly the configuration that `fiftyover setup` writes.

Every account, and who has none or a wrong secret, publishes on every topic, retained and not, and as a last will; every
account subscribes to every topic by itself and to everything. A delivery is what arrives at a receiver; the table of
what may arrive is written from the contract by hand. Messages say who sent them and how, so that none is mistaken.
"""

import contextlib
import itertools
import socket
import subprocess
import tempfile
import time
from pathlib import Path
from unittest import mock

import paho.mqtt.client as paho

from fiftyover.broker import mosquitto, setup
from fiftyover.broker.probe import accepts, free_port

KITS = ("kit-1", "kit-2")
USERS = ("hub", "sounder", "home_automation", "hub_announcer", *KITS)
SOUNDS = ("fiftyover/sounder/state", "fiftyover/sounder/says")  # hub to the house's sounder
# What home-automation software is told of the kits, and its word that it has started.
ANNOUNCED = (
    "homeassistant/sensor/kit-1/probe-1-temperature/config",
    "homeassistant/binary_sensor/kit-2/frame-on/config",
)
BIRTH = "homeassistant/status"
# Below a kit's name: what the kit says, what the hub says to it.
KIT_SAYS = (
    "$state", "$description", "$alert/cap", "probe-1/temperature", "probe-1/status", "probe-2/temperature",
    "heater/state", "heater/lease", "heater/armed", "heater/door", "sys/cap", "sys/hub", "frame/sample",
    "frame/backlog",
)  # fmt: skip
HUB_SAYS = ("frame/ack/set", "heater/grant/set", "heater/stop/set")
NOBODY_SAYS = (
    "homie/5/kit-9/$state", "homie/5/hub/$state", "homie/4/kit-1/$state", "homie/5/kit-1", "homie/5", "frame/sample",
    "homie/5/kit-1/heater/grant/set/more", "homie/5/kit-10/$state", "other/kit-1/heater/grant/set",
    "$SYS/broker/uptime", "homeassistant/switch/kit-1/heater-grant/config", "homeassistant/climate/kit-1/config",
    "homeassistant/sensor/kit-1/config", "homeassistant/sensor/kit-1/probe-1-temperature/state", "homeassistant",
    "homeassistant/status/kit-1", "homeassistant/sensor/kit-1/heater/grant/set",
)  # fmt: skip
TOPICS = [f"homie/5/{kit}/{rest}" for kit in KITS for rest in (*KIT_SAYS, *HUB_SAYS)] + [
    *SOUNDS,
    *ANNOUNCED,
    BIRTH,
    *NOBODY_SAYS,
]
WILDCARDS = ("#", "homie/#", "homie/5/+/+/+/set", "+/+/+/#", "homeassistant/#", "$share/all/homie/#", "$SYS/#")
QUIET_S = 0.6  # so long nothing more comes: then all has come


def may_write(user, topic):
    """By the contract: a kit below its own name what it says, the hub what is meant for a kit or the sounder.

    The announcing session says what is to be looked at, home-automation software that it has started; no more.
    """
    if user == "hub_announcer":
        return topic in ANNOUNCED
    if user == "home_automation":
        return topic == BIRTH
    below = topic.removeprefix(f"homie/5/{user}/")
    if user in KITS:
        return topic != below and below in KIT_SAYS
    kit, _, rest = topic.removeprefix("homie/5/").partition("/")
    if user == "hub" and topic in SOUNDS:
        return True
    return user == "hub" and topic.startswith("homie/5/") and kit in KITS and rest in HUB_SAYS


def may_read(user, topic):
    """A kit what the hub says to it, the sounder what is for it, the hub all of Homie.

    Home-automation software what kits say (their description it is told by the hub) and what is announced; the
    announcing session the descriptions and the software's word.
    """
    kit, _, rest = topic.removeprefix("homie/5/").partition("/")
    of_kit = topic.startswith("homie/5/") and kit in KITS
    if user == "home_automation":
        return topic in (*ANNOUNCED, BIRTH) or (of_kit and rest in KIT_SAYS and rest != "$description")
    if user == "hub_announcer":
        return topic == BIRTH or (of_kit and rest == "$description")
    if user == "hub":
        return topic.startswith("homie/")
    if user == "sounder":
        return topic in SOUNDS
    return user in KITS and topic in {f"homie/5/{user}/{rest}" for rest in HUB_SAYS}


class Caller:
    """One connection and everything that arrived on it: (topic, payload, retained)."""

    def __init__(self, port, user, secret, filters=(), will=None):
        self.heard = []
        self.code = None
        self.client = paho.Client(
            paho.CallbackAPIVersion.VERSION2, client_id=f"{user}-x", protocol=paho.MQTTv311, reconnect_on_failure=False
        )
        if user:
            self.client.username_pw_set(user, secret)
        if will:
            self.client.will_set(*will)
        self.filters = filters
        self.client.on_connect = self._connected
        self.client.on_message = lambda _, __, m: self.heard.append((m.topic, m.payload.decode(), bool(m.retain)))
        self.client.connect("127.0.0.1", port, 30)
        self.client.loop_start()
        until_s = time.monotonic() + 10
        while self.code is None and time.monotonic() < until_s:
            time.sleep(0.01)

    def _connected(self, client, _, __, code, ___):
        for one in self.filters if code == 0 else ():
            client.subscribe(one, 1)
        self.code = code.value

    def end(self):
        self.client.disconnect()
        self.client.loop_stop()

    def drop(self):
        """Go without a word, so that the last will is due."""
        with contextlib.suppress(OSError, AttributeError):
            self.client.socket().shutdown(socket.SHUT_RDWR)
        self.client.loop_stop()


@contextlib.contextmanager
def broker(change=lambda text: text):
    """mosquitto as `setup` configures it (free ports instead of the usual ones); `change` alters its access list."""
    with tempfile.TemporaryDirectory(prefix="acl-") as folder:
        home = Path(folder) / "home"
        port, tls = free_port("127.0.0.1"), free_port("127.0.0.1")
        with mock.patch.object(setup, "HUB_PORT", port), mock.patch.object(setup, "TLS_PORT", tls):
            setup.set_up(setup.Wish(home, kits=KITS, names=("localhost", "127.0.0.1"), sounder=True, house=True))
        at = home / "broker"
        access = at / "access"
        access.write_text(change(access.read_text()))
        process = subprocess.Popen(mosquitto.command(at), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            until_s = time.monotonic() + 10
            while not accepts("127.0.0.1", port) and time.monotonic() < until_s:
                time.sleep(0.05)
            yield port, {user: (at / "accounts" / user).read_text().strip() for user in USERS}
        finally:
            process.terminate()
            process.wait(10)


def settled(callers):
    """Wait until nothing more arrives."""
    before, since_s = -1, time.monotonic()
    while time.monotonic() - since_s < QUIET_S:
        count = sum(len(one.heard) for one in callers)
        if count != before:
            before, since_s = count, time.monotonic()
        time.sleep(0.05)


def expected(topics, retains):
    """(reader, message) of every delivery that has to be."""
    return {
        (reader, said(writer, topic, retain))
        for writer, topic, retain in itertools.product(USERS, topics, retains)
        for reader in USERS
        if may_write(writer, topic) and may_read(reader, topic)
    }


def said(writer, topic, how):
    return f"{writer} {topic} {how}"


def live(port, secrets):
    """Everybody publishes on everything while everybody listens to everything, by wildcard and topic by topic."""
    callers = {user: Caller(port, user, secrets[user], (*WILDCARDS, *TOPICS)) for user in USERS}
    time.sleep(QUIET_S)
    for user, topic, retain in itertools.product(USERS, TOPICS, (False, True)):
        callers[user].client.publish(topic, said(user, topic, retain), 1, retain)
    settled(callers.values())
    got = {(user, text) for user, one in callers.items() for _, text, _ in one.heard}
    for one in callers.values():
        one.end()
    return got, expected(TOPICS, (False, True))


def late(port, secrets):
    """What stands retained is given to who subscribes later: only to who may read it, and only what was allowed."""
    callers = {user: Caller(port, user, secrets[user], (*WILDCARDS, *TOPICS)) for user in USERS}
    settled(callers.values())
    got = {(user, text) for user, one in callers.items() for _, text, retained in one.heard if retained}
    # The last who was allowed to write a topic stands there.
    must = expected(TOPICS, (True,))
    # Nobody clears what another keeps: each writes emptiness on all that it may not write.
    for user, topic in itertools.product(USERS, TOPICS):
        if not may_write(user, topic):
            callers[user].client.publish(topic, b"", 1, True)
    settled(callers.values())
    for one in callers.values():
        one.end()
    again = Caller(port, "hub", secrets["hub"], ("homie/#",))
    settled([again])
    kept = {("hub", text) for _, text, retained in again.heard if retained}
    again.end()
    return got, must, {one for one in must if one[0] == "hub"} - kept


def wills(port, secrets):
    """A last will is a publish like any other: only its own kit's topic may carry it, and none of who only looks."""
    callers = {user: Caller(port, user, secrets[user], ("#",)) for user in ("hub", *KITS, "home_automation")}
    settled(callers.values())
    callers["hub"].heard.clear()
    tried = [topic for topic in TOPICS if topic.endswith(("$state", "grant/set", "frame/sample", "sys/cap"))]
    leaving = ("kit-2", "home_automation")
    for user in leaving:
        callers.pop(user).end()
    for user, topic in itertools.product(leaving, tried):  # under names that are free now
        Caller(port, user, secrets[user], (), (topic, said(user, topic, "will"), 1, False)).drop()
    settled(callers.values())
    time.sleep(QUIET_S)
    got = {(user, text) for user, one in callers.items() for _, text, _ in one.heard}
    for one in callers.values():
        one.end()
    must = {
        (reader, said(user, topic, "will"))
        for user in leaving for topic in tried for reader in callers
        if may_write(user, topic) and may_read(reader, topic)
    }  # fmt: skip
    return {one for one in got if one[1].endswith("will")}, must, len(leaving) * len(tried)


def strangers(port, secrets):
    """Who has no account, a wrong secret, another's secret, or an empty one, does not come in."""
    tries = [
        ("", ""),
        ("hub", ""),
        ("hub", "wrong"),
        ("kit-1", secrets["hub"]),
        ("nobody", "x"),
        ("hub", secrets["kit-1"]),
        ("hub", secrets["home_automation"]),
        ("home_automation", secrets["kit-1"]),
    ]
    codes = []
    for user, secret in tries:
        one = Caller(port, user, secret, ("#",))
        codes.append(one.code)
        one.end()
    return [code for code in codes if code == 0], len(tries)


def run(change=lambda text: text):
    """The whole matrix; `change` widens or narrows the access list, to show that this is seen."""
    with broker(change) as (port, secrets):
        let_in, tried_in = strangers(port, secrets)
        got, must = live(port, secrets)
        stands, must_stand, cleared = late(port, secrets)
        willed, must_will, tried_wills = wills(port, secrets)
    pairs = [(got, must), (stands, must_stand), (willed, must_will)]
    readers = len(USERS)
    return {
        "attempts": len(USERS) * len(TOPICS) * 2 * readers + len(TOPICS) * readers + tried_wills * 2 + tried_in,
        "allowed": sum(len(one) for _, one in pairs),
        "wrong": sorted(map(list, set().union(*(came - due for came, due in pairs)))),
        "missing": sorted(map(list, set().union(*(due - came for came, due in pairs)))),
        "cleared": sorted(map(list, cleared)),
        "let_in": len(let_in),
    }
