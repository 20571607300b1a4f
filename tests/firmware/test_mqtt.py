"""The MQTT client of the kit against a scripted broker: exact packets, sessions, queue, bounds (hostile: its own file).

Expected packets are written out by hand from the OASIS standard MQTT 3.1.1 (2014).
"""

import asyncio

import pytest

from fiftyover_kit import mqtt
from firmware import fake_broker
from firmware.fake_broker import FakeBroker, behave, publish, read_packet, serve, welcome
from firmware.mqtt_stage import TOPICS, Heard, a_client, until, with_broker


def test_connect_packet_with_will_user_and_password_is_the_standards():
    packet = mqtt.connect_packet("k1", 10, ("s", "lost"), "me", "pw")
    # 3.1: length 10 + 4 + 3 + 6 + 4 + 4 = 31
    # flags: clean session 02, will 04, its QoS 1 08, its retain 20, password 40, user name 80: EE
    expected = b"\x10\x1f\x00\x04MQTT\x04\xee\x00\x0a\x00\x02k1\x00\x01s\x00\x04lost\x00\x02me\x00\x02pw"
    assert packet == expected


def test_connect_packet_without_an_account_claims_none():
    assert mqtt.connect_packet("k1", 300, None, "", "") == b"\x10\x0e\x00\x04MQTT\x04\x02\x01\x2c\x00\x02k1"


def test_subscribe_packet_is_the_standards():
    assert mqtt.subscribe_packet(["a/b", "c"], 0xFFFF) == b"\x82\x0c\xff\xff\x00\x03a/b\x01\x00\x01c\x01"


def test_publish_packet_is_the_standards():
    assert mqtt.publish_packets("a/b", b"xy", False, 10, False) == [b"\x32\x09\x00\x03a/b\x00\x0axy"]
    assert mqtt.publish_packets("a/b", b"", True, 10, True)[0][0] == 0x3B


def test_publish_in_pieces_is_the_same_packet():
    whole = mqtt.publish_packets("a/b", b"xyz", True, 10, False)
    assert b"".join(mqtt.publish_packets("a/b", [b"x", b"", b"yz"], True, 10, False)) == whole[0]


@pytest.mark.parametrize(
    ("payload", "digits"), [(122, b"\x7f"), (123, b"\x80\x01"), (8192, b"\x85\x40"), (16378, b"\xff\x7f")]
)
def test_remaining_length_is_coded_as_the_standard_says(payload, digits):
    # 5 bytes of topic and packet id: table 2.4 has 127 = 7F, 128 = 80 01, 16 383 = FF 7F; 8197 = 64 * 128 + 5
    packet = b"".join(mqtt.publish_packets("a", bytes(payload), False, 1, False))
    assert packet[1 : 1 + len(digits)] == digits
    assert len(packet) == 1 + len(digits) + 5 + payload


def test_session_connects_subscribes_and_publishes_retained_or_not():
    async def scenario(client, broker, heard):
        await until(lambda: client.up)
        client.publish("t/1", b"one", True)
        client.publish("t/2", b"two")
        await until(lambda: len(broker.published) == 2)
        assert broker.published == [("t/1", b"one", 1, 0), ("t/2", b"two", 0, 0)]
        assert broker.connects[0] == (0x10, mqtt.connect_packet("k1", 10, None, "", "")[2:])
        assert broker.subscribes[0][0] == 0x82
        assert heard.ups == client.sessions == 1

    with_broker([behave], scenario)


def test_inbound_message_is_acknowledged_and_handed_on_with_its_retained_flag():
    async def script(broker, reader, writer):
        await welcome(broker, reader, writer)
        writer.write(publish(TOPICS[0], b"old", retain=1) + publish(TOPICS[1], b"new", packet_id=78))
        writer.write(publish(TOPICS[1], b"", quality=0))
        await serve(broker, reader, writer)

    async def scenario(_, broker, heard):
        await until(lambda: len(heard) == 3 and len(broker.packets) == 2)
        assert heard == [(TOPICS[0], b"old", 1), (TOPICS[1], b"new", 0), (TOPICS[1], b"", 0)]
        assert broker.packets == [(0x40, b"\x00\x4d"), (0x40, b"\x00\x4e")]

    with_broker([script], scenario)


def test_answers_that_come_a_byte_at_a_time_are_understood():
    async def script(broker, reader, writer):
        broker.connects.append(await read_packet(reader))
        await drip(writer, fake_broker.CONNACK_OK)
        _, body = await read_packet(reader)
        await drip(writer, b"\x90\x04" + body[:2] + b"\x01\x01" + publish(TOPICS[0], b"slow"))
        await serve(broker, reader, writer)

    async def drip(writer, data):
        for byte in data:
            writer.write(bytes([byte]))
            await writer.drain()
            await asyncio.sleep(0.001)

    async def scenario(client, _, heard):
        await until(lambda: heard == [(TOPICS[0], b"slow", 0)])
        assert client.up

    with_broker([script], scenario)


def test_only_one_message_is_in_flight():
    async def script(broker, reader, writer):
        await welcome(broker, reader, writer)
        broker.packets.append(await read_packet(reader))
        await asyncio.sleep(0.1)
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(reader.read(1), 0.05)
        broker.quiet = True
        writer.write(b"\x40\x02" + bytes(fake_broker.parts(broker.packets[0][1])[1].to_bytes(2, "big")))
        await serve(broker, reader, writer)

    async def scenario(client, broker, _):
        await until(lambda: client.up)
        client.publish("t/1", b"one")
        client.publish("t/2", b"two")
        await until(lambda: broker.published == [("t/2", b"two", 0, 0)])
        assert broker.quiet

    with_broker([script], scenario)


def test_message_in_flight_goes_again_with_dup_after_a_reconnect():
    async def dies(broker, reader, writer):
        await welcome(broker, reader, writer)
        broker.packets.append(await read_packet(reader))

    async def scenario(client, broker, heard):
        await until(lambda: client.up)
        client.publish("t/1", b"one")
        await until(lambda: broker.published)
        assert broker.published == [("t/1", b"one", 0, 1)]
        first = fake_broker.parts(broker.packets[0][1])
        again = fake_broker.parts(broker.packets[1][1])
        assert first == again
        assert heard.ups == 2
        assert len(heard.downs) == 1

    with_broker([dies, behave], scenario)


def test_acknowledgement_of_another_packet_does_not_release_the_one_in_flight():
    async def script(broker, reader, writer):
        await welcome(broker, reader, writer)
        await read_packet(reader)
        writer.write(b"\x40\x02\x7f\x7f")
        await asyncio.sleep(5)

    async def scenario(client, _, heard):
        await until(lambda: client.up)
        client.publish("t/1", b"one")
        await until(lambda: heard.downs)
        assert client.sent == 0
        assert client.pending("t/1")

    with_broker([script], scenario)


async def mute(broker, reader, writer):
    """Welcomes, then reads nothing and says nothing."""
    await welcome(broker, reader, writer)
    await asyncio.sleep(5)


def test_newer_message_replaces_the_waiting_one_of_its_topic():
    async def scenario(client, _, __):
        await until(lambda: client.up)
        client.publish("flying", b"0")
        await until(lambda: not client._queue)
        for count in range(100):
            client.publish("t/1", b"%d" % count)
        assert [(item[0], item[1]) for item in client._queue] == [("t/1", b"99")]
        assert client.lost == 0

    with_broker([mute], scenario)


def test_full_queue_loses_its_oldest_but_neither_the_first_in_line_nor_the_one_in_flight():
    async def scenario(client, _, __):
        client.queue_max = 4
        await until(lambda: client.up)
        client.publish("flying", b"0")
        await until(lambda: not client._queue)
        client.publish("live", b"L", False, True)
        for count in range(10):
            client.publish(f"t/{count}", b"")
        assert [item[0] for item in client._queue] == ["live", "t/7", "t/8", "t/9"]
        assert client.lost == 7
        assert client._flying[0] == "flying"

    with_broker([mute], scenario)


def test_without_a_session_publish_keeps_nothing_and_says_so():
    client = mqtt.Client("127.0.0.1", 1, "k1", TOPICS)
    assert client.publish("t", b"x") is False
    assert client.waiting() == 0


def test_missing_acknowledgement_ends_the_session_in_bounded_time():
    async def scenario(client, _, heard):
        await until(lambda: client.up)
        client.publish("t/1", b"x")
        await until(lambda: heard.downs, 2)
        assert "did not answer in time" in heard.downs[0]

    with_broker([mute], scenario)


def test_silent_broker_is_noticed_after_one_and_a_half_keepalives():
    async def scenario(client, _, heard):
        await until(lambda: client.up)
        started = asyncio.get_running_loop().time()
        await until(lambda: heard.downs, 3)
        assert 1.4 <= asyncio.get_running_loop().time() - started <= 2.5

    with_broker([mute], scenario, keepalive_s=1)


def test_pings_keep_a_quiet_session_up():
    async def scenario(client, broker, heard):
        await until(lambda: sum(head == 0xC0 for head, _ in broker.packets) >= 2, 4)
        assert client.up
        assert heard.downs == []

    with_broker([behave], scenario, keepalive_s=1)


def test_oversized_message_is_drained_unread_acknowledged_and_the_next_one_arrives():
    async def script(broker, reader, writer):
        await welcome(broker, reader, writer)
        writer.write(publish(TOPICS[0], bytes(200000), packet_id=5) + publish(TOPICS[0], b"small", packet_id=6))
        await serve(broker, reader, writer)

    async def scenario(client, broker, heard):
        await until(lambda: len(broker.packets) == 2)
        assert heard == [(TOPICS[0], b"small", 0)]
        assert broker.packets == [(0x40, b"\x00\x05"), (0x40, b"\x00\x06")]
        assert client.oversize == 1

    with_broker([script], scenario)


@pytest.mark.parametrize(("size", "arrives"), [(8192, True), (8193, False)])
def test_limit_of_a_message_is_the_contracts_to_the_byte(size, arrives):
    async def script(broker, reader, writer):
        await welcome(broker, reader, writer)
        writer.write(publish(TOPICS[0], bytes(size)))
        await serve(broker, reader, writer)

    async def scenario(client, broker, heard):
        await until(lambda: broker.packets)
        await asyncio.sleep(0)
        assert (len(heard), client.oversize) == ((1, 0) if arrives else (0, 1))

    with_broker([script], scenario)


def test_handler_that_fails_costs_its_message_and_nothing_else():
    async def script(broker, reader, writer):
        await welcome(broker, reader, writer)
        writer.write(publish(TOPICS[0], b"bad") + publish(TOPICS[0], b"good"))
        await serve(broker, reader, writer)

    def fail_once(client):
        inner = client.on_message

        def handler(topic, payload, retained):
            if payload == b"bad":
                raise ValueError("handler")
            inner(topic, payload, retained)

        client.on_message = handler

    async def scenario(client, _, heard):
        await until(lambda: heard)
        assert heard == [(TOPICS[0], b"good", 0)]
        assert client.faults == 1
        assert client.up

    with_broker([script], scenario, prepare=fail_once)


def test_stop_sends_what_is_queued_and_a_goodbye():
    async def body():
        heard = Heard()
        async with FakeBroker(behave) as broker:
            client = a_client(broker.port, heard)
            task = asyncio.create_task(client.run())
            await until(lambda: client.up)
            client.publish("s", b"disconnected", True)
            await client.stop()
            await asyncio.wait_for(task, 2)
            await until(lambda: broker.packets[-1] == (0xE0, b""))
            assert broker.published == [("s", b"disconnected", 1, 0)]

    asyncio.run(body())
