-- +goose Up
-- What people did about signals, of which a list needs the state of each without reading the records: one
-- row an act. signal is the id of the signal; reading, signalled and direction are its first signal; began and
-- last bound it as it was then. at is when somebody acted.
CREATE TABLE signal (
  site      TEXT    NOT NULL ON CONFLICT FAIL,
  seq       INTEGER NOT NULL ON CONFLICT FAIL,
  signal    TEXT    NOT NULL ON CONFLICT FAIL,
  act       TEXT    NOT NULL ON CONFLICT FAIL,
  at        INTEGER NOT NULL ON CONFLICT FAIL,
  scope     TEXT    NOT NULL ON CONFLICT FAIL,
  point     TEXT    NOT NULL ON CONFLICT FAIL,
  system    TEXT    NOT NULL ON CONFLICT FAIL,
  kit       TEXT    NOT NULL ON CONFLICT FAIL,
  reading   TEXT    NOT NULL ON CONFLICT FAIL,
  signalled INTEGER NOT NULL ON CONFLICT FAIL,
  direction TEXT    NOT NULL ON CONFLICT FAIL,
  began     INTEGER NOT NULL ON CONFLICT FAIL,
  last      INTEGER NOT NULL ON CONFLICT FAIL,
  replaced  INTEGER,
  PRIMARY KEY (site, seq) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;
CREATE INDEX signal_life ON signal (site, signal, seq);
