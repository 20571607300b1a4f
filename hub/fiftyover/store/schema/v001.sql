-- The record of the hub. Times are milliseconds UTC by the hub's steady clock; temperatures °C.

CREATE TABLE schema_version (
    version INTEGER NOT NULL PRIMARY KEY,
    applied_utc_ms INTEGER NOT NULL
) STRICT;

-- Who this hub is: made once. run counts its starts; it is the high part of every grant's number.
CREATE TABLE hub (
    one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    hub_id TEXT NOT NULL,
    run INTEGER NOT NULL
) STRICT;

-- Starts of the machine: readings of its steady clock compare only within one.
CREATE TABLE machines (
    id INTEGER PRIMARY KEY,
    uuid TEXT NOT NULL UNIQUE,
    utc_zero_ms INTEGER NOT NULL      -- UTC at which the steady clock read zero
) STRICT;

-- Starts of the kits: how their ticks are dated.
CREATE TABLE boots (
    kit TEXT NOT NULL,
    boot TEXT NOT NULL,
    machine INTEGER NOT NULL REFERENCES machines (id),
    offset_s REAL NOT NULL,           -- steady clock minus unwrapped ticks
    heard_s REAL NOT NULL,            -- steady clock of the newest live frame
    thinned INTEGER NOT NULL,         -- what the kit says it lost
    dropped INTEGER NOT NULL,
    PRIMARY KEY (kit, boot)
) STRICT, WITHOUT ROWID;

-- Every frame once. The content (up_ms .. s) is as the kit sent it; t and s are JSON lists, chamber first.
CREATE TABLE frames (
    kit TEXT NOT NULL,
    boot TEXT NOT NULL,
    seq INTEGER NOT NULL,
    utc_ms INTEGER NOT NULL,
    live INTEGER NOT NULL,
    up_ms INTEGER NOT NULL,           -- ticks, wrapping at 2^30
    element_on INTEGER NOT NULL,
    duty REAL NOT NULL,
    why TEXT NOT NULL,
    t TEXT NOT NULL,
    s TEXT NOT NULL,
    PRIMARY KEY (kit, boot, seq)
) STRICT, WITHOUT ROWID;

CREATE INDEX frames_by_time ON frames (kit, utc_ms);

-- A second content under a key that is taken: evidence, never an overwrite.
CREATE TABLE conflicts (
    kit TEXT NOT NULL,
    boot TEXT NOT NULL,
    seq INTEGER NOT NULL,
    content TEXT NOT NULL,
    utc_ms INTEGER NOT NULL,
    PRIMARY KEY (kit, boot, seq, content)
) STRICT, WITHOUT ROWID;

-- One row a minute and channel, of believed readings (mean = total / n). Channel -1 is the duty, 0 the chamber.
CREATE TABLE minutes (
    kit TEXT NOT NULL,
    channel INTEGER NOT NULL,
    minute INTEGER NOT NULL,          -- minutes since 1970 UTC
    n INTEGER NOT NULL,
    low REAL NOT NULL,
    total REAL NOT NULL,
    high REAL NOT NULL,
    PRIMARY KEY (kit, channel, minute)
) STRICT, WITHOUT ROWID;

-- What the chamber was asked to be, a row a change; NULL: no heat wanted.
CREATE TABLE targets (
    kit TEXT NOT NULL,
    utc_ms INTEGER NOT NULL,
    target_degC REAL,
    PRIMARY KEY (kit, utc_ms)
) STRICT, WITHOUT ROWID;

-- What happened in a batch, in the order it was written; the batch's state is the fold of it.
CREATE TABLE events (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    batch TEXT NOT NULL,
    kind TEXT NOT NULL,
    machine INTEGER NOT NULL REFERENCES machines (id),
    at_s REAL NOT NULL,               -- steady clock of that machine start
    utc_ms INTEGER NOT NULL,
    data TEXT NOT NULL                -- JSON object
) STRICT;

CREATE INDEX events_by_batch ON events (batch, id);

CREATE TRIGGER events_are_not_changed BEFORE UPDATE ON events
BEGIN
    SELECT RAISE(ABORT, 'events are append-only');
END;

CREATE TRIGGER events_are_not_removed BEFORE DELETE ON events
BEGIN
    SELECT RAISE(ABORT, 'events are append-only');
END;
