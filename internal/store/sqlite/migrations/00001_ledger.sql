-- +goose Up
-- The site whose records these are. One database may hold several.
CREATE TABLE site (
  site   TEXT NOT NULL PRIMARY KEY,
  name   TEXT NOT NULL,
  zone   TEXT NOT NULL,
  origin TEXT NOT NULL,
  vkey   TEXT NOT NULL,
  terms  TEXT NOT NULL
) STRICT;

-- The ledger: the bytes that were hashed, as they were hashed. hashes are the tree's hashes that
-- the record completed, lowest level first. Conflicts FAIL rather than ABORT: for a single row that
-- is the same, and SQLite then keeps no statement journal, whose end it walks to after every
-- statement in a savepoint. With ABORT the cost of a record grew with the records of its transaction.
CREATE TABLE record (
  site     TEXT    NOT NULL ON CONFLICT FAIL,
  seq      INTEGER NOT NULL ON CONFLICT FAIL,
  id       TEXT    NOT NULL ON CONFLICT FAIL,
  bytes    BLOB    NOT NULL ON CONFLICT FAIL,
  hashes   BLOB    NOT NULL ON CONFLICT FAIL,
  PRIMARY KEY (site, seq) ON CONFLICT FAIL,
  UNIQUE (site, id) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;

-- The head of each ledger; it moves by compare-and-swap.
CREATE TABLE head (
  site     TEXT    NOT NULL PRIMARY KEY,
  size     INTEGER NOT NULL,
  root     BLOB    NOT NULL,
  recorded INTEGER NOT NULL,
  -- projected is the number of records that the tables below hold.
  projected INTEGER NOT NULL
) STRICT;

CREATE TABLE checkpoint (
  site TEXT    NOT NULL,
  size INTEGER NOT NULL,
  note TEXT    NOT NULL,
  at   INTEGER NOT NULL,
  PRIMARY KEY (site, size)
) STRICT, WITHOUT ROWID;

-- What happened to a scope. word is the outcome of a verification, the kind of a step, the point of a
-- sample. replaced is when another record voided, corrected, finished or superseded it.
CREATE TABLE event (
  site     TEXT    NOT NULL ON CONFLICT FAIL,
  scope    TEXT    NOT NULL ON CONFLICT FAIL,
  type     TEXT    NOT NULL ON CONFLICT FAIL,
  at       INTEGER NOT NULL ON CONFLICT FAIL,
  seq      INTEGER NOT NULL ON CONFLICT FAIL,
  word     TEXT    NOT NULL ON CONFLICT FAIL,
  recorded INTEGER NOT NULL ON CONFLICT FAIL,
  replaced INTEGER,
  PRIMARY KEY (site, scope, type, at, seq) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;
CREATE INDEX event_recent ON event (site, type, at, seq) WHERE replaced IS NULL;

-- The editions of what the records speak of: models, instruments, levels, rule sets, meters, lots.
CREATE TABLE entity (
  site     TEXT    NOT NULL ON CONFLICT FAIL,
  type     TEXT    NOT NULL ON CONFLICT FAIL,
  key      TEXT    NOT NULL ON CONFLICT FAIL,
  seq      INTEGER NOT NULL ON CONFLICT FAIL,
  at       INTEGER NOT NULL ON CONFLICT FAIL,
  recorded INTEGER NOT NULL ON CONFLICT FAIL,
  replaced INTEGER,
  PRIMARY KEY (site, type, key, seq) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;

CREATE TABLE reading (
  site     TEXT    NOT NULL ON CONFLICT FAIL,
  seq      INTEGER NOT NULL ON CONFLICT FAIL,
  scope    TEXT    NOT NULL ON CONFLICT FAIL,
  point    TEXT    NOT NULL ON CONFLICT FAIL,
  kind     TEXT    NOT NULL ON CONFLICT FAIL,
  system   TEXT    NOT NULL ON CONFLICT FAIL,
  kit      TEXT    NOT NULL ON CONFLICT FAIL,
  lot      TEXT    NOT NULL ON CONFLICT FAIL,
  meter    TEXT    NOT NULL ON CONFLICT FAIL,
  person   TEXT    NOT NULL ON CONFLICT FAIL,
  cleaning INTEGER NOT NULL ON CONFLICT FAIL,
  at       INTEGER NOT NULL ON CONFLICT FAIL,
  analyte  TEXT    NOT NULL ON CONFLICT FAIL,
  unit     TEXT    NOT NULL ON CONFLICT FAIL,
  value    REAL    NOT NULL ON CONFLICT FAIL,
  outcome  TEXT    NOT NULL ON CONFLICT FAIL,
  replaced INTEGER,
  PRIMARY KEY (site, seq) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;
CREATE INDEX reading_series ON reading (site, scope, point, at);

CREATE TABLE hold (
  site   TEXT    NOT NULL ON CONFLICT FAIL,
  seq    INTEGER NOT NULL ON CONFLICT FAIL,
  scope  TEXT    NOT NULL ON CONFLICT FAIL,
  id     TEXT    NOT NULL ON CONFLICT FAIL,
  at     INTEGER NOT NULL ON CONFLICT FAIL,
  lifted INTEGER,
  -- verification is the decision that the lift rests on alone; when that is replaced the hold is open again.
  verification TEXT    NOT NULL ON CONFLICT FAIL DEFAULT '',
  PRIMARY KEY (site, seq) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;
CREATE INDEX hold_scope ON hold (site, scope, at);
CREATE INDEX hold_open ON hold (site, at) WHERE lifted IS NULL;

-- What a commitment in a record stands for. Not part of the ledger: deleting a row erases the
-- person and leaves the ledger whole.
CREATE TABLE patient (
  site       TEXT NOT NULL,
  commitment TEXT NOT NULL,
  salt       BLOB NOT NULL,
  value      TEXT NOT NULL,
  PRIMARY KEY (site, commitment)
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX patient_value ON patient (site, value);

-- +goose StatementBegin
CREATE TRIGGER record_no_update BEFORE UPDATE ON record BEGIN
  SELECT RAISE(ABORT, 'the ledger is append-only: write a correction instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER record_no_delete BEFORE DELETE ON record BEGIN
  SELECT RAISE(ABORT, 'the ledger is append-only: write a void instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER checkpoint_no_update BEFORE UPDATE ON checkpoint BEGIN
  SELECT RAISE(ABORT, 'a signed checkpoint never changes');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER checkpoint_no_delete BEFORE DELETE ON checkpoint BEGIN
  SELECT RAISE(ABORT, 'a signed checkpoint never goes away');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER site_no_update BEFORE UPDATE ON site BEGIN
  SELECT RAISE(ABORT, 'the identity of a site never changes');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER site_no_delete BEFORE DELETE ON site BEGIN
  SELECT RAISE(ABORT, 'the identity of a site never goes away');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER head_forward BEFORE UPDATE ON head
WHEN NEW.size < OLD.size OR NEW.size = OLD.size AND NEW.root <> OLD.root OR NEW.site <> OLD.site BEGIN
  SELECT RAISE(ABORT, 'the head of a ledger never moves back');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER head_no_delete BEFORE DELETE ON head BEGIN
  SELECT RAISE(ABORT, 'the head of a ledger never goes away');
END;
-- +goose StatementEnd
-- SQLite's INSERT OR REPLACE deletes without firing delete triggers unless recursive triggers are
-- on, so a second record of the same place is refused before it gets that far.
-- +goose StatementBegin
CREATE TRIGGER record_no_replace BEFORE INSERT ON record
WHEN EXISTS (SELECT 1 FROM record WHERE site = NEW.site AND seq = NEW.seq)
  OR EXISTS (SELECT 1 FROM record WHERE site = NEW.site AND id = NEW.id) BEGIN
  SELECT RAISE(FAIL, 'the ledger is append-only: that place or id is taken');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER checkpoint_no_replace BEFORE INSERT ON checkpoint
WHEN EXISTS (SELECT 1 FROM checkpoint WHERE site = NEW.site AND size = NEW.size) BEGIN
  SELECT RAISE(ABORT, 'a signed checkpoint never changes');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER site_no_replace BEFORE INSERT ON site
WHEN EXISTS (SELECT 1 FROM site WHERE site = NEW.site) BEGIN
  SELECT RAISE(ABORT, 'the identity of a site never changes');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER head_no_replace BEFORE INSERT ON head
WHEN EXISTS (SELECT 1 FROM head WHERE site = NEW.site) BEGIN
  SELECT RAISE(ABORT, 'the head of a ledger moves forward only by being updated');
END;
-- +goose StatementEnd
