"""A running client of the kit between scripted brokers and a listener, for the tests of mqtt.py."""

import asyncio

from fiftyover_kit import mqtt
from firmware.fake_broker import FakeBroker

TOPICS = ["homie/5/k1/heater/grant/set", "homie/5/k1/frame/ack/set"]


class Heard(list):
    """What the client's callbacks said."""

    def __init__(self):
        super().__init__()
        self.ups = 0
        self.downs = []

    def message(self, topic, payload, retained):
        self.append((topic, payload, retained))

    def up(self):
        self.ups += 1


def a_client(port, heard, keepalive_s=10):
    client = mqtt.Client("127.0.0.1", port, "k1", TOPICS, keepalive_s)
    client.on_message, client.on_up, client.on_down = heard.message, heard.up, heard.downs.append
    client.connect_limit_s = client.answer_limit_s = client.write_limit_s = client.puback_limit_s = 0.3
    client.pause_first_s = 0.02
    client.pause_last_s = 0.05
    return client


async def until(condition, limit_s=5.0):
    async with asyncio.timeout(limit_s):
        while not condition():
            await asyncio.sleep(0.005)


def with_broker(scripts, scenario, keepalive_s=10, prepare=None):
    """Run scenario(client, broker, heard) beside a running client; the client's task must outlive it."""

    async def body():
        heard = Heard()
        async with FakeBroker(*scripts) as broker:
            client = a_client(broker.port, heard, keepalive_s)
            if prepare:
                prepare(client)
            task = asyncio.create_task(client.run())
            try:
                await scenario(client, broker, heard)
                assert not task.done()
            finally:
                # CPython 3.11's wait_for can swallow a cancel that meets its own end; once more is enough then.
                while not task.done():
                    task.cancel()
                    await asyncio.wait([task], timeout=1)

    asyncio.run(body())
