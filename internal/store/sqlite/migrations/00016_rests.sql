-- +goose Up
-- A lift may rest on several records, of several kinds: rests holds their ids, each between spaces. When one of them is
-- taken back the hold is open again. Lifts from before this said neither what else they rested on nor what those who
-- signed were; what they still end is told when the tables are filled anew from the ledger.
ALTER TABLE hold RENAME COLUMN verification TO rests;
UPDATE hold SET lifted = NULL, rests = '' WHERE lifted > at OR rests <> '';
