package history_test

import (
	"math/rand/v2"
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

// Readings of a time are told as all readings of their scopes tell them, when those of history.Reach before it are
// shown as well; where that is not enough Sure says so.
func TestSince(t *testing.T) {
	t.Parallel()
	const histories = 20_000
	rng := rand.New(rand.NewPCG(1, 1))
	sure, short := 0, 0
	for range histories {
		all := randomReadings(rng)
		from := all[rng.IntN(len(all))].At + unit.Instant(rng.IntN(2))
		var whole history.Firsts
		part := history.Firsts{Verifications: history.Verifications{Since: from.Add(-history.Reach)}}
		// The numbers differ, but the same readings have the same ones.
		cycles, tests := map[int]int{}, map[int]int{}
		for i, x := range all {
			v, first := whole.Of(x.series, x.Reading)
			if x.At < part.Since {
				continue
			}
			w, again := part.Of(x.series, x.Reading)
			if x.At < from {
				continue
			}
			if !part.Sure("D") {
				short++
				break
			}
			sure++
			if first != again || !same(cycles, v.Cycle, w.Cycle) || !same(tests, v.Number, w.Number) {
				t.Fatalf("from %s: reading %d of %v: %v, first = %t; with all: %v, %t", from, i, all, w, again, v, first)
			}
		}
	}
	// Neither is so rare here that nothing is shown.
	if short < histories/100 || sure < histories {
		t.Errorf("%d histories unsure, %d readings sure", short, sure)
	}
}

type shown struct {
	series history.Series
	history.Reading
}

// randomReadings are up to 60 readings of a scope; in one of two histories they follow each other closely, as where one
// cleaning is sampled over and over.
func randomReadings(rng *rand.Rand) []shown {
	hours, cleanings, uses := 40, []int{1, 1, 1, 2, 3}, 10
	if rng.IntN(2) == 0 {
		hours, cleanings, uses = 12, []int{1}, 100
	}
	now, cycle := at(0), unit.Instant(0)
	all := make([]shown, 1+rng.IntN(60))
	for i := range all {
		now = now.Add(time.Duration(rng.IntN(hours+1)) * time.Hour)
		if rng.IntN(uses) == 0 {
			cycle = now.Add(-time.Duration(rng.IntN(3)) * time.Hour)
		}
		all[i] = shown{
			history.Series{Scope: "D", Point: []scope.PointKind{scope.OuterDistalEnd, scope.InstrumentLumen}[rng.IntN(2)]},
			history.Reading{Scope: "D", Cycle: cycle, Cleaning: cleanings[rng.IntN(len(cleanings))], At: now},
		}
	}
	return all
}

// same says whether two numbers stand for the same, as they did before.
func same(known map[int]int, a, b int) bool {
	if _, seen := known[a]; !seen {
		known[a] = b
	}
	return known[a] == b
}

// One cleaning is sampled every 12 hours with no cycle on record: how long that has gone on decides.
func TestSinceIsUnsure(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name string
		last history.Reading
		sure bool
	}{
		{"12 h later", history.Reading{Scope: "D", Cleaning: 1, At: at(96)}, false},
		{"more than 12 h later", history.Reading{Scope: "D", Cleaning: 1, At: at(96) + 1}, true},
		{"after another cleaning", history.Reading{Scope: "D", Cleaning: 2, At: at(96)}, true},
		{"with a cycle on record", history.Reading{Scope: "D", Cycle: at(90), Cleaning: 1, At: at(96)}, true},
		{"of another scope", history.Reading{Scope: "E", Cleaning: 1, At: at(96)}, true},
	} {
		v := history.Verifications{Since: at(0)}
		for hours := 12.0; hours <= 84; hours += 12 {
			v.Of(history.Reading{Scope: "D", Cleaning: 1, At: at(hours)})
		}
		if v.Of(test.last); v.Sure(test.last.Scope) != test.sure {
			t.Errorf("%s: sure = %t, want %t", test.name, !test.sure, test.sure)
		}
	}
	late := history.Verifications{Since: at(0)}
	if late.Of(history.Reading{Scope: "D", Cycle: at(-1), Cleaning: 1, At: at(1)}); late.Sure("D") {
		t.Error("a cycle that began before the readings are shown")
	}
}
