-- The outbox: what has still to be copied to an outside database. It names rows and holds no content, so that what is
-- deleted from the record is not kept here. Nothing is put into it while nobody takes from it.

-- Who takes from the outbox; sent_id is the cursor: everything up to it was taken over for certain.
CREATE TABLE takers (
    name TEXT NOT NULL PRIMARY KEY,
    sent_id INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- owner: the kit, of an event the batch; number: seq of a frame, UTC ms of a target, id of an event.
CREATE TABLE outbox (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    what TEXT NOT NULL CHECK (what IN ('frame', 'target', 'event')),
    owner TEXT NOT NULL,
    boot TEXT NOT NULL,
    number INTEGER NOT NULL
) STRICT;

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
