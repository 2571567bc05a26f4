package store

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// Limits of a group commit. A batch ends when nobody waits any more, or at batchSize writes.
const (
	batchSize = 256
	// signEvery and signAfter bound how much a cut-off tail could hide: a checkpoint is signed when
	// so many records were added, or so long after the last one.
	signEvery = 64
	signAfter = 10 * time.Minute
	// outsideEvery is how often the newest checkpoint is put beside the database.
	outsideEvery = 10 * time.Second
)

// Write runs work in a transaction and returns when what it wrote is durable. Either all of it is
// stored or, when work or the commit fails, nothing. Many calls share one commit; work runs on the
// writer's goroutine and must not call Write.
func (db *DB) Write(ctx context.Context, work func(*Tx) error) error {
	return db.submit(&job{ctx: ctx, work: work, keep: true, reply: make(chan error, 1)})
}

// Try runs work like Write and then takes everything back: a dry run that sees what a real one
// would see.
func (db *DB) Try(ctx context.Context, work func(*Tx) error) error {
	return db.submit(&job{ctx: ctx, work: work, keep: false, reply: make(chan error, 1)})
}

func (db *DB) submit(j *job) error {
	if db.looking {
		return &fault.Error{Code: fault.Invalid, Message: "the data folder was opened only to read it"}
	}
	select {
	case <-db.closing:
		return &fault.Error{Code: fault.Busy, Message: "the ledger is being closed", Hint: "try again when the program has started anew"}
	default:
	}
	select {
	case db.jobs <- j:
	case <-j.ctx.Done():
		return j.ctx.Err()
	case <-db.done:
		return &fault.Error{Code: fault.Busy, Message: "the ledger is closed"}
	}
	// Once handed over the work may already be under way, so its end is awaited even when the
	// caller has gone: an answer that says "not stored" must be true.
	select {
	case err := <-j.reply:
		return err
	case <-db.done:
		select {
		case err := <-j.reply:
			return err
		default:
			return &fault.Error{Code: fault.Busy, Message: "the ledger was closed before the work began"}
		}
	}
}

// work is the one writer.
func (db *DB) work(ctx context.Context) {
	defer close(db.done)
	for {
		select {
		case j := <-db.jobs:
			db.batch(ctx, j)
		case <-db.closing:
			for {
				select {
				case j := <-db.jobs:
					db.batch(ctx, j)
				default:
					return
				}
			}
		}
	}
}

// batch runs a first job and all that wait, and commits them together.
func (db *DB) batch(ctx context.Context, first *job) {
	before := db.head
	var waiting []*job
	if err := db.writer.Begin(ctx); err != nil {
		first.reply <- err
		return
	}
	for j := first; j != nil; {
		lost, err := db.run(ctx, j)
		if err != nil {
			j.reply <- err
		} else {
			waiting = append(waiting, j)
		}
		if lost {
			db.abandon(ctx, waiting, err)
			return
		}
		j = nil
		if len(waiting) < batchSize {
			select {
			case j = <-db.jobs:
			default:
			}
		}
	}
	if err := db.commit(ctx, before); err != nil {
		db.abandon(ctx, waiting, err)
		return
	}
	putHead(db) // before anybody is told that it is stored
	scrubbed := db.scrub(ctx)
	_ = scrubbed // what was written is durable, and the next commit or Close tries again
	for _, j := range waiting {
		j.reply <- nil
	}
	db.putOutside(ctx)
}

// abandon takes back a whole transaction and says so to everybody who waits for it.
func (db *DB) abandon(ctx context.Context, waiting []*job, cause error) {
	undo := db.writer.Rollback(ctx)
	_ = undo // the engine may have rolled back already
	err := errors.Join(cause, db.reload(ctx, db.writer))
	for _, j := range waiting {
		j.reply <- err
	}
}

// run executes one job in its savepoint. On an error everything that it did is undone. lost says
// that the engine took back the whole transaction, as it may when the disk is full: then nothing of
// the batch is left.
func (db *DB) run(ctx context.Context, j *job) (lost bool, err error) {
	if err := j.ctx.Err(); err != nil {
		return false, err
	}
	before := db.head
	if _, err := db.writer.Exec(ctx, `SAVEPOINT job`); err != nil {
		return true, err
	}
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("internal error: %v\n%s", p, debug.Stack())
		}
		if err == nil && j.keep {
			_, err = db.writer.Exec(ctx, `RELEASE job`)
		}
		if err != nil || !j.keep {
			db.head = before
			for _, undo := range []string{`ROLLBACK TO job`, `RELEASE job`} {
				if _, failed := db.writer.Exec(ctx, undo); failed != nil {
					lost, err = true, errors.Join(err, failed)
					break
				}
			}
			db.entities.forget()
		}
	}()
	tx := &Tx{
		Now: unit.At(db.clock()), db: db, s: db.writer, ctx: ctx, epoch: db.decoded.now(),
		write: &writing{head: db.head, gone: j.gone},
	}
	if err := j.work(tx); err != nil {
		return false, err
	}
	if err := tx.write.spoilt; err != nil {
		return false, err
	}
	db.head = tx.write.head
	db.scrubbing = db.scrubbing || tx.write.erased && j.keep
	if tx.write.resealed && j.keep { // also where the commit fails: opening the records anew finds which key it is
		db.otherKey.Store(true)
	}
	return false, nil
}

// commit moves the head by compare-and-swap, signs a checkpoint when one is due, and makes the
// batch durable.
func (db *DB) commit(ctx context.Context, before head) error {
	h := &db.head
	size := h.frontier.Size()
	if size > before.frontier.Size() {
		h.root = h.frontier.Root()
		n, err := db.writer.Exec(ctx, `UPDATE head SET size = $1, root = $2, recorded = $3, projected = $1
			WHERE site = $4 AND size = $5 AND root = $6`,
			size, h.root[:], int64(h.recorded), db.site.Code, before.frontier.Size(), before.root[:])
		if err != nil {
			return err
		}
		if n != 1 {
			return &fault.Error{
				Code:    fault.Conflict,
				Message: fmt.Sprintf("another program has written to this ledger behind record %d", before.frontier.Size()-1),
				Hint:    "stop all programs on this data folder and run: rinsate ledger verify",
			}
		}
		if size-h.signed >= signEvery || h.recorded.Sub(h.signedAt) >= signAfter {
			if err := db.insertCheckpoint(ctx); err != nil {
				return err
			}
		}
	}
	if err := db.writer.Commit(ctx); err != nil {
		return err
	}
	return nil
}

// insertCheckpoint signs the head. The log is consistent with what was signed before, since the
// head only ever grows from the frontier that was checked at start.
func (db *DB) insertCheckpoint(ctx context.Context) error {
	h := &db.head
	note, err := db.signer.Sign(ledger.Checkpoint{Origin: db.site.Origin, Size: h.frontier.Size(), Root: h.root})
	if err != nil {
		return err
	}
	if _, err := db.writer.Exec(ctx, `INSERT INTO checkpoint (site, size, note, at) VALUES ($1, $2, $3, $4)`,
		db.site.Code, h.frontier.Size(), string(note), int64(h.recorded)); err != nil {
		return err
	}
	h.signed, h.signedAt = h.frontier.Size(), h.recorded
	return nil
}

// sign makes sure that the whole ledger is under a checkpoint. It runs on the writer's goroutine or
// after that has ended.
func (db *DB) sign(ctx context.Context) error {
	if db.head.signed == db.head.frontier.Size() {
		return db.writeOutside(ctx)
	}
	if err := db.writer.Begin(ctx); err != nil {
		return err
	}
	err := db.insertCheckpoint(ctx)
	if err == nil {
		err = db.writer.Commit(ctx)
	}
	if err != nil {
		undo := db.writer.Rollback(ctx)
		return errors.Join(err, undo, db.reload(ctx, db.writer))
	}
	return db.writeOutside(ctx)
}

// putOutside puts the newest checkpoint outside of the database now and then. A failure is left to
// the next time: the records are durable already, and Close reports it.
func (db *DB) putOutside(ctx context.Context) {
	if now := unit.At(db.clock()); now.Sub(db.head.outside) >= outsideEvery || now < db.head.outside {
		if db.writeOutside(ctx) == nil {
			db.head.outside = now
		}
	}
}

// writeOutside puts the newest checkpoint outside of the database.
func (db *DB) writeOutside(ctx context.Context) error {
	if db.head.signed == 0 {
		return nil
	}
	var note string
	if err := db.writer.Row(ctx, `SELECT note FROM checkpoint WHERE site = $1 AND size = $2`, db.site.Code, db.head.signed).Scan(&note); err != nil {
		return err
	}
	return db.engine.PutOutside([]byte(note))
}

// Read runs work on an unchanging view of everything that was committed before.
func (db *DB) Read(ctx context.Context, work func(*Tx) error) (err error) {
	var s Conn
	select {
	case s = <-db.readers:
	case <-db.closing:
		return &fault.Error{Code: fault.Busy, Message: "the ledger is being closed", Hint: "try again when the program has started anew"}
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { db.readers <- s }()
	epoch := db.decoded.now() // before the transaction, so that what it still sees of an erased text is not kept
	if err := s.Begin(ctx); err != nil {
		return err
	}
	defer func() {
		if end := s.Commit(context.WithoutCancel(ctx)); end != nil {
			err = errors.Join(err, end)
		}
	}()
	return work(&Tx{Now: unit.At(db.clock()), db: db, s: s, ctx: ctx, epoch: epoch})
}

// scrub forgets what was read of erased texts, and overwrites the write-ahead log, which still holds the
// pages as they were. As long as a reader needs these the log stays and the next commit tries again.
func (db *DB) scrub(ctx context.Context) error {
	if !db.scrubbing {
		return nil
	}
	db.decoded.forget()
	db.entities.forget()
	done, err := db.writer.Scrub(ctx)
	db.scrubbing = !done
	return err
}

// putHead keeps the end of the ledger outside of the database, with each commit: that costs what a few bytes cost in
// memory, since nothing waits for the disk.
func putHead(db *DB) {
	h := &db.head
	line, settled := db.heads.keep(Head{Size: h.frontier.Size(), Root: h.root, Recorded: h.recorded, Restore: h.restore})
	if settled {
		db.trusts.Add(1)
	}
	_ = db.engine.PutHead(line) // the next commit tries again
}
