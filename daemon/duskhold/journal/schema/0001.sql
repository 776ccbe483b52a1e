-- The journal's first schema. Rows are only ever added: triggers abort every change and every removal, and
-- an insertion over a row that is there (INSERT OR REPLACE would remove it without asking the triggers).
-- Times: *_utc is ISO 8601 with Z; *_mono_s is seconds since the boot named beside it, suspends included.

CREATE TABLE intent (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    frame_id TEXT NOT NULL UNIQUE,
    written_utc TEXT NOT NULL,
    written_mono_s REAL NOT NULL,
    boot_id TEXT NOT NULL,
    camera TEXT NOT NULL,
    role TEXT NOT NULL CHECK (role IN ('base', 'scout', 'long', 'dark')),
    timing TEXT NOT NULL CHECK (timing IN ('held', 'dial')),
    planned_s REAL NOT NULL CHECK (planned_s > 0),
    cap_s REAL NOT NULL CHECK (cap_s >= planned_s),
    decision TEXT NOT NULL CHECK (json_valid(decision))
) STRICT;

-- A frame may have several outcomes: first what was known when the shutter closed, or that it is not known,
-- later what was found out and which files came. The latest is the answer; the earlier stay as they were.
CREATE TABLE outcome (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    frame_id TEXT NOT NULL REFERENCES intent (frame_id),
    written_utc TEXT NOT NULL,
    written_mono_s REAL NOT NULL,
    boot_id TEXT NOT NULL,
    outcome TEXT NOT NULL
        CHECK (outcome IN ('complete', 'cut_short', 'link_lost', 'refused', 'failed', 'unknown')),
    open_s REAL CHECK (open_s >= 0),
    open_s_least REAL CHECK (open_s_least >= 0),
    open_s_most REAL CHECK (open_s_most >= open_s_least),
    opened_utc TEXT,
    closed_utc TEXT,
    shutter TEXT NOT NULL CHECK (shutter IN ('closed', 'open', 'unknown')),
    settled INTEGER NOT NULL CHECK (settled IN (0, 1)),
    reason TEXT NOT NULL,
    files TEXT NOT NULL CHECK (json_valid(files)),
    report TEXT NOT NULL CHECK (json_valid(report))
) STRICT;

CREATE INDEX outcome_of_frame ON outcome (frame_id, number);

-- A frame that was asked for and never became an order to the shutter.
CREATE TABLE refusal (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    frame_id TEXT NOT NULL UNIQUE,
    written_utc TEXT NOT NULL,
    written_mono_s REAL NOT NULL,
    boot_id TEXT NOT NULL,
    camera TEXT NOT NULL,
    role TEXT NOT NULL CHECK (role IN ('base', 'scout', 'long', 'dark')),
    timing TEXT NOT NULL CHECK (timing IN ('held', 'dial')),
    planned_s REAL CHECK (planned_s > 0),
    code TEXT NOT NULL,
    reason TEXT NOT NULL,
    decision TEXT NOT NULL CHECK (json_valid(decision))
) STRICT;

-- Whatever else should be known afterwards: starts, recoveries, latches set and cleared.
CREATE TABLE note (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    written_utc TEXT NOT NULL,
    written_mono_s REAL NOT NULL,
    boot_id TEXT NOT NULL,
    frame_id TEXT,
    word TEXT NOT NULL,
    detail TEXT NOT NULL CHECK (json_valid(detail))
) STRICT;

CREATE TRIGGER intent_stays BEFORE UPDATE ON intent
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
CREATE TRIGGER intent_is_kept BEFORE DELETE ON intent
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
CREATE TRIGGER intent_is_new BEFORE INSERT ON intent
WHEN EXISTS (SELECT 1 FROM intent WHERE number = NEW.number OR frame_id = NEW.frame_id)
  OR EXISTS (SELECT 1 FROM refusal WHERE frame_id = NEW.frame_id)
BEGIN SELECT RAISE(ABORT, 'this frame is in the journal already'); END;

CREATE TRIGGER outcome_stays BEFORE UPDATE ON outcome
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
CREATE TRIGGER outcome_is_kept BEFORE DELETE ON outcome
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
CREATE TRIGGER outcome_is_new BEFORE INSERT ON outcome
WHEN EXISTS (SELECT 1 FROM outcome WHERE number = NEW.number)
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;

CREATE TRIGGER refusal_stays BEFORE UPDATE ON refusal
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
CREATE TRIGGER refusal_is_kept BEFORE DELETE ON refusal
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
CREATE TRIGGER refusal_is_new BEFORE INSERT ON refusal
WHEN EXISTS (SELECT 1 FROM refusal WHERE number = NEW.number OR frame_id = NEW.frame_id)
  OR EXISTS (SELECT 1 FROM intent WHERE frame_id = NEW.frame_id)
BEGIN SELECT RAISE(ABORT, 'this frame is in the journal already'); END;

CREATE TRIGGER note_stays BEFORE UPDATE ON note
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
CREATE TRIGGER note_is_kept BEFORE DELETE ON note
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
CREATE TRIGGER note_is_new BEFORE INSERT ON note
WHEN EXISTS (SELECT 1 FROM note WHERE number = NEW.number)
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
