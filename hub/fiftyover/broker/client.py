"""The hub's one client of the broker: the only file that knows paho.

Callbacks only enqueue. Nothing they raise ends the network thread, and if that thread ends all the same, `alive()` and
a `Link(False, why)` say so: paho's own `is_connected()` still says yes after its thread died, so it is not asked. Every
connection gets a paho client of its own, so that no message of an older session is ever sent again.
"""

from __future__ import annotations

import queue
import ssl
import threading
import time
from collections.abc import Callable, Sequence

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from fiftyover_kit.contract import limits, topics

from ..errors import BrokerError
from . import probe, sentences
from .address import Address
from .callbacks import Ear, counted, ignore, without_delay
from .notes import Counters, Link, Message

PACKET_MAX_BYTES = 65_536  # told to the broker: what is larger it never sends, so no message can fill our memory
OUT_MAX = 256  # messages handed over and not yet taken by the broker
KEEPALIVE_S = 10
CONNECT_TIMEOUT_S = 5.0
BACKOFF_S = (0.5, 30.0)
GOODBYE_S = 1.0
BURST = 20  # messages taken in one turn; what we publish waits for no more than these
SLACK_S = 1.5  # a broker gives a silent client half a keepalive more; our own pings are late by up to a second
STANDS_S = 0.2  # a broker waits longer than this for a client's first word


class _Session:
    """One connection: from CONNECT to its end. Runs in the client's thread; `publish` comes from any thread."""

    def __init__(self, owner: BrokerClient, protocol: str) -> None:
        self.owner = owner
        self.protocol = protocol
        self.accepted = False
        self.refused = False
        self.stolen = False
        self.explained = False
        self.heard_s = self.turned_s = boottime_s()
        self.silent = False  # the connection was closed without any answer
        self.why = ""
        self.pending = 0
        self._taken = 0  # messages of this session
        self._lock = threading.Lock()
        self._paho: paho.Client | None = None

    def _make(self) -> paho.Client:
        address = self.owner.address
        five = self.protocol == "5"
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=self.owner.client_id,
            clean_session=None if five else True,
            protocol=paho.MQTTv5 if five else paho.MQTTv311,
            reconnect_on_failure=False,
        )
        client.suppress_exceptions = True  # a second net: the callbacks below catch and count by themselves
        client.connect_timeout = CONNECT_TIMEOUT_S
        # With a write callback registered paho never writes from the caller's thread; its socket pair wakes the loop.
        client.on_socket_register_write = ignore
        client.on_socket_open = counted(self.owner._note_fault, without_delay)
        client.on_connect = counted(self.owner._note_fault, self._on_connect)
        client.on_subscribe = counted(self.owner._note_fault, self._on_subscribe)
        client.on_disconnect = counted(self.owner._note_fault, self._on_disconnect)
        client.on_message = counted(self.owner._note_fault, self._on_message)
        client.enable_logger(Ear(self._note_heard))
        client.on_publish = counted(self.owner._note_fault, self._on_publish)
        if address.user:
            client.username_pw_set(address.user, address.secret)
        if address.tls:
            client.tls_set_context(ssl.create_default_context(cafile=address.ca or None))
        return client

    def run(self, stop: threading.Event) -> None:
        """Connect and serve until the connection ends; `why` says how."""
        try:
            self._paho = client = self._make()
            self._connect(client)
        except (OSError, ValueError) as fault:
            self.why = sentences.unreachable(str(self.owner.address), fault)
            return
        deadline_s = float("inf")
        while self._turn(client) and boottime_s() < deadline_s:
            self.turned_s = boottime_s()
            if stop.is_set() and deadline_s == float("inf"):
                client.disconnect()
                deadline_s = self.turned_s + GOODBYE_S
        self._end()

    def _turn(self, client: paho.Client) -> bool:
        """Wait for something to do, and take what came with it in one go: paho waits anew for every message, and a
        message handed on alone costs a change of threads. False: the session ended."""
        taken = self._taken
        rc = client.loop(1.0)
        for _ in range(BURST):
            if rc != paho.MQTT_ERR_SUCCESS or self._taken == taken:
                break
            taken = self._taken
            rc = client.loop_read()
        self.owner._hand_on()
        return rc == paho.MQTT_ERR_SUCCESS

    def _connect(self, client: paho.Client) -> None:
        address, keepalive_s = self.owner.address, self.owner.keepalive_s
        if self.protocol == "5":
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho leaves it untyped
            properties.MaximumPacketSize = PACKET_MAX_BYTES
            client.connect(address.host, address.port, keepalive_s, clean_start=True, properties=properties)
        else:
            client.connect(address.host, address.port, keepalive_s)

    def _end(self) -> None:
        unexplained = self.accepted and not (self.explained or self.why or self.owner.stopping or self.owner.cluster)
        if unexplained and self._thrown_out():
            self.stolen = True
            self.why = sentences.taken_over(self.owner.client_id)
        if not self.why:
            self.silent = not self.accepted
            self.why = sentences.ended(str(self.owner.address), self.accepted)

    def _thrown_out(self) -> bool:
        """Say whether a broker that is well closed this session by itself: then another client has our name.

        MQTT 3.1.1 has no word for a take-over, and mosquitto 2.0.11 does not send MQTT 5's. Excluded first: we or the
        line stood still so long that the keepalive ran out, and a broker that died (it no longer listens).
        """
        last_s = min(self.turned_s, self.heard_s)
        if boottime_s() - last_s > self.owner.keepalive_s + SLACK_S:
            return False
        # A port forwarder without a broker behind it accepts too, but hangs up.
        return probe.accepts(self.owner.address.host, self.owner.address.port, STANDS_S)

    def close(self) -> None:
        """Say goodbye; what was published before goes out first."""
        if self._paho is not None:
            self._paho.disconnect()

    def publish(self, topic: str, payload: bytes, qos: int, retain: bool) -> bool:
        """Hand one message over; False if too many are waiting or the connection is gone."""
        with self._lock:
            if self._paho is None or self.pending >= self.owner.out_max:
                return False
            self.pending += 1
        if self._paho.publish(topic, payload, qos, retain).rc == paho.MQTT_ERR_SUCCESS:
            return True
        with self._lock:
            self.pending -= 1
        return False

    def _on_connect(
        self, client: paho.Client, _data: object, _flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        if reason.is_failure:
            self.refused = reason.getName() != "Unsupported protocol version"
            self.silent = not self.refused
            self.why = sentences.refused(str(self.owner.address), self.owner.address.user, reason.getName())
            return
        self.accepted = True
        client.subscribe([(one, 1) for one in self.owner.filters])

    def _on_subscribe(
        self, client: paho.Client, _data: object, _mid: int, reasons: list[ReasonCode], _properties: object
    ) -> None:
        if any(reason.is_failure for reason in reasons):
            self.refused = True
            self.why = sentences.unreadable(str(self.owner.address), self.owner.address.user)
            client.disconnect()
            return
        self.owner._came_up()

    def _note_heard(self) -> None:
        self.heard_s = boottime_s()

    def _on_disconnect(
        self, _client: paho.Client, _data: object, flags: paho.DisconnectFlags, reason: ReasonCode, _properties: object
    ) -> None:
        name = reason.getName()
        self.stolen = name == "Session taken over"
        self.explained = self.stolen or flags.is_disconnect_packet_from_server
        if self.stolen:
            self.why = sentences.taken_over(self.owner.client_id)
        elif name == "Keep alive timeout":
            self.explained = True
            self.why = sentences.no_answer(str(self.owner.address))

    def _on_publish(self, _client: paho.Client, _data: object, _mid: int, _reason: object, _properties: object) -> None:
        with self._lock:
            self.pending -= 1

    def _on_message(self, _client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        self._taken += 1
        self.owner._heard(message)


def boottime_s() -> float:
    """Give seconds since the machine started, sleep included: arrivals are dated by it."""
    return time.clock_gettime(getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC))


class BrokerClient:
    """The hub's session: puts `Message` and `Link` on the inbox, publishes what it is given.

    The MQTT session is clean and its client id is the hub's id. A session that another client took over is not
    taken back: `taken_over` stays true and a person has to look. MQTT 5 is tried first since it says why a session
    ended; a broker that speaks only 3.1.1 is served in that. Of a `cluster` a take-over is believed only when it says
    so in MQTT 5: when one of its nodes dies the connection ends while its address still accepts.
    """

    def __init__(
        self,
        address: Address,
        client_id: str,
        inbox: queue.Queue[Message | Link],
        *,
        filters: Sequence[str] = tuple(topics.hub_hears()),
        now_s: Callable[[], float] = boottime_s,
        keepalive_s: int = KEEPALIVE_S,
        out_max: int = OUT_MAX,
        backoff_s: tuple[float, float] = BACKOFF_S,
        cluster: bool = False,
    ) -> None:
        self.address = address
        self.client_id = client_id
        self.filters = filters
        self.keepalive_s = keepalive_s
        self.out_max = out_max
        self.counters = Counters()
        self.taken_over = False
        self.why = "not started"
        self._inbox = inbox
        self._now_s = now_s
        self._backoff_s = backoff_s
        self.cluster = cluster
        self._protocol = address.protocol
        self._proven = False  # a session was accepted once: the protocol is right
        self._session: _Session | None = None
        self._up = False
        self._dead = False
        self._arrived: list[Message] = []  # in this turn of the network thread
        self._stop = threading.Event()
        self._first_result = threading.Event()
        self._refusal = ""
        self._thread = threading.Thread(target=self._main, name="broker-client", daemon=True)

    def start(self, wait_s: float = 5.0) -> None:
        """Start, and wait for the first result; BrokerError if the broker refuses this account.

        A broker that cannot be reached is no error here: it is told as `Link(False, why)` and tried again.
        """
        self._thread.start()
        self._first_result.wait(wait_s)
        if self._refusal:
            self.stop()
            raise BrokerError(self._refusal)

    def stop(self) -> None:
        """Sign off and end the thread; safe to call twice or before `start`."""
        self._stop.set()
        session = self._session
        if session is not None:
            session.close()
        if self._thread.is_alive() and self._thread is not threading.current_thread():
            self._thread.join(CONNECT_TIMEOUT_S + 2.0)

    def alive(self) -> bool:
        """Say whether the network thread runs and still tries: False means that nothing will mend itself."""
        return self._thread.is_alive() and not self._dead and not self.taken_over

    @property
    def stopping(self) -> bool:
        """True once `stop` was called."""
        return self._stop.is_set()

    @property
    def up(self) -> bool:
        """True while a session stands: signed in and subscribed."""
        return self._up and self.alive()

    @property
    def waiting(self) -> int:
        """Messages handed over in this session that the broker has not acknowledged."""
        session = self._session
        return session.pending if session is not None else 0

    def publish(self, topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> bool:
        """Hand one message to the broker; False (counted) with no session or too many waiting.

        Nothing is kept for a later session.
        """
        session = self._session
        if self.up and session is not None and session.publish(topic, payload, qos, retain):
            return True
        self.counters.refused_out += 1
        return False

    # --- the network thread -----------------------------------------------------------------------------------------
    def _main(self) -> None:
        try:
            delay_s = self._backoff_s[0] / 2
            while not self._stop.is_set() and not self.taken_over:
                session = self._one_session()
                delay_s = self._next_delay_s(session, delay_s)
                if not self.taken_over:
                    self._stop.wait(delay_s)
        except BaseException as fault:  # whatever it is: this thread ends, and says so
            self._note_fault(fault)
        finally:
            self._dead = True
            if not self.taken_over:
                self._went_down(sentences.signed_off() if self.stopping else sentences.thread_ended())
            self._first_result.set()

    def _one_session(self) -> _Session:
        session = self._session = _Session(self, self._protocol)
        try:
            session.run(self._stop)
        except Exception as fault:
            self._note_fault(fault)
            session.why = sentences.fault(str(self.address), fault)
        self._judge(session)
        if not self.stopping:
            self._went_down(session.why)
        return session

    def _judge(self, session: _Session) -> None:
        """Decide what the end of a session means for the next one."""
        self._proven = self._proven or session.accepted
        self.taken_over = session.stolen
        if session.silent and not self._proven and self._protocol == "5":
            self._protocol = "3.1.1"
            return  # the answer to the first try stands only after the older protocol was tried too
        if session.refused or session.silent:
            self._refusal = session.why
            self._protocol = self._protocol if self._proven else self.address.protocol
        self._first_result.set()

    def _next_delay_s(self, session: _Session, delay_s: float) -> float:
        low_s, high_s = self._backoff_s
        if session.refused:
            return high_s
        return low_s if session.accepted else min(high_s, delay_s * 2)

    def _came_up(self) -> None:
        self._up = True
        self._refusal = ""
        self.counters.sessions += 1
        self._report(Link(True, sentences.up(str(self.address))))
        self._first_result.set()

    def _went_down(self, why: str) -> None:
        """Report a change or a new reason; a broker that stays away is not reported anew at every try."""
        changed = self._up or why != self.why
        self._up = False
        if changed:
            self._report(Link(False, why))

    def _report(self, link: Link) -> None:
        self._hand_on()
        self.why = link.why
        self._put(link)

    def _note_fault(self, fault: BaseException) -> None:
        self.counters.faults += 1
        self.counters.last_fault = f"{type(fault).__name__}: {fault}"

    def _hand_on(self) -> None:
        arrived, self._arrived = self._arrived, []
        for message in arrived:
            try:
                self._put(message)
            except Exception as fault:  # as in a callback: the network thread lives
                self._note_fault(fault)

    def _put(self, item: Message | Link) -> None:
        try:
            self._inbox.put_nowait(item)
        except queue.Full:
            self.counters.lost_in += 1

    def _heard(self, message: paho.MQTTMessage) -> None:
        arrived_s = self._now_s()
        if len(message.payload) > limits.MESSAGE_MAX_BYTES:
            self.counters.oversized += 1
            self.counters.oversized_topic = message.topic
            return
        self._arrived.append(Message(message.topic, bytes(message.payload), bool(message.retain), arrived_s))
