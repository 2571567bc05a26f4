package record

import (
	"fmt"

	"rinsate/internal/base/ledger"
)

// Current returns a record with its body in the version that this program writes, which every question
// about it expects. What is stored and hashed stays as it is.
func Current(r ledger.Record) (ledger.Record, error) {
	r, _, err := current(r)
	return r, err
}

func current(r ledger.Record) (ledger.Record, *Descriptor, error) {
	d, ok := byKind[KindOf(r)]
	if !ok {
		return r, nil, fmt.Errorf("record %d is of the kind %q, which this program does not know; a newer program wrote it", r.Seq, r.Type)
	}
	r, err := d.upgrade(r)
	return r, d, err
}

// BodyVersion returns the version of the body of a kind that this program writes, as the ledger has it: 0
// stands for the first.
func BodyVersion(kind Kind) int {
	if d, ok := byKind[kind]; ok && d.Version > 1 {
		return d.Version
	}
	return 0
}

// Place reads from a record where it belongs. It is the one place that knows: appending and
// rebuilding both go through it.
func Place(r ledger.Record) (Placing, error) {
	r, d, err := current(r)
	if err != nil {
		return Placing{}, err
	}
	return d.typed.place(r)
}

// Index reads from a record what it is found by.
func Index(r ledger.Record) (Found, error) {
	r, d, err := current(r)
	if err != nil {
		return Found{}, err
	}
	return d.typed.index(r)
}

// Replaces returns the record that r takes the place of, and what that makes of it, a value of ByState;
// both are empty when it takes the place of none.
func Replaces(r ledger.Record) (id ledger.ID, did string, err error) {
	p, err := Place(r)
	return p.Replaces, p.Did, err
}

// ScopeOf returns the scope that a record is of, empty when it is of none.
func ScopeOf(r ledger.Record) (string, error) {
	p, err := Place(r)
	return p.Of, err
}

// Words says in a line what a record holds, beyond its kind and its scope and without times.
func Words(r ledger.Record) (string, error) {
	r, d, err := current(r)
	if err != nil {
		return "", err
	}
	words, err := d.typed.sayWords(r)
	if words == "" && err == nil {
		words = r.Reason
	}
	return words, err
}

// About says in a word what a record is about: which step, which point, which file; empty where no word
// helps.
func About(r ledger.Record) (string, error) {
	r, d, err := current(r)
	if err != nil {
		return "", err
	}
	return d.typed.sayAbout(r)
}
