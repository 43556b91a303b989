-- Version 7: findings of commissioning. Rows are only ever added; the last of a
-- kind and item counts, by id, because the clock may have been wrong.

CREATE TABLE commissioning (
  id           INTEGER PRIMARY KEY AUTOINCREMENT,
  kind         TEXT NOT NULL CHECK (kind <> ''),
  item         TEXT NOT NULL,
  who          TEXT NOT NULL CHECK (who <> ''),
  at           TEXT NOT NULL, -- UTC
  method       TEXT NOT NULL,
  value        REAL,          -- NULL: no single figure
  uncertainty  REAL,          -- NULL: none
  unit         TEXT NOT NULL,
  valid_days   INTEGER NOT NULL CHECK (valid_days >= 0),
  result       TEXT NOT NULL CHECK (result IN ('pass', 'fail')),
  wiring       TEXT NOT NULL,
  body         TEXT NOT NULL CHECK (json_valid(body)),
  machine_hash TEXT NOT NULL,
  version      TEXT NOT NULL,
  simulated    INTEGER NOT NULL CHECK (simulated IN (0, 1))
) STRICT;
CREATE INDEX commissioning_of_item ON commissioning (kind, item, id);

CREATE TRIGGER commissioning_stays BEFORE UPDATE ON commissioning
BEGIN SELECT RAISE(ABORT, 'findings of commissioning are only added to: make a further one'); END;
CREATE TRIGGER commissioning_remains BEFORE DELETE ON commissioning
BEGIN SELECT RAISE(ABORT, 'findings of commissioning are only added to: make a further one'); END;
