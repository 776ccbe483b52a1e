-- The events of evenings, in order, as the evening machine was stepped with them: going over them again leads to the
-- same state. `now_utc` is the evening's own clock. `outing` is the outing's file as it was when the evening began.

CREATE TABLE evening (
    evening_id TEXT PRIMARY KEY,
    written_utc TEXT NOT NULL,
    written_mono_s REAL NOT NULL,
    boot_id TEXT NOT NULL,
    camera TEXT NOT NULL,
    outing TEXT NOT NULL
) STRICT;

CREATE TABLE happening (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    evening_id TEXT NOT NULL REFERENCES evening (evening_id),
    written_utc TEXT NOT NULL,
    written_mono_s REAL NOT NULL,
    boot_id TEXT NOT NULL,
    now_utc TEXT NOT NULL,
    event TEXT NOT NULL CHECK (json_valid(event))
) STRICT;

CREATE INDEX happening_of_evening ON happening (evening_id, number);

CREATE TRIGGER evening_stays BEFORE UPDATE ON evening
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
CREATE TRIGGER evening_is_kept BEFORE DELETE ON evening
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
CREATE TRIGGER evening_is_new BEFORE INSERT ON evening
WHEN EXISTS (SELECT 1 FROM evening WHERE evening_id = NEW.evening_id)
BEGIN SELECT RAISE(ABORT, 'this evening is in the journal already'); END;

CREATE TRIGGER happening_stays BEFORE UPDATE ON happening
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
CREATE TRIGGER happening_is_kept BEFORE DELETE ON happening
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
CREATE TRIGGER happening_is_new BEFORE INSERT ON happening
WHEN EXISTS (SELECT 1 FROM happening WHERE number = NEW.number)
BEGIN SELECT RAISE(ABORT, 'the journal is append only'); END;
