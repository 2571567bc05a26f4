package record

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// All lists every kind of record, those that others refer to first. It is the one list: what is not in it
// cannot be written or read.
var All = []Descriptor{
	site, model, instrument, meter, lot, person, rules, level,
	use, stepTaken, sample, moment, measurement, round, hold, lift,
	repair, request, void, draw, imported,
	target, check, suspect, comparison, chart, accessGiven,
	attachment, handover, alarm, erasure, clock,
}

// Kinds lists every kind of record in the order of All.
var Kinds = kindsOf(All)

var byKind = descriptors(All)

func kindsOf(all []Descriptor) []Kind {
	kinds := make([]Kind, len(all))
	for i, d := range all {
		kinds[i] = d.Kind
	}
	return kinds
}

func descriptors(all []Descriptor) map[Kind]*Descriptor {
	m := make(map[Kind]*Descriptor, len(all))
	for i := range all {
		m[all[i].Kind] = &all[i]
	}
	return m
}

// Of returns the descriptor of a kind, ok = false when this program does not know it.
func Of(kind Kind) (d *Descriptor, ok bool) {
	d, ok = byKind[kind]
	return d, ok
}

// FromFile returns the kinds that the rows of a kind of file become.
func FromFile(file string) (kinds []Kind) {
	for _, d := range All {
		if d.File == file {
			kinds = append(kinds, d.Kind)
		}
	}
	return kinds
}

// fromOthers is why a record is never taken back.
const fromOthers = "it is what followed from others"

// exampleAt is when the examples happened: 5 January 2026, 08:00 UTC.
const exampleAt = unit.Instant(1767600000000000)

// exampleID names a record that an example refers to.
func exampleID(name string) string { return string(ledger.DerivedID("example", name)) }
