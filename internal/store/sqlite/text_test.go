package sqlite_test

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/storetest"
)

func tryWrite(db *store.DB, drafts ...store.Draft) (records []ledger.Record, err error) {
	err = db.Write(context.Background(), func(tx *store.Tx) error {
		for _, d := range drafts {
			r, _, err := tx.Append(d)
			if err != nil {
				return err
			}
			records = append(records, r)
		}
		return nil
	})
	return records, err
}

// noted is a step with a note, as a record to append.
func noted(clock *storetest.Clock, note string) store.Draft {
	d := storetest.Step("SC-00", clock.At())
	step := d.Body.(reprocessing.Step)
	step.Note = note
	d.Body = step
	return d
}

// erases is a record that erases a text of another.
func erases(clock *storetest.Clock, id ledger.ID, field string) store.Draft {
	return store.Draft{
		Type: record.Erasure, ID: ledger.NewID(clock.At(), rand.Reader), At: clock.At(), By: "L-01",
		Body: record.ErasureBody{Texts: []record.FreeText{{Record: id, Field: field}}, Why: record.NamesPatient},
	}
}

// noteOf reads the note of a step back.
func noteOf(tb testing.TB, db *store.DB, id ledger.ID) (note string) {
	tb.Helper()
	storetest.Read(tb, db, func(tx *store.Tx) error {
		kept, err := tx.Record(id)
		if err != nil {
			return err
		}
		step, err := record.Body[reprocessing.Step](kept.Record)
		note = step.Note
		return err
	})
	return note
}

// inFiles says whether a text stands in any file of a folder.
func inFiles(tb testing.TB, dir, text string) (names []string) {
	tb.Helper()
	err := filepath.WalkDir(dir, func(name string, e fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // a file that is being written takes its name when it is whole
		}
		if err != nil || !e.Type().IsRegular() {
			return err
		}
		data, err := os.ReadFile(name)
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if strings.Contains(string(data), text) {
			names = append(names, e.Name())
		}
		return err
	})
	if err != nil {
		tb.Fatal(err)
	}
	return names
}

// It writes texts of all shapes and reads back what was written, from the cache and without it.
func TestTextsKept(t *testing.T) {
	t.Parallel()
	clock := storetest.NewClock()
	db := open(t, clock.Now)
	written := map[ledger.ID]string{}
	rapid.Check(t, func(rt *rapid.T) {
		note := rapid.StringOfN(rapid.RuneFrom([]rune("aZ09 <>&'\"\\/{}äß€𝄞\n\t,:")), 0, 60, -1).Draw(rt, "note")
		if strings.TrimSpace(note) == "" {
			note = "" // a blank text is refused
		}
		if rapid.Bool().Draw(rt, "looks like a commitment") {
			note = ledger.CommitText(make([]byte, ledger.TextSaltSize), note)
		}
		d := noted(clock, note)
		records, err := tryWrite(db, d)
		if err != nil {
			rt.Fatal(err)
		}
		if step, err := record.Body[reprocessing.Step](records[0]); err != nil || step.Note != note {
			rt.Fatalf("appended %q, got %q, %v", note, step.Note, err)
		}
		written[d.ID] = note
		for range 2 {
			if got := noteOf(t, db, d.ID); got != note {
				rt.Fatalf("wrote %q, read %q", note, got)
			}
		}
		if again, err := tryWrite(db, d); err != nil || again[0].Seq != records[0].Seq {
			rt.Fatalf("sent again: %v", err)
		}
		other := noted(clock, note+"x")
		other.ID = d.ID
		if _, err := tryWrite(db, other); fault.CodeOf(err) != fault.Conflict {
			rt.Fatalf("sent again with another note: %v", err)
		}
	})
	size := storetest.StateOf(t, db).Size
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Home().Rebuild(context.Background(), nil); err != nil {
		t.Fatal(err)
	}
	storetest.Verify(t, db.Home(), size)
	again, err := db.Home().Open(context.Background(), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close() //nolint:errcheck // it only reads
	for id, note := range written {
		if got := noteOf(t, again, id); got != note {
			t.Errorf("after a rebuild: wrote %q, read %q", note, got)
		}
	}
	d := noted(clock, "in the name of the scope")
	d.Device = ledger.CommitText(make([]byte, ledger.TextSaltSize), "x")
	_, err = tryWrite(again, d)
	if fault.CodeOf(err) != fault.Invalid {
		t.Errorf("%s: %v", "what looks like a commitment and is none", err)
	}
}

// It erases texts and looks for them in every file of the folder, while others still read, after a
// rebuild and after the end.
func TestTextsErased(t *testing.T) {
	t.Parallel()
	clock := storetest.NewClock()
	db := open(t, clock.Now)
	const secret = "Jane Q. Example, room 12"
	var drafts []store.Draft
	for i := range 400 {
		drafts = append(drafts, noted(clock, fmt.Sprintf("%s, number %03d of all", secret, i)))
	}
	storetest.Write(t, db, drafts...)
	long := noted(clock, secret+strings.Repeat(" and on", 250)) // longer than a quarter of a page
	storetest.Write(t, db, long)
	for i := range 50 {
		if i%2 == 0 {
			storetest.Write(t, db, noted(clock, fmt.Sprintf("%s, later %03d of all", secret, i)))
		}
		storetest.Write(t, db, erases(clock, drafts[i*8].ID, "body.note"))
		text := fmt.Sprintf("%s, number %03d of all", secret, i*8)
		if found := inFiles(t, db.Home().Dir(), text); found != nil {
			t.Fatalf("%q is still in %v", text, found)
		}
		if got := noteOf(t, db, drafts[i*8].ID); got != record.ErasedText {
			t.Fatalf("an erased text reads as %q", got)
		}
	}
	storetest.Write(t, db, erases(clock, long.ID, "body.note"))
	if found := inFiles(t, db.Home().Dir(), "and on and on"); found != nil {
		t.Errorf("the long text is still in %v", found)
	}
	if got := noteOf(t, db, drafts[1].ID); got != secret+", number 001 of all" {
		t.Errorf("another text reads as %q", got)
	}
	if inFiles(t, db.Home().Dir(), "number 001 of all") == nil {
		t.Error("a text that was not erased is in no file: this test sees nothing")
	}
	// Sent again it is the same record, as far as that can be told, and brings nothing back.
	if _, err := tryWrite(db, drafts[0]); err != nil {
		t.Errorf("an erased record sent again: %v", err)
	}
	_, err := tryWrite(db, erases(clock, drafts[0].ID, "body.note"))
	if fault.CodeOf(err) != fault.NotFound {
		t.Errorf("%s: %v", "erased twice", err)
	}
	_, err = tryWrite(db, erases(clock, drafts[1].ID, "body.kind"))
	if fault.CodeOf(err) != fault.NotFound {
		t.Errorf("%s: %v", "no free text", err)
	}
	state := storetest.StateOf(t, db)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Home().Rebuild(context.Background(), nil); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"number 000 of all", "and on and on"} {
		if found := inFiles(t, db.Home().Dir(), text); found != nil {
			t.Errorf("after the end and a rebuild %q is in %v", text, found)
		}
	}
	v, err := db.Home().Verify(context.Background(), nil, nil)
	if err != nil || v.Size != state.Size || v.Texts != (store.Texts{Whole: 375, Erased: 51}) {
		t.Errorf("verified %+v, %v", v, err)
	}
}

// It erases a text while somebody reads a state of before.
func TestTextsReadMeanwhile(t *testing.T) {
	t.Parallel()
	clock := storetest.NewClock()
	db := open(t, clock.Now)
	d := noted(clock, "Jane Q. Example")
	storetest.Write(t, db, d)
	// Taken back, an erasure erases nothing.
	sorry := errors.New("sorry")
	err := db.Write(context.Background(), func(tx *store.Tx) error {
		if _, _, err := tx.Append(erases(clock, d.ID, "body.note")); err != nil {
			return err
		}
		kept, err := tx.Record(d.ID)
		if err != nil || !strings.Contains(string(kept.Body), record.ErasedText) {
			t.Errorf("within the transaction: %s, %v", kept.Body, err)
		}
		return sorry
	})
	if !errors.Is(err, sorry) {
		t.Fatal(err)
	}
	if got := noteOf(t, db, d.ID); got != "Jane Q. Example" {
		t.Errorf("an erasure that was taken back leaves %q", got)
	}
	began, erased := make(chan struct{}), make(chan struct{})
	done := make(chan error)
	go func() {
		done <- db.Read(context.Background(), func(tx *store.Tx) error {
			if _, err := tx.Size(); err != nil { // from here on it sees the state of now
				return err
			}
			close(began)
			<-erased
			_, err := tx.Record(d.ID) // which may still show it, and must not keep it for others
			return err
		})
	}()
	<-began
	if err := db.Write(context.Background(), func(tx *store.Tx) error {
		_, _, err := tx.Append(erases(clock, d.ID, "body.note"))
		return err
	}); err != nil {
		t.Fatal(err)
	}
	// A crash now leaves a log with the text in it; whoever opens the folder next overwrites that.
	crashed := t.TempDir()
	if err := os.CopyFS(crashed, os.DirFS(db.Home().Dir())); err != nil {
		t.Fatal(err)
	}
	if inFiles(t, crashed, "Jane Q. Example") == nil {
		t.Error("the reader keeps nothing from being scrubbed: this test sees nothing")
	}
	opened, err := sqlite.Folder(crashed).Open(context.Background(), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	if found := inFiles(t, crashed, "Jane Q. Example"); found != nil {
		t.Errorf("after a crash still in %v", found)
	}
	if err := opened.Close(); err != nil {
		t.Error(err)
	}
	close(erased)
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if got := noteOf(t, db, d.ID); got != record.ErasedText {
		t.Errorf("read later: %q", got)
	}
	clock.Move(time.Minute)
	storetest.Write(t, db, storetest.Step("SC-01", clock.At())) // the next write scrubs what the reader held
	if found := inFiles(t, db.Home().Dir(), "Jane Q. Example"); found != nil {
		t.Errorf("still in %v", found)
	}
}
