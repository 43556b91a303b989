-- Version 6: what people enter about a batch, and what a batch came to.
-- Entries are only ever added; a correction is a further row that says what
-- stood before. facts holds what counts now and follows from the entries.

CREATE TABLE entries (
  id     INTEGER PRIMARY KEY AUTOINCREMENT,
  batch  INTEGER NOT NULL REFERENCES batches,
  field  TEXT NOT NULL CHECK (field <> ''),
  item   TEXT NOT NULL,                      -- which note, tag or score; '' where there is one only
  at     TEXT NOT NULL,                      -- UTC
  who    TEXT NOT NULL CHECK (who <> ''),
  before TEXT NOT NULL,
  after  TEXT NOT NULL                       -- '' takes the value back
) STRICT;
CREATE INDEX entries_of_batch ON entries (batch, id);

CREATE TABLE facts (
  batch INTEGER NOT NULL,
  field TEXT NOT NULL,
  item  TEXT NOT NULL,
  value TEXT NOT NULL,
  PRIMARY KEY (batch, field, item)
) STRICT, WITHOUT ROWID;
CREATE INDEX facts_by_value ON facts (field, value COLLATE NOCASE, batch);
CREATE INDEX facts_by_item ON facts (field, item COLLATE NOCASE, batch);

CREATE TRIGGER entries_count AFTER INSERT ON entries
BEGIN
  DELETE FROM facts WHERE batch = new.batch AND field = new.field AND item = new.item;
  INSERT INTO facts SELECT new.batch, new.field, new.item, new.after WHERE new.after <> '';
END;
CREATE TRIGGER entries_stay BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are only added to: correct one by a further row'); END;
CREATE TRIGGER entries_remain BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are only added to: correct one by a further row'); END;

CREATE TRIGGER weighings_stay BEFORE UPDATE ON weighings
BEGIN SELECT RAISE(ABORT, 'weighings are only added to: weigh anew'); END;
CREATE TRIGGER weighings_remain BEFORE DELETE ON weighings
BEGIN SELECT RAISE(ABORT, 'weighings are only added to: weigh anew'); END;

CREATE INDEX batches_by_time ON batches (charged);
CREATE INDEX batches_by_recipe ON batches (recipe COLLATE NOCASE, id);

-- Summed up from the samples when a batch ends, so that months can be looked
-- over without reading millions of rows.
CREATE TABLE figures (
  batch         INTEGER PRIMARY KEY,
  air_full_s    REAL, -- time at full power that gives the same energy, charge to drop
  base_full_s   REAL,
  air_w         REAL, -- rated power at that time; NULL: not known
  base_w        REAL,
  off_curve_rms_c  REAL, -- probe against the curve, from 60 s after the turning point to the drop
  off_curve_most_c REAL
) STRICT;
INSERT INTO figures (batch, air_full_s, base_full_s, off_curve_rms_c, off_curve_most_c)
SELECT batch, sum(air * dt), sum(base * dt), sqrt(avg(off * off)), max(abs(off)) FROM (
  SELECT s.batch AS batch, iif(heat_permitted, air_duty, 0) AS air, iif(heat_permitted, base_duty, 0) AS base,
    scan_s - lag(scan_s, 1, scan_s) OVER (PARTITION BY s.batch, s.run ORDER BY s.scan) AS dt,
    iif(since_charge_s >= turn_s + 60, coalesce(bean_c, bean_2_c) - target_c, NULL) AS off
  FROM samples s JOIN batches b ON b.id = s.batch WHERE coalesce(since_charge_s, 0) <= coalesce(drop_s, 1e9)
) GROUP BY batch;
