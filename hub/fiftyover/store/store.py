"""The one writer of the record: takes frames and events at once, puts them on the disk at each `commit`.

`add_*` only remember (bounded) and never fail for want of a disk; `commit`, once a second, writes everything in one
transaction and says which frames are durable. A commit that fails leaves `problem` set and everything remembered; the
next one tries again. Any thread may call any method. Reading is done on connections of its own (`reader`).
"""

from __future__ import annotations

import json
import os
import sqlite3
import threading
from collections.abc import Callable, Iterable
from pathlib import Path

from ..batch.events import Event
from ..clock import AnyClock
from ..errors import StoreError
from . import database, trouble
from .frames import DatedFrame, Key
from .lock import Lock
from .reader import BatchLine, Bucket, Gap, Reader
from .reserve import Reserve
from .waiting import BootLine, Waiting
from .writing import write

RESERVE_BYTES = 8 << 20
WAITING_MAX = 7200  # frames remembered while nothing can be saved; beyond, the kit alone keeps them
RESERVE_RETRY_S = 60.0
WALL_JUMP_S = 2.0
NOTICES_MAX = 100


class Store:
    """The record at `path`, opened for writing by this hub alone.

    `hub_id`, `run_number` (one more at each start, committed before the constructor returns); `problem` while commits
    fail; `turned_away`: frames not remembered for want of room (the kit sends them again). `feeders` run at the start
    of each commit, `listeners` get the keys that became durable; both on the committing thread, and none may raise.
    """

    def __init__(
        self, path: Path, clock: AnyClock, reserve_bytes: int = RESERVE_BYTES, waiting_max: int = WAITING_MAX
    ) -> None:
        self.path = Path(path)
        self.clock = clock
        self.problem: StoreError | None = None
        self.turned_away = 0
        self.feeders: list[Callable[[], None]] = []
        self.listeners: list[Callable[[list[Key]], None]] = []
        self._waiting = Waiting(waiting_max)
        self._guard = threading.Lock()  # around the memory, held for moments
        self._commits = threading.RLock()  # around the disk, held for as long as it takes
        self._connection: sqlite3.Connection | None = None
        self._reserve = Reserve(self.path.with_name(self.path.name + ".reserve"), reserve_bytes)
        database.create_file(self.path)
        self._lock = Lock(self.path.with_name(self.path.name + ".lock"))
        try:
            identity = self._open()
        except BaseException:
            self._lock.release()
            raise
        self.hub_id, self.run_number, self._machine, self._notices = identity
        self._inode = os.stat(self.path).st_ino
        self._wall_ahead_s = clock.wall_ahead_s()
        self._reserve.take()
        self._reserve_tried_s = clock.monotonic_s()
        self.reader = Reader(self.path, clock.utc_zero_ms, clock.boot_uuid())

    def _open(self) -> database.Identity:
        """Open and sign in, with the reserve's room if it must be."""
        try:
            return self._sign_in()
        except (sqlite3.Error, OSError) as error:
            if not (trouble.needs_room(error) and self._reserve.release()):
                raise trouble.opening(error, self.path) from error
        try:
            return self._sign_in()
        except (sqlite3.Error, OSError) as error:
            raise trouble.opening(error, self.path) from error

    def _sign_in(self) -> database.Identity:
        connection = database.connect(self.path)
        try:
            database.upgrade(connection, self.path, self.clock.utc_ms())
            identity = database.sign_in(connection, self.clock)
        except BaseException:
            connection.close()
            raise
        self._connection = connection
        return identity

    def next_run(self) -> int:
        """One more run number, committed before it is returned: for a hub that used up the grant numbers of its run.
        StoreError if it cannot be committed or there is none left."""
        with self._commits:
            try:
                self.run_number = database.next_run(self._ready())
            except sqlite3.Error as error:
                raise trouble.saving(error, self.path) from error
            return self.run_number

    # -- remembering

    def add_frames(self, frames: Iterable[DatedFrame]) -> None:
        """Remember frames for the next commit. One already waiting is kept once; other content under its key is an
        alarm and kept as evidence; when too many wait they are turned away (not acknowledged, so sent again).
        ValueError if a number of a frame is not finite."""
        with self._guard:
            for frame in frames:
                became = self._waiting.remember(frame)
                self.turned_away += became == "full"
                if became == "conflict":
                    self._alarm(frame)

    def add_event(self, batch_id: str, event: Event) -> None:
        """Remember an event for the next commit; it is never turned away. StoreError if its data is not JSON."""
        try:
            json.dumps([event.at_s, event.utc_ms, event.data], allow_nan=False)
        except (TypeError, ValueError) as error:
            raise StoreError(f"The event {event.kind} of batch {batch_id} cannot be kept: {error}.") from error
        with self._guard:
            self._waiting.events.append((batch_id, event))

    def add_target(self, kit: str, utc_ms: int, target_degC: float | None) -> None:
        """Remember what the chamber is asked to be from utc_ms on, None for no heat; call it at a change."""
        with self._guard:
            if len(self._waiting.targets) < self._waiting.frames_max:
                self._waiting.targets.append((kit, utc_ms, target_degC))

    def save_boot(self, line: BootLine) -> None:
        """Remember how the ticks of a kit start are dated, in the present steady clock."""
        with self._guard:
            self._waiting.boots[line.kit, line.boot] = line

    def waiting(self) -> tuple[int, int]:
        """How many (frames, events) are remembered and not yet on the disk."""
        with self._guard:
            return len(self._waiting.frames), len(self._waiting.events)

    def take_notices(self) -> list[str]:
        """Sentences for a person since the last call: clock moved, disk full, saving again, double keys."""
        with self._guard:
            notices, self._notices = self._notices, []
        return notices

    def _note(self, sentence: str) -> None:
        if sentence not in self._notices and len(self._notices) < NOTICES_MAX:
            self._notices.append(sentence)

    def _alarm(self, frame: DatedFrame) -> None:
        self._note(
            f"Kit {frame.kit} sent reading {frame.seq} of start {frame.boot} twice with different content: the first "
            "stands; look whether two kits carry one name."
        )

    # -- writing

    def commit(self) -> list[Key]:
        """Write all that is remembered in one transaction; the keys of frames now durable (again, for duplicates).

        Never raises for the disk's sake: on failure the list is empty, `problem` says why, and nothing is forgotten.
        """
        with self._commits:
            for feed in self.feeders:
                feed()
            with self._guard:
                work, self._waiting = self._waiting, Waiting(self._waiting.frames_max)
            keys = self._commit(work) if work or self.problem else []
            self._watch_wall()
            for listener in self.listeners:
                listener(keys)
            return keys

    def _commit(self, work: Waiting) -> list[Key]:
        try:
            conflicts = self._write(work)
        except (sqlite3.Error, StoreError) as error:
            self._put_back(work)
            self._failed(error)
            return []
        except BaseException:
            self._put_back(work)
            raise
        with self._guard:
            for frame in conflicts:
                self._alarm(frame)
            if self.problem is not None:
                self._note(f"Saving to {self.path} works again; nothing that was acknowledged is lost.")
            self.problem = None
        self._keep_reserve()
        return list(work.frames)

    def _write(self, work: Waiting) -> list[DatedFrame]:
        """Write, in the reserve's room if it must be."""
        try:
            return write(self._ready(), work, self._machine)
        except sqlite3.Error as error:
            if not (trouble.needs_room(error) and self._reserve.release()):
                raise
        self._reserve_tried_s = self.clock.monotonic_s()
        with self._guard:
            self._note(f"The disk of {self.path} is full; the space kept back for this is in use now: free some.")
        return write(self._ready(), work, self._machine)

    def _ready(self) -> sqlite3.Connection:
        try:
            same = os.stat(self.path).st_ino == self._inode
        except OSError:
            same = False
        if not same:
            raise trouble.moved(self.path)
        if self._connection is None:
            self._connection = database.connect(self.path)
        return self._connection

    def _failed(self, error: sqlite3.Error | StoreError) -> None:
        told = error if isinstance(error, StoreError) else trouble.saving(error, self.path)
        if trouble.cause(error) != sqlite3.SQLITE_FULL and self._connection is not None:
            self._connection.close()  # after an I/O error a new connection is the surer start
            self._connection = None
        with self._guard:
            if self.problem is None or str(self.problem) != str(told):
                self._note(str(told))
            self.problem = told

    def _put_back(self, work: Waiting) -> None:
        with self._guard:
            work.follow_with(self._waiting)
            self._waiting = work

    def _keep_reserve(self) -> None:
        now_s = self.clock.monotonic_s()
        if not self._reserve.held() and now_s - self._reserve_tried_s >= RESERVE_RETRY_S:
            self._reserve_tried_s = now_s
            self._reserve.take()

    def _watch_wall(self) -> None:
        ahead_s = self.clock.wall_ahead_s()
        moved_s, self._wall_ahead_s = ahead_s - self._wall_ahead_s, ahead_s
        if abs(moved_s) > WALL_JUMP_S:
            with self._guard:
                self._note(f"This machine's clock was moved by {moved_s:+.0f} s; times in the record go on evenly.")

    def close(self) -> None:
        """A last commit, then let go of the file, for another hub to take."""
        with self._commits:
            self.commit()
            self.reader.close()
            if self._connection is not None:
                self._connection.close()
                self._connection = None
            self._lock.release()

    # -- reading: what is on the disk, see `Reader`

    def boots(self) -> list[BootLine]:
        """Every kit start that was heard, in the present steady clock, the one heard last at the end."""
        return self.reader.boots()

    def series(self, kit: str, channel: int, from_ms: int, to_ms: int, points: int = 500) -> list[Bucket]:
        """See `Reader.series`."""
        return self.reader.series(kit, channel, from_ms, to_ms, points)

    def frames(self, kit: str, from_ms: int, to_ms: int, limit: int = 100_000) -> list[DatedFrame]:
        """See `Reader.frames`."""
        return self.reader.frames(kit, from_ms, to_ms, limit)

    def events(self, batch_id: str) -> list[Event]:
        """See `Reader.events`."""
        return self.reader.events(batch_id)

    def newest_event(self, batch_id: str) -> int:
        """See `Reader.newest_event`."""
        return self.reader.newest_event(batch_id)

    def batches(self, kit: str = "") -> list[BatchLine]:
        """See `Reader.batches`."""
        return self.reader.batches(kit)

    def gaps(self, kit: str, from_ms: int, to_ms: int, missing: int = 1) -> list[Gap]:
        """See `Reader.gaps`."""
        return self.reader.gaps(kit, from_ms, to_ms, missing)

    def targets(self, kit: str, from_ms: int, to_ms: int) -> list[tuple[int, float | None]]:
        """See `Reader.targets`."""
        return self.reader.targets(kit, from_ms, to_ms)
