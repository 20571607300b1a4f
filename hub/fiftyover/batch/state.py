"""What the tool remembers of a running batch between two readings: the book and a rolling window. Frozen, no I/O."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from fiftyover.batch.ahead import Warming
from fiftyover.batch.believe import Row, Track
from fiftyover.batch.course import Met
from fiftyover.batch.doubt import Doubt
from fiftyover.batch.estimate import Guess
from fiftyover.batch.events import Book, Event
from fiftyover.batch.lead import Kept
from fiftyover.batch.learn import Fit
from fiftyover.batch.plan import Plan
from fiftyover.batch.watch import Start, Watch
from fiftyover.control.autotune import Tune
from fiftyover.control.controller import ControllerSettings, ControllerState, settings_for
from fiftyover.control.door import DoorState

STEP_S = 5.0  # one decision of the controller
BLOCK_S = 30.0  # means kept for slopes
ROWS = 15  # of STEP_S, for the fast tests
BLOCKS = 40  # of BLOCK_S, for the slopes
GAP_S = 90.0  # a longer silence is an outage
ASK_AFTER_S = 1860.0  # after half an hour, and a minute for all to start again, heat waits for the person
UNHEATED_S = 180.0  # of more time without heat than with it, from which on the chamber counts as gone cold
SETTLE_S = 600.0  # of heat after a door or an outage, until falls and places count again

_NONE: Mapping[Any, Any] = {}  # never changed in place


@dataclass(frozen=True, slots=True)
class Reading:
    """One dated frame: temperatures by channel (index 0 the chamber), their status words, what the relay did."""

    at_s: float
    utc_ms: int
    chamber_degC: float | None
    probe_degC: tuple[float | None, ...]
    status: tuple[str, ...]
    on: int
    duty: float
    why: str
    seq: int
    boot: str


@dataclass(frozen=True, slots=True)
class Block:
    """Means over half a minute: steady seconds of the middle, chamber, cores by channel (None = not all there)."""

    at_s: float
    chamber_degC: float
    probe_degC: tuple[float | None, ...]


class BatchState(NamedTuple):
    """The book and the rolling window; a named tuple, since it is replaced every second.

    ``lines`` says how each casing line warms (with the mean diameter [mm] of its probed chubs), ``own`` each probed
    chub; ``settled_s`` counts seconds of heat since the last door or outage; ``cold_s``
    (0..180) rises while there is no heat and falls while there is.
    """

    book: Book
    tuning: ControllerSettings
    control: ControllerState = ControllerState()
    door: DoorState = DoorState()
    pending: tuple[Reading, ...] = ()
    rows: tuple[Row, ...] = ()
    gathered: tuple[Row, ...] = ()
    blocks: tuple[Block, ...] = ()
    tracks: Mapping[int, Track] = _NONE
    guesses: Mapping[int, Guess] = _NONE
    lines: Mapping[str, tuple[Warming, float]] = _NONE
    own: Mapping[int, Warming] = _NONE
    fits: Mapping[int, Fit] = _NONE
    doubts: Mapping[int, Doubt] = _NONE
    kept: Kept = Kept()
    target_degC: float | None = None
    duty: float = 0.0
    heat: bool = False
    why: str = "not-started"
    notes: tuple[str, ...] = ()
    lead_chub: int | None = None
    last: Reading | None = None
    step_s: float = float("-inf")
    settled_s: float = 0.0
    cold_s: float = 0.0
    watch: Watch = Watch()
    start: Start = Start()
    met: Met = Met()
    tune: Tune = Tune()
    on: int = 0  # the element in the last reading, and how often it went on since the record was last told
    went_on: int = 0

    @property
    def plan(self) -> Plan:
        """The batch's plan."""
        return self.book.plan


@dataclass(frozen=True, slots=True)
class Decision:
    """What follows from a reading or a mark.

    ``events`` are new (already in the state's book; the caller stores them). ``duty`` 0..1 is for the heater, which
    gives a grant only when ``heat`` and ``fresh`` are True: the controller then decided on this very reading. ``heat``
    False says: no heat, now. ``why`` is one word for the record, ``notes`` are sentences for the person.
    """

    state: BatchState
    events: tuple[Event, ...]
    duty: float
    target_degC: float | None
    heat: bool
    why: str
    notes: tuple[str, ...]
    fresh: bool = False


def new_state(plan: Plan) -> BatchState:
    """Begin with an empty book: nothing hangs, no heat."""
    return BatchState(Book(plan), settings_for(plan.relay, plan.element_watts))


def decision(state: BatchState, events: tuple[Event, ...] = (), fresh: bool = False) -> Decision:
    """Say what a state decides."""
    return Decision(state, events, state.duty, state.target_degC, state.heat, state.why, state.notes, fresh)
