-- +goose Up
-- The bytes of attached files, each once however often it is attached. hash is their SHA-256 in
-- hexadecimal, by which the records name them. The ledger does not hold them and they cannot be
-- rebuilt from it, so they are guarded like the ledger.
CREATE TABLE content (
  site  TEXT NOT NULL,
  hash  TEXT NOT NULL,
  bytes BLOB NOT NULL,
  PRIMARY KEY (site, hash)
) STRICT;

-- The notes of one shift for the next.
CREATE TABLE handover (
  site     TEXT    NOT NULL ON CONFLICT FAIL,
  seq      INTEGER NOT NULL ON CONFLICT FAIL,
  at       INTEGER NOT NULL ON CONFLICT FAIL,
  replaced INTEGER,
  PRIMARY KEY (site, seq) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;
CREATE INDEX handover_latest ON handover (site, at, seq) WHERE replaced IS NULL;

-- +goose StatementBegin
CREATE TRIGGER content_no_update BEFORE UPDATE ON content BEGIN
  SELECT RAISE(ABORT, 'an attached file never changes: attach another one');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER content_no_delete BEFORE DELETE ON content BEGIN
  SELECT RAISE(ABORT, 'an attached file never goes away: void the record that attaches it');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER content_no_replace BEFORE INSERT ON content
WHEN EXISTS (SELECT 1 FROM content WHERE site = NEW.site AND hash = NEW.hash) BEGIN
  SELECT RAISE(ABORT, 'an attached file never changes: it is stored already');
END;
-- +goose StatementEnd
