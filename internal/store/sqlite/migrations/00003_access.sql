-- +goose Up
-- Who may come in. Names, secrets and badges are personal data and no part of the ledger, which holds
-- only who gave which roles to which code. key is the digest of the code without case, by which the
-- account is found; roles are separated by spaces; password and pin are slow hashes, badge and once are
-- digests; all of these are empty where there is none. Times are 0 where there is none.
CREATE TABLE account (
  site        TEXT    NOT NULL,
  code        TEXT    NOT NULL,
  key         TEXT    NOT NULL,
  name        TEXT    NOT NULL,
  roles       TEXT    NOT NULL,
  password    TEXT    NOT NULL,
  pin         TEXT    NOT NULL,
  badge       TEXT    NOT NULL,
  once        TEXT    NOT NULL,
  once_until  INTEGER NOT NULL,
  must_change INTEGER NOT NULL,
  disabled    INTEGER NOT NULL,
  created     INTEGER NOT NULL,
  -- changed is when the password was last set.
  changed     INTEGER NOT NULL,
  PRIMARY KEY (site, code)
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX account_key ON account (site, key);
CREATE UNIQUE INDEX account_badge ON account (site, badge) WHERE badge <> '';

-- Failed attempts in a row, by the digest of what was typed or scanned, whether or not there is such an
-- account: nothing that a stranger can see or time tells the two apart.
CREATE TABLE attempt (
  site      TEXT    NOT NULL,
  key       TEXT    NOT NULL,
  failures  INTEGER NOT NULL,
  failed_at INTEGER NOT NULL,
  PRIMARY KEY (site, key)
) STRICT, WITHOUT ROWID;
CREATE INDEX attempt_old ON attempt (site, failed_at);

-- token is the digest of what the browser holds. proved is when the person last showed who they are.
CREATE TABLE session (
  site    TEXT    NOT NULL,
  token   TEXT    NOT NULL,
  code    TEXT    NOT NULL,
  created INTEGER NOT NULL,
  seen    INTEGER NOT NULL,
  proved  INTEGER NOT NULL,
  locked  INTEGER NOT NULL,
  ends    INTEGER NOT NULL,
  address TEXT    NOT NULL,
  agent   TEXT    NOT NULL,
  PRIMARY KEY (site, token)
) STRICT, WITHOUT ROWID;
CREATE INDEX session_code ON session (site, code);
CREATE INDEX session_ends ON session (site, ends);
