"""Wi-Fi, broker and hub go silent at random moments: how long until the relay's pin is low, and does anything old
put it high again?"""

import random
import signal
import time

import paho.mqtt.client as paho

from faults.stand import KIT, SPEED, Stand
from fiftyover.broker.accounts import HUB
from fiftyover_kit.contract import limits

LEASE_S = limits.TTL_S / SPEED
ALLOWED_S = LEASE_S + 0.5
TRIES = 6
SETTLE_S = 30.0  # to heat again after a fault was mended
GRANT = f"homie/5/{KIT}/heater/grant/set"

WIFI_CUT, WIFI_STALL = "Wi-Fi cut", "Wi-Fi holds new permits back, hub dead, delivered late"
BROKER_KILL, BROKER_STALL = "broker kill -9", "broker SIGSTOP, hub dead, SIGCONT"
HUB_KILL, HUB_STOP = "hub kill -9, old permits replayed and retained", "hub SIGSTOP, SIGCONT"
KINDS = (WIFI_CUT, WIFI_STALL, BROKER_KILL, BROKER_STALL, HUB_KILL, HUB_STOP)


def inject(stand, kind):
    if kind == WIFI_CUT:
        stand.proxy.cut()
    elif kind == WIFI_STALL:
        stand.proxy.stall(grants_only=True)
    elif kind == BROKER_KILL:
        stand.broker_kill()
    elif kind == BROKER_STALL:
        stand.broker_signal(signal.SIGSTOP)
    elif kind == HUB_KILL:
        stand.hub.kill()
    else:
        stand.hub.signal(signal.SIGSTOP)


def provoke(stand, kind, rng):
    """With the element off and no hub that could decide afresh: bring back everything old there is."""
    if kind in (WIFI_STALL, BROKER_STALL):
        stand.hub.kill()
        if kind == WIFI_STALL:  # the hub decided until now: its last permit may serve until it has run out
            stand.wait(lambda: False, LEASE_S + 0.1)
            stand.proxy.mend()
        else:
            stand.broker_signal(signal.SIGCONT)
    elif kind == HUB_KILL:
        replay(stand)
    stand.wait(lambda: False, rng.uniform(0.5, 1.5))


def replay(stand):
    """Publish the newest grants once more in the hub's name: as they were, then retained, to a kit that comes anew."""
    old = [payload for _, payload in stand.hub.sent("heater/grant/set")[-5:]]
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="replay")
    address = stand.broker.address
    client.username_pw_set(HUB, address.secret)
    client.connect(address.host, address.port)
    client.loop_start()
    for payload in old:
        client.publish(GRANT, payload, 1).wait_for_publish(2)
    client.publish(GRANT, old[-1], 1, retain=True).wait_for_publish(2)
    stand.proxy.cut()
    stand.proxy.mend()
    seen = stand.proxy.forwarded
    stand.wait(lambda: stand.proxy.forwarded > seen + 400, 6.0)
    client.publish(GRANT, b"", 1, retain=True).wait_for_publish(2)
    client.disconnect()
    client.loop_stop()


def mend(stand, kind):
    if kind == WIFI_CUT:
        stand.proxy.mend()
    elif kind == BROKER_KILL:
        stand.broker_again()
    elif kind == HUB_STOP:
        stand.hub.signal(signal.SIGCONT)
    if not stand.hub.alive:
        stand.hub.start()


def one(stand, kind, rng):
    """One fault: seconds until off, times the pin went high while nobody could have decided, seconds to heat again."""
    if stand.wait(lambda: stand.is_on, SETTLE_S) is None:
        return {"kind": kind, "skipped": f"no heat to take away: {stand.hub.last_state()}"}
    stand.wait(lambda: False, rng.uniform(0.2, 1.8))
    if not stand.is_on:
        return {"kind": kind, "skipped": "the element was off by itself"}
    bites = stand.watchdogs
    struck = time.monotonic()
    inject(stand, kind)
    # Under a permit of less than full duty the pin may fall and rise until the permit ends: its last fall counts.
    stand.wait(lambda: time.monotonic() > struck + ALLOWED_S, ALLOWED_S + 1.0)
    waited = stand.wait(lambda: not stand.is_on, 5.0, 0.002)
    offs = stand.switched(struck, 0)
    provoke(stand, kind, rng)
    reons = len(stand.switched(struck + ALLOWED_S, 1))
    mended = time.monotonic()
    mend(stand, kind)
    again = stand.wait(lambda: stand.is_on, SETTLE_S)
    return {
        "kind": kind,
        "off_s": None if waited is None else offs[-1] - struck,
        "reons": reons,
        "again_s": None if again is None else time.monotonic() - mended,
        "watchdog": stand.watchdogs > bites,
    }


def surely(stand, kind, rng):
    """One fault, tried again if the element happened to be off at its moment."""
    for _ in range(TRIES):
        result = one(stand, kind, rng)
        if "skipped" not in result:
            break
    return result


def run(kinds, count, seed):
    """`count` faults of each kind, shuffled, on one stand."""
    rng = random.Random(seed)
    todo = [kind for kind in kinds for _ in range(count)]
    rng.shuffle(todo)
    with Stand(seed) as stand:
        stand.start()
        results = [surely(stand, kind, rng) for kind in todo]
        stand.hub.stop()
        refused = sum(content[-2] == "refused" for content in stand.rows().values())
        late = stand.proxy.released
    return {"results": results, "late_permits": late, "refused_frames": refused, "watchdogs": stand.watchdogs}
