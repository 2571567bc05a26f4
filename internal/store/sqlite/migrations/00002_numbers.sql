-- +goose Up
-- suspect is when a failed check of its meter took the trust from a reading.
ALTER TABLE reading ADD COLUMN suspect INTEGER;
-- id is that of the record.
ALTER TABLE reading ADD COLUMN id TEXT NOT NULL DEFAULT '';
UPDATE reading SET id = (SELECT r.id FROM record r WHERE r.site = reading.site AND r.seq = reading.seq);

-- The statistics of a time read the readings of that time.
CREATE INDEX reading_at ON reading (site, at, seq);

-- The checks of meters with known materials. verdict is accepted, warning, rejected or unjudged.
CREATE TABLE checked (
  site     TEXT    NOT NULL,
  seq      INTEGER NOT NULL,
  meter    TEXT    NOT NULL,
  id       TEXT    NOT NULL,
  at       INTEGER NOT NULL,
  verdict  TEXT    NOT NULL,
  replaced INTEGER,
  PRIMARY KEY (site, seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX checked_meter ON checked (site, meter, at, seq);
