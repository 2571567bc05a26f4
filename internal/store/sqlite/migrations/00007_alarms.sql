-- +goose Up
-- What people did about alarms, of which a list needs the state of each without reading the records: one
-- row an act. alarm is the id of the alarm; reading, signalled and direction are its first signal; began and
-- last bound it as it was then. at is when somebody acted.
CREATE TABLE alarm (
  site      TEXT    NOT NULL,
  seq       INTEGER NOT NULL,
  alarm     TEXT    NOT NULL,
  act       TEXT    NOT NULL,
  at        INTEGER NOT NULL,
  scope     TEXT    NOT NULL,
  point     TEXT    NOT NULL,
  system    TEXT    NOT NULL,
  kit       TEXT    NOT NULL,
  reading   TEXT    NOT NULL,
  signalled INTEGER NOT NULL,
  direction TEXT    NOT NULL,
  began     INTEGER NOT NULL,
  last      INTEGER NOT NULL,
  replaced  INTEGER,
  PRIMARY KEY (site, seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX alarm_life ON alarm (site, alarm, seq);
