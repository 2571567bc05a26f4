-- +goose Up
-- The few emergency uses among all uses, which every morning's look asks for.
CREATE INDEX event_emergency ON event (site, at, seq) WHERE type = 'use' AND word = 'emergency' AND replaced IS NULL;
