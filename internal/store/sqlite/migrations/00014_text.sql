-- +goose Up
-- The free texts of the records, of which the ledger holds salted commitments (record.FreeText). They cannot
-- be rebuilt from it, so they are guarded like it. An erased text stays as a row of zeros, as long as it was:
-- what is overwritten where it stands leaves no copy, while a deleted row lets others move, and what moves
-- leaves copies behind. For the same reason rows are only added at the end, and the index holds no text.
CREATE TABLE text (
  place INTEGER PRIMARY KEY,
  site  TEXT    NOT NULL,
  seq   INTEGER NOT NULL,
  field TEXT    NOT NULL,
  salt  BLOB    NOT NULL,
  value BLOB    NOT NULL
) STRICT;
CREATE UNIQUE INDEX text_record ON text (site, seq, field);

-- Which texts were erased, by which record. Rebuilt from the ledger like every other table.
CREATE TABLE erased (
  site  TEXT    NOT NULL ON CONFLICT FAIL,
  seq   INTEGER NOT NULL ON CONFLICT FAIL,
  field TEXT    NOT NULL ON CONFLICT FAIL,
  by    INTEGER NOT NULL ON CONFLICT FAIL,
  PRIMARY KEY (site, seq, field) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;

-- +goose StatementBegin
CREATE TRIGGER text_no_update BEFORE UPDATE ON text
WHEN NEW.place <> OLD.place OR NEW.site <> OLD.site OR NEW.seq <> OLD.seq OR NEW.field <> OLD.field
  OR NEW.salt <> zeroblob(length(OLD.salt)) OR NEW.value <> zeroblob(length(OLD.value))
  OR NOT EXISTS (SELECT 1 FROM erased e WHERE e.site = OLD.site AND e.seq = OLD.seq AND e.field = OLD.field) BEGIN
  SELECT RAISE(ABORT, 'a text never changes: write a correction, or erase it by a record that says so');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER text_no_delete BEFORE DELETE ON text BEGIN
  SELECT RAISE(ABORT, 'a text never goes away: erase it by a record that says so');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER text_no_replace BEFORE INSERT ON text
WHEN EXISTS (SELECT 1 FROM text WHERE site = NEW.site AND seq = NEW.seq AND field = NEW.field)
  OR EXISTS (SELECT 1 FROM text WHERE place = NEW.place) BEGIN
  SELECT RAISE(ABORT, 'a text never changes: it is stored already');
END;
-- +goose StatementEnd
