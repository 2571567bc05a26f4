package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"

	"modernc.org/sqlite"
)

// guardFunction is what the triggers of the tables that follow from the ledger call. Only the connections of this
// package have it, so that a statement of any other program that would change such a table is refused.
const guardFunction = "only_rinsate_writes_here"

// own is the driver of this package's connections.
var own = newDriver()

func newDriver() *sqlite.Driver {
	d := new(sqlite.Driver)
	d.MustRegisterDeterministicScalarFunction(guardFunction, 0, func(*sqlite.FunctionContext, []driver.Value) (driver.Value, error) {
		return int64(1), nil
	})
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
