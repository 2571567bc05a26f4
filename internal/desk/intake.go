package desk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"reflect"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/wire/table"
)

// File is a file to be read in.
type File struct {
	Kind    Kind
	Name    string
	Content io.Reader
	Profile table.Profile
	// By is the person who answers for the import.
	By string
	// SecondCode is who signs what the file holds that asks for less than before, Second shows that it is this person.
	SecondCode string
	Second     access.Actor
	// Tell, when set, is called for every line with what happens to it.
	Tell func(Told)
}

// Told is what an import does with one line.
type Told struct {
	Line int `json:"line"`
	// Fresh is false for a line that is stored already.
	Fresh bool `json:"fresh"`
	// Changes says of a fresh line that it takes the place of what is stored under the same name, or
	// finishes what was stored without an end.
	Changes bool   `json:"changes,omitempty"`
	What    string `json:"what"`
}

// Imported is what became of a file.
type Imported struct {
	File   string `json:"file"`
	Kind   Kind   `json:"kind"`
	Rows   int    `json:"rows"`
	Stored int    `json:"stored"`
	// Changed counts those of the stored rows that take the place of something.
	Changed int    `json:"changed,omitempty"`
	Known   int    `json:"known"`
	Digest  string `json:"sha256"`
	// Two says of a trial that storing the file takes a second person, since it asks for less than before.
	Two      bool     `json:"takes_two,omitempty"`
	Ignored  []string `json:"ignored_columns,omitempty"`
	Warnings []string `json:"warnings,omitempty"`
	// Signals are those that readings of the file began, of series with adopted limits.
	Signals []trend.Signal `json:"signals,omitempty"`
}

// intake is one import under way.
type intake struct {
	*Work
	file File
	out  *Imported
	ctx  context.Context //nolint:containedctx // an intake lives no longer than the call of Import
	// touched is nil when no series has adopted limits.
	touched touched
	// changes says of the present line what Told.Changes says.
	changes bool
	// kept says what else became of the present line: what was not taken, since it would take back what is on record,
	// and what follows from it.
	kept string
	// ids are those of the records that the present line is about.
	ids []ledger.ID
	// back are the lines, by what they describe, that say again what was adopted before something else.
	back map[string]changeBack
}

// changeBack is a line that says again what was adopted before something else.
type changeBack struct {
	line  int
	level reading.Level
	// last is the edition that it would take the place of.
	last ledger.ID
}

// id returns the id of a line: from the sender's own id where there is one, else from what tells
// one event from another.
func (in *intake) id(own string, natural ...string) ledger.ID {
	parts := []string{"import", in.tx.Site().Code, string(in.file.Kind)}
	if own != "" {
		natural = []string{"own", own}
	}
	id := ledger.DerivedID(append(parts, natural...)...)
	in.ids = append(in.ids, id)
	return id
}

// takenBack says of a line that was read in before and is void by now who took it back, and what the way is; empty where
// it is not. What was taken back does not come back by reading the same file in again: files do that all the time.
func (in *intake) takenBack() (string, error) {
	for _, id := range in.ids {
		kept, err := in.tx.Record(id)
		if fault.CodeOf(err) == fault.NotFound {
			continue
		}
		if err != nil {
			return "", err
		}
		if kept.Replaced, err = in.tx.Replaced(kept.Record); err != nil {
			return "", err
		}
		if !kept.Replaced.Known() {
			continue
		}
		chain, err := in.Records().Chain(line(kept))
		if err != nil {
			return "", err
		}
		last := chain[len(chain)-1]
		if last.Type != record.Void {
			continue
		}
		words := fmt.Sprintf("%s took it back at %s, and a file does not store it again; to record it after all give the row an id of its own, in the column id",
			last.By, last.Recorded.In(in.Zone()))
		old, err := in.tx.Record(ledger.ID(last.Corrects))
		if err != nil {
			return "", err
		}
		weight, err := takingsOf(in.View).weight(old)
		if err == nil && weight.Adverse() {
			words += ", or take the voiding back: rinsate void " + last.ID
		}
		return words, err
	}
	return "", nil
}

// unlessTakenBack tells of a line that is not stored that it was taken back, where it was. Otherwise it returns why it is
// not stored, which is nil where it is known already.
func (in *intake) unlessTakenBack(line int, err error) error {
	if err != nil && fault.CodeOf(err) != fault.Conflict {
		return err
	}
	words, problem := in.takenBack()
	if problem != nil || words == "" {
		if problem != nil {
			return problem
		}
		return err
	}
	in.changes = false
	in.kept += "; " + words
	in.out.Warnings = append(in.out.Warnings, fmt.Sprintf("line %d: %s", line, words))
	return nil
}

// told counts a line and reports it.
func (in *intake) told(line int, fresh bool, format string, args ...any) {
	in.out.Rows++
	changes := fresh && in.changes
	switch {
	case changes:
		in.out.Stored++
		in.out.Changed++
	case fresh:
		in.out.Stored++
	default:
		in.out.Known++
	}
	if in.file.Tell != nil {
		in.file.Tell(Told{Line: line, Fresh: fresh, Changes: changes, What: fmt.Sprintf(format, args...)})
	}
}

// described registers what a line describes under a name, unless exactly that stands already. What was
// registered before something else under that name took its place is registered again: it is a change back, and
// so an edition of its own. like says which editions are about the same, nil where all of the name are.
func described[T any](in *intake, typ record.Kind, name string, body T, like func(T) bool, register func(Entry) error) (fresh bool, err error) {
	text, err := json.Marshal(body)
	if err != nil {
		return false, err
	}
	var last ledger.ID
	var standing store.Kept
	err = in.tx.Editions(typ, name, func(k store.Kept) error {
		last = k.ID
		if k.Replaced.Known() {
			return nil
		}
		if like != nil {
			old, err := record.Body[T](k.Record)
			if err != nil || !like(old) {
				return err
			}
		}
		standing, in.changes = k, true
		return nil
	})
	if err != nil || in.changes && sameJSON(text, standing.Body) {
		return false, err
	}
	id := in.id("", string(text))
	if last != "" {
		id = in.id("", string(text), "after", string(last))
	}
	in.ids = nil // an edition that was taken back is registered anew
	return true, register(Entry{ID: id, By: in.file.By, also: in.file.SecondCode})
}

// sameJSON says whether two texts hold the same, in whatever order of their keys, but for who else signed it.
func sameJSON(a, b []byte) bool {
	var x, y any
	return json.Unmarshal(a, &x) == nil && json.Unmarshal(b, &y) == nil && reflect.DeepEqual(withoutSecond(x), withoutSecond(y))
}

// line reads one row and stores what it becomes.
func (in *intake) line(f *fileKind, r row) {
	in.changes, in.kept, in.ids = false, "", nil
	before := r.t.Faults()
	what, store := f.line(in, r)
	if r.t.Faults() != before { // a cell is wrong; what follows from it would only repeat that
		return
	}
	fresh, err := store()
	if in.waits(r.t.Line(), err) {
		err = nil
	}
	if !fresh || err != nil {
		fresh, err = false, in.unlessTakenBack(r.t.Line(), err)
	}
	if err != nil {
		problem(r.col[f.anchor], err)
		return
	}
	in.told(r.t.Line(), fresh, "%s%s", what, in.kept)
}

// waits says of an error in a dry run that it is none yet: somebody else signs what asks for less when it is stored.
func (in *intake) waits(line int, err error) bool {
	if !in.dry || !errors.Is(err, errLess) {
		return false
	}
	const said = "line %d: %s: storing it takes a second person"
	message := err.Error()
	if e, ok := errors.AsType[*fault.Error](err); ok {
		message = e.Message
	}
	in.out.Two = true
	in.out.Warnings = append(in.out.Warnings, fmt.Sprintf(said, line, message))
	return true
}

// keeps says in the result of the present line that something on record stays as it is.
func (in *intake) keeps(format string, args ...any) {
	in.kept += "; " + fmt.Sprintf(format, args...) + ": a file does not take that back"
}

// holds says in the result of the present line, and beside the file's, that the line put its scope on hold.
func (in *intake) holds(r row, tag string, receipt Receipt) {
	if held := receipt.Held(); held != "" {
		in.kept += "; " + held
		in.out.Warnings = append(in.out.Warnings, fmt.Sprintf("line %d: %s: %s", r.t.Line(), tag, held))
	}
}

// finishing looks whether a line that has an end was stored before without one: another system's
// export grows while uses and steps go on. It then returns the id of the finishing record and the
// record that it finishes; otherwise the id as it is.
func finishing[T any](in *intake, id ledger.ID, open func(T) bool) (ledger.ID, string, error) {
	kept, err := in.tx.Record(id)
	if fault.CodeOf(err) == fault.NotFound {
		return id, "", nil
	}
	if err != nil {
		return id, "", err
	}
	body, err := record.Body[T](kept.Record)
	if err != nil || !open(body) {
		return id, "", err
	}
	in.changes = true
	return ledger.DerivedID("finish", string(id)), string(id), nil
}

// touched is since when the readings of a file belong to a series.
type touched map[trend.Key]unit.Instant

func (t touched) add(r ledger.Record) error {
	x, err := record.Body[reading.Reading](r)
	if err != nil {
		return err
	}
	key := trend.Key{Scope: x.Scope, Point: x.With.Point, System: x.With.System, Kit: x.With.Kit}
	if first, ok := t[key]; !ok || x.With.At < first {
		t[key] = x.With.At
	}
	return nil
}

// signals looks at the series that the readings of a file belong to.
func (in *intake) signals() error {
	keys := slices.SortedFunc(maps.Keys(in.touched), compareKeys)
	for _, key := range keys {
		s, err := in.Numbers().Series(key, in.tx.Now)
		if err != nil {
			return err
		}
		for _, a := range s.Watched.Signals {
			if a.First.At >= in.touched[key] {
				in.out.Signals = append(in.out.Signals, a)
			}
		}
	}
	return nil
}

// problem turns an error of an act into one about the present line.
func problem(c table.Column, err error) {
	text := err.Error()
	if e, ok := errors.AsType[*fault.Error](err); ok {
		text = e.Message
		if e.Hint != "" {
			text += " (" + e.Hint + ")"
		}
	}
	c.Reject(text)
}
