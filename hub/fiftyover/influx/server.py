"""The database server, asked through influxdb-client: one lot at a time, and every way it can fail as one sentence."""

from __future__ import annotations

import contextlib
import json
import logging
import time
from email.utils import parsedate_to_datetime
from typing import Any

from ..errors import HubError
from ..settings import InfluxSettings, token

CLOCK_APART_S = 120.0
TOLD_MAX = 160


class NotTakenError(HubError):
    """The server did not take a lot; `too_old`: all it refused lies before what it keeps, so a later try is vain."""

    def __init__(self, sentence: str, too_old: bool = False) -> None:
        super().__init__(sentence)
        self.too_old = too_old


class Server:
    """The write API (/api/v2/write) of the server in [influx]; for one thread. SettingsError: no token, no package."""

    def __init__(self, settings: InfluxSettings) -> None:
        self._settings = settings
        self._token = token(settings)
        try:
            from influxdb_client.client.influxdb_client import InfluxDBClient
            from influxdb_client.client.write_api import SYNCHRONOUS
        except ImportError:
            raise HubError("[influx] needs a package more: pip install 'fiftyover[influx]'.") from None
        for name in ("influxdb_client", "urllib3"):  # their debug lines would carry the token
            logging.getLogger(name).setLevel(logging.ERROR)
        logging.getLogger().addFilter(_quotes_no_answer)
        extra: dict[str, Any] = {} if settings.ca is None else {"ssl_ca_cert": str(settings.ca)}
        self._client = InfluxDBClient(
            url=settings.url.rstrip("/"),
            token=self._token,
            org=settings.org,
            timeout=int(settings.timeout_s * 1000),
            retries=False,  # we try again ourselves, from the outbox
            **extra,
        )
        self._api = self._client.write_api(write_options=SYNCHRONOUS)

    def write(self, lines: list[str]) -> None:
        """Write points of line protocol (times in ms); returns once the server says that it has them. NotTakenError."""
        from influxdb_client.domain.write_precision import WritePrecision
        from influxdb_client.rest import ApiException

        where = self._settings
        try:
            self._api.write(where.bucket, where.org, "\n".join(lines), WritePrecision.MS)  # type: ignore[arg-type]
        except ApiException as fault:
            raise self._refused(fault.status, fault.body) from None
        except Exception as fault:  # what urllib3 raises for a line cut, a name unknown, an answer that is no HTTP
            raise NotTakenError(
                f"{self._who()} cannot be reached ({_kind(fault)}): see that it runs and [influx] url."
            ) from None
        status = getattr(self._client.api_client.last_response, "status", None)
        if status != 204:  # a page that says 200 to everything is no database
            raise NotTakenError(f"{self._who()} answers like something else (code {status}): check [influx] url.")

    def clock_ahead_s(self) -> float:
        """By how much the server's clock went before ours at its last answer, s; 0 where it did not say."""
        answer = getattr(self._client.api_client, "last_response", None)
        said = answer.getheader("Date") if answer is not None else None
        with contextlib.suppress(TypeError, ValueError):
            return parsedate_to_datetime(said).timestamp() - time.time() if said else 0.0
        return 0.0

    def close(self) -> None:
        """Let go of the connections."""
        self._client.close()  # type: ignore[no-untyped-call]

    def _who(self) -> str:
        return f"The database {self._settings.url}"

    def _refused(self, status: int | None, body: Any) -> NotTakenError:
        said, bucket = self._said(body), self._settings.bucket
        who = self._who()
        if status in (401, 403):
            return NotTakenError(
                f"{who} does not accept the token: put one that may write {bucket} into [influx] token_file."
            )
        if status == 404:
            return NotTakenError(
                f"{who} has no bucket {bucket} ({said}): make it there, or name another in [influx] bucket."
            )
        if status == 413:
            return NotTakenError(f"{who} finds a lot too large: raise the limit of the server or its proxy to 2 MB.")
        if status in (400, 422) and "retention" in said:
            return NotTakenError(
                f"{who} refuses readings as older than it keeps: check both clocks, or lengthen its retention; they "
                "stay in the record.",
                too_old="type conflict" not in said,
            )
        if status in (400, 422) and "conflict" in said:
            return NotTakenError(
                f"{who} holds a field of ours with another type ({said}): give the hub a bucket of its own."
            )
        return NotTakenError(f"{who} did not take the readings (code {status}: {said}).")

    def _said(self, body: Any) -> str:
        """The server's own words, short, in one line, and never with the token."""
        text = body.decode("utf-8", "replace") if isinstance(body, bytes) else str(body or "")
        with contextlib.suppress(ValueError, AttributeError):
            told = json.loads(text)
            text = str(told.get("message") or told.get("error") or text)
        if self._token:
            text = text.replace(self._token, "…")
        return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:TOLD_MAX] or "no reason given"


def _quotes_no_answer(record: logging.LogRecord) -> bool:
    """influxdb-client writes answers that are not JSON to the root log at level debug: one may quote the token."""
    return not str(record.msg).startswith("Cannot parse error response")


def _kind(fault: Exception) -> str:
    """The fault in a word or three; its text is left out, since it may quote the request."""
    name = type(getattr(fault, "reason", None) or fault).__name__
    known = {
        "ReadTimeoutError": "no answer in time",
        "ConnectTimeoutError": "no answer in time",
        "NewConnectionError": "nobody listens there",
        "NameResolutionError": "its name is unknown",
        "ProtocolError": "the answer broke off or is no HTTP",
        "SSLError": "its certificate is not trusted",
    }
    return known.get(name, name)
