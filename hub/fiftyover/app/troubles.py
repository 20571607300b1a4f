"""What the page has to tell beside the batch's own notes: troubles that stand, and news that fades."""

from __future__ import annotations

import logging

LOG = logging.getLogger("fiftyover.hub")
NEWS_S = 600.0
NEWS_MAX = 20


class Troubles:
    """Standing troubles by name, and sentences that are told for ten minutes. Not locked: the hub does that."""

    def __init__(self) -> None:
        self._standing: dict[str, str] = {}
        self._logged: dict[str, float] = {}  # name -> when its coming was last logged (s)
        self._news: dict[str, float] = {}  # sentence -> when it was told last (s)

    def put(self, name: str, sentence: str | None, now_s: float) -> None:
        """Let a trouble stand under its name; None: it is over. Its coming goes to the log, once in ten minutes."""
        if sentence is None:
            self._standing.pop(name, None)
            return
        if name not in self._standing and not 0.0 <= now_s - self._logged.get(name, -NEWS_S) < NEWS_S:
            self._logged[name] = now_s
            LOG.warning("%s", sentence)
        self._standing[name] = sentence

    def news(self, sentence: str, now_s: float) -> None:
        """Tell something that happened. The same again is not logged again; of a flood only the first are told."""
        self._fade(now_s)
        if sentence not in self._news:
            if len(self._news) >= NEWS_MAX:
                return
            LOG.warning("%s", sentence)
        self._news[sentence] = now_s

    def told(self, now_s: float) -> list[str]:
        """All that is to be told now (s on the hub's clock), what stands first."""
        self._fade(now_s)
        return [*self._standing.values(), *self._news]

    def _fade(self, now_s: float) -> None:
        self._news = {sentence: at_s for sentence, at_s in self._news.items() if 0.0 <= now_s - at_s < NEWS_S}
