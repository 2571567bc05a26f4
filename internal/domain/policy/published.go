package policy

import (
	"math"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
)

// farTimes is how many times the largest published limit a level may be before a second person has to agree (common
// practice). Published limits are valid for the kit that they were found with; one that is ten times as high on another
// scale is far more often a slip of the keyboard.
const farTimes = 10

// Usual returns the largest action level that one person may adopt for what is measured, with the largest published
// limit that it rests on; ok is false where none is published.
func Usual(a reading.Analyte, u reading.Unit) (most unit.Number, published Template, ok bool) {
	for _, t := range Templates() {
		if t.Analyte == a && t.Unit == u && t.Action > published.Action {
			published, ok = t, true
		}
	}
	if u == reading.LogCFU { // ten times as many are one more on this scale
		return published.Action + unit.Number(math.Log10(farTimes)), published, ok
	}
	return published.Action * farTimes, published, ok
}
