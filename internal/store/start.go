package store

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/record"
)

// CheckSite refuses a site that could not keep records, before anything is made.
func CheckSite(site record.SiteBody, clock func() time.Time) error {
	if site.Code == "" || site.Name == "" || site.Origin == "" {
		return &fault.Error{Code: fault.Invalid, Message: "a site needs a code, a name and the origin of its ledger"}
	}
	if _, err := time.LoadLocation(site.Zone); err != nil || site.Zone == "" {
		return &fault.Error{Code: fault.Invalid, Message: fmt.Sprintf("time zone %q is not known", site.Zone), Hint: "give an IANA name such as Europe/Berlin"}
	}
	if site.Terms != "" && !slices.Contains(record.AllTerms, site.Terms) {
		return &fault.Error{Code: fault.Invalid, Message: fmt.Sprintf("terms %q are not known", site.Terms), Hint: "choose us or uk"}
	}
	if err := trial(site, unit.At(clock())); err != nil {
		return &fault.Error{Code: fault.Invalid, Message: err.Error(), Cause: err}
	}
	return nil
}

// trial refuses a site that could not be written into a record or sign a checkpoint, before anything
// is made.
func trial(site record.SiteBody, now unit.Instant) error {
	if _, err := ledger.NewSigner(site.Origin, make([]byte, 32)); err != nil {
		return err
	}
	body, err := json.Marshal(site)
	if err != nil {
		return err
	}
	_, err = ledger.Encode(
		ledger.Record{V: ledger.Version, Type: string(record.Site), ID: ledger.DerivedID("trial"), Site: site.Code, At: now, Recorded: now, Body: body},
	)
	return err
}

// Found writes what a ledger grows from into the empty tables of a new home.
func Found(ctx context.Context, s Conn, site record.SiteBody) error {
	if _, err := s.Exec(ctx, `INSERT INTO site (site, name, zone, origin, vkey, terms) VALUES ($1, $2, $3, $4, $5, $6)`,
		site.Code, site.Name, site.Zone, site.Origin, site.VKey, string(site.Terms)); err != nil {
		return err
	}
	var empty ledger.Frontier
	root := empty.Root()
	_, err := s.Exec(ctx, `INSERT INTO head (site, size, root, recorded, projected) VALUES ($1, 0, $2, 0, 0)`, site.Code, root[:])
	return err
}

// StartNew is Start on a ledger that was just founded, whose first record says who keeps it.
func StartNew(ctx context.Context, home Home, engine Engine, clock func() time.Time, site record.SiteBody) (*DB, error) {
	db, err := Start(ctx, home, engine, clock)
	if err != nil {
		return nil, err
	}
	// Every site begins on trial.
	site.Trial = true
	err = db.Write(ctx, func(tx *Tx) error {
		_, _, err := tx.Append(Draft{Type: record.Site, ID: ledger.NewID(tx.Now, rand.Reader), At: tx.Now, Body: site})
		return err
	})
	if err != nil {
		return nil, errors.Join(err, db.Close()) //nolint:contextcheck // what was opened is closed although ctx may have ended
	}
	db.site.Trial = true
	return db, nil
}

// Start lets a DB work on an engine: it compares the head of the ledger, its last record, the tables and the
// checkpoint outside, and refuses a contradiction with numbers. The engine is the DB's from then on, which
// closes it at its own end, or at once when it cannot start.
func Start(ctx context.Context, home Home, engine Engine, clock func() time.Time) (*DB, error) {
	return startWriting(ctx, home, engine, clock, false)
}

// StartCopy is Start on records that somebody is about to say are a copy, so that a checkpoint outside of more records
// is no contradiction: it tells what the copy lacks.
func StartCopy(ctx context.Context, home Home, engine Engine, clock func() time.Time) (*DB, error) {
	return startWriting(ctx, home, engine, clock, true)
}

func newDB(home Home, engine Engine, clock func() time.Time) *DB {
	return &DB{
		home: home, engine: engine, clock: clock, jobs: make(chan *job, 1024),
		done: make(chan struct{}), closing: make(chan struct{}),
	}
}

func startWriting(ctx context.Context, home Home, engine Engine, clock func() time.Time, copied bool) (_ *DB, err error) {
	db := newDB(home, engine, clock)
	defer func() {
		if err != nil {
			err = errors.Join(err, db.closeConns(), engine.Close())
		}
	}()
	if db.writer, err = engine.Writer(ctx); err != nil {
		return nil, err
	}
	if err := openReaders(ctx, db); err != nil {
		return nil, err
	}
	outside, err := readBeside(ctx, db, db.writer)
	if err != nil {
		return nil, err
	}
	readPatientKey(db)
	// A crash between an erasure and its scrubbing leaves copies.
	if _, err := db.writer.Scrub(ctx); err != nil {
		return nil, err
	}
	if err := db.crossCheck(ctx, db.writer, outside, copied); err != nil {
		return nil, err
	}
	if err := db.catchUp(ctx); err != nil {
		return nil, err
	}
	if err := checkHead(ctx, db, db.writer); err != nil {
		return nil, err
	}
	db.heads.settled = db.head.restore
	putHead(db)
	go db.work(context.WithoutCancel(ctx))
	return db, nil
}

// StartLooking lets a DB read from an engine that somebody else may be writing to: it is Start without anything that
// is written. Every write to such a DB is refused.
func StartLooking(ctx context.Context, home Home, engine Engine, clock func() time.Time) (_ *DB, err error) {
	db := newDB(home, engine, clock)
	db.looking = true
	close(db.done)
	defer func() {
		if err != nil {
			err = errors.Join(err, db.closeConns(), engine.Close())
		}
	}()
	if err := openReaders(ctx, db); err != nil {
		return nil, err
	}
	s := <-db.readers
	defer func() { db.readers <- s }()
	// What lies outside is read before the records, since somebody may be adding to both.
	outside, err := readBeside(ctx, db, s)
	if err != nil {
		return nil, err
	}
	readPatientKey(db)
	if err := checkHead(ctx, db, s); err != nil {
		return nil, err
	}
	if err := s.Begin(ctx); err != nil {
		return nil, err
	}
	err = db.crossCheck(ctx, s, outside, false)
	return db, errors.Join(err, s.Rollback(context.WithoutCancel(ctx))) // nothing was written
}

// openReaders opens the connections that read.
func openReaders(ctx context.Context, db *DB) error {
	readers, err := db.engine.Readers(ctx)
	db.readers = make(chan Conn, len(readers))
	for _, s := range readers {
		db.readers <- s
	}
	return err
}

// readBeside reads what a DB has to know of its site, and returns the checkpoint outside of the database.
func readBeside(ctx context.Context, db *DB, s Conn) (outside []byte, err error) {
	if err := db.readSite(ctx, s); err != nil {
		return nil, err
	}
	found, err := db.home.Examined()
	if err != nil {
		return nil, err
	}
	db.examined.Store(&found)
	return db.engine.Outside()
}

// beginsOnTrial says whether the first record of a ledger, which says who keeps it, has the site begin on trial; false
// while there is none. One that cannot be read says nothing: the ledger is verified elsewhere.
func beginsOnTrial(ctx context.Context, c Conn, site string) (trial bool, err error) {
	err = c.Each(ctx, `SELECT bytes FROM record WHERE site = $1 AND seq = 0`, func(row Rows) error {
		var raw []byte
		if err := row.Scan(&raw); err != nil {
			return err
		}
		r, err := ledger.Decode(raw)
		if err != nil || record.KindOf(r) != record.Site {
			return nil //nolint:nilerr // see above
		}
		body, err := record.Body[record.SiteBody](r)
		trial = err == nil && body.Trial
		return nil
	}, site)
	return trial, err
}

func (db *DB) readSite(ctx context.Context, c Conn) error {
	s := &db.site
	err := c.Row(ctx, `SELECT site, name, zone, origin, vkey, terms FROM site ORDER BY site LIMIT 1`).
		Scan(&s.Code, &s.Name, &s.Zone, &s.Origin, &s.VKey, (*string)(&s.Terms))
	if err != nil {
		return fmt.Errorf("read the site: %w", err)
	}
	if s.Trial, err = beginsOnTrial(ctx, c, s.Code); err != nil {
		return err
	}
	if db.zone, err = time.LoadLocation(s.Zone); err != nil {
		return fmt.Errorf("zone of the site: %w", err)
	}
	key, err := db.engine.Key()
	if err != nil {
		return err
	}
	db.disguise, db.heads.key = disguiseKey(key), headKey(key)
	if db.signer, err = ledger.ParseSigner(strings.TrimSpace(string(key))); err != nil {
		return &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("the signing key of the ledger cannot be read: %v", err),
			Hint:    "restore ledger.key from the same backup as the database",
			Cause:   err,
		}
	}
	if db.signer.VKey() != s.VKey {
		return &fault.Error{
			Code:    fault.Conflict,
			Message: "the signing key beside the database is not the key of this ledger",
			Hint:    "restore ledger.key from the same backup as the database",
		}
	}
	return nil
}

// Close waits for the reads and writes under way, signs and puts out a last checkpoint, and gives the home
// back.
func (db *DB) Close() error {
	first := false
	db.once.Do(func() { first = true; close(db.closing) })
	<-db.done
	if !first {
		return nil
	}
	var errs []error
	for range cap(db.readers) {
		errs = append(errs, (<-db.readers).Close())
	}
	if !db.looking {
		if err := db.sign(context.Background()); err != nil {
			errs = append(errs, fmt.Errorf("sign the last checkpoint: %w", err))
		}
		errs = append(errs, db.scrub(context.Background()))
	}
	return errors.Join(append(errs, db.closeConns(), db.engine.Close())...)
}

// closeConns closes the connections that nobody uses.
func (db *DB) closeConns() error {
	var errs []error
	for {
		select {
		case s := <-db.readers:
			errs = append(errs, s.Close())
			continue
		default:
		}
		if db.writer != nil {
			errs = append(errs, db.writer.Close())
		}
		return errors.Join(errs...)
	}
}
