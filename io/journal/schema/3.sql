-- Version 3: proof tests of the interlocks. Rows are only ever added; a mistake
-- is corrected by a further row. The last row of a test counts, by id, because
-- the clock may have been wrong.

CREATE TABLE proofs (
  id           INTEGER PRIMARY KEY AUTOINCREMENT,
  test         TEXT NOT NULL CHECK (test <> ''),
  who          TEXT NOT NULL CHECK (who <> ''),
  at           TEXT NOT NULL, -- UTC
  expected     TEXT NOT NULL,
  seen         TEXT NOT NULL,
  measured_s   REAL,          -- NULL: nothing was measured
  limit_s      REAL,          -- NULL: there is none
  result       TEXT NOT NULL CHECK (result IN ('pass', 'fail')),
  note         TEXT NOT NULL,
  machine_hash TEXT NOT NULL, -- into texts
  version      TEXT NOT NULL,
  simulated    INTEGER NOT NULL CHECK (simulated IN (0, 1))
) STRICT;
CREATE INDEX proofs_of_test ON proofs (test, id);

CREATE TRIGGER proofs_stay BEFORE UPDATE ON proofs
BEGIN SELECT RAISE(ABORT, 'proof tests are only added to: correct one by a further row'); END;
CREATE TRIGGER proofs_remain BEFORE DELETE ON proofs
BEGIN SELECT RAISE(ABORT, 'proof tests are only added to: correct one by a further row'); END;
