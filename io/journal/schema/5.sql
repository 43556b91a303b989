-- Version 5: what batches have taught, what they weighed, and what was estimated
-- of them until they are weighed. Lessons and weighings are only ever added to;
-- the last row of a scope and name, or of a batch, counts.

CREATE TABLE lessons (
  id     INTEGER PRIMARY KEY AUTOINCREMENT,
  scope  TEXT NOT NULL CHECK (scope IN ('recipe', 'coffee', 'machine')),
  name   TEXT NOT NULL,
  at     TEXT NOT NULL,           -- UTC
  batch  INTEGER,                 -- that taught it; NULL: a person changed it
  who    TEXT NOT NULL,
  why    TEXT NOT NULL CHECK (why <> ''),
  frozen INTEGER NOT NULL CHECK (frozen IN (0, 1)),
  before INTEGER NOT NULL,        -- row that undo goes back to; 0: nothing learned
  value  TEXT NOT NULL CHECK (json_valid(value))
) STRICT;
CREATE INDEX lessons_of ON lessons (scope, name, id);

CREATE TABLE weighings (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  batch      INTEGER NOT NULL,
  at         TEXT NOT NULL, -- UTC
  who        TEXT NOT NULL,
  green_kg   REAL NOT NULL CHECK (green_kg > 0),
  roasted_kg REAL NOT NULL CHECK (roasted_kg > 0)
) STRICT;
CREATE INDEX weighings_of ON weighings (batch, id);

CREATE TABLE seen (
  batch INTEGER PRIMARY KEY,
  value TEXT NOT NULL CHECK (json_valid(value))
) STRICT;
