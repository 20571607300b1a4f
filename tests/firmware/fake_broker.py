"""A scripted MQTT broker for tests: on a free port of 127.0.0.1, packets written out by hand, no MQTT library.

A script is an async function script(broker, reader, writer); each connection runs the next one of the list, the last
one again and again. Packets follow the OASIS standard MQTT 3.1.1 (2014); section numbers stand beside the bytes.
"""

import asyncio
import contextlib

CONNACK_OK = b"\x20\x02\x00\x00"  # 3.2
PINGRESP = b"\xd0\x00"  # 3.13


def with_length(head, body):
    """Fixed header with the remaining length of 2.2.3, then the body."""
    length = len(body)
    digits = b""
    while True:
        digit = length % 128
        length //= 128
        digits += bytes([digit | 0x80 if length else digit])
        if not length:
            return bytes([head]) + digits + body


def publish(topic, payload, quality=1, packet_id=77, retain=0):
    """A PUBLISH as a broker sends it (3.3)."""
    name = topic.encode()
    body = len(name).to_bytes(2, "big") + name
    if quality:
        body += packet_id.to_bytes(2, "big")
    return with_length(0x30 | quality << 1 | retain, body + payload)


async def read_packet(reader):
    """(first byte, body) of the next packet."""
    head = (await reader.readexactly(1))[0]
    length, factor = 0, 1
    while True:
        digit = (await reader.readexactly(1))[0]
        length += (digit & 127) * factor
        factor *= 128
        if digit < 128:
            return head, await reader.readexactly(length)


def parts(body):
    """(topic, packet id, payload) of a QoS 1 PUBLISH's body."""
    end = 2 + int.from_bytes(body[:2], "big")
    return body[2:end].decode(), int.from_bytes(body[end : end + 2], "big"), body[end + 2 :]


async def welcome(broker, reader, writer):
    """Accept the connection and the subscription."""
    broker.connects.append(await read_packet(reader))
    writer.write(CONNACK_OK)
    head, body = await read_packet(reader)
    broker.subscribes.append((head, body))
    topics = 0
    at = 2
    while at < len(body):
        at += 2 + int.from_bytes(body[at : at + 2], "big") + 1
        topics += 1
    writer.write(with_length(0x90, body[:2] + b"\x01" * topics))  # 3.9


async def behave(broker, reader, writer):
    """A sound broker: acknowledges, answers pings, notes what it got."""
    await welcome(broker, reader, writer)
    await serve(broker, reader, writer)


async def serve(broker, reader, writer):
    while True:
        head, body = await read_packet(reader)
        broker.packets.append((head, body))
        if head >> 4 == 3:
            topic, packet_id, payload = parts(body)
            broker.published.append((topic, payload, head & 1, head >> 3 & 1))
            writer.write(b"\x40\x02" + packet_id.to_bytes(2, "big"))  # 3.4
        elif head == 0xC0:
            writer.write(PINGRESP)


class FakeBroker:
    def __init__(self, *scripts):
        self.scripts = list(scripts) or [behave]
        self.sessions = 0
        self.connects = []
        self.subscribes = []
        self.packets = []
        self.published = []
        self._server = None

    async def __aenter__(self):
        self._server = await asyncio.start_server(self._session, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_):
        self._server.close()

    async def _session(self, reader, writer):
        script = self.scripts[min(self.sessions, len(self.scripts) - 1)]
        self.sessions += 1
        with contextlib.suppress(OSError, EOFError, asyncio.CancelledError):
            await script(self, reader, writer)
        writer.close()
