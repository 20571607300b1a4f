"""Whatever the network does: rows are the distinct frames, acknowledged ones are on the disk, dates are right.

Hypothesis plays the way between kit and hub: it delays, loses, doubles and reorders, commits, fails commits, restarts
the hub and its machine. The kit is the contract's: it keeps what is not acknowledged and sends it again.
"""

import sqlite3
import tempfile
from collections import Counter
from contextlib import closing
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from fiftyover.clock import VirtualClock
from fiftyover_kit.contract.limits import BACKLOG_MAX_FRAMES

MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None  # many small commits: kill -9 is tested on a disk elsewhere

steps = st.lists(
    st.sampled_from(
        [
            "read",
            "read",
            "read",
            "live",
            "live",
            "lose",
            "again",
            "backlog",
            "shuffle",
            "wait",
            "commit",
            "commit",
            "ack",
        ]
        + ["full", "restart", "reboot", "shock"]
    ),
    min_size=5,
    max_size=60,
)


class Play:
    """The kit's ring, the frames on their way, the hub, and what was promised."""

    def __init__(self, hub, tick_start_ms, chance):
        self.hub, self.chance = hub, chance
        self.tick_start_ms = tick_start_ms
        self.seq = 0
        self.ring: dict[int, int] = {}  # unacknowledged: seq -> up_ms as the kit made it, not wrapped
        self.sent: dict[int, int] = {}
        self.on_the_way: list[int] = []
        self.promised: set[int] = set()
        self.heard = False  # a live frame since the machine started

    def read(self):
        self.hub.clock.advance(1.0)
        up_ms = self.tick_start_ms + self.seq * 1000
        self.ring[self.seq] = up_ms
        self.sent[self.seq] = up_ms
        self.on_the_way.append(self.seq)
        self.seq += 1

    def live(self):
        if self.on_the_way:
            seq = self.on_the_way.pop(0)
            self.hub.live(seq, self.sent[seq])
            self.heard = True

    def lose(self):
        if self.on_the_way:
            self.on_the_way.pop(self.chance.randrange(len(self.on_the_way)))

    def again(self):
        if self.sent and self.heard:
            self.hub.live(*self.chance.choice(list(self.sent.items())))

    def backlog(self):
        oldest = sorted(self.ring)[:BACKLOG_MAX_FRAMES]
        if oldest:
            self.hub.backlog(oldest, shift_ms=self.tick_start_ms)

    def shuffle(self):
        self.chance.shuffle(self.on_the_way)

    def commit(self):
        self.hub.store.commit()

    def ack(self):
        rows = set(self.rows())
        for _, message in self.hub.inbox.acks_due():
            for first, last in message["got"]:
                for seq in range(first, last + 1):
                    assert seq in rows, f"{seq} is acknowledged and not on the disk"
                    self.promised.add(seq)
                    self.ring.pop(seq, None)

    def full(self):
        """One commit that fails for want of room."""
        connection = self.hub.store._connection
        used = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count = {used}")
        self.hub.store.commit()
        connection.execute("PRAGMA max_page_count = 1000000")

    def restart(self):
        self.hub.restart()

    def reboot(self):
        """The hub's machine starts again: another steady clock, same true time."""
        self.hub.store.commit()
        utc_ms = self.hub.clock.utc_ms()
        now_s = self.chance.uniform(0.0, 100.0)
        self.hub.restart(VirtualClock(now_s, utc_ms - round(now_s * 1000), f"machine-{self.chance.random()}"))
        self.heard = False

    def shock(self):
        self.hub.clock.wall_jump_s = self.chance.choice([-7200.0, 0.0, 7200.0])

    def rows(self):
        with closing(sqlite3.connect(self.hub.path)) as other:
            return [row[0] for row in other.execute("SELECT seq FROM frames")]

    def wait(self):
        self.hub.clock.advance(self.chance.choice([0.3, 5.0, 900.0]))


def play(make_hub, wanted, tick_start_ms, chance, folder):
    game = Play(make_hub(Path(folder) / "record.sqlite"), tick_start_ms, chance)
    try:
        for step in wanted:
            getattr(game, step)()
        game.read()  # the network heals: one more live frame, and the kit sends all that is not acknowledged
        game.on_the_way = game.on_the_way[-1:]
        game.live()
        for _ in range(30):
            game.backlog()
            game.commit()
            game.ack()
        counted = Counter(game.rows())
        assert counted == Counter(game.sent.keys()), "rows are the distinct frames"
        assert game.promised == set(game.sent)
        assert game.ring == {}
        with closing(sqlite3.connect(game.hub.path)) as other:
            ups = dict(other.execute("SELECT seq, up_ms FROM frames").fetchall())
            minutes = other.execute("SELECT sum(n) FROM minutes WHERE channel = 0").fetchone()[0]
        assert ups == {seq: up_ms % 2**30 for seq, up_ms in game.sent.items()}
        assert minutes == len(game.sent)
        assert game.hub.store.reader.conflicts() == 0
    finally:
        game.hub.store.close()


@settings(max_examples=60, deadline=None)
@given(
    wanted=steps,
    tick_start_ms=st.sampled_from([0, 2**30 - 5000, 2**29 - 3000]),
    chance=st.randoms(use_true_random=False),
)
def test_rows_are_the_distinct_frames_and_acknowledged_is_on_the_disk(make_hub, wanted, tick_start_ms, chance):
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
        play(make_hub, wanted, tick_start_ms, chance, folder)


@settings(max_examples=40, deadline=None)
@given(
    delays_s=st.lists(st.floats(0.0, 30.0), min_size=3, max_size=40),
    tick_start_ms=st.sampled_from([0, 2**30 - 5000]),
    commits=st.randoms(use_true_random=False),
)
def test_no_frame_is_stored_early_nor_later_than_the_quickest_one_so_far_was(
    make_hub, delays_s, tick_start_ms, commits
):
    """Frames read each second arrive in order, each as late as the network likes."""
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
        hub = make_hub(Path(folder) / "record.sqlite")
        try:
            arrivals, now_s, allowed_s = [], hub.clock.monotonic_s(), {}
            for seq, delay_s in enumerate(delays_s):
                now_s = max(now_s, 5000.0 + seq + delay_s)
                arrivals.append(now_s)
            waiting = []
            for seq, arrived_s in enumerate(arrivals):
                hub.clock.set(arrived_s)
                hub.live(seq, tick_start_ms + seq * 1000)
                waiting.append(seq)
                if commits.random() < 0.3 or seq == len(arrivals) - 1:
                    hub.store.commit()
                    quickest_s = min(arrivals[one] - (5000.0 + one) for one in range(seq + 1))
                    allowed_s |= dict.fromkeys(waiting, quickest_s)
                    waiting = []
            for seq, at_s in hub.dates().items():
                late_s = at_s - (5000.0 + seq)
                assert -0.002 <= late_s <= allowed_s[seq] + 0.002
        finally:
            hub.store.close()
