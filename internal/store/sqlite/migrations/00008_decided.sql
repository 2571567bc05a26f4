-- +goose Up
-- How many verifications that stand were decided by each edition of the rule set, by the name that decisions
-- have for it.
CREATE TABLE decided (
  site   TEXT    NOT NULL ON CONFLICT FAIL,
  rules  TEXT    NOT NULL ON CONFLICT FAIL,
  verifications INTEGER NOT NULL ON CONFLICT FAIL,
  PRIMARY KEY (site, rules) ON CONFLICT FAIL
) STRICT, WITHOUT ROWID;
INSERT INTO decided (site, rules, verifications)
  SELECT r.site, json_extract(CAST(r.bytes AS TEXT), '$.body.rules'), count(*)
  FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
  WHERE e.type = 'verification' AND e.replaced IS NULL
  GROUP BY 1, 2;
