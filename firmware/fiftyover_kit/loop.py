"""The kit: `tick` is the guard's path (sense -> guard -> duty -> relay -> watchdog), the rest serves hub and person.

`tick(now_ms)` runs four times a second, uses integers only and no heap; `record`, `live`, `on_message`, `homie_values`
run beside it, may allocate and can never switch the relay on: only `tick` moves it. Nothing here raises on what comes
from outside. `now_ms` is board.ticks_ms() of that moment.

The button: a short press silences the sounder if it sounds, else it says "the door is open" or "closed"; held for 3 s
it arms stand-by (a chirp says so) or ends it; held for 10 s it ends it and opens the latch, if the chamber is 10 K
below the cap.
"""

import asyncio
from array import array

from . import duty, guard, standby
from .backlog import CAPACITY_BYTES, NO_READING, Backlog
from .contract import limits, messages
from .contract.errors import ContractError
from .contract.limits import GUARD_PERIOD_MS, ticks_diff  # noqa: F401  main.py takes the period from here
from .hearing import Hearing
from .sense import OK, READS, UNCALIBRATED, Probe, guard_limits
from .settings import KitError

FIRMWARE = "0.1.0"
_TICKS_A_ROUND = 4  # every core is sampled once in so many ticks
_VOUCH_MS = 2000
_PRESS_MAX_MS = 3000  # a longer press is no "short press"
_RING_S = limits.DOOR_WINDOW_MS // 1000
_FALL_CENTIKELVIN = int(limits.DOOR_FALL_KELVIN_PER_MIN * 100 * limits.DOOR_WINDOW_MS / 60000)
_STANDBY = limits.WHY.index("standby")
_CORE_CENTI = int(limits.STANDBY_CORE_DEGC * 100)
_APART_CENTIKELVIN, _APART_S = 800, 120  # two chamber probes: places differ by less, a door's draught lasts less
_APART_TEXT = "The two chamber probes differ by over 15 F for 2 min: the hotter one counts for the limit. Look at both."
_LATCHED_TEXT = "The chamber was over the kit's limit: heat stays off. Find out why, let it cool, hold the button 10 s."


def _limits_of(settings):
    try:
        found = guard_limits(settings.channels[0], settings.cap_degC)
        if settings.chamber_2 is not None:
            found += guard_limits(settings.channels[settings.chamber_2], settings.cap_degC)
    except ContractError as error:
        raise KitError(f"settings.json: {error}")
    return found


class Kit(Hearing):
    """One kit on one board.

    `boot`, `seq` (of the newest frame), `refused` {name: count}, `alerts` {id: text of what holds now},
    `binding` (id of the hub obeyed, "" none yet), `backlog`, `probes`.
    """

    def __init__(self, settings, board, now_ms, backlog_bytes=CAPACITY_BYTES):
        """Element off from the first line on. KitError if the settings do not fit the circuit."""
        board.relay(0, now_ms)
        self.backlog = Backlog(len(settings.channels), backlog_bytes)  # first: it is the largest piece of heap
        self._board = board
        self._settings = settings
        self.probes = [Probe(channel) for channel in settings.channels]
        self._second = 0 if settings.chamber_2 is None else settings.chamber_2
        self._cores = array("B", [n for n in range(1, len(self.probes)) if n != self._second])
        self._share = (len(self._cores) + _TICKS_A_ROUND - 1) // _TICKS_A_ROUND
        self._latched = 0 if board.latch_read() == 0 else 1
        self._latch_due = 0  # 1: the flag file is to be written, once the relay is open
        self._guard = guard.new_state(_limits_of(settings), now_ms, self._latched)
        self._duty = duty.new_state(settings.relay, now_ms)
        self._turn = 0
        self._next_core = 0
        self._ring = array("h", [0] * _RING_S)  # chamber, centi-degC, one a second
        self._ring_at = 0
        self._ring_filled = 0
        self._pressed = 2  # 0 up, 1 down, 2 down and done with: a button stuck since the start is no person
        self._pressed_at = now_ms
        self.boot = board.boot_id()
        self.seq = -1
        self._t = [NO_READING] * len(self.probes)
        self._s = [0] * len(self.probes)
        self._held = 0  # duty while stand-by heats
        self._apart_s = 0  # seconds for which the two chamber probes have differed
        self._left_s = 0
        self._up_ms = 0
        self._up_at = now_ms
        self._begin_to_hear(settings.hub, now_ms)
        self.alerts = {"latched": _LATCHED_TEXT} if self._latched else {}

    # -- the guard's path: no heap ---------------------------------------------------------------------------

    def tick(self, now_ms):
        """Sense, guard, duty, relay, watchdog, in this order. Four times a second."""
        board = self._board
        state = self._guard
        self._sense(now_ms)
        self._watch_button(now_ms)
        allowed = guard.heat_allowed(state, now_ms, standby.holds(self._standby, now_ms))
        self._held = 0
        if guard.reason(state) == _STANDBY:
            self._held = standby.power(self._standby, self.probes[0].centi_degC)
        # The board opens it by itself at the permit's end, or 2 s from here, whatever holds this loop up.
        left_ms = guard.left_ms(state, now_ms)
        until_ms = limits.ticks_add(now_ms, left_ms if 0 < left_ms < _VOUCH_MS else _VOUCH_MS)
        board.relay(duty.step(self._duty, now_ms, guard.duty(state) or self._held, allowed), until_ms)
        if guard.is_latched(state) != self._latched:
            self._latched = guard.is_latched(state)
            self._latch_due = 1
        board.lamp(guard.reason(state))
        board.feed()

    def _sense(self, now_ms):
        board = self._board  # no `read_sum = board.read_sum`: a bound method of one's own costs heap on the device
        if self._second:
            probe = self.probes[self._second]
            guard.on_second(self._guard, probe.sample(now_ms, board.read_sum(self._second, READS)), probe.counts)
        chamber = self.probes[0]
        guard.on_reading(self._guard, now_ms, chamber.sample(now_ms, board.read_sum(0, READS)), chamber.counts)
        todo = self._share
        while todo > 0:
            core = self._cores[self._next_core] if self._cores else 0
            if core:
                probe = self.probes[core]
                status = probe.sample(now_ms, board.read_sum(core, READS))
                if probe.centi_degC > _CORE_CENTI and (status == OK or status == UNCALIBRATED):  # noqa: SIM109  no heap
                    standby.on_core(self._standby)
                self._next_core = (self._next_core + 1) % len(self._cores)
            todo -= 1
        self._turn = (self._turn + 1) % _TICKS_A_ROUND
        if self._turn == 0:
            self._watch_door(now_ms, chamber)

    def _watch_door(self, now_ms, chamber):
        """The chamber falling faster than any element that was switched off lets it: a door."""
        if chamber.status != OK and chamber.status != UNCALIBRATED:
            self._ring_filled = 0
            return
        at = self._ring_at
        fall = self._ring[at] - chamber.centi_degC  # against 30 s ago
        self._ring[at] = chamber.centi_degC
        self._ring_at = (at + 1) % _RING_S
        if self._ring_filled < _RING_S:
            self._ring_filled += 1
        elif fall > _FALL_CENTIKELVIN:
            self._set_door(now_ms, 1)

    def _set_door(self, now_ms, is_open):
        guard.on_door(self._guard, now_ms, is_open)
        self._ring_filled = 0  # the fall so far has been answered

    def _watch_button(self, now_ms):
        if self._board.button() == 0:
            if self._pressed == 1:
                if ticks_diff(now_ms, self._pressed_at) < _PRESS_MAX_MS:
                    self._short_press(now_ms)
                else:
                    self._arm(now_ms)
            self._pressed = 0
        elif self._pressed == 0:
            self._pressed = 1
            self._pressed_at = now_ms
        elif self._pressed == 1 and ticks_diff(now_ms, self._pressed_at) >= limits.CAP_CLEAR_HOLD_MS:
            self._pressed = 2
            if standby.is_armed(self._standby):
                self._arm(now_ms)
            guard.on_clear(self._guard, now_ms)

    def _short_press(self, now_ms):
        if self._heard == 0:
            self._heard = 2
            self._board.sounder(0)
        else:
            self._set_door(now_ms, 0 if guard.is_door_open(self._guard) else 1)

    def _arm(self, now_ms):
        self._armed = standby.on_button(self._standby, now_ms)
        if self._armed:
            self._chirp = 2
            self._board.sounder(1)

    # -- once a second ---------------------------------------------------------------------------------------

    def record(self, now_ms):
        """Pack one frame into the backlog; its seq. Also: the latch's flag file, the sounder, what has run out."""
        self._write_latch_flag()
        self._watch_silence(now_ms)
        self._up_ms += ticks_diff(now_ms, self._up_at)
        self._up_at = now_ms
        for index, probe in enumerate(self.probes):
            degC_x100 = probe.degC_x100()
            self._t[index] = NO_READING if degC_x100 is None else degC_x100
            self._s[index] = probe.status
        self._watch_pair()
        state = self._guard
        self._left_s = (guard.left_ms(state, now_ms) or standby.left_ms(self._standby)) // 1000
        self.seq += 1
        on = duty.is_on(self._duty)
        power = guard.duty(state) or self._held
        self.backlog.push(self.seq, now_ms & limits.TICK_MASK, self._t, self._s, on, power, guard.reason(state))
        return self.seq

    def _watch_pair(self):
        """Which of two chamber probes is wrong is not known here: it is said, and the limit takes the hotter one."""
        if self._second == 0:
            return
        one, other = self._t[0], self._t[self._second]
        apart = one != NO_READING and other != NO_READING and abs(one - other) > _APART_CENTIKELVIN
        self._apart_s = self._apart_s + 1 if apart and not guard.is_door_open(self._guard) else 0
        if self._apart_s >= _APART_S:
            self.alerts["chambers-differ"] = _APART_TEXT
        elif self._apart_s == 0:
            self.alerts.pop("chambers-differ", None)

    def record_or_say(self, now_ms):
        """`record`, where a fault - a full heap, say - costs a frame and not the guard. The hub sees the gap."""
        try:
            self.record(now_ms)
        except Exception as error:
            print("no frame:", repr(error))

    def live(self):
        """The newest frame as bytes for frame/sample, made from its packed record."""
        frame = self.backlog.newest()
        frame["v"] = limits.V
        frame["boot"] = self.boot
        frame["left"] = self._left_s
        frame["thinned"] = self.backlog.thinned
        frame["dropped"] = self.backlog.dropped
        return messages.encode_frame(frame)

    def _write_latch_flag(self):
        if self._latch_due == 0 or duty.is_on(self._duty):  # a flash write stops every interrupt: never while it heats
            return
        self._latch_due = 0
        try:
            self._board.latch_write(self._latched)
            self.alerts.pop("latch-flag", None)
        except OSError:
            self.alerts["latch-flag"] = "The cut-off could not be stored; do not restart the kit, check its flash."
        if self._latched:
            self.alerts["latched"] = _LATCHED_TEXT
        else:
            self.alerts.pop("latched", None)

    # -- for link.py -----------------------------------------------------------------------------------------

    def homie_values(self):
        """{topic below homie/5/<kit>/: text} of all retained properties; a probe at fault has no temperature."""
        state = self._guard
        board = self._board
        values = {
            "heater/state": limits.WHY[guard.reason(state)],
            "heater/lease": str(self._left_s),
            "heater/armed": "true" if standby.is_armed(self._standby) else "false",
            "heater/door": "true" if guard.is_door_open(state) else "false",
            "sys/uptime": str(self._up_ms // 1000),
            "sys/heap": str(board.heap_free()),
            "sys/reset-cause": board.reset_cause(),
            "sys/firmware": FIRMWARE,
            "sys/cap": "%.2f" % self._settings.cap_degC,
            "sys/relay": self._settings.relay,
            "sys/switchings": str(duty.switchings(self._duty)),
            "sys/simulated": "true" if board.simulated else "false",
            "sys/hub": self.binding,
        }
        rssi = board.rssi()
        if rssi is not None:
            values["sys/rssi"] = str(rssi)
        for index in range(len(self._t)):
            node = "probe-%d/" % (index + 1)
            values[node + "status"] = limits.STATUS[self._s[index]]
            if self._t[index] != NO_READING:
                values[node + "temperature"] = "%.2f" % (self._t[index] / 100)
        return values


async def every(period_ms, board, work):
    """Call work(now_ms) for ever at fixed times of the kit's clock; after a stall the lost ones are not made up for."""
    due_ms = board.ticks_ms()
    while True:
        now_ms = board.ticks_ms()
        late_ms = ticks_diff(now_ms, due_ms)
        if late_ms >= 0:
            work(now_ms)
            due_ms = limits.ticks_add(due_ms if late_ms < period_ms else now_ms, period_ms)
        await asyncio.sleep(max(0, ticks_diff(due_ms, board.ticks_ms())) / 1000 / board.speed)
