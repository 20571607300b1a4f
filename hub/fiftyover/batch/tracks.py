"""Which channel is in which chub, and which cores are known how. Pure."""

from __future__ import annotations

from fiftyover.batch.believe import DOUBTED, Track
from fiftyover.batch.estimate import FRESH_S, Guess
from fiftyover.batch.state import BatchState

AFTER_PULL_S = 900.0  # beyond the response time: reckoned cores may lead this long after the last probed chub came out


def place(state: BatchState, channel: int, chub: int, at_s: float) -> Track:
    """Return the track of a channel in a chub; a probe that came into another chub is not believed yet."""
    track = state.tracks.get(channel)
    placed_s = state.book.placed_s.get(channel, at_s)
    if track is not None and track.placed_s == placed_s:
        return track
    moved = placed_s > state.book.hung_s.get(chub, placed_s)
    doubted = DOUBTED if state.book.out.get(channel) == DOUBTED else None
    return Track(good_since_s=at_s, placed_s=placed_s, out=doubted or ("moved" if moved else None), still_since_s=at_s)


def believed(state: BatchState) -> dict[int, float]:
    """Believable cores by chub [degC], as used for the target."""
    cores = {}
    for channel, track in state.tracks.items():
        chub = state.book.chub_of.get(channel)
        if chub is not None and track.out is None and track.used_degC is not None:
            cores[chub] = track.used_degC
    return cores


def leading(state: BatchState, at_s: float) -> dict[int, float]:
    """Cores that may lead, by chub [degC].

    Beside believable ones: a chub whose probe fell out stays where it is reckoned to be, so that the target does not
    jump. Without any believable one: fresh hand readings, or reckoned cores shortly after the last probed chub came
    out.
    """
    cores = believed(state)
    hanging = set(state.book.hanging)
    guesses = [g for n, g in state.guesses.items() if n in hanging and n not in cores]
    if cores:
        lost = {g.chub: g.core_degC for g in guesses if g.source == "probe" and at_s - g.known_s <= FRESH_S}
        return {**lost, **cores}
    by_hand = {g.chub: g.core_degC for g in guesses if g.source == "hand" and at_s - g.known_s <= FRESH_S}
    if by_hand or state.book.chub_of:
        return by_hand
    last_s = max(state.book.pulled_s.values(), default=float("-inf"))
    return _all(guesses) if at_s - last_s <= state.plan.response_s + AFTER_PULL_S else {}


def _all(guesses: list[Guess]) -> dict[int, float]:
    return {g.chub: g.core_degC for g in guesses}
