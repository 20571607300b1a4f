"""A sounder in the house by MQTT: two topics of our own that anything with an MQTT client and a buzzer can obey.

    fiftyover/sounder/state   on | off            retained, QoS 1; said again every minute
    fiftyover/sounder/says    the sentence         retained, QoS 1; empty while it is off

`on` while something wants somebody at once and nobody said "I heard it". Who sounds must fall silent by himself when
nothing was said for three minutes: the hub is then gone, and the kit's own sounder has the word.
"""

from __future__ import annotations

import threading
from collections.abc import Callable

STATE, SAYS = "fiftyover/sounder/state", "fiftyover/sounder/says"
AGAIN_S = 60.0

Publish = Callable[[str, bytes, int, bool], bool]  # topic, payload, QoS, retained -> whether it was handed over


class Sounder:
    """Says on a change, and once a minute, whether the house is to sound. Not locked."""

    def __init__(self, publish: Publish) -> None:
        self._publish = publish
        self._said: str | None = None
        self._said_s = 0.0

    def step(self, sentence: str | None, now_s: float) -> None:
        """`sentence`: what nobody heard yet; None: silence. A message that was not handed over is tried again."""
        text = sentence or ""
        if text == self._said and now_s - self._said_s < AGAIN_S:
            return
        state = b"on" if text else b"off"
        if self._publish(STATE, state, 1, True) and self._publish(SAYS, text.encode(), 1, True):
            self._said, self._said_s = text, now_s
        else:
            self._said = None

    def silence(self) -> None:
        """The hub ends: no sound is left standing behind it."""
        self._publish(STATE, b"off", 1, True)
        self._publish(SAYS, b"", 1, True)


class Shared:
    """One sounder in the house for several smokers: it is on while any of them wants somebody. Any thread may call."""

    def __init__(self, sounder: Sounder) -> None:
        self._sounder = sounder
        self._wants: dict[str, str | None] = {}
        self._lock = threading.Lock()

    def of(self, smoker: str) -> OfOne:
        """Give a smoker its part of it."""
        return OfOne(self, smoker)

    def step(self, smoker: str, sentence: str | None, now_s: float) -> None:
        """A smoker says what nobody heard yet (None: nothing); of several the one that said so first is told."""
        with self._lock:
            if sentence is None or self._wants.get(smoker) is None:
                self._wants.pop(smoker, None)
            self._wants[smoker] = sentence if sentence is None else f"{smoker}: {sentence}"
            self._sounder.step(next((one for one in self._wants.values() if one is not None), None), now_s)

    def silence(self, smoker: str) -> None:
        """A smoker's telling ends; with the last of them the sound does."""
        with self._lock:
            self._wants.pop(smoker, None)
            if not self._wants:
                self._sounder.silence()


class OfOne:
    """What one smoker has of a shared sounder: used like a `Sounder`."""

    def __init__(self, shared: Shared, smoker: str) -> None:
        self._shared = shared
        self._smoker = smoker

    def step(self, sentence: str | None, now_s: float) -> None:
        """See `Sounder.step`."""
        self._shared.step(self._smoker, sentence, now_s)

    def silence(self) -> None:
        """See `Sounder.silence`."""
        self._shared.silence(self._smoker)
