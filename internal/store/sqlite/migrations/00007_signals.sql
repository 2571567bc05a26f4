-- +goose Up
-- What people did about signals, of which a list needs the state of each without reading the records: one
-- row an act. signal is the id of the signal; reading, signalled and direction are its first signal; began and
-- last bound it as it was then. at is when somebody acted.
CREATE TABLE signal (
  site      TEXT    NOT NULL,
  seq       INTEGER NOT NULL,
  signal    TEXT    NOT NULL,
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
CREATE INDEX signal_life ON signal (site, signal, seq);
