package desk

import (
	"bytes"
	"fmt"
	"slices"

	"rinsate/internal/record"
)

// Disguise gives people numbers in place of their codes, for comparisons in which nobody needs to know who
// is who. The numbers stay as long as no person is added; their order tells nothing.
type Disguise struct{ labels map[string]string }

// Disguise returns the disguise of everybody who is registered and of others who are named, such as those
// who worked before anybody was registered.
func (v RecordsView) Disguise(others []string) (Disguise, error) {
	all, err := v.tx.Entities(record.Person)
	if err != nil {
		return Disguise{}, err
	}
	codes := slices.Clone(others)
	for _, kept := range all {
		p, err := record.Body[record.PersonBody](kept.Record)
		if err != nil {
			return Disguise{}, err
		}
		codes = append(codes, p.Code)
	}
	slices.Sort(codes)
	codes = slices.Compact(codes)
	slices.SortFunc(codes, func(a, b string) int {
		x, y := v.desk.DB.Disguise(a), v.desk.DB.Disguise(b)
		return bytes.Compare(x[:], y[:])
	})
	d := Disguise{labels: make(map[string]string, len(codes))}
	for i, code := range codes {
		d.labels[code] = fmt.Sprintf("person %d", i+1)
	}
	return d, nil
}

// Of returns what stands for a code: a number, or for what is no person, such as "not on record", itself.
func (d Disguise) Of(code string) string {
	if label, ok := d.labels[code]; ok {
		return label
	}
	return code
}
