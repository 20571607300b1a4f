BEGIN TRANSACTION;
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
INSERT INTO "boots" VALUES('kit-3f2a','0a1b2c3d4e5f',1,88.5,90.0,4,1);
INSERT INTO "boots" VALUES('kit-3f2a','9f3c1a02b7e4',1,-1.0,2.0,0,0);
CREATE TABLE conflicts (
    kit TEXT NOT NULL,
    boot TEXT NOT NULL,
    seq INTEGER NOT NULL,
    content TEXT NOT NULL,
    utc_ms INTEGER NOT NULL,
    PRIMARY KEY (kit, boot, seq, content)
) STRICT, WITHOUT ROWID;
INSERT INTO "conflicts" VALUES('kit-3f2a','9f3c1a02b7e4',1,'[2000, 1, 0.4, "on", "[81.0,40.25,null]", "[\"ok\",\"uncalibrated\",\"open\"]"]',1764028801000);
CREATE TABLE events (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    batch TEXT NOT NULL,
    kind TEXT NOT NULL,
    machine INTEGER NOT NULL REFERENCES machines (id),
    at_s REAL NOT NULL,               -- steady clock of that machine start
    utc_ms INTEGER NOT NULL,
    data TEXT NOT NULL                -- JSON object
) STRICT;
INSERT INTO "events" VALUES(1,'7f2c','hung',1,5.0,1764028805000,'{"chubs": [1, 2, 3]}');
INSERT INTO "events" VALUES(2,'7f2c','called',1,70.5,1764028870500,'{"chub": 2, "core_degC": 66.9}');
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
INSERT INTO "frames" VALUES('kit-3f2a','0a1b2c3d4e5f',0,1764028890000,1,1000,0,0.0,'boot-hold','[80.0,40.25,null]','["ok","uncalibrated","open"]');
INSERT INTO "frames" VALUES('kit-3f2a','9f3c1a02b7e4',0,1764028800000,1,1000,0,0.35,'on','[80.0,40.25,null]','["ok","uncalibrated","open"]');
INSERT INTO "frames" VALUES('kit-3f2a','9f3c1a02b7e4',1,1764028801000,1,2000,1,0.35,'on','[81.0,40.25,null]','["ok","uncalibrated","open"]');
INSERT INTO "frames" VALUES('kit-3f2a','9f3c1a02b7e4',2,1764028802000,0,3000,0,0.35,'on','[82.0,40.25,null]','["ok","uncalibrated","open"]');
CREATE TABLE hub (
    one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    hub_id TEXT NOT NULL,
    run INTEGER NOT NULL
) STRICT;
INSERT INTO "hub" VALUES(1,'c01d5a11ab1e',41);
CREATE TABLE machines (
    id INTEGER PRIMARY KEY,
    uuid TEXT NOT NULL UNIQUE,
    utc_zero_ms INTEGER NOT NULL      -- UTC at which the steady clock read zero
) STRICT;
INSERT INTO "machines" VALUES(1,'machine-one',1764028800000);
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
INSERT INTO "minutes" VALUES('kit-3f2a',-1,29400480,3,0.35,1.04999999999999982236e+00,0.35);
INSERT INTO "minutes" VALUES('kit-3f2a',-1,29400481,1,0.0,0.0,0.0);
INSERT INTO "minutes" VALUES('kit-3f2a',0,29400480,3,80.0,243.0,82.0);
INSERT INTO "minutes" VALUES('kit-3f2a',0,29400481,1,80.0,80.0,80.0);
INSERT INTO "minutes" VALUES('kit-3f2a',1,29400480,3,40.25,120.75,40.25);
INSERT INTO "minutes" VALUES('kit-3f2a',1,29400481,1,40.25,40.25,40.25);
CREATE TABLE outbox (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    what TEXT NOT NULL CHECK (what IN ('frame', 'target', 'event')),
    owner TEXT NOT NULL,
    boot TEXT NOT NULL,
    number INTEGER NOT NULL
) STRICT;
INSERT INTO "outbox" VALUES(1,'frame','kit-3f2a','9f3c1a02b7e4',0);
INSERT INTO "outbox" VALUES(2,'frame','kit-3f2a','9f3c1a02b7e4',1);
CREATE TABLE schema_version (
    version INTEGER NOT NULL PRIMARY KEY,
    applied_utc_ms INTEGER NOT NULL
) STRICT;
INSERT INTO "schema_version" VALUES(1,1764028800000);
INSERT INTO "schema_version" VALUES(2,1764028900000);
INSERT INTO "schema_version" VALUES(3,1764028900000);
CREATE TABLE takers (
    name TEXT NOT NULL PRIMARY KEY,
    sent_id INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO "takers" VALUES('influx',1);
CREATE TABLE targets (
    kit TEXT NOT NULL,
    utc_ms INTEGER NOT NULL,
    target_degC REAL,
    PRIMARY KEY (kit, utc_ms)
) STRICT, WITHOUT ROWID;
INSERT INTO "targets" VALUES('kit-3f2a',1764028800000,71.1);
INSERT INTO "targets" VALUES('kit-3f2a',1764028860000,NULL);
CREATE INDEX frames_by_time ON frames (kit, utc_ms);
CREATE INDEX events_by_batch ON events (batch, id);
CREATE TRIGGER events_are_not_changed BEFORE UPDATE ON events
BEGIN
    SELECT RAISE(ABORT, 'events are append-only');
END;
CREATE TRIGGER events_are_not_removed BEFORE DELETE ON events
BEGIN
    SELECT RAISE(ABORT, 'events are append-only');
END;
CREATE TRIGGER frames_go_out AFTER INSERT ON frames WHEN EXISTS (SELECT 1 FROM takers)
BEGIN
    INSERT INTO outbox (what, owner, boot, number) VALUES ('frame', NEW.kit, NEW.boot, NEW.seq);
END;
CREATE TRIGGER targets_go_out AFTER INSERT ON targets WHEN EXISTS (SELECT 1 FROM takers)
BEGIN
    INSERT INTO outbox (what, owner, boot, number) VALUES ('target', NEW.kit, '', NEW.utc_ms);
END;
CREATE TRIGGER changed_targets_go_out AFTER UPDATE ON targets WHEN EXISTS (SELECT 1 FROM takers)
BEGIN
    INSERT INTO outbox (what, owner, boot, number) VALUES ('target', NEW.kit, '', NEW.utc_ms);
END;
CREATE TRIGGER events_go_out AFTER INSERT ON events WHEN EXISTS (SELECT 1 FROM takers)
BEGIN
    INSERT INTO outbox (what, owner, boot, number) VALUES ('event', NEW.batch, '', NEW.id);
END;
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('events',2);
INSERT INTO "sqlite_sequence" VALUES('outbox',2);
CREATE INDEX batches_of_kits ON events (json_extract(data, '$.kit'), batch) WHERE kind IN ('planned', 'kit-chosen');
COMMIT;
