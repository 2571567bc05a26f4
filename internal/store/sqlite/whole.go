package sqlite

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"rinsate/internal/base/ledger"
	"rinsate/internal/store"
)

// verifyReaders is how many connections read for a verification: reading a record takes longer than
// hashing it.
const verifyReaders = 2

// Verify is store.Verify. It opens the database without any other check, so that it can look at a folder that
// Open refuses, or that another process has open.
func (f Folder) Verify(ctx context.Context, vkeys []string, progress func(done, size int64)) (store.Verified, error) {
	var v store.Verified
	if err := f.holdsOne("check the folder (--data)"); err != nil {
		return v, err
	}
	// Every page is read once: a small cache that stays in the processor's own is twice as fast as a
	// large one.
	r, err := f.reading(ctx, "_pragma=cache_size(-1024)")
	if err != nil {
		return v, err
	}
	pool := r.pool
	defer func() { _ = pool.Close() }() // nothing was written
	// The checkpoint beside the database is read before the records, and these as they were at one
	// moment: a program that goes on writing meanwhile must not look like a fault.
	note, err := outside(f.Dir())
	if err != nil {
		return v, err
	}
	var readers [verifyReaders + 1]store.Conn
	for i := range readers {
		s, err := newConn(ctx, pool, beginReading)
		if err != nil {
			return v, err
		}
		defer func() { _ = s.Close() }() //nolint:contextcheck // what was opened is closed although ctx may have ended
		readers[i] = s
	}
	shadow, guards, err := f.shadow(ctx, r)
	if err != nil {
		return v, err
	}
	defer func() { _ = shadow.Close() }() //nolint:contextcheck // what was opened is closed although ctx may have ended
	v, err = store.Verify(ctx, readers[:], shadow, note, vkeys, progress)
	v.Guards, v.Alone = guards, note == nil
	if bad := (*ledger.FaultError)(nil); err != nil && !errors.As(err, &bad) {
		// A table that is missing in a folder of another layout says nothing of its ledger.
		if other := checkLayout(ctx, pool); other != nil {
			return v, other
		}
	}
	return v, err
}

// Rebuild is store.Rebuild on a folder that nobody has open.
func (f Folder) Rebuild(ctx context.Context, progress func(done, size int64)) (size int64, err error) {
	return f.placed().rebuildWith(ctx, progress)
}

func (p placed) rebuildWith(ctx context.Context, progress func(done, size int64)) (size int64, err error) {
	if err := p.holdsOne("check the folder (--data)"); err != nil {
		return 0, err
	}
	lock, err := p.acquire()
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, lock.Unlock()) }()
	pool := openPool(p.path(databaseFile), "_pragma=journal_mode(WAL)", "_pragma=synchronous(FULL)", "_pragma=cache_size(-65536)", "_pragma=secure_delete(1)")
	defer func() { err = errors.Join(err, pool.Close()) }()
	if err := migrate(ctx, pool); err != nil {
		return 0, err
	}
	if err := sealPatients(ctx, pool, p.key); err != nil {
		return 0, err
	}
	if err := mendGuards(ctx, pool); err != nil {
		return 0, err
	}
	writer, err := newConn(ctx, pool, beginWriting)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, writer.Close()) }() //nolint:contextcheck // what was opened is closed although ctx may have ended
	return store.Rebuild(ctx, writer, progress)
}

// Examined reads what was last found in the folder.
func (f Folder) Examined() (store.Examination, error) {
	text, err := os.ReadFile(f.path(examinedFile))
	if errors.Is(err, fs.ErrNotExist) {
		return store.Examination{}, nil
	}
	if err != nil {
		return store.Examination{}, fmt.Errorf("read what was last found in the data folder: %w", err)
	}
	return store.ReadExamination(text), nil
}

// PutExamined keeps what was found now beside the database.
func (f Folder) PutExamined(text []byte) error {
	if err := writeFile(f.path(examinedFile), text); err != nil {
		return &store.NotKeptError{Cause: err}
	}
	return nil
}

// BeginsWith is store.BeginsWith on a folder that others may have open.
func (f Folder) BeginsWith(ctx context.Context, note []byte, vkeys []string) (c ledger.Checkpoint, err error) {
	if err := f.holdsOne("check the folder (--data)"); err != nil {
		return c, err
	}
	r, err := f.reading(ctx)
	if err != nil {
		return c, err
	}
	defer func() { _ = r.pool.Close() }() // nothing was written
	s, err := newConn(ctx, r.pool, beginReading)
	if err != nil {
		return c, err
	}
	defer func() { _ = s.Close() }() //nolint:contextcheck // what was opened is closed although ctx may have ended
	return store.BeginsWith(ctx, s, note, vkeys)
}

// HasCheckpoint says whether a checkpoint lies beside the database of a folder.
func HasCheckpoint(dir string) bool { return surelyThere(Folder(dir).path(checkpointFile)) }
