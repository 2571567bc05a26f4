package store

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// Examine verifies a home by its own key and keeps what it finds. The error is that of a verification: one that says
// that the ledger is not whole was kept as well.
func Examine(ctx context.Context, home Home, by string, clock func() time.Time) (Verified, Examination, error) {
	before, err := home.Examined()
	if err != nil {
		return Verified{}, before, err
	}
	v, found := home.Verify(ctx, nil, nil)
	e := Examination{At: unit.At(clock()), By: by, Size: v.Size, Tables: v.Tables, Guards: v.Guards}
	if found != nil {
		if _, bad := errors.AsType[*ledger.FaultError](found); !bad && fault.CodeOf(found) != fault.Broken {
			return v, before, found // which says nothing of the records
		}
		e = Examination{At: e.At, By: by, Fault: found.Error(), Since: e.At}
		if before.Fault != "" {
			e.Since = before.Since
		}
	}
	return v, e, errors.Join(found, keepExamination(home, e))
}

func keepExamination(home Home, e Examination) error {
	text, err := json.MarshalIndent(e, "", "  ")
	if err != nil {
		return err
	}
	return home.PutExamined(append(text, '\n'))
}

// Examined is what is known of the records and tables.
func (db *DB) Examined() Examination {
	if e := db.examined.Load(); e != nil {
		return *e
	}
	return Examination{}
}

// Trusts grows whenever other scopes than before are doubted: what was answered before may not hold any more.
func (db *DB) Trusts() int64 { return db.trusts.Load() }

// take makes an examination the one that holds.
func (db *DB) take(e Examination) {
	before := db.Examined()
	db.examined.Store(&e)
	if before.Fault != e.Fault || before.Rebuilt != e.Rebuilt || differing(before.Tables) != differing(e.Tables) {
		db.trusts.Add(1)
	}
}

// Examine looks at all records and tables. Tables that differ are filled anew; until that is done the scopes that
// they bear on are doubted. It takes long, and others read and write meanwhile.
func (db *DB) Examine(ctx context.Context, by string) (Examination, error) {
	_, e, err := Examine(ctx, db.home, by, db.clock)
	if e.Fault != "" || err == nil {
		db.take(e)
	}
	if e.Fault != "" {
		return e, nil
	}
	if err != nil || len(e.Tables) == 0 {
		return e, err
	}
	if err := db.rebuild(ctx); err != nil {
		return e, err
	}
	v, err := db.home.Verify(ctx, nil, nil)
	if err != nil {
		return e, err
	}
	if e.Rebuilt = len(v.Tables) == 0; !e.Rebuilt {
		e.Tables = v.Tables
	}
	e.At = db.Now()
	db.take(e)
	return e, keepExamination(db.home, e)
}

// rebuild fills the tables anew while others read them as they were.
func (db *DB) rebuild(ctx context.Context) error {
	defer db.Occupy()()
	err := db.Write(ctx, func(tx *Tx) error {
		// What others wrote in the same commit is among the records already.
		return tx.appending().rebuild(tx.write.head.frontier.Size(), nil)
	})
	db.entities.forget()
	db.decoded.forget()
	return err
}

// When what is served is looked at by itself: some time after the start, so that the first pages come first, and
// every night. Others may have looked meanwhile (ledger verify), which is read once in a while.
const (
	examineAfter = 10 * time.Second
	examineLook  = time.Minute
	examineHour  = 3
)

// KeepExamining looks at all records and tables after the start and every night, until the context ends, and says
// what it finds.
func (db *DB) KeepExamining(ctx context.Context, say func(Examination, error)) {
	wait, by := examineAfter, "start"
	var last unit.Instant
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
		wait = examineLook
		if e, err := db.home.Examined(); err == nil && e.At > db.Examined().At {
			db.take(e)
			if len(e.Tables) > 0 && !e.Rebuilt {
				last = 0 // another program found what this one mends
			}
		}
		if now := db.Now(); last < night(now, db.zone) {
			e, err := db.Examine(ctx, by)
			if ctx.Err() != nil {
				return
			}
			say(e, err)
			last, by = now, "night"
		}
	}
}

// night is when the last night's examination was due.
func night(now unit.Instant, zone *time.Location) unit.Instant {
	t := now.Time().In(zone)
	due := time.Date(t.Year(), t.Month(), t.Day(), examineHour, 0, 0, 0, zone)
	if due.After(t) {
		due = time.Date(t.Year(), t.Month(), t.Day()-1, examineHour, 0, 0, 0, zone)
	}
	return unit.At(due)
}
