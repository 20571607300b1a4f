"""Bounded ring of packed frames that the hub has not yet committed. Counts what it thins or drops.

How the other modules use it
  loop   push(seq, up, t_x100, statuses, on, duty_1000, why)   once a second; then newest() for the live frame
  loop   ack(ranges)                                           from frame/ack/set: drops exactly those
  link   thin(now_ms)                                          once a second, session up or not
  link   sent(seq, now_ms)                                     when that frame went out as the live one
  link   oldest(n, now_ms)                                     up to n frames due to be (re-)sent; marks them sent

`now_ms` is the link's clock (real seconds, 2^30 ticks), never the scaled clock of a demo; `up` inside a frame is
the kit's own. A frame is kept as integers: centi-degC, indexes into contract.limits.STATUS and WHY, duty in 1/1000.

Layout: one bytearray of equal slots, and three arrays of 16-bit numbers: next and previous slot in the order of
age, and when the frame was last sent (in units of 1.024 s, which divide the tick period). How old a frame is follows
from what the newest one was 31 calls of thin() ago. At 8 channels a frame takes 30 B of record and 6 B of links:
1 480 slots in 53 280 B, that is 2 h at one in 5 s after the first half minute.
"""

import struct
from array import array

from .contract import limits

NO_READING = -32768  # centi-degC of a channel without a number
CAPACITY_BYTES = 53280
_NIL = 0xFFFF  # no slot; also "never sent"
_HEAD_BYTES = 10  # seq, up, duty+on+why
_LINK_BYTES = 6
# A difference of n stamps may be as little as n - 1 units: one more, so that the limit is never undercut.
_RESEND_UNITS = limits.RESEND_MS // 1024 + 2
_MARK_MS = 1000
_MARKS = limits.THIN_AFTER_MS // _MARK_MS + 1


def frame_bytes(channels):
    """Bytes that one frame of so many channels takes, links included."""
    return _HEAD_BYTES + 2 * channels + (channels + 1) // 2 + _LINK_BYTES


def _stamp(now_ms):
    # >> 10 of a 2^30 tick has a period of 2^20, a multiple of 2^16: differences stay right through the wrap.
    return min((now_ms >> 10) & 0xFFFF, _NIL - 1)


class Backlog:
    """Frames in the order of their seq, each until it is acknowledged, thinned or dropped."""

    def __init__(self, channels, capacity_bytes=CAPACITY_BYTES):
        self.channels = channels
        self.slots = max(2, min(capacity_bytes // frame_bytes(channels), _NIL - 1))
        self._format = "<IIH%dh" % channels
        self._nibbles_at = struct.calcsize(self._format)
        self._stride = frame_bytes(channels) - _LINK_BYTES
        self._records = bytearray(self.slots * self._stride)
        self._next = array("H", bytes(2 * self.slots))
        self._prev = array("H", bytes(2 * self.slots))
        self._sent = array("H", bytes(2 * self.slots))
        self._head = _NIL  # oldest
        self._tail = _NIL  # newest
        self._settled = _NIL  # newest slot that thinning has judged
        self._marks = array("I", bytes(4 * _MARKS))  # the number after the newest frame's, each second
        self._mark = 0
        self._marked_at = None
        self._bucket = -1  # the five seconds of which one frame is already kept
        self._count = 0
        self.thinned = 0
        self.dropped = 0
        self.acked = 0
        for slot in range(self.slots):
            self._next[slot] = slot + 1
        self._next[self.slots - 1] = _NIL
        self._free = 0

    def __len__(self):
        return self._count

    # -- in ------------------------------------------------------------------------------------------------

    def push(self, seq, up, t_x100, statuses, on, duty_1000, why):
        """Append one frame; a full ring loses its oldest, and counts it."""
        if self._free == _NIL:
            self._remove(self._head)
            self.dropped += 1
        slot = self._free
        self._free = self._next[slot]
        at = slot * self._stride
        # duty 0..1000 in ten bits, the relay in one, why in five
        packed = duty_1000 | (on << 10) | (why << 11)
        struct.pack_into(self._format, self._records, at, seq, up, packed, *t_x100)
        at += self._nibbles_at
        for index in range(0, self.channels - 1, 2):
            self._records[at] = statuses[index] | (statuses[index + 1] << 4)
            at += 1
        if self.channels & 1:
            self._records[at] = statuses[self.channels - 1]
        self._sent[slot] = _NIL
        self._next[slot] = _NIL
        self._prev[slot] = self._tail
        if self._tail == _NIL:
            self._head = slot
        else:
            self._next[self._tail] = slot
        self._tail = slot
        self._count += 1

    # -- out -----------------------------------------------------------------------------------------------

    def newest(self):
        """The newest frame as a dict with the content keys of the contract, or None."""
        return None if self._tail == _NIL else self._frame(self._tail)

    def newest_seq(self):
        """Number of the newest frame held, -1 if none."""
        return -1 if self._tail == _NIL else self._seq(self._tail)

    def oldest(self, n, now_ms):
        """Up to n frames, oldest first, never sent or sent 10 s ago and not acknowledged; marks them sent.

        The newest frame is left out until it was sent once: it goes out as the live one.
        """
        now = _stamp(now_ms)
        frames: "list[dict[str, object]]" = []
        slot = self._head
        while slot != _NIL and len(frames) < n:
            if self._due(slot, now):
                self._sent[slot] = now
                frames.append(self._frame(slot))
            slot = self._next[slot]
        return frames

    def sent(self, seq, now_ms):
        """The frame went out by itself (live): it is not due again for 10 s."""
        slot = self._tail
        while slot != _NIL:
            found = self._seq(slot)
            if found <= seq:
                if found == seq:
                    self._sent[slot] = _stamp(now_ms)
                return
            slot = self._prev[slot]

    def pending(self):
        """Ranges [first, last] of the seq numbers held, for tests and the bench."""
        ranges: "list[list[int]]" = []
        slot = self._head
        while slot != _NIL:
            seq = self._seq(slot)
            if ranges and ranges[-1][1] == seq - 1:
                ranges[-1][1] = seq
            else:
                ranges.append([seq, seq])
            slot = self._next[slot]
        return ranges

    def ack(self, ranges):
        """Drop exactly the frames in these [first, last] ranges; returns how many there were."""
        before = self._count
        for first, last in ranges:
            if self._head == _NIL:
                break
            # Live frames are acknowledged at the young end while an old backlog waits: walk from the nearer one.
            if first - self._seq(self._head) <= self._seq(self._tail) - last:
                self._ack_from_oldest(first, last)
            else:
                self._ack_from_newest(first, last)
        gone = before - self._count
        self.acked += gone
        return gone

    def thin(self, now_ms):
        """Keep one frame in 5 s of those held for more than 30 s. To be called once a second; more often is no harm."""
        if self._marked_at is not None and 0 <= limits.ticks_diff(now_ms, self._marked_at) < _MARK_MS:
            return
        self._marked_at = now_ms
        old_before = self._marks[self._mark]
        self._marks[self._mark] = self.newest_seq() + 1
        self._mark = (self._mark + 1) % _MARKS
        slot = self._head if self._settled == _NIL else self._next[self._settled]
        while slot != _NIL and self._seq(slot) < old_before:
            after = self._next[slot]
            bucket = self._seq(slot) // limits.THIN_TO_S  # a frame a second
            if bucket == self._bucket:
                self._remove(slot)
                self.thinned += 1
            else:
                self._bucket = bucket
                self._settled = slot
            slot = after

    # -- slots ---------------------------------------------------------------------------------------------

    def _seq(self, slot):
        return struct.unpack_from("<I", self._records, slot * self._stride)[0]

    def _due(self, slot, now):
        if self._sent[slot] == _NIL:
            return slot != self._tail
        return ((now - self._sent[slot]) & 0xFFFF) >= _RESEND_UNITS

    def _frame(self, slot):
        at = slot * self._stride
        values = struct.unpack_from(self._format, self._records, at)
        at += self._nibbles_at
        words = []
        for index in range(self.channels):
            words.append(limits.STATUS[(self._records[at + index // 2] >> (4 * (index & 1))) & 15])
        packed = values[2]
        return {
            "seq": values[0],
            "up": values[1],
            "t": [None if x == NO_READING else x / 100 for x in values[3:]],
            "s": words,
            "on": (packed >> 10) & 1,
            "duty": (packed & 1023) / 1000,
            "why": limits.WHY[packed >> 11],
        }

    def _ack_from_oldest(self, first, last):
        slot = self._head
        while slot != _NIL:
            after = self._next[slot]
            seq = self._seq(slot)
            if seq > last:
                return
            if seq >= first:
                self._remove(slot)
            slot = after

    def _ack_from_newest(self, first, last):
        slot = self._tail
        while slot != _NIL:
            before = self._prev[slot]
            seq = self._seq(slot)
            if seq < first:
                return
            if seq <= last:
                self._remove(slot)
            slot = before

    def _remove(self, slot):
        before = self._prev[slot]
        after = self._next[slot]
        if before == _NIL:
            self._head = after
        else:
            self._next[before] = after
        if after == _NIL:
            self._tail = before
        else:
            self._prev[after] = before
        if slot == self._settled:
            self._settled = before
        self._next[slot] = self._free
        self._free = slot
        self._count -= 1
