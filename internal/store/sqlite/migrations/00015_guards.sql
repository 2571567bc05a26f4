-- +goose Up
-- Every table that is rebuilt from the ledger is written by this program alone: any other one lacks the collation
-- that the triggers name, and its statement is refused before it begins. Nothing is compared by it, since no site comes
-- before the empty text. A function in its place, or ABORT, would have SQLite keep a statement journal: see the table
-- record. Whoever takes the triggers away first, or brings such a collation along, is not stopped: that the tables are
-- those of the ledger is compared (store.Compare).
-- +goose StatementBegin
CREATE TRIGGER event_guard_insert BEFORE INSERT ON event WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER event_guard_update BEFORE UPDATE ON event WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER event_guard_delete BEFORE DELETE ON event WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER used_guard_insert BEFORE INSERT ON used WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER used_guard_update BEFORE UPDATE ON used WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER used_guard_delete BEFORE DELETE ON used WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entity_guard_insert BEFORE INSERT ON entity WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entity_guard_update BEFORE UPDATE ON entity WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entity_guard_delete BEFORE DELETE ON entity WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER decided_guard_insert BEFORE INSERT ON decided WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER decided_guard_update BEFORE UPDATE ON decided WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER decided_guard_delete BEFORE DELETE ON decided WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER reading_guard_insert BEFORE INSERT ON reading WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER reading_guard_update BEFORE UPDATE ON reading WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER reading_guard_delete BEFORE DELETE ON reading WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER doubted_guard_insert BEFORE INSERT ON doubted WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER doubted_guard_update BEFORE UPDATE ON doubted WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER doubted_guard_delete BEFORE DELETE ON doubted WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER checked_guard_insert BEFORE INSERT ON checked WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER checked_guard_update BEFORE UPDATE ON checked WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER checked_guard_delete BEFORE DELETE ON checked WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER hold_guard_insert BEFORE INSERT ON hold WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER hold_guard_update BEFORE UPDATE ON hold WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER hold_guard_delete BEFORE DELETE ON hold WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER signal_guard_insert BEFORE INSERT ON signal WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER signal_guard_update BEFORE UPDATE ON signal WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER signal_guard_delete BEFORE DELETE ON signal WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER erased_guard_insert BEFORE INSERT ON erased WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER erased_guard_update BEFORE UPDATE ON erased WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER erased_guard_delete BEFORE DELETE ON erased WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER handover_guard_insert BEFORE INSERT ON handover WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER handover_guard_update BEFORE UPDATE ON handover WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER handover_guard_delete BEFORE DELETE ON handover WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER search_block_guard_insert BEFORE INSERT ON search_block WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER search_block_guard_update BEFORE UPDATE ON search_block WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER search_block_guard_delete BEFORE DELETE ON search_block WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER search_time_guard_insert BEFORE INSERT ON search_time WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER search_time_guard_update BEFORE UPDATE ON search_time WHEN NEW.site < '' AND NEW.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER search_time_guard_delete BEFORE DELETE ON search_time WHEN OLD.site < '' AND OLD.site < '' COLLATE only_rinsate_writes_here BEGIN
  SELECT RAISE(FAIL, 'this table follows from the ledger: write a record instead');
END;
-- +goose StatementEnd
