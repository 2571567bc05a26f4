-- +goose Up

-- way is how the person of a session last showed who they are; empty for sessions from before it was kept.
ALTER TABLE session ADD COLUMN way TEXT NOT NULL DEFAULT '';
