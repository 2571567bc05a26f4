package desk

import (
	"cmp"
	"encoding/json"
	"maps"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Search calls visit for the records that a query describes, the last of the ledger first, until it
// returns false.
func (v RecordsView) Search(q store.Query, visit func(Line) (more bool, err error)) error {
	return v.tx.Finding().Search(q, func(k store.Kept) (bool, error) { return visit(line(k)) })
}

// SearchPage is Search for a page of a longer list: it returns how many records there are in all, at most so
// many.
func (v RecordsView) SearchPage(q store.Query, most int, visit func(Line) (more bool, err error)) (total int, err error) {
	return v.tx.Finding().SearchPage(q, most, func(k store.Kept) (bool, error) { return visit(line(k)) })
}

// Count returns how many records a query describes, at most so many.
func (v RecordsView) Count(q store.Query, most int) (int, error) {
	return v.tx.Finding().Count(q, most)
}

// Fate returns what a later record did to a record, a value of record.ByState; empty when it stands.
func (v RecordsView) Fate(l Line) (did string, err error) {
	if !l.Replaced.Known() {
		return "", nil
	}
	err = v.referring(l.ID, longestChain, func(k store.Kept) (bool, error) {
		id, what, err := record.Replaces(k.Record)
		if string(id) == l.ID {
			did = what
		}
		return did == "", err
	})
	return did, err
}

// Version is one record of a chain of records that take each other's place.
type Version struct {
	Line
	// Did is what it did to the one before it, a value of record.ByState; empty for the first.
	Did string
}

// longestChain ends a walk that never should be so long.
const longestChain = 1000

// Chain returns all versions of what a record says, the first one first: each takes the place of the one
// before it. The last one holds, unless it is a void: then nothing does.
func (v RecordsView) Chain(l Line) ([]Version, error) {
	first, err := v.beginning(l)
	if err != nil {
		return nil, err
	}
	chain := []Version{{Line: first}}
	for len(chain) < longestChain {
		last := chain[len(chain)-1]
		if last.Type == record.Void {
			next, err := v.anew(last)
			if err != nil || next == nil {
				return chain, err
			}
			chain = append(chain, *next)
			continue
		}
		if !last.Replaced.Known() {
			break
		}
		var next *Version
		err := v.referring(last.ID, longestChain, func(k store.Kept) (bool, error) {
			id, did, err := record.Replaces(k.Record)
			if string(id) == last.ID {
				next = &Version{line(k), did}
			}
			return next == nil, err
		})
		if err != nil {
			return nil, err
		}
		if next == nil {
			break
		}
		chain = append(chain, *next)
	}
	return chain, nil
}

// anew returns the record that was written in the place of what a void took back: a correction by two, or what the void
// should not have taken. It is nil when there is none.
func (v RecordsView) anew(void Version) (next *Version, err error) {
	old, err := v.tx.Record(ledger.ID(void.Corrects))
	if err != nil {
		return nil, err
	}
	err = v.referring(void.ID, longestChain, func(k store.Kept) (bool, error) {
		if k.Kind() == old.Kind() && k.Corrects == "" && k.Reason != "" && slices.Contains(k.Because, ledger.ID(void.ID)) {
			next = &Version{line(k), StateAnew}
		}
		return true, nil // the first of them comes last
	})
	return next, err
}

// StateAnew is what a record did that was written in the place of one that a void had taken back.
const StateAnew = "anew"

// before returns the record that comes before another in a chain of versions, empty for the first.
func (v RecordsView) before(l Line) (ledger.ID, error) {
	if id, _, err := record.Replaces(l.record()); err != nil || id != "" || l.Reason == "" {
		return id, err
	}
	kept, err := v.tx.Record(ledger.ID(l.ID))
	if err != nil {
		return "", err
	}
	_, void, err := tookPlaceOf(v.View, kept)
	return void.ID, err
}

// beginning walks back to the first version.
func (v RecordsView) beginning(l Line) (Line, error) {
	for range longestChain {
		id, err := v.before(l)
		if err != nil || id == "" {
			return l, err
		}
		if l, err = v.Show(string(id)); err != nil {
			return l, err
		}
	}
	return l, nil
}

// referring calls visit for the records that name another one.
func (v RecordsView) referring(id string, most int, visit func(store.Kept) (bool, error)) error {
	n := 0
	return v.tx.Finding().Search(store.Query{Terms: []record.Term{record.ByReference.Is(id)}}, func(k store.Kept) (bool, error) {
		n++
		more, err := visit(k)
		return more && n < most, err
	})
}

// Relation is a record that has to do with another one, and how.
type Relation struct {
	How string
	Line
}

// MostRelated bounds how many records of one kind are told to have to do with another.
const MostRelated = 100

// Named returns the records that a record rests on: those that it names and, for a reading, the lot and
// the check of the meter that were in force, for a verification its samples and readings.
func (v RecordsView) Named(l Line) ([]Relation, error) {
	var list []Relation
	add := func(words, id string) error {
		if id == "" || slices.ContainsFunc(list, func(r Relation) bool { return r.ID == id }) || len(list) == MostRelated {
			return nil
		}
		found, err := v.Show(id)
		if fault.CodeOf(err) == fault.NotFound {
			return nil
		}
		list = append(list, Relation{words, found})
		return err
	}
	relations, err := record.Relations(l.record())
	if err != nil {
		return nil, err
	}
	for _, named := range relations {
		if err := add(named.Words, string(named.ID)); err != nil {
			return nil, err
		}
	}
	if l.Type == record.Reading {
		err = v.circumstances(l, add)
	}
	if err == nil && l.Type == record.Verification {
		err = v.inVerification(l, add)
	}
	if err != nil {
		return nil, err
	}
	if err := v.cycle(l, add); err != nil {
		return nil, err
	}
	kept, err := v.tx.Record(ledger.ID(l.ID))
	if err != nil {
		return nil, err
	}
	for _, id := range kept.Because {
		if err := add("what it follows from", string(id)); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// inCycle are the kinds of records that belong to what follows a use.
var inCycle = []record.Kind{record.Step, record.Sample, record.Moment, record.Reading, record.Verification}

// cycle adds the use that began the cycle in which a record was made.
func (v RecordsView) cycle(l Line, add func(words, id string) error) error {
	if !slices.Contains(inCycle, l.Type) {
		return nil
	}
	use, ok, err := v.tx.LastEvent(l.Scope(), record.Use, "", l.At, store.Forever)
	if err != nil || !ok {
		return err
	}
	return add("the use that its cycle follows", string(use.ID))
}

// circumstances adds the lot of a reading and the check of its meter.
func (v RecordsView) circumstances(l Line, add func(words, id string) error) error {
	var x reading.Reading
	if err := json.Unmarshal(l.Body, &x); err != nil {
		return err
	}
	lot, ok, err := v.tx.Entity(record.Lot, x.With.Kit+"|"+x.Lot, store.Forever, store.Forever)
	if err == nil && ok {
		err = add("its lot", string(lot.ID))
	}
	if err != nil || x.Meter == "" {
		return err
	}
	before, _, err := v.tx.Numbers().ChecksAround(x.Meter, x.With.At)
	if err == nil && before != nil {
		err = add("the last check of its meter before it", string(before.ID))
	}
	return err
}

// inVerification adds the samples and readings of a decision's cleaning that stand.
func (v RecordsView) inVerification(l Line, add func(words, id string) error) error {
	var d reprocessing.Decision
	if err := json.Unmarshal(l.Body, &d); err != nil {
		return err
	}
	return v.tx.Events(d.Scope, d.First, d.Last, store.Forever, func(k store.Kept) error {
		words := "a sample of the verification"
		var cleaning int
		err := fold(k, func(s sampling.Sample) { cleaning = s.Cleaning })
		if k.Kind() == record.Reading {
			words = "a reading of the verification"
		}
		if err != nil || cleaning != d.Verification.Cleaning {
			return err
		}
		return add(words, string(k.ID))
	}, record.Sample, record.Reading)
}

// Naming returns the records that rest on a record or on another version of it, the latest first, without
// those of the chain itself. The verification of a sample or a reading is one of them although it need not name it.
func (v RecordsView) Naming(l Line, chain []Version) ([]Relation, error) {
	list, err := v.itsVerifications(l)
	if err != nil {
		return nil, err
	}
	there := map[string]bool{}
	for _, r := range list {
		there[r.ID] = true
	}
	for _, version := range chain {
		there[version.ID] = true
	}
	for _, version := range chain {
		err := v.referring(version.ID, MostRelated, func(k store.Kept) (bool, error) {
			if !there[string(k.ID)] {
				there[string(k.ID)] = true
				list = append(list, Relation{"names it", line(k)})
			}
			return true, nil
		})
		if err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(list, func(a, b Relation) int { return cmp.Compare(b.Seq, a.Seq) })
	return list, nil
}

// itsVerifications returns the decision that stands on the verification of a sample or a reading.
func (v RecordsView) itsVerifications(l Line) (list []Relation, err error) {
	if l.Type != record.Sample && l.Type != record.Reading {
		return nil, nil
	}
	var body struct {
		Scope    string `json:"scope"`
		Cleaning int    `json:"cleaning"`
	}
	if err := json.Unmarshal(l.Body, &body); err != nil {
		return nil, err
	}
	next, err := v.tx.NextUse(body.Scope, l.At)
	if err != nil {
		return nil, err
	}
	err = v.tx.Events(body.Scope, l.At, next-1, store.Forever, func(k store.Kept) error {
		return fold(k, func(d reprocessing.Decision) {
			if d.Verification.Cleaning == body.Cleaning && d.First <= l.At {
				list = append(list, Relation{"its verification", line(k)})
			}
		})
	}, record.Verification)
	return list, err
}

// Prior is an earlier state of the ledger that somebody kept the checkpoint of.
func (v RecordsView) Prior(note []byte) (ledger.Checkpoint, error) { return v.tx.Consistent(note) }

// Filing holds the names that records can be looked for by.
type Filing struct{ Scopes, People, Lots, Kits, Meters []string }

// Filing returns the names of what is registered, each in the order of the alphabet.
func (v RecordsView) Filing() (f Filing, err error) {
	for _, list := range []struct {
		typ  record.Kind
		into *[]string
	}{{record.Instrument, &f.Scopes}, {record.Person, &f.People}, {record.Meter, &f.Meters}} {
		all, err := v.tx.Entities(list.typ)
		if err != nil {
			return f, err
		}
		for _, k := range all {
			var body struct {
				Tag  string `json:"tag"`
				Code string `json:"code"`
			}
			if err := json.Unmarshal(k.Body, &body); err != nil {
				return f, err
			}
			*list.into = append(*list.into, cmp.Or(body.Tag, body.Code))
		}
	}
	lots, err := v.tx.Entities(record.Lot)
	if err != nil {
		return f, err
	}
	for _, k := range lots {
		x, err := record.Body[quality.Lot](k.Record)
		if err != nil {
			return f, err
		}
		f.Lots, f.Kits = append(f.Lots, x.Lot), append(f.Kits, x.Kit)
	}
	for _, names := range []*[]string{&f.Scopes, &f.People, &f.Lots, &f.Kits, &f.Meters} {
		slices.Sort(*names)
		*names = slices.Compact(*names)
	}
	return f, nil
}

// FreeText is a text of a record that can be erased, with its field as record.FreeText has it.
type FreeText struct{ Field, Text string }

// FreeTexts returns the texts of a record that can be erased and were not, in the order of their fields.
func (v RecordsView) FreeTexts(l Line) (list []FreeText, err error) {
	kept, err := v.tx.Record(ledger.ID(l.ID))
	if err != nil {
		return nil, err
	}
	texts, err := store.FreeTexts(v.tx, kept.Record)
	for _, field := range slices.Sorted(maps.Keys(texts)) {
		list = append(list, FreeText{field, texts[field]})
	}
	return list, err
}

// Newest returns the last checkpoint that was signed and when; it is nil as long as none was.
func (v RecordsView) Newest() (note []byte, at unit.Instant, err error) { return v.tx.Newest() }
