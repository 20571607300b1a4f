"""Every hard number and word of the contract, once, with its unit as the last word; and the tick arithmetic.

Source, unless a line says else: the project's contract between kit and hub (design decision, no outside standard).
Word tuples are in wire order: the packed records and the guard's integers are indices into them, so a word is only ever
added at the end.
"""

# Messages
V = 1  # version of all five messages
MESSAGE_MAX_BYTES = 8192  # longer is refused unread
BACKLOG_MAX_FRAMES = 10  # frames in one backlog message
SEQ_MAX = (1 << 30) - 1  # largest frame or grant number: the largest small int of a 32-bit board
GRANT_RUN_SHIFT = 16  # grant number = run number of the hub << 16 + counter
BOOT_DIGITS = 12  # hex digits, new at each start of the kit
ID_MAX_CHARACTERS = 64  # kit, hub and batch ids: a-z 0-9 -
TEMPERATURE_MIN_DEGC = -273.15  # a number on the wire is a temperature at all; what is believable is `sense`'s business
TEMPERATURE_MAX_DEGC = 1000.0

# The grant: heat with a lifetime
TTL_MIN_S = 1
TTL_MAX_S = 30
TTL_S = 15  # what the hub asks for
GRANT_PERIOD_S = 5  # one fresh decision each
FRAME_MAX_AGE_S = 5  # older frames are no ground for a decision
STANDBY_MAX_S = 14400  # stand-by hold, per arming
STANDBY_AFTER_MS = 30000  # silence of the bound hub before stand-by begins
STANDBY_CORE_DEGC = 62.0  # a believable core above this lowers the hold
STANDBY_LOW_DEGC = 64.0  # to at most this

# The guard
GUARD_PERIOD_MS = 250
CHAMBER_STALE_MS = 5000  # an older chamber reading is a fault
BOOT_HOLD_MS = 5000  # element off after a start
WATCHDOG_MS = 5000  # RP2040 maximum is 8388 (MicroPython documentation, machine.WDT)
DOOR_HOLD_MS = 120000
DOOR_FALL_KELVIN_PER_MIN = 9.0  # chamber falling faster than this over DOOR_WINDOW_MS is a door
DOOR_WINDOW_MS = 30000
KIT_CAP_DEFAULT_DEGF = 225.0  # the kit's own limit; settings may only lower it
KIT_CAP_DEFAULT_DEGC = 107.222  # the same, rounded towards the safe side
CAP_GAP_DEGF_DIFFERENCE = 5.0  # the hub's process cap lies at least this far below the kit's
CAP_GAP_KELVIN = 2.778  # the same, rounded towards the safe side
CAP_TRIP_OF = (2, 8)  # this many of the last so many guard samples above the cap latch it
CAP_CLEAR_BELOW_KELVIN = 10.0  # chamber this far below the cap before a person may clear the latch
CAP_CLEAR_HOLD_MS = 10000  # button held this long

# The link
UNBIND_AFTER_MS = 60000  # an unnamed hub is forgotten after this silence
HUB_SILENT_MS = 60000  # the sounder starts
STOP_OTHER_HUB_MS = 60000  # a stop of another hub is obeyed at most this often
RESEND_MS = 10000  # unacknowledged frames go again
THIN_AFTER_MS = 30000  # frames unacknowledged for longer are thinned
THIN_TO_S = 5  # to one in so many seconds
TEMPERATURE_CHANGE_KELVIN = 0.1  # probe-N/temperature is published on this change
TEMPERATURE_PERIOD_S = 10  # or this often

# The probe: where a divider's voltage ratio, or the temperature, says that there is no reading
RATIO_SHORT = 0.005  # below: shorted lead
RATIO_OPEN = 0.995  # above: open lead or no probe in the socket
RANGE_MIN_DEGC = -20.0
RANGE_MAX_DEGC = 150.0

# Words of the wire
STATUS = ("ok", "open", "short", "range", "jump", "stuck", "uncalibrated")
STATUS_HEATS = ("ok", "uncalibrated")  # the only ones with which heat is allowed; they always come with a number
STATUS_NUMBERLESS = ("open", "short", "range")  # these never come with one; jump and stuck may
WHY = (
    "on",
    "off",
    "refused",
    "expired",
    "cap",
    "probe-fault",
    "boot-hold",
    "link-lost",
    "door",
    "latched",
    "standby",
)
REFUSALS = (
    "unreadable",  # not a grant of this contract
    "retained",
    "other-hub",  # not the bound hub
    "other-boot",  # decided on a frame from before the kit's restart
    "not-newer",  # seq not larger than the newest seen
    "ttl",  # outside TTL_MIN_S..TTL_MAX_S
    "duty",  # outside 0..1
    "too-old",  # echoed `up` older than its ttl
    "from-future",  # echoed `up` ahead of the kit's own ticks
    "probe-fault",  # chamber probe at fault
    "before-clear",  # decided on a frame from before a probe fault, the cap or a door cleared the permit
)

# Ticks: milliseconds since the kit's start, wrapping at 2^30 (12.4 days).
TICK_PERIOD = 1 << 30  # itself no small int on a board: never used in arithmetic there
TICK_MASK = (1 << 30) - 1
TICK_HALF = 1 << 29


def ticks_add(ticks_ms: int, delta_ms: int) -> int:
    """Tick `delta_ms` after (or, if negative, before) `ticks_ms`; result 0..TICK_MASK [ms].

    Arguments are masked first; every intermediate value stays within a board's 31-bit small ints -2^30..2^30-1, so
    nothing is allocated there. Raises nothing. Source: modular arithmetic of period TICK_PERIOD.
    """
    start = ticks_ms & TICK_MASK
    step = delta_ms & TICK_MASK
    room = TICK_MASK - start
    if step > room:
        return step - room - 1
    return start + step


def ticks_diff(later_ms: int, earlier_ms: int) -> int:
    """Milliseconds from `earlier_ms` to `later_ms`, signed, -2^29..2^29-1: right if they lie within 6.2 days.

    Arguments are masked first; every intermediate value stays within a board's 31-bit small ints -2^30..2^30-1.
    Raises nothing. Source: modular arithmetic of period TICK_PERIOD.
    """
    delta = (later_ms & TICK_MASK) - (earlier_ms & TICK_MASK)
    if delta >= TICK_HALF:
        return delta - TICK_HALF - TICK_HALF
    if delta < -TICK_HALF:
        return delta + TICK_HALF + TICK_HALF
    return delta
