"""Settings of the hub: `hub.toml` read into frozen dataclasses; the documented shape is the dataclasses themselves.

An unknown key is refused with the nearest name, a value that cannot be used with the range it must lie in. Relative
paths are taken from the folder that `hub.toml` lies in. Every key may be left out; a missing file is refused.
"""

from __future__ import annotations

import difflib
import ipaddress
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field, fields, is_dataclass, replace
from pathlib import Path
from typing import Any, get_args, get_type_hints

from fiftyover_kit.contract.topics import is_id

from .errors import SettingsError

SMOKERS_MAX = 500

Check = Callable[[Any], str]  # returns what is wrong, or nothing


def _span(low: float, high: float, unit: str = "") -> Check:
    return lambda value: "" if low <= value <= high else f"must lie between {low:g} and {high:g}{unit}"


def _one_of(*words: str) -> Check:
    return lambda value: "" if value in words else f"must be one of {', '.join(words)}"


def _kit_name(value: str) -> str:
    return "" if value == "" or is_id(value) else "must be 1 to 64 of a-z, 0-9 and -"


def _smokers(names: tuple[str, ...]) -> str:
    if len(names) > SMOKERS_MAX:
        return f"has {len(names)} names; a hub runs at most {SMOKERS_MAX} smokers, more need a second hub"
    twice = sorted({one for one in names if names.count(one) > 1})
    if twice:
        return f"names {', '.join(twice)} twice"
    wrong = [one for one in names if not is_id(one)]
    return f"has {wrong[0]!r}: each name must be 1 to 64 of a-z, 0-9 and -" if wrong else ""


def _key(default: Any, check: Check | None = None) -> Any:
    return field(default=default, metadata={"check": check} if check else {})


@dataclass(frozen=True)
class HubSettings:
    """[hub]: how the hub names itself and shows figures."""

    name: str = "smoker"  # shown on the pages
    units: str = _key("F-lb", _one_of("F-lb", "C-kg"))  # on screens and paper; stored is always °C and kg


@dataclass(frozen=True)
class BrokerSettings:
    """[broker]: where the MQTT broker is, or that the hub starts its own (`child`)."""

    host: str = "127.0.0.1"  # name or address
    port: int = _key(1883, _span(0, 65535))  # 0, with child = true only: any free port
    user: str = ""  # empty: no sign-in (a broker on loopback that the hub started)
    password_file: Path | None = None  # one line; mode 0600
    tls: bool = False  # true: encrypted; port 8883 is usual
    ca: Path | None = None  # certificate of the CA that signed the broker's; none: the system's
    child: bool = False  # true: the hub starts and watches the broker itself
    shared: bool = False  # true: other hubs use it too, so this one asks it for the kits in [kit] only
    cluster: bool = False  # true: several nodes that speak MQTT 5; a connection that just ends is a node that went


@dataclass(frozen=True)
class WebSettings:
    """[web]: where the pages are served; until `fiftyover setup` ran, on loopback only."""

    host: str = "127.0.0.1"  # the address to listen on; 0.0.0.0: all of this machine
    port: int = _key(8080, _span(0, 65535))  # 0: any free port
    names: tuple[str, ...] = ()  # further names under which a browser may reach the pages
    accounts_file: Path | None = None  # made by `fiftyover setup`


@dataclass(frozen=True)
class StoreSettings:
    """[store]: the database file; its lock and reserve files lie beside it."""

    path: Path = Path("fiftyover.sqlite")  # the record; on a local disk
    reserve_mib: int = _key(8, _span(0, 1024, " MiB"))  # kept back for a full disk


@dataclass(frozen=True)
class KitSettings:
    """[kit]: the kit this hub listens to, or the kits of several smokers, and the small one in the refrigerator."""

    id: str = _key("", _kit_name)  # empty: the first kit that is heard
    smokers: tuple[str, ...] = _key((), _smokers)  # several smokers at this hub, each by its kit's name; then no id
    refrigerator: str = _key("", _kit_name)  # the small kit whose first probe stands in a glass of water; empty: none


@dataclass(frozen=True)
class CookSettings:
    """[cook]: what a plan takes where it says nothing itself."""

    lift_kelvin: float = _key(27.78, _span(5, 60, " K"))  # 50 °F above the coldest core
    floor_degC: float | None = _key(None, _span(20, 100, " °C"))  # the chamber is never asked for less
    cap_degC: float | None = _key(None, _span(50, 107.2, " °C"))  # none: by casing line, 180 °F slim, 200 °F stout
    band_degC: tuple[float, ...] = (66.67, 68.33)  # 152-155 °F, by practice
    response_s: float = _key(0.0, _span(0, 3600, " s"))  # how long the person takes to come
    relay: str = _key("mechanical", _one_of("mechanical", "solid-state"))  # what switches the element
    element_watts: float | None = _key(None, _span(100, 4000, " W"))  # from its plate


@dataclass(frozen=True)
class InfluxSettings:
    """[influx]: a database that the record is copied to, by the write API of InfluxDB 2; without url, none."""

    url: str = ""  # http://127.0.0.1:8086
    org: str = "home"  # the organisation there; servers without any ignore it
    bucket: str = "fiftyover"  # letters, digits, - and _; on InfluxDB 1.x the database
    token_file: Path | None = None  # one line; mode 0600; none: the server asks for no token
    ca: Path | None = None  # certificate of the CA that signed the server's; none: the system's
    timeout_s: float = _key(10.0, _span(0.5, 120, " s"))  # a server slower than this is tried again later


@dataclass(frozen=True)
class AnnounceSettings:
    """[announce]: whether home-automation software at the same broker is told of the kits; it may only look."""

    on: bool = False  # `fiftyover setup --home-automation` writes true; off again: what was announced is cleared
    user: str = ""  # its own account, at a broker that the hub does not start itself (child = false)
    password_file: Path | None = None  # one line; mode 0600


@dataclass(frozen=True)
class Settings:
    """All of `hub.toml`: one table an attribute."""

    hub: HubSettings = HubSettings()
    broker: BrokerSettings = BrokerSettings()
    web: WebSettings = WebSettings()
    store: StoreSettings = StoreSettings()
    kit: KitSettings = KitSettings()
    cook: CookSettings = CookSettings()
    influx: InfluxSettings = InfluxSettings()
    announce: AnnounceSettings = AnnounceSettings()


def load(path: Path) -> Settings:
    """Settings of the file at `path`; SettingsError, one sentence, when it cannot be read or used."""
    try:
        text = Path(path).read_text(encoding="utf-8")
    except FileNotFoundError:
        raise SettingsError(f"There is no settings file {path}: run `fiftyover setup`, or name another.") from None
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"The settings file {path} cannot be read ({_why(error)}): check its rights.") from error
    return parse(text, Path(path).parent, str(path))


def parse(text: str, folder: Path, name: str = "hub.toml") -> Settings:
    """Settings of the TOML in `text`; relative paths are taken from `folder`, `name` is what errors call the file."""
    try:
        tables = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise SettingsError(f"{name} is not TOML ({error}): mend that line.") from None
    settings: Settings = _table(Settings, tables, "", name, Path(folder))
    _agree(settings, name)
    return settings


def password(broker: BrokerSettings) -> str:
    """The broker password from its file, "" where none is named; SettingsError when it cannot be read or is empty."""
    if broker.password_file is None:
        return ""
    return _secret(broker.password_file, "password", "[broker] password_file")


def announcer_password(announce: AnnounceSettings) -> str:
    """The announcing account's password, "" where no file is named; SettingsError as in `password`."""
    return "" if announce.password_file is None else _secret(announce.password_file, "password", "[announce]")


def token(influx: InfluxSettings) -> str:
    """The database's token from its file, "" where none is named; SettingsError when it cannot be read or is empty."""
    return "" if influx.token_file is None else _secret(influx.token_file, "token", "[influx] token_file")


def _secret(file: Path, what: str, key: str) -> str:
    where = f"The {what} file {file} ({key})"
    try:
        line = file.read_text(encoding="utf-8").strip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{where} cannot be read ({_why(error)}): check its path and rights.") from error
    if not line or "\n" in line:
        raise SettingsError(f"{where} must hold the {what} in one line, and nothing else.")
    return line


def _why(error: Exception) -> str:
    return getattr(error, "strerror", None) or "it is not UTF-8 text"


def _table(kind: Any, given: dict[str, Any], where: str, name: str, folder: Path) -> Any:
    known = {one.name: one for one in fields(kind)}
    hints = get_type_hints(kind)
    values: dict[str, Any] = {}
    for key, value in given.items():
        label = f"[{where}] {key}" if where else f"[{key}]"
        if key not in known:
            raise SettingsError(f"{name}: {label} is not a setting{_nearest(key, list(known))}")
        if is_dataclass(hints[key]):
            if not isinstance(value, dict):
                raise SettingsError(f"{name}: {label} must be a table; write its keys under a line {label}.")
            values[key] = _table(hints[key], value, key, name, folder)
            continue
        values[key] = _value(hints[key], value, f"{name}: {label}", folder)
        wrong = known[key].metadata.get("check", lambda _: "")(values[key])
        if wrong:
            raise SettingsError(f"{name}: {label} = {value!r} {wrong}.")
    made = kind(**values)
    return _placed(made, folder)


def _nearest(key: str, known: list[str]) -> str:
    near = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.5)
    return f"; did you mean {near[0]}?" if near else f"; the settings here are {', '.join(known)}."


def _placed(made: Any, folder: Path) -> Any:
    """The same settings with each relative path taken from the folder; defaults are moved too."""
    moved = {
        one.name: folder / getattr(made, one.name) for one in fields(made) if isinstance(getattr(made, one.name), Path)
    }
    nested = {
        one.name: _placed(getattr(made, one.name), folder)
        for one in fields(made)
        if is_dataclass(getattr(made, one.name))
    }
    return replace(made, **moved, **nested)


_WORDS = {bool: "true or false", int: "a whole number", float: "a number", str: "a text in quotes", Path: "a path"}


def _value(hint: Any, value: Any, label: str, folder: Path) -> Any:
    kind = next((one for one in get_args(hint) if one is not type(None)), hint)
    if getattr(hint, "__origin__", None) is tuple:
        if not isinstance(value, list):
            raise SettingsError(f"{label} must be a list in brackets.")
        return tuple(_value(kind, one, label, folder) for one in value)
    if kind is Path and isinstance(value, str) and value:
        return folder / value
    if kind is float and type(value) in (int, float) and abs(value) < 1e300:
        return float(value)
    if kind is not float and type(value) is kind:
        return value
    raise SettingsError(f"{label} must be {_WORDS[kind]}, not {value!r}.")


def _agree(settings: Settings, name: str) -> None:
    """Refuse what is right key by key but not together."""
    broker, band = settings.broker, settings.cook.band_degC
    if len(band) != 2 or not 40 <= band[0] < band[1] <= 90:
        raise SettingsError(f"{name}: [cook] band_degC must be two rising temperatures between 40 and 90 °C.")
    if not _loopback(settings.web.host) and settings.web.accounts_file is None:
        raise SettingsError(
            f"{name}: [web] host = {settings.web.host!r} opens the pages to others without accounts: run `fiftyover "
            "setup` first, or write 127.0.0.1."
        )
    if settings.influx.url and not settings.influx.url.startswith(("http://", "https://")):
        raise SettingsError(f"{name}: [influx] url = {settings.influx.url!r} must begin with http:// or https://.")
    if settings.influx.url and not _plain(settings.influx.bucket):
        raise SettingsError(f"{name}: [influx] bucket must be of letters, digits, - and _ only.")
    if broker.port == 0 and not broker.child:
        raise SettingsError(f"{name}: [broker] port = 0 is only for child = true; write the broker's port (1883).")
    if broker.shared and not (settings.kit.id or settings.kit.smokers):
        raise SettingsError(f"{name}: [broker] shared = true needs [kit] id, or this hub would hear no kit.")
    if settings.kit.smokers and settings.kit.id:
        raise SettingsError(f"{name}: [kit] id and smokers exclude each other; put the one into the list.")
    if settings.kit.refrigerator and settings.kit.refrigerator in (settings.kit.id, *settings.kit.smokers):
        raise SettingsError(f"{name}: [kit] refrigerator names the smoker's own kit; write the small kit's name.")
    alone = settings.announce.user not in ("", broker.user) and settings.announce.password_file is not None
    if settings.announce.on and broker.user and not broker.child and not alone:
        raise SettingsError(
            f"{name}: [announce] needs a user of its own and its password_file: as {broker.user!r} it would throw the "
            "hub off the broker."
        )
    if not broker.host.strip():
        raise SettingsError(f"{name}: [broker] host is empty; write the broker's name or address.")
    if broker.user and broker.password_file is None:
        raise SettingsError(f"{name}: [broker] user is given without password_file; add the file with its password.")
    if broker.password_file is not None and not broker.user:
        raise SettingsError(f"{name}: [broker] password_file is given without user; add the user it belongs to.")


def _plain(name: str) -> bool:
    return name.isascii() and name.replace("-", "").replace("_", "").isalnum()


def _loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
