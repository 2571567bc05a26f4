-- +goose Up
-- Which readings each mark takes the trust from: a reading is found to be in doubt by itself, whenever the
-- check failed that says so. seq is the place of the mark, replaced is when the mark was taken back.
CREATE TABLE doubted (
  site     TEXT    NOT NULL ON CONFLICT FAIL,
  reading  INTEGER NOT NULL ON CONFLICT FAIL,
  seq      INTEGER NOT NULL ON CONFLICT FAIL,
  recorded INTEGER NOT NULL ON CONFLICT FAIL,
  replaced INTEGER,
  PRIMARY KEY (site, reading, seq) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;
CREATE INDEX doubted_mark ON doubted (site, seq);
INSERT INTO doubted (site, reading, seq, recorded, replaced)
  SELECT e.site, x.seq, e.seq, e.recorded, e.replaced
  FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
  JOIN json_each(json_extract(CAST(r.bytes AS TEXT), '$.body.readings')) j
  JOIN record x ON x.site = e.site AND x.id = j.value
  WHERE e.type = 'suspect';
