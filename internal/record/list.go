package record

// All lists every kind of record, those that others refer to first. It is the one list: what is not in it
// cannot be written or read.
var All = []Descriptor{
	site, model, instrument, meter, lot, person, rules, level,
	use, stepTaken, sample, moment, measurement, verification, hold, lift,
	repair, request, void, selection, imported,
	target, check, suspect, comparison, chart, accessGiven,
	attachment, handover, signal, erasure, patient, clock, restore, attestation, seen, start, stockTake,
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
