"""What the MQTT client has to tell a person, by its counters: messages refused unread, messages lost."""

from __future__ import annotations

from ..broker.client import BrokerClient
from .troubles import Troubles


class ClientWatch:
    """Looks at the counters now and then, and tells each news once."""

    def __init__(self, client: BrokerClient, troubles: Troubles) -> None:
        self._client, self._troubles = client, troubles
        self._oversized = self._lost_in = 0

    def look(self, now_s: float) -> None:
        """Tell what has grown since the last look."""
        counters = self._client.counters
        if counters.oversized > self._oversized:
            self._troubles.news(
                f"A message to {counters.oversized_topic} of over 8 KB was refused unread: look what publishes there.",
                now_s,
            )
        if counters.lost_in > self._lost_in:
            self._troubles.news("The hub was too busy for some messages; what they held is sent again.", now_s)
        self._oversized, self._lost_in = counters.oversized, counters.lost_in
