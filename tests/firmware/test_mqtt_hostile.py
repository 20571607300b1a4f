"""The kit's MQTT client against hostile brokers: wrong greetings, packets against the standard, any bytes at all."""

import asyncio
import random

import pytest

from firmware import fake_broker
from firmware.fake_broker import behave, publish, read_packet, welcome
from firmware.mqtt_stage import TOPICS, Heard, a_client, until, with_broker


def refuses(code):
    async def script(_, reader, writer):
        await read_packet(reader)
        writer.write(bytes([0x20, 2, 0, code]))
        await asyncio.sleep(1)

    return script


@pytest.mark.parametrize(("code", "words"), [(4, "password is wrong"), (5, "not allowed"), (9, "code 9")])
def test_refused_login_is_named_and_tried_again(code, words):
    async def scenario(client, _, heard):
        await until(lambda: client.attempts >= 3)
        assert words in client.why
        assert heard.ups == 0

    with_broker([refuses(code)], scenario)


def says(data, after_welcome=False):
    async def script(broker, reader, writer):
        if after_welcome:
            await welcome(broker, reader, writer)
        else:
            await read_packet(reader)
        writer.write(data)
        await writer.drain()
        await asyncio.sleep(5)

    return script


async def closes_at_once(_, __, ___):
    return


async def drips_for_ever(_, reader, writer):
    await read_packet(reader)
    while True:
        writer.write(b"\x20")
        await asyncio.sleep(0.1)


HOSTILE_HELLOS = {
    "closed at once": closes_at_once,
    "says nothing": says(b""),
    "empty CONNACK": says(b"\x20\x00"),
    "short CONNACK": says(b"\x20\x01\x00"),
    "long CONNACK": says(b"\x20\x7f" + bytes(127)),
    "no MQTT": says(b"HTTP/1.1 400 Bad Request\r\n\r\n"),
    "SUBACK too early": says(b"\x90\x04\xff\xff\x01\x01"),
    "subscription refused": says(fake_broker.CONNACK_OK + b"\x90\x04\xff\xff\x01\x80"),
    "SUBACK of too few": says(fake_broker.CONNACK_OK + b"\x90\x03\xff\xff\x01"),
    "empty SUBACK": says(fake_broker.CONNACK_OK + b"\x90\x00"),
    "drips": drips_for_ever,
    "endless length": says(fake_broker.CONNACK_OK + b"\x90\xff\xff\xff\xff\xff"),
}


@pytest.mark.parametrize("name", HOSTILE_HELLOS)
def test_hostile_greeting_is_survived_and_the_next_session_works(name):
    async def scenario(client, _, heard):
        await until(lambda: client.up)
        assert client.attempts >= 2
        assert heard.ups == 1

    with_broker([HOSTILE_HELLOS[name], behave], scenario)


HOSTILE_PACKETS = {
    "bad length": b"\x30\xff\xff\xff\xff\x7f",
    "PUBLISH without a topic": b"\x30\x02\x00\x00",
    "PUBLISH of one byte": b"\x30\x01\x00",
    "empty PUBLISH": b"\x30\x00",
    "topic longer than its packet": b"\x30\x05\x00\xffabc",
    "no room for the packet id": b"\x32\x04\x00\x02ab",
    "QoS 2": b"\x34\x07\x00\x01a\x00\x01xy",
    "QoS 3": b"\x36\x07\x00\x01a\x00\x01xy",
    "topic that is not UTF-8": b"\x30\x04\x00\x02\xff\xfe",
    "PUBACK of three": b"\x40\x03\x00\x01\x02",
    "empty PUBACK": b"\x40\x00",
    "PUBREC": b"\x50\x02\x00\x01",
    "second CONNACK": fake_broker.CONNACK_OK,
    "a client's packet": b"\xc0\x00",
    "reserved kind": b"\xf0\x00",
    "flags in PUBACK": b"\x42\x02\x00\x01",
    "long PINGRESP": b"\xd0\x01\x00",
}


@pytest.mark.parametrize("name", HOSTILE_PACKETS)
def test_packet_against_the_standard_ends_the_session_and_the_next_one_works(name):
    async def scenario(client, _, heard):
        await until(lambda: client.sessions == 2)
        assert heard == []
        assert heard.downs[0]

    with_broker([says(HOSTILE_PACKETS[name], after_welcome=True), behave], scenario)


def test_length_that_promises_a_quarter_gigabyte_is_bounded_by_the_silence_limit():
    async def scenario(client, _, heard):
        await until(lambda: heard.downs, 3)
        assert client.faults == 0

    with_broker([says(b"\x30\xff\xff\xff\x7f\x00\x01a", after_welcome=True)], scenario, keepalive_s=1)


def fuzzed(draw):
    """Random bytes, or a sound stream with some bytes changed, cut or doubled."""
    sound = fake_broker.CONNACK_OK + b"\x90\x04\xff\xff\x01\x01" + publish(TOPICS[0], b"x" * 40) + b"\xd0\x00"
    if draw.random() < 0.3:
        return draw.randbytes(draw.randrange(60))
    stream = bytearray(sound)
    for _ in range(draw.randrange(1, 5)):
        at = draw.randrange(len(stream))
        stream[at : at + draw.randrange(3)] = draw.randbytes(draw.randrange(3))
    return bytes(stream)


class Wire:
    """Stands for both streams: gives the bytes it was made with, then end of file."""

    def __init__(self, data):
        self._reader = asyncio.StreamReader()
        self._reader.feed_data(data)
        self._reader.feed_eof()
        self.readexactly = self._reader.readexactly
        self.read = self._reader.read

    def write(self, data):
        assert isinstance(data, bytes)

    async def drain(self):
        pass

    def close(self):
        pass

    async def wait_closed(self):
        pass


@pytest.mark.parametrize("seed", range(4))
def test_no_stream_of_bytes_ends_the_client_handshake_included(seed, monkeypatch):
    """run() must still be alive after every stream; what it says must be a sentence of ours."""
    draw = random.Random(seed)
    streams = [fuzzed(draw) for _ in range(500)]

    async def body():
        heard = Heard()
        client = a_client(1, heard)
        client.pause_first_s = client.pause_last_s = 0
        pending = list(streams)

        async def open_fake(_host, _port):
            if not pending:
                await asyncio.sleep(60)
            wire = Wire(pending.pop())
            return wire, wire

        monkeypatch.setattr(asyncio, "open_connection", open_fake)
        client.connect_limit_s = 60
        task = asyncio.create_task(client.run())
        await until(lambda: not pending and client.attempts > len(streams), 30)
        assert not task.done()
        assert client.faults == 0
        assert client.sessions > 10
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    asyncio.run(body())
