-- +goose Up
-- An index over part of a table that names a type of event makes every statement that is given a type be compiled anew each
-- time it is run: the engine looks whether this type's index would serve it. The word is of few events, and enough.
DROP INDEX event_emergency;
CREATE INDEX event_emergency ON event (site, at, seq) WHERE word = 'emergency' AND replaced IS NULL;
