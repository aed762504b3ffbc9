-- A bout is a stretch of one footage file; its readings are never changed once written, and the
-- journal only grows.
CREATE TABLE bout (
    id TEXT PRIMARY KEY,
    title TEXT NOT NULL,
    footage TEXT NOT NULL,
    content_key TEXT NOT NULL,
    duration_s REAL NOT NULL CHECK (duration_s >= 0),
    start_s REAL NOT NULL CHECK (start_s >= 0),
    end_s REAL NOT NULL CHECK (end_s >= start_s),
    name_a TEXT NOT NULL DEFAULT '',
    name_b TEXT NOT NULL DEFAULT '',
    we TEXT CHECK (we IN ('A', 'B')),
    event TEXT NOT NULL DEFAULT '',
    date TEXT NOT NULL DEFAULT '',
    ruleset TEXT NOT NULL DEFAULT '',
    proxy TEXT,
    added_at TEXT NOT NULL,
    reading TEXT REFERENCES reading (id),
    counts TEXT NOT NULL DEFAULT '{}'
) STRICT;

CREATE INDEX bout_content ON bout (content_key, start_s);

CREATE TABLE reading (
    id TEXT PRIMARY KEY,
    bout TEXT NOT NULL REFERENCES bout (id) ON DELETE CASCADE,
    reader TEXT NOT NULL,
    settings_hash TEXT NOT NULL,
    made_at TEXT NOT NULL,
    proposal TEXT NOT NULL
) STRICT;

CREATE TABLE journal (
    reading TEXT NOT NULL REFERENCES reading (id) ON DELETE CASCADE,
    revision INTEGER NOT NULL CHECK (revision > 0),
    kind TEXT NOT NULL CHECK (kind IN ('correction', 'undo', 'redo')),
    correction TEXT,
    at TEXT NOT NULL,
    PRIMARY KEY (reading, revision),
    CHECK ((kind = 'correction') = (correction IS NOT NULL))
) STRICT, WITHOUT ROWID;

-- Append-only by rule, not by habit. A whole bout may still be removed with all that is its own.
CREATE TRIGGER journal_keeps BEFORE UPDATE ON journal
BEGIN
    SELECT RAISE(ABORT, 'the journal only grows');
END;
