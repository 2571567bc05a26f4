package history_test

import (
	"slices"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/history"
	"rinsate/internal/domain/scope"
)

func at(hours float64) unit.Instant {
	return unit.Instant(1_000_000_000_000_000).Add(time.Duration(hours * float64(time.Hour)))
}

func TestVerifications(t *testing.T) {
	type r = history.Reading
	one, two := at(-1), at(0.01)
	tests := []struct {
		name            string
		readings        []r
		cycles, numbers []int
	}{
		{"one cycle, at 0, 8 and 16 h", []r{{"D", one, 1, at(0)}, {"D", one, 1, at(8)}, {"D", one, 1, at(16)}}, []int{0, 0, 0}, []int{0, 0, 0}},
		{"one cycle, as long as it speaks for its readings", []r{{"D", one, 1, at(0)}, {"D", one, 1, one.Add(history.Covers)}}, []int{0, 0}, []int{0, 0}},
		{
			"one cycle, and a reading that it does not speak for any more",
			[]r{{"D", one, 1, at(0)}, {"D", one, 1, one.Add(history.Covers) + 1}},
			[]int{0, 1},
			[]int{0, 1},
		},
		{"a file of readings long after the last use", []r{{"D", one, 1, at(0)}, {"D", one, 1, at(100)}, {"D", one, 1, at(113)}}, []int{0, 1, 2}, []int{0, 1, 2}},
		{"two cycles, a minute apart", []r{{"D", one, 1, at(0)}, {"D", two, 1, at(0.02)}}, []int{0, 1}, []int{0, 1}},
		{"a second cleaning", []r{{"D", one, 1, at(0)}, {"D", one, 2, at(1)}, {"D", one, 2, at(1.1)}}, []int{0, 0, 0}, []int{0, 1, 1}},
		{"a late reading of the first cleaning", []r{{"D", one, 1, at(0)}, {"D", one, 2, at(1)}, {"D", one, 1, at(2)}}, []int{0, 0, 0}, []int{0, 1, 0}},
		{"two scopes at once", []r{{"D", one, 1, at(0)}, {"E", one, 1, at(0)}, {"D", one, 1, at(1)}, {"E", one, 1, at(1)}}, []int{0, 1, 0, 1}, []int{0, 1, 0, 1}},
		{"no cycle on record, 12 h", []r{{"D", 0, 1, at(0)}, {"D", 0, 1, at(12)}}, []int{0, 0}, []int{0, 0}},
		{"no cycle on record, longer than 12 h", []r{{"D", 0, 1, at(0)}, {"D", 0, 1, at(12) + 1}}, []int{0, 1}, []int{0, 1}},
		{
			"no cycle on record, at 0, 8 and 16 h: from the first reading on",
			[]r{{"D", 0, 1, at(0)}, {"D", 0, 1, at(8)}, {"D", 0, 1, at(16)}},
			[]int{0, 0, 1},
			[]int{0, 0, 1},
		},
		{"no cycle on record, a second cleaning the day after", []r{{"D", 0, 1, at(0)}, {"D", 0, 2, at(20)}, {"D", 0, 2, at(32)}}, []int{0, 0, 0}, []int{0, 1, 1}},
		{"no cycle on record, the first cleaning again", []r{{"D", 0, 2, at(0)}, {"D", 0, 1, at(1)}}, []int{0, 1}, []int{0, 1}},
		{"the first cycle on record ends what lies before", []r{{"D", 0, 1, at(0)}, {"D", two, 1, at(1)}}, []int{0, 1}, []int{0, 1}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			var v history.Verifications
			var cycles, numbers []int
			for _, x := range test.readings {
				got := v.Of(x)
				cycles, numbers = append(cycles, got.Cycle), append(numbers, got.Number)
			}
			if !slices.Equal(cycles, test.cycles) || !slices.Equal(numbers, test.numbers) {
				t.Errorf("cycles %v, verifications %v; want %v, %v", cycles, numbers, test.cycles, test.numbers)
			}
		})
	}
}

func TestFirsts(t *testing.T) {
	tip := history.Series{Scope: "D", Point: scope.OuterDistalEnd, System: "A", Kit: "K"}
	other, kit := tip, tip
	other.Point, kit.Kit = scope.InstrumentLumen, "K2"
	var f history.Firsts
	for i, x := range []struct {
		series   history.Series
		cycle    int
		cleaning int
		hours    float64
		first    bool
	}{
		{tip, 1, 1, 0, true},
		{other, 1, 1, 0.1, true},
		{tip, 1, 1, 8, false}, // a repeat
		{kit, 1, 1, 9, true},  // on another scale
		{tip, 1, 2, 10, false},
		{tip, 1, 1, 16, false}, // a repeat, however late
		{tip, 2, 2, 20, false}, // the first cleaning was not verified
		{tip, 3, 1, 30, true},
	} {
		r := history.Reading{Scope: "D", Cycle: at(0).Add(time.Duration(x.cycle) * time.Microsecond), Cleaning: x.cleaning, At: at(x.hours)}
		if _, first := f.Of(x.series, r); first != x.first {
			t.Errorf("reading %d: first = %t, want %t", i, first, x.first)
		}
	}
}
