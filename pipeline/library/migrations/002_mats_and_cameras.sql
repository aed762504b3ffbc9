-- The mat that counts in a footage file, by the file's content so that it outlives its bouts.
CREATE TABLE mat (
    content_key TEXT PRIMARY KEY,
    corners TEXT NOT NULL
) STRICT;

-- Bouts of one match filmed by several cameras. A bout's own time plus clock_s is the time that
-- all of them share, so any number of cameras can never contradict each other.
CREATE TABLE camera (
    bout TEXT PRIMARY KEY REFERENCES bout (id) ON DELETE CASCADE,
    fight TEXT NOT NULL,
    clock_s REAL NOT NULL
) STRICT;

CREATE INDEX camera_fight ON camera (fight);
