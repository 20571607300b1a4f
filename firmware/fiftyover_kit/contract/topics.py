"""Every MQTT topic of the contract, made from a kit's id, and the way back.

Naming follows the Homie convention, version 5.0 (topic structure, ids of a-z 0-9 and -). Nothing here knows a payload.
"""

from fiftyover_kit.contract.errors import ContractError
from fiftyover_kit.contract.limits import ID_MAX_CHARACTERS

ROOT = "homie/5"
STATES = ("init", "ready", "disconnected", "lost")  # of $state, in the order of a session; the last will is the last
SYS = (
    "uptime",
    "rssi",
    "heap",
    "reset-cause",
    "firmware",
    "cap",
    "relay",
    "switchings",
    "simulated",
    "hub",
)

_ID_CHARACTERS = "abcdefghijklmnopqrstuvwxyz0123456789-"
_KIT_HEARS = ("frame/ack/set", "heater/grant/set", "heater/stop/set")
_HUB_HEARS = (
    "$state",
    "$description",
    "$alert/+",
    "+/temperature",
    "+/status",
    "heater/+",
    "sys/+",
    "frame/sample",
    "frame/backlog",
)


def is_id(text: object) -> bool:
    """True if `text` is an id of a kit, hub, alert or batch: 1..64 of a-z 0-9 - (Homie 5.0, "Topic IDs")."""
    return isinstance(text, str) and 0 < len(text) <= ID_MAX_CHARACTERS and not text.strip(_ID_CHARACTERS)


def _below(kit: str, rest: str) -> str:
    if not is_id(kit):
        raise ContractError(f"kit id {kit!r} is not usable in a topic; use 1 to 64 of a-z, 0-9 and -.")
    return f"{ROOT}/{kit}/{rest}"


def state(kit: str) -> str:
    """The topic of the kit's life: one of STATES; retained, QoS 1, last will "lost". ContractError on a bad id."""
    return _below(kit, "$state")


def description(kit: str) -> str:
    """The topic of the Homie description, JSON, retained. ContractError on a bad id."""
    return _below(kit, "$description")


def alert(kit: str, name: str) -> str:
    """The topic of one alert, retained text, emptied when over. ContractError on a bad kit or alert id."""
    if not is_id(name):
        raise ContractError(f"alert id {name!r} is not usable in a topic; use 1 to 64 of a-z, 0-9 and -.")
    return _below(kit, "$alert/" + name)


def _probe(kit: str, number: int, leaf: str) -> str:
    if type(number) is not int or number < 1:
        raise ContractError(f"probe number {number!r} does not exist; probes count from 1, the chamber's.")
    return _below(kit, f"probe-{number}/{leaf}")


def probe_temperature(kit: str, number: int) -> str:
    """The topic of probe `number`'s °C (1 = chamber), retained. ContractError on a bad id or a number below 1."""
    return _probe(kit, number, "temperature")


def probe_status(kit: str, number: int) -> str:
    """The topic of probe `number`'s status word (limits.STATUS), retained. ContractError on a bad id or number."""
    return _probe(kit, number, "status")


def heater_state(kit: str) -> str:
    """The topic of why the element is on or off (limits.WHY), retained. ContractError on a bad id."""
    return _below(kit, "heater/state")


def heater_lease(kit: str) -> str:
    """The topic of the seconds left of the permit, retained. ContractError on a bad id."""
    return _below(kit, "heater/lease")


def heater_armed(kit: str) -> str:
    """The topic of whether stand-by is armed, boolean, retained. ContractError on a bad id."""
    return _below(kit, "heater/armed")


def heater_door(kit: str) -> str:
    """The topic of whether the door hold is on, boolean, retained. ContractError on a bad id."""
    return _below(kit, "heater/door")


def sys(kit: str, name: str) -> str:
    """The topic of one of the kit's own figures (SYS), retained. ContractError on a bad id or an unknown name."""
    if name not in SYS:
        raise ContractError(f"sys/{name} is not in the contract; use one of {', '.join(SYS)}.")
    return _below(kit, "sys/" + name)


def frame_sample(kit: str) -> str:
    """The topic of live frames, not retained, QoS 1. ContractError on a bad id."""
    return _below(kit, "frame/sample")


def frame_backlog(kit: str) -> str:
    """The topic of older frames, not retained, QoS 1. ContractError on a bad id."""
    return _below(kit, "frame/backlog")


def ack_set(kit: str) -> str:
    """The topic on which the hub says which frames are on disk, not retained. ContractError on a bad id."""
    return _below(kit, _KIT_HEARS[0])


def grant_set(kit: str) -> str:
    """The topic on which the hub permits heat, not retained. ContractError on a bad id."""
    return _below(kit, _KIT_HEARS[1])


def stop_set(kit: str) -> str:
    """The topic on which the hub ends heat. ContractError on a bad id."""
    return _below(kit, _KIT_HEARS[2])


def kit_hears(kit: str) -> list[str]:
    """All topics the kit subscribes to, QoS 1: ack, grant, stop; also all the hub publishes to it."""
    return [_below(kit, rest) for rest in _KIT_HEARS]


def hub_hears(kit: str = "+") -> list[str]:
    """The topic filters the hub subscribes to, QoS 1, for one kit or, by default, for any; no two overlap.

    The hub's own messages to a kit (.../set) are not among them. ContractError on a bad id.
    """
    if kit == "+":
        return [f"{ROOT}/+/{rest}" for rest in _HUB_HEARS]
    return [_below(kit, rest) for rest in _HUB_HEARS]


def parse(topic: str) -> tuple[str, str]:
    """(kit id, what stands below it) of a topic: "homie/5/k1/frame/sample" -> ("k1", "frame/sample").

    ContractError if it is not below `ROOT` with a sound kit id and something after it.
    """
    parts = topic.split("/", 3) if isinstance(topic, str) else []
    if len(parts) != 4 or "/".join(parts[:2]) != ROOT or not is_id(parts[2]) or not parts[3]:
        raise ContractError(f"topic {str(topic)[:80]!r} is not one of a kit; it must read {ROOT}/<kit>/...")
    return parts[2], parts[3]


def is_retained(rest: str) -> bool:
    """True if what stands below the kit's id is published retained: all but frames and the hub's messages."""
    return not (rest.startswith("frame/") or rest.endswith("/set"))
