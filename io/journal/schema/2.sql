ALTER TABLE samples ADD COLUMN collector_c REAL;
ALTER TABLE samples ADD COLUMN collector_quality TEXT;
ALTER TABLE samples ADD COLUMN cabinet_c REAL;
ALTER TABLE samples ADD COLUMN cabinet_quality TEXT;
