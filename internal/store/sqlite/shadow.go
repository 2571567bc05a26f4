package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strings"

	"rinsate/internal/store"
)

// shadow is a connection whose tables that follow from the ledger are its own and empty, while it reads the ledger
// itself from the database of the folder: the one lies in front of the other. What is written goes into a file that
// nobody else sees and that vanishes with the connection.
type shadow struct {
	*conn
	pool *sql.DB
}

func (s shadow) Close() error { return errors.Join(s.conn.Close(), s.pool.Close()) }

// shadow opens one. Its schema comes from the migrations and not from the database, which somebody may have changed:
// guards says in what the two differ.
func (f Folder) shadow(ctx context.Context, read reading) (_ shadow, guards []string, err error) {
	s := shadow{pool: openPool("", "_pragma=journal_mode(OFF)", "_pragma=synchronous(OFF)", "_pragma=cache_size(-32768)")}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.pool.Close())
		}
	}()
	s.pool.SetMaxOpenConns(1)
	if err := migrate(ctx, s.pool); err != nil {
		return s, nil, err
	}
	should, err := schemaOf(ctx, s.pool)
	if err != nil {
		return s, nil, err
	}
	is, err := schemaOf(ctx, read.pool)
	if err != nil {
		return s, nil, err
	}
	var drop []string
	for _, name := range slices.Sorted(maps.Keys(should)) {
		switch {
		case is[name] == "":
			guards = append(guards, name+" is missing")
		case is[name] != should[name]:
			guards = append(guards, name+" is another one")
		}
		if table, ok := strings.CutPrefix(name, "table "); ok && !slices.Contains(store.Tables(), table) {
			drop = append(drop, `DROP TABLE "`+table+`"`)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(is)) {
		if should[name] == "" {
			guards = append(guards, name+" is none of this program's")
		}
	}
	if s.conn, err = newConn(ctx, s.pool, beginReading); err != nil {
		return s, nil, err
	}
	source := "file:" + (&url.URL{Path: f.path(databaseFile)}).EscapedPath() + "?" + read.how
	for _, text := range append(drop, `ATTACH DATABASE '`+strings.ReplaceAll(source, "'", "''")+`' AS ledger`) {
		if _, err := s.Exec(ctx, text); err != nil {
			return s, nil, errors.Join(err, s.conn.Close()) //nolint:contextcheck // what was opened is closed although ctx may have ended
		}
	}
	return s, guards, nil
}

// schemaOf returns the statements that made what a database has, each under its kind and name.
func schemaOf(ctx context.Context, pool *sql.DB) (map[string]string, error) {
	rows, err := pool.QueryContext(ctx, `SELECT type || ' ' || name, sql FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%'`)
	if err != nil {
		return nil, fmt.Errorf("read the schema of the database: %w", engineError(err))
	}
	defer rows.Close()
	all := map[string]string{}
	for rows.Next() {
		var name, text string
		if err := rows.Scan(&name, &text); err != nil {
			return nil, engineError(err)
		}
		all[name] = text
	}
	return all, engineError(rows.Err())
}

// mendGuards puts the triggers back that somebody took away or replaced, and takes away those that are none of this
// program's.
func mendGuards(ctx context.Context, write *sql.DB) error {
	fresh := openPool("", "_pragma=journal_mode(OFF)", "_pragma=synchronous(OFF)")
	defer func() { _ = fresh.Close() }() // it holds nothing
	fresh.SetMaxOpenConns(1)
	if err := migrate(ctx, fresh); err != nil {
		return err
	}
	should, err := schemaOf(ctx, fresh)
	if err != nil {
		return err
	}
	is, err := schemaOf(ctx, write)
	if err != nil {
		return err
	}
	var statements []string
	for _, name := range slices.Sorted(maps.Keys(is)) {
		if trigger, ok := strings.CutPrefix(name, "trigger "); ok && is[name] != should[name] {
			statements = append(statements, `DROP TRIGGER "`+strings.ReplaceAll(trigger, `"`, `""`)+`"`)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(should)) {
		if strings.HasPrefix(name, "trigger ") && is[name] != should[name] {
			statements = append(statements, should[name])
		}
	}
	for _, text := range statements {
		if _, err := write.ExecContext(ctx, text); err != nil {
			return fmt.Errorf("mend what guards the tables: %w", engineError(err))
		}
	}
	return nil
}
