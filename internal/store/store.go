// Package store keeps the records of one site and the tables that pages read.
//
// One transaction appends records to the ledger and updates the tables; nothing is ever updated or
// deleted in the ledger, which triggers enforce in the database as well. Every other table can be
// thrown away and rebuilt (Rebuild). Writes of many callers share one durable commit (group
// commit), each in a savepoint of its own, so that one caller's error does not touch another's.
// The package decides nothing about scopes; package desk is its only writer.
//
// What differs from one database to the next is behind Home and Engine, each of which has its package
// beneath this one, and package storetest tries it. Every statement is here, once, and uses $n and only
// what all of them understand; the schema is each engine's own.
//
// Read Home, DB.Write and Tx.Append first.
package store

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/secret"
	"rinsate/internal/base/unit"
	"rinsate/internal/record"
)

// DB is what an open Home keeps. Its methods may be called by many goroutines.
type DB struct {
	home   Home
	engine Engine
	site   record.SiteBody
	zone   *time.Location
	clock  func() time.Time
	signer ledger.Signer
	// disguise is the key of Disguise.
	disguise []byte
	// patients is the key of the patients' numbers, noPatients why there is none.
	patients   secret.Key
	noPatients error

	writer  Conn
	readers chan Conn
	jobs    chan *job
	done    chan struct{}
	closing chan struct{}
	once    sync.Once

	// head is owned by the writer goroutine.
	head head
	// scrubbing says that a text was erased of which the write-ahead log may hold copies. It is owned by
	// the writer goroutine.
	scrubbing bool

	entities entityCache
	decoded  decoded
	tail     tail
	// examined is what was last found of the records and tables, trusts counts how often that changed.
	examined atomic.Pointer[Examination]
	trusts   atomic.Int64
	heads    heads
	// looking says that nothing can be written.
	looking bool
	// occupied counts who keeps the writer for long.
	occupied atomic.Int32
}

// head is the end of the ledger.
type head struct {
	frontier ledger.Frontier
	root     [32]byte
	recorded unit.Instant
	// restore is the last record of the kind restore, empty for none.
	restore ledger.ID
	// signed is the size of the last checkpoint, signedAt when it was made.
	signed   int64
	signedAt unit.Instant
	// outside is when the last checkpoint was written beside the database.
	outside unit.Instant
}

// Site returns who keeps the records.
func (db *DB) Site() record.SiteBody { return db.site }

// Zone returns the time zone of the site.
func (db *DB) Zone() *time.Location { return db.zone }

// Home returns where the records are kept.
func (db *DB) Home() Home { return db.home }

// Now returns the present by the clock that the home was opened with.
func (db *DB) Now() unit.Instant { return unit.At(db.clock()) }

// Tx is a transaction. It must not outlive the function that it is given to.
type Tx struct {
	// Now is the one instant at which the whole transaction is recorded.
	Now unit.Instant
	db  *DB
	s   Conn
	// write is nil in a reading transaction.
	write *writing
	// epoch is that of the decoded records when the transaction began.
	epoch int64
	// standing are the editions that were asked for (Standing).
	standing map[thing][]Stands
	ctx      context.Context //nolint:containedctx // a Tx lives no longer than the call that the context belongs to
}

// writing is what only a writing transaction has.
type writing struct {
	head head
	// gone says that the caller has given up. Its context must not reach the engine: an interrupted
	// statement would take back the whole transaction, with the work of everybody else in it.
	gone func() error
	// spoilt is why a record was written only in part; such a transaction is never committed.
	spoilt error
	// shadow says that the tables are nobody else's, and that nothing but them may be written (Compare).
	shadow bool
	// erased says that texts were erased, which must not be read from a cache any more.
	erased bool
}

// Site returns who keeps the records.
func (tx *Tx) Site() record.SiteBody { return tx.db.site }

// Zone returns the time zone of the site.
func (tx *Tx) Zone() *time.Location { return tx.db.zone }

type job struct {
	ctx  context.Context //nolint:containedctx // travels to the writer goroutine with the work that it bounds
	work func(*Tx) error
	// keep is false for a dry run.
	keep  bool
	reply chan error
}

// gone says whether the caller has given up.
func (j *job) gone() error { return j.ctx.Err() }

// erases says whether texts were erased in this transaction, or in one before it whose erasure is not
// committed yet: what others read meanwhile is of no use to it.
func erases(tx *Tx) bool { return tx.write != nil && (tx.write.erased || tx.db.scrubbing) }
