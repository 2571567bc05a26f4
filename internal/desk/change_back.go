package desk

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/reading"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// adopt adopts the level of a line, unless exactly that was the last to be adopted. What was adopted before something
// else is adopted again: it is a change back, unless a later line of the file brings that something else, as a file
// does that lists them one after the other.
func (in *intake) adopt(line int, x reading.Level) (fresh bool, err error) {
	var last ledger.ID
	var standing, before bool // whether the last that stands says the same, and whether an earlier one does
	err = in.tx.Editions(record.Level, x.Key(), func(k store.Kept) error {
		last = k.ID
		if k.Replaced.Known() {
			return nil
		}
		old, err := record.Body[reading.Level](k.Record)
		old.Second = "" // a file names none
		in.changes, before, standing = true, before || standing, reflect.DeepEqual(old, x)
		return err
	})
	if err != nil {
		return false, err
	}
	delete(in.back, x.Key())
	switch {
	case standing:
		in.changes = false
		return false, nil
	case before:
		in.changes = false
		in.back[x.Key()] = changeBack{line, x, last}
		return false, nil
	}
	in.out.Warnings = append(in.out.Warnings, levelWarnings(x)...)
	return true, in.adoptAfter(x, last)
}

// adoptAfter adopts a level as the edition after another, none for the first.
func (in *intake) adoptAfter(x reading.Level, last ledger.ID) error {
	text, err := json.Marshal(x)
	if err != nil {
		return err
	}
	id := in.id("", string(text))
	if last != "" {
		id = in.id("", string(text), "after", string(last))
	}
	_, err = in.SettingUp().AdoptLevel(Entry{ID: id, By: in.file.By, also: in.file.SecondCode}, x)
	return err
}

// changedBack adopts what a file says last and was adopted before something else.
func (in *intake) changedBack() error {
	all := slices.SortedFunc(maps.Values(in.back), func(a, b changeBack) int { return cmp.Compare(a.line, b.line) })
	for _, c := range all {
		if err := in.adoptAfter(c.level, c.last); err != nil && !in.waits(c.line, err) {
			return fmt.Errorf("line %d: %w", c.line, err)
		}
		in.out.Known--
		in.out.Stored++
		in.out.Changed++
		if in.file.Tell != nil {
			what := fmt.Sprintf("level for %s at %s, adopted before and now again", c.level.Scale(), c.level.Point)
			in.file.Tell(Told{Line: c.line, Fresh: true, Changes: true, What: what})
		}
	}
	return nil
}
