-- +goose Up
-- The index of all records by what they name. Records are taken in blocks of 2,048 by their place in the
-- ledger; a block is written when it is full, so that a record costs next to nothing. term is a facet and a
-- value, such as lot=7; marks tells which records of the block have it, as 256 bytes of bits or, when there
-- are few, as two bytes for each.
CREATE TABLE search_block (
  site  TEXT    NOT NULL ON CONFLICT FAIL,
  term  TEXT    NOT NULL ON CONFLICT FAIL,
  block INTEGER NOT NULL ON CONFLICT FAIL,
  marks BLOB    NOT NULL ON CONFLICT FAIL,
  PRIMARY KEY (site, term, block) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;

-- When the records of a block happened: eight bytes for each, in their order.
CREATE TABLE search_time (
  site  TEXT    NOT NULL ON CONFLICT FAIL,
  block INTEGER NOT NULL ON CONFLICT FAIL,
  times BLOB    NOT NULL ON CONFLICT FAIL,
  PRIMARY KEY (site, block) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;
