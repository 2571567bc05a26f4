package stats

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"slices"
)

// rankedCase is a value as a number that orders alike, with where it came from.
type rankedCase struct {
	key uint64
	tag uint32 // twice the row, plus one for a positive case
}

// rankCases returns the cases by rising value, and how many are positive.
func rankCases(values []float64, positive []bool) (cases []rankedCase, positives int, err error) {
	if len(values) != len(positive) {
		return nil, 0, fmt.Errorf("%d values, but the truth of %d: %w", len(values), len(positive), ErrArgument)
	}
	if len(values) > MaxCount {
		return nil, 0, fmt.Errorf("%d cases: want at most %d: %w", len(values), MaxCount, ErrArgument)
	}
	cases = make([]rankedCase, len(values))
	for i, v := range values {
		// Infinities and NaN have all bits of the exponent.
		if math.Float64bits(v)>>52&0x7ff == 0x7ff {
			return nil, 0, fmt.Errorf("value %d is %g: leave out what is not a finite number: %w", i, v, ErrArgument)
		}
		tag := uint32(i) << 1
		if positive[i] {
			tag |= 1
			positives++
		}
		cases[i] = rankedCase{orderedBits(v), tag}
	}
	if positives == 0 || positives == len(cases) {
		return nil, 0, fmt.Errorf("%d of %d cases are positive: both classes are needed: %w", positives, len(cases), ErrArgument)
	}
	return sortCases(cases), positives, nil
}

// orderedBits maps finite numbers to whole numbers of the same order; −0 counts as 0.
func orderedBits(v float64) uint64 {
	if v == 0 {
		return 1 << 63
	}
	b := math.Float64bits(v)
	if b>>63 == 1 {
		return ^b
	}
	return b | 1<<63
}

// valueOf undoes orderedBits.
func valueOf(key uint64) float64 {
	if key>>63 == 1 {
		return math.Float64frombits(key &^ (1 << 63))
	}
	return math.Float64frombits(^key)
}

// The digits of the radix sort: 11 bits keep the counters of all digits in the first-level cache.
const (
	digitBits = 11
	digits    = (64 + digitBits - 1) / digitBits
	base      = 1 << digitBits
)

// sortCases sorts by key, stably, and may return either the given slice or a new one. Digits in
// which all keys agree cost nothing, so that whole numbers of few digits need half the passes.
func sortCases(cases []rankedCase) []rankedCase {
	if len(cases) < base {
		slices.SortStableFunc(cases, func(a, b rankedCase) int { return cmp.Compare(a.key, b.key) })
		return cases
	}
	var counts [digits][base]uint32
	for _, c := range cases {
		for d := range digits {
			counts[d][c.key>>(d*digitBits)%base]++
		}
	}
	other := make([]rankedCase, len(cases))
	for d := range digits {
		shift := d * digitBits
		count := &counts[d]
		if count[cases[0].key>>shift%base] == uint32(len(cases)) {
			continue
		}
		at := uint32(0)
		for i, n := range count {
			count[i] = at
			at += n
		}
		for _, c := range cases {
			i := c.key >> shift % base
			other[count[i]] = c
			count[i]++
		}
		cases, other = other, cases
	}
	return cases
}

// runs yields the cases of each value, by rising value.
func runs(cases []rankedCase) iter.Seq[[]rankedCase] {
	return func(yield func([]rankedCase) bool) {
		for start := 0; start < len(cases); {
			end := start + 1
			for end < len(cases) && cases[end].key == cases[start].key {
				end++
			}
			if !yield(cases[start:end]) {
				return
			}
			start = end
		}
	}
}
