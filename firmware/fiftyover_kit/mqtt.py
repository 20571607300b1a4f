"""Small asyncio client for MQTT 3.1.1 (OASIS standard, 2014): clean session, last will, QoS 1, TLS.

A session has three tasks (reader, writer, pinger) and ends as soon as one of them fails; run() then waits and tries
again, for ever. Every await on the network has a bound. The writer has one message in flight; after a reconnect it
goes again with DUP. publish() never waits: a message waiting under the same topic is replaced by the newer one, and
a full queue loses its oldest. An inbound message over 8 KB is drained unread, so that it never takes heap.

Callbacks run in the loop and must not wait:
  on_message(topic, payload, retained)    on_up()    on_down(why)
"""

import asyncio
import gc

from .contract.limits import MESSAGE_MAX_BYTES

TYPE_CHECKING = False  # the device has no typing module; type checkers take this name for true
if TYPE_CHECKING:
    from typing import Any

_CONNACK, _PUBLISH, _PUBACK, _SUBACK, _PINGRESP = 2, 3, 4, 9, 13
_REFUSALS = (
    "",
    "it does not speak MQTT 3.1.1",
    "it does not accept this client id",
    "it is not available",
    "the user name or password is wrong",
    "this user is not allowed in",
)
_TOPIC_MAX_BYTES = 256  # ours are shorter; longer ones are drained with their message
_SHORT_MAX_BYTES = 64  # no other packet from a broker is longer than this here
_DRAIN_BYTES = 64
_ONE_WRITE_BYTES = 512


class MqttError(Exception):
    """The broker said or did something that ends the session."""


def _text(text):
    raw = text.encode() if isinstance(text, str) else text
    return bytes((len(raw) >> 8, len(raw) & 255)) + raw


def _packet(head, body, more_bytes=0):
    length = len(body) + more_bytes
    front = bytearray((head,))
    while True:
        front.append((length & 127) | (128 if length > 127 else 0))
        length >>= 7
        if not length:
            return bytes(front) + body


def connect_packet(client_id, keepalive_s, will, user, password):
    """CONNECT with a clean session; will = (topic, payload), QoS 1 and retained, or None."""
    flags = 0x02
    tail = _text(client_id)
    if will:
        flags |= 0x04 | 0x08 | 0x20
        tail += _text(will[0]) + _text(will[1])
    if user:
        flags |= 0x80
        tail += _text(user)
        if password:
            flags |= 0x40
            tail += _text(password)
    return _packet(0x10, _text("MQTT") + bytes((4, flags, keepalive_s >> 8, keepalive_s & 255)) + tail)


def subscribe_packet(topics, packet_id):
    """SUBSCRIBE to all topics with QoS 1."""
    body = bytes((packet_id >> 8, packet_id & 255))
    for topic in topics:
        body += _text(topic) + b"\x01"
    return _packet(0x82, body)


def publish_packets(topic, payload, retain, packet_id, dup):
    """PUBLISH with QoS 1 as the pieces to write one after the other: one if it is short, so that it goes at once.

    A longer one is not copied together, and a payload may itself be a list of pieces: a used heap has no long rooms.
    """
    head = 0x32 | (8 if dup else 0) | (1 if retain else 0)
    name = _text(topic) + bytes((packet_id >> 8, packet_id & 255))
    if isinstance(payload, bytes):
        if len(payload) <= _ONE_WRITE_BYTES:
            return [_packet(head, name + payload)]
        payload = [payload]
    length = sum([len(piece) for piece in payload])
    return [_packet(head, name, length)] + payload


class Client:
    """One connection to one broker, kept up by run(). The limits are attributes, so that a test can shorten them."""

    connect_limit_s = 10
    answer_limit_s = 10
    write_limit_s = 5
    puback_limit_s = 8
    close_limit_s = 2
    pause_first_s = 1
    pause_last_s = 6
    queue_max = 24

    def __init__(self, host, port, client_id, topics, keepalive_s=10):
        self.host = host
        self.port = port
        self.client_id = client_id
        self.topics = topics
        self.keepalive_s = keepalive_s
        self.user = ""
        self.password = ""
        self.will = None
        self.make_ssl = None  # returns the TLS context; None for plain TCP
        self.server_hostname = None
        self.on_message = None
        self.on_up = None
        self.on_down = None
        self.ready = None  # returns true when an attempt makes sense (Wi-Fi up)
        self.up = False
        self.why = ""  # of the last session's end, a sentence
        self.attempts = 0
        self.sessions = 0
        self.sent = 0
        self.lost = 0  # messages that the full queue or the end of a session lost
        self.oversize = 0
        self.faults = 0  # exceptions of our own callbacks
        self._queue: "list[Any]" = []  # [topic, payload, retain, first]
        self._flying: "Any" = None
        self._packet_id = 1
        self._beats = 0
        self._subscribed = False
        self._stopping = False
        self._in: "Any" = None
        self._out: "Any" = None
        self._lock = asyncio.Lock()
        self._work = asyncio.Event()
        self._acked = asyncio.Event()
        self._ended = asyncio.Event()

    # -- for the link --------------------------------------------------------------------------------------

    def publish(self, topic, payload, retain=False, first=False):
        """Queue a message (bytes, or a list of their pieces), QoS 1; False, and nothing kept, without a session."""
        if not self.up:
            return False
        for item in self._queue:
            if item[0] == topic:
                item[1] = payload
                return True
        if len(self._queue) >= self.queue_max:
            self._queue.pop(1 if self._queue[0][3] else 0)
            self.lost += 1
        self._queue.insert(0 if first else len(self._queue), [topic, payload, retain, first])
        self._work.set()
        return True

    def waiting(self):
        """Messages queued or in flight."""
        return len(self._queue) + (self._flying is not None)

    def pending(self, topic):
        """True while a message of this topic is queued or in flight."""
        if self._flying and self._flying[0] == topic:
            return True
        return any(item[0] == topic for item in self._queue)

    async def run(self):
        """Keep a session up until stop(); no fault of network or broker ends this."""
        pause = self.pause_first_s
        shown = ""
        while not self._stopping:
            if self.ready and not self.ready():
                await asyncio.sleep(0.5)
                continue
            try:
                await self._session()
            except Exception as error:
                self.why = _sentence(error)
            if self._stopping:
                return
            if self.why != shown:
                shown = self.why
                print("link:", shown)
            # A session that held for some pings earns a quick return, one that fell at once does not.
            if self._beats > 1:
                pause = self.pause_first_s
            await asyncio.sleep(pause)
            pause = min(pause * 2, self.pause_last_s)

    async def stop(self):
        """Say goodbye: what is queued goes out (2 s at most), then DISCONNECT, so that the will is not published."""
        self._stopping = True
        for _ in range(20):
            if not self.up or not self.waiting():
                break
            await asyncio.sleep(0.1)
        if self.up:
            await self._send(b"\xe0\x00")
        self._ended.set()

    # -- one session ---------------------------------------------------------------------------------------

    async def _session(self):
        self.attempts += 1
        self._beats = 0
        if hasattr(gc, "mem_free"):  # a small heap: the last session's rooms, before the handshake asks for long ones
            gc.collect()
        self._in = self._out = None
        self._lock = asyncio.Lock()
        self._ended = asyncio.Event()
        tasks = []
        try:
            await asyncio.wait_for(self._open(), self.connect_limit_s)
            await asyncio.wait_for(self._hello(), self.answer_limit_s)
            self.up = True
            self.sessions += 1
            self._call(self.on_up)
            for job in (self._read, self._write, self._ping):
                tasks.append(asyncio.create_task(self._until_fault(job)))
            await self._ended.wait()
        finally:
            for task in tasks:
                task.cancel()
            await self._close()
            if self.up:
                self.up = False
                self.lost += len(self._queue)
                self._queue.clear()
                self._call(self.on_down, self.why)

    async def _open(self):
        if self.make_ssl is None:
            self._in, self._out = await asyncio.open_connection(self.host, self.port)
            _send_at_once(self._out)
        else:
            # The handshake does not block here: it happens inside the first bounded write and read.
            name = self.server_hostname or self.host
            self._in, self._out = await asyncio.open_connection(
                self.host, self.port, ssl=self.make_ssl(), server_hostname=name
            )

    async def _hello(self):
        await self._send(connect_packet(self.client_id, self.keepalive_s, self.will, self.user, self.password))
        head = await self._in.readexactly(2)
        if head[0] != _CONNACK << 4 or head[1] != 2:
            raise MqttError("The broker did not answer as one; check host and port.")
        code = (await self._in.readexactly(2))[1]
        if code:
            why = _REFUSALS[code] if code < len(_REFUSALS) else "code %d" % code
            raise MqttError("The broker refused the kit: %s." % why)
        self._subscribed = not self.topics
        if self.topics:
            await self._send(subscribe_packet(self.topics, 0xFFFF))
        while not self._subscribed:
            await self._receive()

    async def _close(self):
        if self._out is None:
            return
        try:
            self._out.close()
            await asyncio.wait_for(self._out.wait_closed(), self.close_limit_s)
        except Exception:
            pass  # it was broken before; there is nothing more to close
        self._in = self._out = None

    async def _until_fault(self, job):
        try:
            await job()
        except Exception as error:
            self.why = _sentence(error)
        self._ended.set()

    async def _send(self, *pieces):
        async with self._lock:
            for piece in pieces:
                self._out.write(piece)
                await asyncio.wait_for(self._out.drain(), self.write_limit_s)

    async def _write(self):
        while True:
            again = self._flying is not None
            if not again:
                while not self._queue:
                    self._work.clear()
                    await self._work.wait()
                self._flying = self._queue.pop(0)
                self._packet_id = self._packet_id % 0xFFFE + 1  # 0xFFFF is the subscription's
            topic, payload, retain, _ = self._flying
            self._acked.clear()
            await self._send(*publish_packets(topic, payload, retain, self._packet_id, again))
            await asyncio.wait_for(self._acked.wait(), self.puback_limit_s)
            self._flying = None
            self.sent += 1

    async def _ping(self):
        while True:
            await asyncio.sleep(self.keepalive_s / 2)
            await self._send(b"\xc0\x00")
            self._beats += 1

    async def _read(self):
        while True:
            # One bound for the whole packet: a broker that drips bytes is as silent as one that says nothing.
            await asyncio.wait_for(self._receive(), self.keepalive_s * 1.5)

    # -- one packet ----------------------------------------------------------------------------------------

    async def _receive(self):
        head = (await self._in.readexactly(1))[0]
        length = await self._length()
        if head >> 4 == _PUBLISH:
            await self._inbound(head, length)
            return
        if length > _SHORT_MAX_BYTES or head & 15:
            raise MqttError("The broker sent a packet that is not MQTT.")
        body = await self._in.readexactly(length) if length else b""
        kind = head >> 4
        if kind == _PUBACK and length == 2:
            if (body[0] << 8 | body[1]) == self._packet_id:
                self._acked.set()
        elif kind == _SUBACK and length == 2 + len(self.topics) and body[:2] == b"\xff\xff":
            if max(body[2:]) > 2:
                raise MqttError("The broker refused a subscription; check the kit's rights there.")
            self._subscribed = True
        elif kind != _PINGRESP or length:
            raise MqttError("The broker sent a packet that is out of place.")

    async def _length(self):
        value = shift = 0
        while shift < 28:
            byte = (await self._in.readexactly(1))[0]
            value |= (byte & 127) << shift
            if byte < 128:
                return value
            shift += 7
        raise MqttError("The broker sent a packet length that is not MQTT.")

    async def _number(self):
        raw = await self._in.readexactly(2)
        return raw[0] << 8 | raw[1]

    async def _inbound(self, head, length):
        quality = (head >> 1) & 3
        name_length = await self._number() if length > 1 else 0
        left = length - 2 - name_length - (2 if quality else 0)
        if quality > 1 or name_length == 0 or left < 0:
            raise MqttError("The broker sent a message that is not MQTT.")
        fits = name_length <= _TOPIC_MAX_BYTES and left <= MESSAGE_MAX_BYTES
        name = b""
        if fits:
            name = await self._in.readexactly(name_length)
        else:
            await self._drain(name_length)
        packet_id = await self._number() if quality else 0
        payload = b""
        if not fits:
            await self._drain(left)
            self.oversize += 1
        elif left:
            payload = await self._in.readexactly(left)
        if quality:
            await self._send(bytes((0x40, 2, packet_id >> 8, packet_id & 255)))
        if fits:
            self._call(self.on_message, str(name, "utf-8"), payload, head & 1)

    async def _drain(self, left):
        while left > 0:
            gone = len(await self._in.read(min(left, _DRAIN_BYTES)))
            if not gone:
                raise EOFError
            left -= gone

    def _call(self, callback, *arguments):
        try:
            if callback:
                callback(*arguments)
        except Exception as error:
            self.faults += 1
            print("link: a handler failed:", repr(error))


def _send_at_once(stream):
    """A message in two writes would wait some 40 ms for the broker's delayed acknowledgement of the first."""
    try:
        stream.s.setsockopt(6, 1, 1)  # IPPROTO_TCP, TCP_NODELAY
    except (AttributeError, OSError):
        pass  # CPython's asyncio does so itself; some boards cannot


def _sentence(error):
    if isinstance(error, MqttError):
        return str(error)
    if isinstance(error, asyncio.TimeoutError):
        return "The broker did not answer in time; is it running, and reachable from here?"
    if isinstance(error, EOFError):
        return "The broker closed the connection."
    return "The connection failed (%r); check host, port and network." % error
