-- +goose Up
-- suspect is when a failed check of its meter took the trust from a reading.
ALTER TABLE reading ADD COLUMN suspect INTEGER;
-- id is that of the record.
ALTER TABLE reading ADD COLUMN id TEXT NOT NULL ON CONFLICT FAIL DEFAULT '';
UPDATE reading SET id = (SELECT r.id FROM record r WHERE r.site = reading.site AND r.seq = reading.seq);

-- The statistics of a time read the readings of that time.
CREATE INDEX reading_at ON reading (site, at, seq);

-- The checks of meters with known materials. verdict is accepted, warning, rejected or unjudged.
CREATE TABLE checked (
  site     TEXT    NOT NULL ON CONFLICT FAIL,
  seq      INTEGER NOT NULL ON CONFLICT FAIL,
  meter    TEXT    NOT NULL ON CONFLICT FAIL,
  id       TEXT    NOT NULL ON CONFLICT FAIL,
  at       INTEGER NOT NULL ON CONFLICT FAIL,
  verdict  TEXT    NOT NULL ON CONFLICT FAIL,
  replaced INTEGER,
  PRIMARY KEY (site, seq) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;
CREATE INDEX checked_meter ON checked (site, meter, at, seq);
