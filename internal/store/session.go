package store

import (
	"context"
	"database/sql"
	"errors"
)

// session is one connection with its prepared statements. It is used by one goroutine at a time.
type session struct {
	conn       *sql.Conn
	statements map[string]*sql.Stmt
}

func newSession(ctx context.Context, pool *sql.DB) (*session, error) {
	conn, err := pool.Conn(ctx)
	if err != nil {
		return nil, engineError(err)
	}
	return &session{conn: conn, statements: map[string]*sql.Stmt{}}, nil
}

func (s *session) close() error {
	var errs []error
	for _, st := range s.statements {
		errs = append(errs, st.Close())
	}
	return errors.Join(append(errs, s.conn.Close())...)
}

// prepare returns the statement of a text. Texts are constants of this package, so that the map
// stays small.
func (s *session) prepare(ctx context.Context, text string) (*sql.Stmt, error) {
	if st, ok := s.statements[text]; ok {
		return st, nil
	}
	st, err := s.conn.PrepareContext(context.WithoutCancel(ctx), text)
	if err != nil {
		return nil, engineError(err)
	}
	s.statements[text] = st
	return st, nil
}

func (s *session) exec(ctx context.Context, text string, args ...any) (int64, error) {
	st, err := s.prepare(ctx, text) //nolint:sqlclosecheck // closed with the session
	if err != nil {
		return 0, err
	}
	result, err := st.ExecContext(ctx, args...)
	if err != nil {
		return 0, engineError(err)
	}
	return result.RowsAffected()
}

// row runs a query of one row; its error comes out of Scan.
func (s *session) row(ctx context.Context, text string, args ...any) scanner {
	st, err := s.prepare(ctx, text) //nolint:sqlclosecheck // closed with the session
	if err != nil {
		return failedRow{err}
	}
	return oneRow{st.QueryRowContext(ctx, args...)}
}

// each runs a query and calls visit for every row.
func (s *session) each(ctx context.Context, text string, visit func(scanner) error, args ...any) error {
	st, err := s.prepare(ctx, text) //nolint:sqlclosecheck // closed with the session
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

// scanner is a row that can be read.
type scanner interface{ Scan(dest ...any) error }

// oneRow is a row whose error a person can act on; sql.ErrNoRows passes through it.
type oneRow struct{ row *sql.Row }

func (r oneRow) Scan(dest ...any) error { return engineError(r.row.Scan(dest...)) }

type failedRow struct{ err error }

func (r failedRow) Scan(...any) error { return r.err }
