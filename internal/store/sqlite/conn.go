package sqlite

import (
	"context"
	"database/sql"
	"errors"

	"rinsate/internal/store"
)

// conn is one connection with its prepared statements.
type conn struct {
	raw *sql.Conn
	// begin is how a transaction begins.
	begin      string
	statements map[string]*sql.Stmt
	// wrote says that a transaction of a writer was committed.
	wrote bool
}

const (
	// beginReading takes the view of a transaction at its first query.
	beginReading = `BEGIN`
	// beginWriting takes the place of the one writer at once, and not in the middle of the work.
	beginWriting = `BEGIN IMMEDIATE`
)

func newConn(ctx context.Context, pool *sql.DB, begin string) (*conn, error) {
	raw, err := pool.Conn(ctx)
	if err != nil {
		return nil, engineError(err)
	}
	return &conn{raw: raw, begin: begin, statements: map[string]*sql.Stmt{}}, nil
}

// Close closes the connection. One that has written lets SQLite look to its statistics before.
func (c *conn) Close() error {
	var errs []error
	if c.wrote {
		_, err := c.Exec(context.Background(), `PRAGMA optimize`)
		errs = append(errs, err)
	}
	for _, st := range c.statements {
		errs = append(errs, st.Close())
	}
	return errors.Join(append(errs, c.raw.Close())...)
}

func (c *conn) Begin(ctx context.Context) error {
	_, err := c.Exec(ctx, c.begin)
	return err
}

func (c *conn) Commit(ctx context.Context) error {
	_, err := c.Exec(ctx, `COMMIT`)
	c.wrote = c.wrote || err == nil && c.begin == beginWriting
	return err
}

// Scrub moves the write-ahead log into the database and empties it: its pages are as they were. What is
// changed in the database itself is overwritten there (secure_delete).
func (c *conn) Scrub(ctx context.Context) (done bool, err error) {
	if _, err := c.Exec(ctx, `PRAGMA busy_timeout(100)`); err != nil {
		return false, err
	}
	defer func() {
		_, back := c.Exec(ctx, `PRAGMA busy_timeout(10000)`) // as dsn has it
		err = errors.Join(err, back)
	}()
	var busy, pages, moved int
	err = c.Row(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busy, &pages, &moved)
	return err == nil && busy == 0, err
}

func (c *conn) Rollback(ctx context.Context) error {
	_, err := c.Exec(ctx, `ROLLBACK`)
	return err
}

// prepare returns the statement of a text. Texts are constants, so that the map stays small.
func (c *conn) prepare(ctx context.Context, text string) (*sql.Stmt, error) {
	if st, ok := c.statements[text]; ok {
		return st, nil
	}
	st, err := c.raw.PrepareContext(context.WithoutCancel(ctx), text)
	if err != nil {
		return nil, engineError(err)
	}
	c.statements[text] = st
	return st, nil
}

func (c *conn) Exec(ctx context.Context, text string, args ...any) (int64, error) {
	st, err := c.prepare(ctx, text) //nolint:sqlclosecheck // closed with the connection
	if err != nil {
		return 0, err
	}
	result, err := st.ExecContext(ctx, args...)
	if err != nil {
		return 0, engineError(err)
	}
	return result.RowsAffected()
}

func (c *conn) Row(ctx context.Context, text string, args ...any) store.Scanner {
	st, err := c.prepare(ctx, text) //nolint:sqlclosecheck // closed with the connection
	if err != nil {
		return failedRow{err}
	}
	return oneRow{st.QueryRowContext(ctx, args...)}
}

func (c *conn) Each(ctx context.Context, text string, visit func(store.Rows) error, args ...any) error {
	st, err := c.prepare(ctx, text) //nolint:sqlclosecheck // closed with the connection
	if err != nil {
		return err
	}
	rows, err := st.QueryContext(ctx, args...)
	if err != nil {
		return engineError(err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := visit(rows); err != nil {
			return err
		}
	}
	return engineError(rows.Err())
}

// oneRow is a row whose error a person can act on; sql.ErrNoRows passes through it.
type oneRow struct{ row *sql.Row }

func (r oneRow) Scan(dest ...any) error { return engineError(r.row.Scan(dest...)) }

type failedRow struct{ err error }

func (r failedRow) Scan(...any) error { return r.err }
