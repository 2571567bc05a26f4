-- +goose Up
-- What disinfections share with others: the run of a reprocessor, and the lot of the solution. Texts are in small letters
-- without spaces around them. began is since when the solution is in use by the record, failed is 1 where the disinfection or
-- its test failed; filled and expires are 0 where they are not on record.
CREATE TABLE disinfected (
  site         TEXT    NOT NULL ON CONFLICT FAIL,
  seq          INTEGER NOT NULL ON CONFLICT FAIL,
  scope        TEXT    NOT NULL ON CONFLICT FAIL,
  at           INTEGER NOT NULL ON CONFLICT FAIL,
  reprocessor  TEXT    NOT NULL ON CONFLICT FAIL,
  disinfectant TEXT    NOT NULL ON CONFLICT FAIL,
  lot          TEXT    NOT NULL ON CONFLICT FAIL,
  began        INTEGER NOT NULL ON CONFLICT FAIL,
  filled       INTEGER NOT NULL ON CONFLICT FAIL,
  expires      INTEGER NOT NULL ON CONFLICT FAIL,
  failed       INTEGER NOT NULL ON CONFLICT FAIL,
  recorded     INTEGER NOT NULL ON CONFLICT FAIL,
  replaced     INTEGER,
  PRIMARY KEY (site, seq) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;
CREATE INDEX disinfected_run ON disinfected (site, reprocessor, failed, at);
CREATE INDEX disinfected_first ON disinfected (site, disinfectant, lot, reprocessor, began);
CREATE INDEX disinfected_lot ON disinfected (site, disinfectant, lot, at);
CREATE INDEX disinfected_date ON disinfected (site, disinfectant, lot, expires, reprocessor, filled, at);
INSERT INTO disinfected (site, seq, scope, at, reprocessor, disinfectant, lot, began, filled, expires, failed, recorded, replaced)
  SELECT site, seq, scope, at, reprocessor, disinfectant, lot, CASE WHEN filled = 0 THEN at ELSE min(at, filled) END, filled, expires, failed, recorded, replaced
  FROM (SELECT e.site, e.seq, e.scope, e.at, e.recorded, e.replaced,
      lower(trim(coalesce(json_extract(CAST(r.bytes AS TEXT), '$.body.reprocessor'), ''))) AS reprocessor,
      lower(trim(coalesce(json_extract(CAST(r.bytes AS TEXT), '$.body.disinfectant'), ''))) AS disinfectant,
      lower(trim(coalesce(json_extract(CAST(r.bytes AS TEXT), '$.body.disinfectant_lot'), ''))) AS lot,
      coalesce(json_extract(CAST(r.bytes AS TEXT), '$.body.disinfectant_filled'), 0) AS filled,
      coalesce(json_extract(CAST(r.bytes AS TEXT), '$.body.disinfectant_expires'), 0) AS expires,
      coalesce(json_extract(CAST(r.bytes AS TEXT), '$.body.result'), '') = 'fail' OR coalesce(json_extract(CAST(r.bytes AS TEXT), '$.body.mec'), '') = 'fail' AS failed
    FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
    WHERE e.type = 'step' AND json_extract(CAST(r.bytes AS TEXT), '$.body.kind') = 'disinfection')
  WHERE reprocessor <> '' OR lot <> '';

-- +goose StatementBegin
CREATE TRIGGER disinfected_guard_insert BEFORE INSERT ON disinfected WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER disinfected_guard_update BEFORE UPDATE ON disinfected WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER disinfected_guard_delete BEFORE DELETE ON disinfected WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
