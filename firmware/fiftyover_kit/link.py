"""Wi-Fi and session supervisor, Homie announcement, live frames and backlog. Never in the way of the tick.

run(kit, board, settings) goes on for ever; it uses of the kit: boot, backlog, alerts, live(), homie_values(),
on_message(rest, payload, retained, now_ms), on_link(up, now_ms). Nothing here waits for the network outside mqtt.py,
whose waits are bounded tasks of their own. Its clock, link_ms(), is real time also when a demo runs the kit faster.
"""

import asyncio
import socket
import time
from binascii import a2b_base64

from . import mqtt
from .contract import limits, topics
from .contract.messages import encode_backlog

HOMIE_VERSION = b"5.0"
ROOM = 12  # retained values are queued only up to this, so that frames never wait long and nothing is lost
WIFI_AGAIN_MS = 30000
RESOLVE_AGAIN_MS = 60000  # no permit outlives this much silence: the blocking look-up then meets a cold element
SLOW_MS = 10000
_TEMPERATURE_STEP = round(limits.TEMPERATURE_CHANGE_KELVIN * 100)
SLOW = ("sys/uptime", "sys/rssi", "sys/heap", "sys/switchings", "heater/lease")
VERSION_FILE = "announced.txt"
_BEGIN, _END = "-----BEGIN CERTIFICATE-----", "-----END CERTIFICATE-----"

# Pieces of the description. Homie takes a property as retained and not settable unless it says else.
_PROBE = (
    b'":{"properties":{"temperature":{"datatype":"float","unit":"\xc2\xb0C"},"status":{"datatype":"enum","format":"'
)
_FRAME = (
    b'"frame":{"properties":{"sample":{"datatype":"json","retained":false},'
    b'"backlog":{"datatype":"json","retained":false},'
    b'"ack":{"datatype":"json","retained":false,"settable":true}}},'
)
_HEATER = (
    b'"},"lease":{"datatype":"integer","unit":"s"},"armed":{"datatype":"boolean"},"door":{"datatype":"boolean"},'
    b'"grant":{"datatype":"json","retained":false,"settable":true},'
    b'"stop":{"datatype":"json","retained":false,"settable":true}}},'
)
_SYS = (
    b'"sys":{"properties":{"uptime":{"datatype":"integer","unit":"s"},"rssi":{"datatype":"integer","unit":"dBm"},'
    b'"heap":{"datatype":"integer","unit":"B"},"reset-cause":{"datatype":"string"},"firmware":{"datatype":"string"},'
    b'"cap":{"datatype":"float","unit":"\xc2\xb0C"},"relay":{"datatype":"enum","format":"mechanical,solid-state"},'
    b'"switchings":{"datatype":"integer","unit":"#"},"simulated":{"datatype":"boolean"},"hub":{"datatype":"string"}}}}}'
)

_ticks = getattr(asyncio, "ticks", None)  # MicroPython: asyncio's own ticks, which a demo leaves at real time


def link_ms():
    """Real milliseconds, masked to the contract's tick period."""
    if _ticks:
        return _ticks() & limits.TICK_MASK
    return int(time.monotonic() * 1000) & limits.TICK_MASK  # type: ignore[attr-defined]  # CPython


def description(kit_id, channels, version):
    """The Homie 5 description as pieces of JSON text: nodes probe-1..N, frame, heater, sys.

    In pieces, because as a whole it is the largest message there is, and a used heap may have no room so long.
    """
    status = ",".join(limits.STATUS).encode() + b'"}}},'
    pieces = [b'{"homie":"%s","version":%d,"name":"%s","nodes":{' % (HOMIE_VERSION, version, kit_id.encode())]
    for number in range(1, channels + 1):
        pieces.append(b'"probe-%d' % number)
        pieces.append(_PROBE)
        pieces.append(status)
    pieces.append(_FRAME)
    pieces.append(b'"heater":{"properties":{"state":{"datatype":"enum","format":"' + ",".join(limits.WHY).encode())
    pieces.append(_HEATER)
    pieces.append(_SYS)
    return pieces


def next_version(pieces, path=VERSION_FILE):
    """Version of the description in these pieces: one more whenever it differs from the last one announced.

    The count stands in a small file, written at the start only, when the element is off.
    """
    mark = 0
    for piece in pieces:
        for byte in piece:
            mark = (mark * 31 + byte) & 0xFFFFFF
    version = 0
    try:
        with open(path) as file:
            version, last = [int(word) for word in file.read().split()]
        if last == mark:
            return version
    except (OSError, ValueError):
        pass  # the first start, or a torn file: begin again
    try:
        with open(path, "w") as file:
            file.write("%d %d" % (version + 1, mark))
    except OSError:
        pass  # a full flash costs the count, not the link
    return version + 1


def tls_maker(ca):
    """A function that gives the client's TLS context, trusting only the certificate `ca` (its PEM text, or file).

    It is made once: reading the certificate again needs some long rooms, which a used heap has not.
    """
    made = []  # type: list

    def make():
        if made:
            return made[0]
        import ssl

        text = ca
        if _BEGIN not in ca:
            with open(ca) as file:
                text = file.read()
        # The builds of MicroPython differ in whether they read the text form; the binary one they all do.
        body = text.split(_BEGIN)[1].split(_END)[0]
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        context.verify_mode = ssl.CERT_REQUIRED  # type: ignore[attr-defined]  # the boards' stubs lack it
        context.load_verify_locations(cadata=a2b_base64("".join(body.split())))
        made.append(context)
        return context

    return make


def mark_of(name, text):
    """What is kept of a published value: a temperature's hundredths (no heap), else its text; None: not to go out."""
    if not name.endswith("/temperature"):
        return text
    return round(float(text) * 100) if text.strip("-.naif") else None  # nan, inf or nothing: never on the wire


def is_due(name, mark, last, age_ms):
    """True if this value is to be published, `last` being the mark published `age_ms` ago (None: never)."""
    if mark is None or last is None:
        return mark is not None
    if name.endswith("/temperature"):
        return age_ms >= limits.TEMPERATURE_PERIOD_S * 1000 or abs(mark - last) >= _TEMPERATURE_STEP
    if mark == last:
        return False
    # The lease counts down every second: only its ends are news.
    return name not in SLOW or age_ms >= SLOW_MS or (name == "heater/lease" and "0" in (mark, last))


class Link:
    """What one kit says and hears; step() is called some times a second and never waits."""

    def __init__(self, kit, board, settings):
        broker = settings.broker
        self.kit = kit
        self.board = board
        self.wifi = settings.wifi
        self.root = "%s/%s/" % (topics.ROOT, settings.kit)
        self.named_host = broker["host"]
        channels = len(settings.channels)
        version = next_version(description(settings.kit, channels, 0))
        self._described = (settings.kit, channels, version)
        self.frames_per_message = limits.BACKLOG_MAX_FRAMES  # ten of 31 channels stay just below 8 KB
        self.client = client = mqtt.Client("", broker["port"], settings.kit, topics.kit_hears(settings.kit))
        client.user = broker["user"]
        client.password = broker["password"]
        client.will = (topics.state(settings.kit), "lost")
        if broker["tls"]:
            client.make_ssl = tls_maker(broker["ca"])
        client.server_hostname = self.named_host
        client.ready = self._ready_to_connect
        client.on_message = self._on_message
        client.on_up = self._on_up
        client.on_down = self._on_down
        now = link_ms()
        self._marks = {}  # name -> what was published
        self._at = {}  # name -> when, of those that are published by time
        self._alerts = {}
        self._announced = False
        self._live_seq = -1
        self._second = now
        self._backlog_at = now
        self._acked = 0
        self._acked_at = now
        self._wifi_at = now
        self._resolved_at = None
        self._down_at = now

    # -- session -------------------------------------------------------------------------------------------

    def _ready_to_connect(self):
        if self.wifi and not self.board.wifi_up():
            return False
        host = self.named_host
        if ":" in host or not host.strip("0123456789."):
            self.client.host = host
            return True
        # A name: its look-up blocks, so it is asked only while no permit can be alive.
        now = link_ms()
        stale = self._resolved_at is None
        if not stale:
            stale = min(_age(now, self._resolved_at), _age(now, self._down_at)) > RESOLVE_AGAIN_MS
        if stale:
            self._resolved_at = now
            try:
                address = socket.getaddrinfo(host, self.client.port)[0][-1]
                # MicroPython on a computer gives packed bytes here: there the name itself is good enough.
                self.client.host = address[0] if isinstance(address, tuple) else host
            except OSError:
                print("link: the broker's name %s was not found; check host, or give its address." % host)
        return bool(self.client.host)

    def _on_up(self):
        self._marks.clear()
        self._at.clear()
        self._alerts.clear()
        self._announced = False
        self._acked_at = link_ms()
        self.client.publish(self.root + "$state", b"init", True)
        self.client.publish(self.root + "$description", description(*self._described), True)
        self.kit.on_link(1, self.board.ticks_ms())

    def _on_down(self, _why):
        self._down_at = link_ms()
        self.kit.on_link(0, self.board.ticks_ms())

    def _on_message(self, topic, payload, retained):
        if topic.startswith(self.root):
            self.kit.on_message(topic[len(self.root) :], payload, retained, self.board.ticks_ms())

    # -- steps ---------------------------------------------------------------------------------------------

    def step(self):
        """Do what is due: live frame, backlog, thinning, values, Wi-Fi."""
        now = link_ms()
        if _age(now, self._second) >= 1000:
            self._second = now
            self.kit.backlog.thin(now)
            self._keep_wifi(now)
            if self._announced:
                self._publish_values(now)
        if not self.client.up:
            return
        self._send_live(now)
        self._send_backlog(now)
        if not self._announced:
            self._announce(now)

    def _announce(self, now):
        if self._publish_values(now) and self.client.waiting() < ROOM:
            self._announced = self.client.publish(self.root + "$state", b"ready", True)

    def _send_live(self, now):
        seq = self.kit.backlog.newest_seq()
        topic = self.root + "frame/sample"
        # One that still waits is not replaced: its successor goes by the backlog, none is marked sent in vain.
        if seq <= self._live_seq or self.client.pending(topic):
            return
        if self.client.publish(topic, self.kit.live(), False, True):
            self._live_seq = seq
            self.kit.backlog.sent(seq, now)

    def _send_backlog(self, now):
        backlog = self.kit.backlog
        if backlog.acked != self._acked:
            self._acked = backlog.acked
            self._acked_at = now
        # A hub that commits nothing (full disk) is not flooded: it gets one message a second until it does.
        pause = 100 if _age(now, self._acked_at) < 5000 else 1000
        topic = self.root + "frame/backlog"
        if _age(now, self._backlog_at) < pause or self.client.pending(topic) or self._live_seq < 0:
            return
        self._backlog_at = now
        try:
            frames = backlog.oldest(self.frames_per_message, now)
            if frames:
                message = {"v": limits.V, "boot": self.kit.boot, "frames": frames}
                self.client.publish(topic, encode_backlog(message))
        except MemoryError:  # they come again in 10 s, fewer at a time
            self.frames_per_message = max(1, self.frames_per_message // 2)

    def _publish_values(self, now):
        """Publish what is due of values and alerts; false if some had to wait for room."""
        values = self.kit.homie_values()
        for name in [name for name in self._marks if name not in values]:
            del self._marks[name]  # a probe at fault: its temperature is news again when it is back
        for name, text in values.items():
            node, leaf = name.split("/", 1)
            if leaf == "temperature" and values[node + "/status"] not in limits.STATUS_HEATS:
                self._marks.pop(name, None)  # a number that is not believed is no temperature
                continue
            mark = mark_of(name, text)
            if is_due(name, mark, self._marks.get(name), _age(now, self._at.get(name, now))):
                if self.client.waiting() >= ROOM or not self._retain(name, text):
                    return False
                self._marks[name] = mark
                if leaf == "temperature" or name in SLOW:
                    self._at[name] = now
        return self._publish_alerts()

    def _publish_alerts(self):
        alerts = self.kit.alerts
        for name in set(self._alerts) | set(alerts):
            text = alerts.get(name, "")
            if text != self._alerts.get(name):
                if self.client.waiting() >= ROOM or not self._retain("$alert/" + name, text):
                    return False
                if text:
                    self._alerts[name] = text
                else:
                    del self._alerts[name]
        return True

    def _retain(self, name, text):
        return self.client.publish(self.root + name, text.encode(), True)

    def _keep_wifi(self, now):
        if not self.wifi or self.board.wifi_up():
            self._wifi_at = now
        elif _age(now, self._wifi_at) > WIFI_AGAIN_MS:
            self._wifi_at = now
            self.board.wifi_start(self.wifi["ssid"], self.wifi["password"])


def _age(now_ms, then_ms):
    return limits.ticks_diff(now_ms, then_ms)


async def run(kit, board, settings):
    """Keep the kit linked, for ever; no fault of network, broker or message ends this."""
    link = Link(kit, board, settings)
    if link.wifi:
        board.wifi_start(link.wifi["ssid"], link.wifi["password"])
    client_task = asyncio.create_task(link.client.run())
    # A demo runs the kit faster than real time, and its frames come as much faster.
    pause_s = max(0.01, 0.1 / getattr(board, "speed", 1))
    try:
        while True:
            await asyncio.sleep(pause_s)
            try:
                link.step()
            except Exception as error:
                print("link: a step failed:", repr(error))
    finally:
        client_task.cancel()
