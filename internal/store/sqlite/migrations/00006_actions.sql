-- +goose Up
-- Readings over the action level are few, and how many a scope had is asked whenever it is looked at.
CREATE INDEX reading_action ON reading (site, scope, at) WHERE outcome = 'action' AND replaced IS NULL;
