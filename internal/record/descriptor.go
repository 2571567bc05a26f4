package record

import (
	"cmp"
	"encoding/json"
	"fmt"
	"reflect"
	"strings"

	"rinsate/internal/base/ledger"
)

// Descriptor is all that the program knows of one kind of record.
type Descriptor struct {
	Kind Kind
	// Means says in a few words what such a record records.
	Means string
	// Version is the version of the body that this program writes.
	Version int
	// Fields are those of the body, in its order.
	Fields []Field
	// Key, Scope, Time and Word name the fields by which a record has its place: what it is an edition of,
	// whose event it is, when that happened, and how it is told from others of its kind. They are empty
	// where there is nothing of it; Time is then that of the record.
	Key, Scope, Time, Word string
	// File is the kind of file whose rows become such records, empty when none does.
	File string
	// Kept says why such a record cannot be taken back, empty when it can.
	Kept string
	// Limits says in words which of them can be taken back by whom, empty when there is no such limit.
	Limits string
	// Followed says what it means that such a record followed from another by the rules, empty when none does.
	Followed string
	// Undone says what it means when such a record is taken back, beyond the record itself.
	Undone string

	older   []Reader
	example any
	typed   typed
	free    freeFields
}

// Reader turns the body of one version into that of the next.
type Reader func(body json.RawMessage) (json.RawMessage, error)

// typed is what a kind does with its body, whatever the type of that is.
type typed interface {
	place(r ledger.Record) (Placing, error)
	index(r ledger.Record) (Found, error)
	sayWords(r ledger.Record) (string, error)
	sayAbout(r ledger.Record) (string, error)
	relations(r ledger.Record) ([]Relation, error)
	refused(r ledger.Record) error
	again(r ledger.Record) (Redo, error)
}

// kind describes one kind of record whose body is a T.
type kind[T any] struct {
	kind  Kind
	means string
	// version is that of the body, 1 when nothing is said; older has one reader for each version before.
	version int
	older   []Reader
	fields  []Field

	// key names the fields, parted by spaces, that make the key of the entity; ownID makes it the record's
	// own id, and "=text" that text. scope, time and word name those of the event table.
	key, scope, time, word string
	// of names the scope that a record is about where scope does not.
	of string
	// until names the last instant that such a record speaks of.
	until string
	// tables fills what a record brings to the other tables.
	tables func(b T, p *Placing)
	// outcomes are the values of ByOutcome that no field holds as it is.
	outcomes func(b T) []string

	// words says in a line what a record holds, beyond its kind and its scope and without times; about says
	// it in a word, where one helps.
	words func(b T) string
	about func(b T) string

	file string
	kept string
	// followed is what it means that the rules added such a record.
	followed string
	undone   string
	limits   string
	// refuse says why nobody can take a record back, where others of its kind can be.
	refuse func(b T) error
	// redo is what has to be decided again when a record goes, beyond its scope.
	redo func(b T) Redo

	example T

	paths compiled
}

const (
	// ownID is the key of what is a thing of its own.
	ownID = "#"
	// fixed begins the key of what there is one of.
	fixed = "="
)

// compiled are the fields of a body as reflection finds them; a path that is not named is nil.
type compiled struct {
	fields, key                  []path
	scope, of, time, word, until path
}

// describe prepares a kind for use. A path that leads nowhere is a mistake in the program, found as soon
// as it starts.
func describe[T any](k kind[T]) Descriptor {
	body := reflect.TypeFor[T]()
	must := func(name string) path {
		if name == "" {
			return nil
		}
		p, err := pathTo(body, name)
		if err != nil {
			panic(fmt.Sprintf("record: kind %s: %v", k.kind, err))
		}
		return p
	}
	c := &k.paths
	for i, f := range k.fields {
		c.fields = append(c.fields, must(f.Name))
		if f.Label == "" {
			k.fields[i].Label, _ = Label(strings.TrimSuffix(body.Name(), "Body"), f.Name[strings.LastIndexByte(f.Name, '.')+1:])
		}
	}
	if k.key != ownID && !strings.HasPrefix(k.key, fixed) {
		for name := range strings.FieldsSeq(k.key) {
			c.key = append(c.key, must(name))
		}
	}
	c.scope, c.of, c.time, c.word, c.until = must(k.scope), must(cmp.Or(k.of, k.scope)), must(k.time), must(k.word), must(k.until)
	k.version = max(k.version, 1)
	return Descriptor{
		Kind: k.kind, Means: k.means, Version: k.version, Fields: k.fields, Key: k.key, Scope: k.scope, Time: k.time, Word: k.word,
		File: k.file, Kept: k.kept, Limits: k.limits, Followed: k.followed, Undone: k.undone, older: k.older, example: k.example, typed: k,
		free: freeOf(k.fields),
	}
}

// placeOf returns where a record with a body belongs.
func (k kind[T]) placeOf(r ledger.Record, b T, v reflect.Value) Placing {
	c := &k.paths
	p := Placing{Entity: k.keyOf(r, v), Scope: c.scope.text(v), Of: c.of.text(v), Word: c.word.text(v), At: r.At, Ended: r.At}
	if c.time != nil {
		p.At = c.time.instant(v)
	}
	if c.until != nil {
		p.Ended = max(r.At, c.until.instant(v))
	}
	p.Replaces, p.Did = k.replaces(r, v)
	if k.tables != nil {
		k.tables(b, &p)
	}
	return p
}

func (k kind[T]) keyOf(r ledger.Record, v reflect.Value) string {
	switch {
	case k.key == ownID:
		return string(r.ID)
	case strings.HasPrefix(k.key, fixed):
		return k.key[len(fixed):]
	case len(k.paths.key) == 1:
		return k.paths.key[0].text(v)
	}
	parts := make([]string, len(k.paths.key))
	for i, p := range k.paths.key {
		parts[i] = p.text(v)
	}
	return strings.Join(parts, "|")
}

// replaces returns the record that another one takes the place of, and what that makes of it. The correction
// of a record that completed another takes the place of the record that it corrects; what that one completed
// stays replaced.
func (k kind[T]) replaces(r ledger.Record, v reflect.Value) (id ledger.ID, did string) {
	switch {
	case r.Corrects != "" && k.kind == Void:
		return r.Corrects, StateVoided
	case r.Corrects != "":
		return r.Corrects, StateCorrected
	}
	for i, f := range k.fields {
		if !f.Ends {
			continue
		}
		if id := k.paths.fields[i].text(v); id != "" {
			return ledger.ID(id), StateCompleted
		}
	}
	return "", ""
}

func (k kind[T]) place(r ledger.Record) (Placing, error) {
	b, err := Body[T](r)
	if err != nil {
		return Placing{}, err
	}
	return k.placeOf(r, b, reflect.ValueOf(&b).Elem()), nil
}

func (k kind[T]) index(r ledger.Record) (Found, error) {
	b, err := Body[T](r)
	if err != nil {
		return Found{}, err
	}
	v := reflect.ValueOf(&b).Elem()
	p := k.placeOf(r, b, v)
	f := Found{Seq: r.Seq, ID: r.ID, At: r.At, Replaces: p.Replaces, Did: p.Did, Terms: []string{ByType.term(r.Type), DayTerm(r.At)}}
	f.add(ByPerson, r.By)
	for i, field := range k.fields {
		if facet := field.facet(); facet != Unsought {
			k.paths.fields[i].each(v, func(v reflect.Value) { f.add(facet, v.String()) })
		}
	}
	for _, id := range r.Because {
		f.add(ByReference, string(id))
	}
	f.add(ByReference, string(r.Corrects))
	if k.outcomes != nil {
		f.add(ByOutcome, k.outcomes(b)...)
	}
	if Late(p.Ended, r.Recorded) {
		f.add(ByLate, LateEntry)
	}
	return f, nil
}

func (k kind[T]) say(r ledger.Record, words func(T) string) (string, error) {
	b, err := Body[T](r)
	if err != nil || words == nil {
		return "", err
	}
	return words(b), nil
}

func (k kind[T]) sayWords(r ledger.Record) (string, error) { return k.say(r, k.words) }

func (k kind[T]) sayAbout(r ledger.Record) (string, error) { return k.say(r, k.about) }

func (k kind[T]) relations(r ledger.Record) ([]Relation, error) {
	b, err := Body[T](r)
	if err != nil {
		return nil, err
	}
	v := reflect.ValueOf(&b).Elem()
	var list []Relation
	for i, field := range k.fields {
		if field.Names == "" || field.Ends {
			continue
		}
		k.paths.fields[i].each(v, func(v reflect.Value) {
			if v.String() != "" {
				list = append(list, Relation{field.Names, ledger.ID(v.String())})
			}
		})
	}
	return list, nil
}

func (k kind[T]) refused(r ledger.Record) error {
	if k.refuse == nil {
		return nil
	}
	b, err := Body[T](r)
	if err != nil {
		return err
	}
	return k.refuse(b)
}

func (k kind[T]) again(r ledger.Record) (Redo, error) {
	b, err := Body[T](r)
	if err != nil {
		return Redo{}, err
	}
	var redo Redo
	if k.redo != nil {
		redo = k.redo(b)
	}
	redo.Scope = k.paths.scope.text(reflect.ValueOf(&b).Elem())
	return redo, nil
}
