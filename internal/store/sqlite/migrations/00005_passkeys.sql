-- +goose Up
-- handle is what passkeys call the account by: random, so that it tells nothing about a person to whoever
-- holds the device; empty as long as no passkey was asked for.
ALTER TABLE account ADD COLUMN handle TEXT NOT NULL DEFAULT '';

-- The public halves of passkeys, no part of the ledger, which holds only that one was added to a code or
-- taken away. id is what the device calls the key by, in base64url. host is the name under which the pages
-- were when it was made: it counts under no other. counter is how often the device had used the key when it
-- was last seen, 0 where the device does not count. used is 0 as long as nobody has signed in with it.
CREATE TABLE passkey (
  site       TEXT    NOT NULL,
  id         TEXT    NOT NULL,
  code       TEXT    NOT NULL,
  name       TEXT    NOT NULL,
  host       TEXT    NOT NULL,
  public_key BLOB    NOT NULL,
  flags      INTEGER NOT NULL,
  counter    INTEGER NOT NULL,
  transports TEXT    NOT NULL,
  added      INTEGER NOT NULL,
  used       INTEGER NOT NULL,
  PRIMARY KEY (site, id)
) STRICT, WITHOUT ROWID;
CREATE INDEX passkey_code ON passkey (site, code);
