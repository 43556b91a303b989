-- Version 1. Wall clock is UTC: text for what people read, milliseconds since
-- 1970 in samples. scan and scan_s count from the start of a run. A measured
-- value that was not usable, and an estimate that was not made, is NULL.

CREATE TABLE runs (
  id      INTEGER PRIMARY KEY,
  started TEXT NOT NULL,
  version TEXT NOT NULL
) STRICT;

CREATE TABLE texts (
  hash TEXT PRIMARY KEY, -- SHA-256 of the text, hex
  text TEXT NOT NULL
) STRICT;

CREATE TABLE batches (
  id            INTEGER PRIMARY KEY,
  run           INTEGER NOT NULL REFERENCES runs,
  result        TEXT NOT NULL CHECK (result IN ('open', 'done', 'aborted')),
  recipe        TEXT NOT NULL,
  recipe_hash   TEXT NOT NULL, -- into texts, if the text was given
  machine_hash  TEXT NOT NULL,
  green_kg      REAL,
  charged       TEXT NOT NULL,
  ended         TEXT NOT NULL, -- '' while open
  turn_s        REAL,          -- seconds since charge, as all below
  turn_c        REAL,
  first_crack_s REAL,
  drop_s        REAL,
  drop_c        REAL,
  target_drop_c REAL,
  loss_at_drop  REAL
) STRICT;

CREATE TABLE samples (
  run            INTEGER NOT NULL REFERENCES runs,
  scan           INTEGER NOT NULL,
  scan_s         REAL NOT NULL,
  at_ms          INTEGER NOT NULL,
  batch          INTEGER, -- NULL outside a batch
  since_charge_s REAL,
  state          TEXT NOT NULL,
  stage          INTEGER NOT NULL,
  heat_permitted INTEGER NOT NULL,
  air_mode       TEXT NOT NULL,
  base_mode      TEXT NOT NULL,
  bean_c REAL, bean_quality TEXT, -- quality NULL: the machine has no such point
  bean_2_c REAL, bean_2_quality TEXT, -- quality NULL: the machine has no such point
  inlet_air_c REAL, inlet_air_quality TEXT, -- quality NULL: the machine has no such point
  drum_skin_c REAL, drum_skin_quality TEXT, -- quality NULL: the machine has no such point
  drum_skin_2_c REAL, drum_skin_2_quality TEXT, -- quality NULL: the machine has no such point
  exhaust_c REAL, exhaust_quality TEXT, -- quality NULL: the machine has no such point
  heater_element_c REAL, heater_element_quality TEXT, -- quality NULL: the machine has no such point
  high_limit_c REAL, high_limit_quality TEXT, -- quality NULL: the machine has no such point
  ambient_c REAL, ambient_quality TEXT, -- quality NULL: the machine has no such point
  cooling_tray_c REAL, cooling_tray_quality TEXT, -- quality NULL: the machine has no such point
  target_c REAL,
  true_c REAL,
  true_sd_c REAL,
  rate_k_per_s REAL,
  rate_sd_k_per_s REAL,
  moisture_dry_basis REAL,
  loss REAL,
  loss_sd REAL,
  heat_factor REAL,
  air_set_c REAL,
  air_duty REAL,
  air_permit REAL,
  base_set_c REAL,
  base_duty REAL,
  base_permit REAL,
  drum_set_mm_per_s REAL,
  drum_mm_per_s REAL,
  flow_set_kg_per_h REAL,
  flow_kg_per_h REAL,
  air_heater_current_a REAL,
  radiant_current_a REAL,
  mains_v REAL,
  PRIMARY KEY (run, scan)
) STRICT, WITHOUT ROWID;
CREATE INDEX samples_of_batch ON samples (batch, run, scan) WHERE batch IS NOT NULL;

CREATE TABLE events (
  id          INTEGER PRIMARY KEY,
  run         INTEGER NOT NULL REFERENCES runs,
  scan        INTEGER NOT NULL,
  scan_s      REAL NOT NULL,
  at          TEXT NOT NULL,
  batch       INTEGER, -- also before its charge; then without a row in batches
  state       TEXT NOT NULL,
  kind        TEXT NOT NULL,
  name        TEXT NOT NULL,
  text        TEXT NOT NULL,
  value       REAL,
  limit_value REAL
) STRICT;
CREATE INDEX events_of_batch ON events (batch) WHERE batch IS NOT NULL;

CREATE TABLE trips (
  id          INTEGER PRIMARY KEY,
  run         INTEGER NOT NULL REFERENCES runs,
  scan        INTEGER NOT NULL,
  at          TEXT NOT NULL,
  batch       INTEGER,
  state       TEXT NOT NULL, -- of the batch sequence
  safe_state  TEXT NOT NULL,
  cause       TEXT NOT NULL,
  text        TEXT NOT NULL,
  value       REAL,
  limit_value REAL,
  reset_at    TEXT
) STRICT;

CREATE TABLE latches (
  name  TEXT PRIMARY KEY,
  value TEXT NOT NULL,
  at    TEXT NOT NULL
) STRICT;
