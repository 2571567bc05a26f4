package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"strings"

	"modernc.org/sqlite"
)

// guardCollation is what the triggers of the tables that follow from the ledger name. Only the connections of this
// package have it, so that a statement of any other program that would change such a table is refused.
const guardCollation = "only_rinsate_writes_here"

// own is the driver of this package's connections.
var own = newDriver()

func newDriver() *sqlite.Driver {
	d := new(sqlite.Driver)
	d.MustRegisterCollationUtf8(guardCollation, strings.Compare)
	return d
}

// connector opens connections to a database by its address (dsn).
type connector string

func (c connector) Connect(context.Context) (driver.Conn, error) { return own.Open(string(c)) }

func (connector) Driver() driver.Driver { return own }

// openPool returns connections to the database of a path, with what dsn takes.
func openPool(path string, extra ...string) *sql.DB {
	return sql.OpenDB(connector(dsn(path, extra...)))
}
