package storetest

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

func appendAndRead(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	sent := Step("SC-00", clock.Move(time.Minute))
	sent.Device, sent.Because, sent.Reason = "scanner 1", []ledger.ID{ledger.DerivedID("cause")}, "why"
	stored := Write(t, db, sent)[0]
	if stored.Seq != 1 || stored.Recorded != clock.At() || stored.Site != db.Site().Code {
		t.Errorf("seq %d, recorded %s, site %q; want 1, %s, %q", stored.Seq, stored.Recorded, stored.Site, clock.At(), db.Site().Code)
	}
	want, err := ledger.Encode(stored)
	if err != nil {
		t.Fatal(err)
	}
	// The bytes that were hashed are the bytes that are stored.
	var got []byte
	if err := e.Raw(t, db.Home()).QueryRowContext(t.Context(), `SELECT bytes FROM record WHERE seq = 1`).Scan(&got); err != nil {
		t.Fatal(err)
	}
	// Its free texts stand there as commitments.
	all, err := ledger.Commitments(got)
	if err != nil || len(all) != 1 || all[0].Field != "reason" {
		t.Fatalf("commitments %v, %v; want one, to the reason", all, err)
	}
	leaf := stored
	leaf.Reason = all[0].Commitment
	committed, err := ledger.Encode(leaf)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(committed), string(got)); diff != "" {
		t.Errorf("stored bytes (-want +got):\n%s", diff)
	}
	Read(t, db, func(tx *store.Tx) error {
		kept, err := tx.Record(sent.ID)
		if err != nil {
			return err
		}
		if again, err := ledger.Encode(kept.Record); err != nil || string(again) != string(want) {
			t.Errorf("read back %s (%v), want %s", again, err, want)
		}
		body, err := record.Body[reprocessing.Step](kept.Record)
		if diff := cmp.Diff(sent.Body, any(body)); diff != "" {
			t.Errorf("body (-want +got):\n%s", diff)
		}
		return err
	})
	Verify(t, db.Home(), 2)
}

func sameIDTwice(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	d := Step("SC-00", clock.Move(time.Minute))
	first := Write(t, db, d)[0]
	before := StateOf(t, db)
	clock.Move(time.Hour)
	err := db.Write(context.Background(), func(tx *store.Tx) error {
		again, fresh, err := tx.Append(d)
		if fresh || again.Seq != first.Seq || again.Recorded != first.Recorded {
			t.Errorf("sent again: fresh %t, record %d at %s; want record %d at %s", fresh, again.Seq, again.Recorded, first.Seq, first.Recorded)
		}
		return err
	})
	if err != nil {
		t.Errorf("sent again: %v", err)
	}
	other := d
	other.By = "T-08"
	_, err = tryWrite(db, other)
	wantCode(t, "same id, another person", err, fault.Conflict)
	if err == nil || !strings.Contains(err.Error(), "is stored with another content\nhint: a stored record never changes") {
		t.Errorf("same id, another person: %v", err)
	}
	if diff := cmp.Diff(before, StateOf(t, db)); diff != "" {
		t.Errorf("something was written:\n%s", diff)
	}
}

func refusals(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	at := clock.Move(time.Minute)
	tests := []struct {
		name, reason string
		change       func(*store.Draft)
		want         fault.Code
	}{
		{"unknown type", "nobody could read it again", func(d *store.Draft) { d.Type = "rumour" }, ""},
		{"no id", "a record needs a name", func(d *store.Draft) { d.ID = "" }, fault.Invalid},
		{"body is a list", "the format asks for an object", func(d *store.Draft) { d.Body = []int{1} }, fault.Invalid},
		{"fraction", "RFC 8785 readers may round it", func(d *store.Draft) { d.Body = map[string]any{"scope": "x", "n": 0.5} }, fault.Invalid},
		{"2^53", "doubles end there", func(d *store.Draft) { d.Body = map[string]any{"scope": "x", "n": int64(1) << 53} }, fault.Invalid},
		{"too long", "an entry bundle counts bytes in 16 bits", func(d *store.Draft) {
			d.Body = reprocessing.Step{Scope: "x", Note: strings.Repeat("x", ledger.MaxRecord)}
		}, fault.Invalid},
		{"no reason", "a correction says why", func(d *store.Draft) { d.Corrects = ledger.DerivedID("x") }, fault.Invalid},
		{"corrects nothing", "that record does not exist", func(d *store.Draft) { d.Corrects, d.Reason = ledger.DerivedID("x"), "r" }, fault.NotFound},
		{"control character", "it would break every export for good", func(d *store.Draft) { d.Reason = "a\x00b" }, fault.Invalid},
		{"escape sequence", "a terminal would obey it", func(d *store.Draft) {
			d.Body = reprocessing.Step{Scope: "x", Kind: reprocessing.LeakTest, Start: at, Note: "\x1b[2J\x1b[1;1HREADY"}
		}, fault.Invalid},
		{"not UTF-8", "it would be read otherwise than it was typed", func(d *store.Draft) {
			d.Body = reprocessing.Step{Scope: "x", Kind: reprocessing.LeakTest, Start: at, Note: "a\xffb"}
		}, fault.Invalid},
		{"no time", "when it happened must be known", func(d *store.Draft) { d.At = 0 }, fault.Invalid},
	}
	before := StateOf(t, db)
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			d := Step("SC-00", at)
			test.change(&d)
			_, err := tryWrite(db, d)
			if err == nil || fault.CodeOf(err) != test.want {
				t.Errorf("%s: got %v, want code %q", test.reason, err, test.want)
			}
		})
	}
	Read(t, db, func(tx *store.Tx) error {
		if _, _, err := tx.Append(Step("SC-00", at)); err == nil {
			t.Error("a reading transaction wrote")
		}
		_, err := tx.Record(ledger.DerivedID("nothing"))
		wantCode(t, "unknown record", err, fault.NotFound)
		_, err = tx.Find("zz")
		wantCode(t, "no id", err, fault.Invalid)
		_, err = tx.Find("0000-")
		wantCode(t, "unknown beginning", err, fault.NotFound)
		return nil
	})
	if diff := cmp.Diff(before, StateOf(t, db)); diff != "" {
		t.Errorf("something was written:\n%s", diff)
	}
}

func clockSetBack(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	before := Write(t, db, Step("SC-00", clock.Move(time.Minute)))[0].Recorded

	clock.Move(-time.Second)
	r := Write(t, db, Step("SC-00", clock.At()))[0]
	if r.Seq != 2 || r.Recorded != before {
		t.Errorf("set back by 1 s: seq %d recorded %s, want 2 and the time held at %s", r.Seq, r.Recorded, before)
	}

	clock.Move(-time.Hour)
	now := clock.At()
	r = Write(t, db, Step("SC-00", now))[0]
	if r.Seq != 4 || r.Recorded != now {
		t.Errorf("set back by 1 h: seq %d recorded %s, want 4 (behind a clock record) and %s", r.Seq, r.Recorded, now)
	}
	Read(t, db, func(tx *store.Tx) error {
		kept, err := tx.Record(ledger.DerivedID("clock", db.Site().Code, "3"))
		if err != nil {
			return err
		}
		fault, err := record.Body[reprocessing.ClockNote](kept.Record)
		if want := (reprocessing.ClockNote{From: before, To: now, Noticed: reprocessing.ByRecords}); kept.Kind() != record.Clock || fault != want {
			t.Errorf("got %s %+v, want a clock record with %+v", kept.Kind(), fault, want)
		}
		return err
	})
	// From there on time goes forward again without a further notice.
	if r := Write(t, db, Step("SC-00", clock.Move(time.Second)))[0]; r.Seq != 5 {
		t.Errorf("after the notice: seq %d, want 5", r.Seq)
	}
	Verify(t, db.Home(), 6)

	// What was noticed while the program ran is noted as well, ahead and back.
	for i, n := range []reprocessing.ClockNote{
		{From: clock.At(), To: clock.Move(time.Hour), Noticed: reprocessing.ByElapsed},
		{From: clock.At(), To: clock.Move(-time.Hour), Noticed: reprocessing.ByElapsed},
	} {
		if err := db.Write(t.Context(), func(tx *store.Tx) error { return store.NoteClock(tx, n) }); err != nil {
			t.Fatal(err)
		}
		Read(t, db, func(tx *store.Tx) error {
			notes, err := tx.Entities(record.Clock)
			if last, failed := store.LastRecorded(tx); failed != nil || last != clock.At() || err != nil || len(notes) != i+2 || notes[i+1].Seq != int64(6+i) {
				t.Errorf("note %d: last recorded %s (%v), %d notes, %v", i, last, failed, len(notes), err)
			}
			return nil
		})
	}
	Verify(t, db.Home(), 8)
	if err := Rebuilt(t, db, clock.Now).Close(); err != nil {
		t.Fatal(err)
	}
}

func groupCommit(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	const writers, each = 64, 10
	at := clock.Move(time.Minute)
	var mu sync.Mutex
	var acknowledged []ledger.ID
	var wg sync.WaitGroup
	refused := errors.New("this one does not want to")
	for w := range writers {
		wg.Go(func() {
			for i := range each {
				d := Step(scopeName(w), at)
				err := db.Write(context.Background(), func(tx *store.Tx) error {
					if _, _, err := tx.Append(d); err != nil {
						return err
					}
					if w == 7 && i%2 == 0 {
						return refused
					}
					return nil
				})
				switch {
				case err == nil:
					mu.Lock()
					acknowledged = append(acknowledged, d.ID)
					mu.Unlock()
				case w != 7 || !errors.Is(err, refused):
					t.Errorf("writer %d: %v", w, err)
				}
			}
		})
	}
	wg.Wait()
	if want := writers*each - each/2; len(acknowledged) != want {
		t.Fatalf("%d writes were acknowledged, want %d", len(acknowledged), want)
	}
	seqs := map[int64]bool{}
	Read(t, db, func(tx *store.Tx) error {
		for _, id := range acknowledged {
			kept, err := tx.Record(id)
			if err != nil {
				return err
			}
			seqs[kept.Seq] = true
		}
		return nil
	})
	for seq := range int64(len(acknowledged)) {
		if !seqs[seq+1] {
			t.Errorf("there is no record %d: seq has a gap", seq+1)
		}
	}
	Verify(t, db.Home(), int64(len(acknowledged)+1))
}

func panicking(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	before := StateOf(t, db)
	err := db.Write(context.Background(), func(tx *store.Tx) error {
		if _, _, err := tx.Append(Step("SC-00", clock.At())); err != nil {
			return err
		}
		panic("out of tea")
	})
	if err == nil || !strings.Contains(err.Error(), "internal error: out of tea") {
		t.Errorf("got %v", err)
	}
	if diff := cmp.Diff(before, StateOf(t, db)); diff != "" {
		t.Errorf("something was written:\n%s", diff)
	}
	Write(t, db, Step("SC-00", clock.At()))
	Verify(t, db.Home(), 2)
}

// A caller who gives up in the middle of a write takes back that write and nobody else's: an engine
// that is interrupted may take back the whole transaction, with everybody's work.
func givenUp(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	at := clock.Move(time.Minute)
	const verifications, others = 30, 8
	var wg sync.WaitGroup
	acknowledged := make([]ledger.ID, verifications*others)
	hold := make(chan struct{})
	wg.Go(func() { // keeps the writer busy until all wait, so that they share one commit
		err := db.Write(context.Background(), func(*store.Tx) error { <-hold; return nil })
		if err != nil {
			t.Error(err)
		}
	})
	for r := range verifications {
		for o := range others {
			wg.Go(func() {
				d := Step(scopeName(o), at)
				if _, err := tryWrite(db, d); err != nil {
					t.Errorf("a write that nobody gave up: %v", err)
				}
				acknowledged[r*others+o] = d.ID
			})
		}
		wg.Go(func() {
			err := db.Write(context.Background(), func(*store.Tx) error { return nil })
			if err != nil {
				t.Error(err)
			}
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			err = db.Write(ctx, func(tx *store.Tx) error {
				// At some moment, and with luck in the middle of a statement.
				defer time.AfterFunc(time.Duration(r)*50*time.Microsecond, cancel).Stop()
				for {
					if _, _, err := tx.Append(Step("SC-99", at)); err != nil {
						return err
					}
				}
			})
			if !errors.Is(err, context.Canceled) {
				t.Errorf("given up: got %v", err)
			}
		})
	}
	close(hold)
	wg.Wait()
	Read(t, db, func(tx *store.Tx) error {
		for _, id := range acknowledged {
			if _, err := tx.Record(id); err != nil {
				t.Errorf("acknowledged: %v", err)
			}
		}
		return nil
	})
	Verify(t, db.Home(), verifications*others+1)
	gone, cancel := context.WithCancel(context.Background())
	cancel()
	if err := db.Write(gone, func(*store.Tx) error { t.Error("the work began"); return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("given up before: got %v", err)
	}
	if err := db.Read(gone, func(*store.Tx) error { return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("a question that was given up: got %v", err)
	}
}

func try(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	Write(t, db, store.Draft{Type: record.Person, ID: ledger.DerivedID("p1"), At: clock.At(), Body: record.PersonBody{Code: "P-1"}})
	before := StateOf(t, db)
	persons := func(tx *store.Tx) (codes []string) {
		all, err := tx.Entities(record.Person)
		if err != nil {
			t.Error(err)
		}
		for _, k := range all {
			p, err := record.Body[record.PersonBody](k.Record)
			if err != nil {
				t.Error(err)
			}
			codes = append(codes, p.Code)
		}
		return codes
	}
	err := db.Try(context.Background(), func(tx *store.Tx) error {
		if _, _, err := tx.Append(
			store.Draft{Type: record.Person, ID: ledger.DerivedID("p2"), At: tx.Now, Body: record.PersonBody{Code: "tried"}},
		); err != nil {
			return err
		}
		if got := persons(tx); !cmp.Equal(got, []string{"P-1", "tried"}) {
			t.Errorf("within the dry run: %q", got)
		}
		if n, err := tx.Size(); err != nil || n != before.Size+1 {
			t.Errorf("within the dry run: %d records, %v", n, err)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(before, StateOf(t, db)); diff != "" {
		t.Errorf("the dry run left something:\n%s", diff)
	}
	// The same place in the ledger now goes to another person: what the dry run saw must be forgotten.
	Write(t, db, store.Draft{Type: record.Person, ID: ledger.DerivedID("p3"), At: clock.At(), Body: record.PersonBody{Code: "P-3"}})
	Read(t, db, func(tx *store.Tx) error {
		if got := persons(tx); !cmp.Equal(got, []string{"P-1", "P-3"}) {
			t.Errorf("after the dry run: %q", got)
		}
		return nil
	})
	refused := errors.New("no")
	if err := db.Try(context.Background(), func(*store.Tx) error { return refused }); !errors.Is(err, refused) {
		t.Errorf("a refused dry run: %v", err)
	}
	Verify(t, db.Home(), before.Size+1)
}

// Whoever goes on after a refusal, as an import does with its next line, leaves nothing of the
// refused record in the transaction.
func refusedInTheMiddle(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	at := clock.Move(time.Minute)
	old := Write(t, db, Step("SC-00", at))[0]
	void := func() store.Draft {
		d := Step("SC-00", at)
		d.Type, d.Corrects, d.Reason, d.Body = record.Void, old.ID, "wrong scope", record.VoidBody{Scope: "SC-00"}
		return d
	}
	lift := Step("SC-00", at)
	lift.Type, lift.Body = record.Lift, reprocessing.Lift{Hold: "none", Scope: "SC-00", At: at, By: "A", Second: "B", Reason: "r"}
	Write(t, db, void())
	before := StateOf(t, db)
	err := db.Write(context.Background(), func(tx *store.Tx) error {
		_, _, err := tx.Append(void())
		wantCode(t, "second void", err, fault.Conflict)
		_, _, err = tx.Append(lift)
		wantCode(t, "lift of no hold", err, fault.Conflict)
		_, _, err = tx.Append(Step("SC-01", at))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	after := StateOf(t, db)
	if after.Size != before.Size+1 || len(after.Rows) != len(before.Rows)+1 {
		t.Errorf("%d records and %d rows were added, want one of each", after.Size-before.Size, len(after.Rows)-len(before.Rows))
	}
	Verify(t, db.Home(), after.Size)
}

func snapshot(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	at := clock.Move(time.Minute)
	Write(t, db, Step("SC-00", at))
	Read(t, db, func(tx *store.Tx) error {
		before, err := tx.Dump()
		if err != nil {
			return err
		}
		Write(t, db, Step("SC-00", at), store.Draft{Type: record.Person, ID: ledger.DerivedID("p"), At: at, Body: record.PersonBody{Code: "P"}})
		after, err := tx.Dump()
		if diff := cmp.Diff(before, after); diff != "" {
			t.Errorf("the view changed:\n%s", diff)
		}
		if n, err := tx.Size(); err != nil || n != 2 {
			t.Errorf("the view has %d records (%v), want 2", n, err)
		}
		return err
	})
	if got := StateOf(t, db).Size; got != 4 {
		t.Errorf("a new view has %d records, want 4", got)
	}
}

func closing(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	const writers = 8
	var wg sync.WaitGroup
	var mu sync.Mutex
	stored := int64(1)
	for w := range writers {
		wg.Go(func() {
			for i := range 1000 {
				_, err := tryWrite(db, Step(fmt.Sprint(w), clock.At()+unit.Instant(i)))
				if err != nil {
					wantCode(t, "write while closing", err, fault.Busy)
					return
				}
				mu.Lock()
				stored++
				mu.Unlock()
				if err := db.Read(context.Background(), func(tx *store.Tx) error { _, err := tx.Size(); return err }); err != nil {
					wantCode(t, "read while closing", err, fault.Busy)
					return
				}
			}
		})
	}
	for range 2 { // two that close at the same time do not harm each other
		wg.Go(func() {
			if err := db.Close(); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	_, err := tryWrite(db, Step("SC-00", clock.At()))
	wantCode(t, "write after closing", err, fault.Busy)
	err = db.Read(context.Background(), func(*store.Tx) error { return nil })
	wantCode(t, "read after closing", err, fault.Busy)
	// Every acknowledged write is there, and the last checkpoint covers them all.
	Verify(t, db.Home(), stored)
	var signed int64
	if err := e.Raw(t, db.Home()).QueryRowContext(t.Context(), `SELECT max(size) FROM checkpoint`).Scan(&signed); err != nil || signed != stored {
		t.Errorf("the last checkpoint covers %d records (%v), want %d", signed, err, stored)
	}
}
