package store

import (
	"context"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/record"
)

// Home is where the records of one site are kept, or can be: with SQLite a data folder. Every engine has a
// type of its own for it, and whoever wires the program chooses one; everybody else knows the DB that comes
// out of it.
type Home interface {
	// Dir is the folder of the files that belong to the records.
	Dir() string
	// Vacant refuses a home in which no ledger can begin.
	Vacant() error
	// Create makes an empty ledger and its signing key; site.VKey is filled in. It refuses a home that holds a
	// ledger already. Only Create and Begin make one: a wrong address must never become an empty ledger.
	Create(ctx context.Context, site record.SiteBody, clock func() time.Time) (*DB, error)
	// Begin makes a ledger as Create does and fills it, all or nothing: until fill has returned without an
	// error there is no ledger.
	Begin(ctx context.Context, site record.SiteBody, clock func() time.Time, fill func(*DB) error) (*DB, error)
	// Open opens what is kept, and refuses a contradiction in it with numbers.
	Open(ctx context.Context, clock func() time.Time) (*DB, error)
	// OpenCopy is Open on what somebody is about to say is a copy (StartCopy).
	OpenCopy(ctx context.Context, clock func() time.Time) (*DB, error)
	// Look opens what is kept only to read it (StartLooking), also while somebody else has it open, and where nothing
	// can be written. It brings nothing up to date: what an older program wrote is refused.
	Look(ctx context.Context, clock func() time.Time) (*DB, error)
	// Rebuild is Rebuild, on what nobody else has open.
	Rebuild(ctx context.Context, progress func(done, size int64)) (size int64, err error)
	// Examined returns what was last found here, and PutExamined keeps what was found now. The text is Examine's.
	Examined() (Examination, error)
	PutExamined(text []byte) error
	// BeginsWith holds the ledger against an earlier signed checkpoint of it (BeginsWith), with Verify's keys.
	BeginsWith(ctx context.Context, note []byte, vkeys []string) (ledger.Checkpoint, error)
	// Verify is Verify. It changes nothing, and neither minds nor hinders whoever writes meanwhile.
	Verify(ctx context.Context, vkeys []string, progress func(done, size int64)) (Verified, error)
}

// Engine is what a DB asks of the database that it lies on, and what it asks nobody else. An Engine is open:
// its schema is the one that this program knows, and as far as the database can keep other writers away, it
// does until Close.
type Engine interface {
	// Writer opens the connection through which is written. A DB asks for one.
	Writer(ctx context.Context) (Conn, error)
	// Readers opens the connections through which is read, as many as may read at once, and one at least.
	Readers(ctx context.Context) ([]Conn, error)
	// Key returns the text of the secret key that signs the ledger.
	Key() ([]byte, error)
	// PatientKey returns the text of the key of the patients' numbers, which is kept apart from them. An error does not keep
	// the DB from being opened.
	PatientKey() ([]byte, error)
	// Outside returns the checkpoint that was last put outside of the database, nil when none was.
	Outside() ([]byte, error)
	// PutOutside keeps a signed checkpoint where changing the database does not change it. After a crash it is
	// there whole, or the one before.
	PutOutside(note []byte) error
	// Heads returns the lines that PutHead has kept, none where it never has. PutHead keeps a short line outside of the
	// database, best where a copy that is put back does not take its place, and waits for no disk. It may be called by
	// many goroutines.
	Heads() ([]string, error)
	PutHead(line string) error
	// Close gives everything back, once all connections are closed.
	Close() error
}

// Conn is one connection with its prepared statements. It is used by one goroutine at a time. Statements
// use $n and only what every engine understands, which storetest tries; their texts are constants, so that
// a connection may keep what it has prepared. Integers are int64, and bytes and texts come back as they were
// given. An error that a person can do something about is a fault.Error.
type Conn interface {
	// Begin begins a transaction: a writer's keeps every other writer of the site out until its end, a reader's
	// sees nothing that is committed after its first statement. Where a connection can be lost it is made anew
	// here, and nowhere else.
	Begin(ctx context.Context) error
	// Commit ends it. Without an error everything that was written is durable.
	Commit(ctx context.Context) error
	// Rollback takes everything back. It is an error when the engine has done so already.
	Rollback(ctx context.Context) error
	// Exec runs a statement, also those of savepoints, and returns how many rows it has touched.
	Exec(ctx context.Context, text string, args ...any) (int64, error)
	// Row runs a query of one row; its error comes out of Scan, and is sql.ErrNoRows when there is none.
	Row(ctx context.Context, text string, args ...any) Scanner
	// Each runs a query and calls visit for every row. What is scanned into sql.RawBytes is good until visit
	// returns.
	Each(ctx context.Context, text string, visit func(Rows) error, args ...any) error
	// Scrub overwrites what the database keeps of rows as they were before they were changed, outside of any
	// transaction. done is false when somebody still reads from it, which is not waited for.
	Scrub(ctx context.Context) (done bool, err error)
	Close() error
}

// Scanner is a row that can be read, with targets as database/sql has them.
type Scanner interface{ Scan(dest ...any) error }

// Rows is the present row of several.
type Rows interface {
	Scanner
	// Columns names the columns.
	Columns() ([]string, error)
}
