"""Who is told, and how: kept in one file of mode 0600, for its addresses hold secrets."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ..broker.address import write_secret
from ..errors import SettingsError

TARGETS_MAX, LETTERS_MAX = 8, 400


@dataclass(frozen=True, slots=True)
class Contacts:
    """Addresses (Apprise's URLs) of the first and the second person, and when the second is told (s).

    `response_s` is how long the person takes to come: what a new plan begins with.
    """

    first: tuple[str, ...] = ()
    second: tuple[str, ...] = ()
    escalate_after_s: float = 300.0
    response_s: float = 0.0


class _Written(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    first: list[str] = Field(default=[], max_length=TARGETS_MAX)
    second: list[str] = Field(default=[], max_length=TARGETS_MAX)
    escalate_after_s: float = Field(default=300.0, ge=60.0, le=3600.0)
    response_s: float = Field(default=0.0, ge=0.0, le=3600.0)


def read(data: Mapping[str, Any]) -> Contacts:
    """Contacts from plain data; SettingsError, one sentence."""
    try:
        written = _Written.model_validate(dict(data))
    except ValidationError as fault:
        first = fault.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        said = first["msg"].lower().replace("input should be", "it must be")
        raise SettingsError(f"{where} cannot be used: {said}.") from None
    for url in (*written.first, *written.second):
        if len(url) > LETTERS_MAX or not _scheme(url) or "://" not in url or any(c.isspace() for c in url):
            raise SettingsError(f"{masked(url)} is no address: write it like ntfy://server/topic or mailto://…")
    return Contacts(
        tuple(written.first), tuple(written.second), written.escalate_after_s, written.response_s
    )  # fmt: skip


def load(file: Path) -> Contacts:
    """What the file says; nobody when there is none; SettingsError when it cannot be used."""
    try:
        return read(json.loads(file.read_text("utf-8")))
    except FileNotFoundError:
        return Contacts()
    except (OSError, ValueError) as fault:
        raise SettingsError(
            f"The contacts file {file} cannot be read ({fault}): remove it and type them in again."
        ) from None


def save(file: Path, contacts: Contacts) -> None:
    """Write the file; SettingsError when that fails."""
    try:
        write_secret(file, json.dumps(asdict(contacts), indent=1) + "\n")
    except OSError as fault:
        raise SettingsError(
            f"The contacts file {file} cannot be written ({fault.strerror}): check its rights and the disk."
        ) from None


def _scheme(url: str) -> str:
    try:
        return urlsplit(url).scheme
    except ValueError:  # brackets around what is no address
        return ""


def masked(url: str) -> str:
    """An address without its secrets: how it goes and to whom, in part."""
    scheme, mark, rest = url.partition("://")
    if not mark:
        return "What was typed in"
    return f"{scheme}://…{rest[-4:]}" if len(rest) > 8 else f"{scheme}://…"
