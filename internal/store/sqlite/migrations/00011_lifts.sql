-- +goose Up
-- A hold that a person placed, or that was escalated, is not ended by a verification alone: such a lift stays on
-- record, and its hold is open.
UPDATE hold SET lifted = NULL, verification = '' WHERE verification <> '' AND EXISTS (
  SELECT 1 FROM record r WHERE r.site = hold.site AND r.seq = hold.seq AND (
    coalesce(json_extract(CAST(r.bytes AS TEXT), '$.body.cause'), '') = ''
    OR json_extract(CAST(r.bytes AS TEXT), '$.body.escalated')));
