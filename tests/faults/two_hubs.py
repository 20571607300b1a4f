"""Two hubs on one kit: with an account each, and with one account between them."""

import json
import time
from dataclasses import asdict

from faults.stand import Stand
from fiftyover.broker.accounts import Account
from fiftyover.broker.child import ChildBroker

SECOND = "hub-2"
TOGETHER_S = 12.0


class BrokerForTwo(ChildBroker):
    """mosquitto with a second account that has a hub's rights; `setup` makes no such thing."""

    def _write(self, port):
        command = super()._write(port)
        with (self.folder / "access").open("a") as out:
            out.write(f"\nuser {SECOND}\ntopic read homie/#\ntopic write homie/5/+/+/+/set\n")
        return command


class StandForTwo(Stand):
    def make_broker(self, made):
        made.append(Account(SECOND, "second-" + made[0].secret))
        return BrokerForTwo("mosquitto", self.folder / "broker", made)

    def second(self, address):
        store = self.folder / "second"
        hub = type(self.hub)(
            store, {**self.hub.config, "store": str(store / "record.sqlite"), "broker": asdict(address)}
        )
        self._doing.callback(hub.kill)
        return hub


def _alarms(hub, since):
    return {text for line in hub.lines("state") if line["at"] > since for text in line["alarms"]}


def own_accounts(seed):
    """The second one comes while the first heats; it is killed, comes again and ends with its stop."""
    with StandForTwo(seed) as stand:
        stand.start()
        stand.wait(lambda: stand.is_on, 30.0)
        stand.wait(lambda: False, 3.0)
        second = stand.second(stand.broker.address_for(SECOND))
        began = time.monotonic()
        second.start()
        stand.wait(lambda: bool(second.sent("heater/grant/set")), 15.0, 0.1)
        stand.wait(lambda: False, TOGETHER_S)
        offs, stops = len(stand.switched(began, 0)), len(second.sent("heater/stop/set"))
        why = sorted({line["why"] for line in second.lines("state")})
        told = _alarms(stand.hub, began)
        stopped = time.monotonic()
        second.stop()
        stand.wait(lambda: False, 4.0)
        stop_offs, back = len(stand.switched(stopped, 0)), stand.is_on
        stand.drain()
        stand.hub.stop()
        return {
            "second_grants": len(second.sent("heater/grant/set")),
            "offs_together": offs,
            "told": any("also sends to this kit" in text for text in told),
            "offs_by_its_stop": stop_offs,
            "back_on": back,
            "stops_together": stops,
            "second_why": why,
            "frames_missing": stand.missing(),
        }


def one_account(seed):
    """The second takes the first one's place at the broker: the first withdraws and stays away."""
    with StandForTwo(seed) as stand:
        stand.start()
        stand.wait(lambda: stand.is_on, 30.0)
        stand.wait(lambda: False, 2.0)
        second = stand.second(stand.broker.address)
        second.start()
        stand.wait(lambda: bool(second.lines("started")), 15.0, 0.01)
        struck = time.monotonic()
        off_s = stand.wait(lambda: not stand.is_on, 10.0)
        stand.wait(lambda: False, TOGETHER_S, 0.1)
        first = stand.hub.last_state()
        late = [at for at, _ in stand.hub.sent("heater/grant/set") if at > time.monotonic() - TOGETHER_S / 2]
        return {
            "off_s": off_s,
            "ons_after": len(stand.switched(struck + (off_s or 0.0), 1)),
            "told": any("took this one's place" in text for text in first["alarms"]),
            "first_sends_late": len(late),
            "alarms": json.dumps(first["alarms"])[:300],
        }
