-- +goose Up
-- When each use of a scope ended, 9223372036854775807 while its end is not on record: a use that goes on, or
-- that ended after the next one began, is found however long ago it began.
CREATE TABLE used (
  site     TEXT    NOT NULL ON CONFLICT FAIL,
  scope    TEXT    NOT NULL ON CONFLICT FAIL,
  ended    INTEGER NOT NULL ON CONFLICT FAIL,
  at       INTEGER NOT NULL ON CONFLICT FAIL,
  seq      INTEGER NOT NULL ON CONFLICT FAIL,
  recorded INTEGER NOT NULL ON CONFLICT FAIL,
  replaced INTEGER,
  PRIMARY KEY (site, scope, ended, at, seq) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;
INSERT INTO used (site, scope, ended, at, seq, recorded, replaced)
  SELECT e.site, e.scope, coalesce(json_extract(CAST(r.bytes AS TEXT), '$.body.end'), 9223372036854775807), e.at, e.seq, e.recorded, e.replaced
  FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
  WHERE e.type = 'use';
