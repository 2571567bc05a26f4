package level_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// facility is a level over the action level alone or with an alert level; the numbers of the tests
// are invented.
func facility(point scope.PointKind, alert, action unit.Number) reading.Level {
	return reading.Level{
		System: "system A", Kit: "rinsate kit", Point: point, Analyte: reading.ATP, Unit: reading.RLU,
		Alert: alert, Action: action, Comparison: reading.Over,
		Source: "facility study", Edition: "1", Adopter: "A. Lead", Adopted: 1_000_000,
	}
}

func contexts(kind scope.Kind, points ...scope.PointKind) []level.Context {
	var list []level.Context
	for _, p := range points {
		list = append(list, level.Context{System: "system A", Kit: "rinsate kit", Point: p, Kind: kind})
	}
	return list
}

func terms(cleanings int, change ...func(*level.Terms)) level.Terms {
	t := level.Terms{
		Rules:           reading.Rules{Cleanings: cleanings, Retest: reading.AllPoints, Combine: reading.Worst},
		AsOf:            2_000_000,
		CleaningMinutes: 16,
		MaxChanges:      100,
	}
	for _, c := range change {
		c(&t)
	}
	return t
}

func failingPoints(t *level.Terms) { t.Rules.Retest = reading.FailingPoints }

// A past of four cycles, followed by hand.
func TestReplayWorkedExample(t *testing.T) {
	row := func(cycle int32, cleaning uint8, context uint16, value int32) level.Row {
		return level.Row{Cycle: cycle, Cleaning: cleaning, Context: context, Value: value, Minutes: 4}
	}
	h := level.History{
		Contexts: contexts(scope.Duodenoscope, scope.OuterDistalEnd, scope.InstrumentLumen),
		Rows: []level.Row{
			row(0, 1, 0, 50), row(0, 1, 1, 60), // passes under both
			row(1, 1, 0, 150), row(1, 1, 1, 40), // over 100: never cleaned again then
			row(2, 1, 0, 250), row(2, 1, 1, 40), // over both; cleaned again
			row(3, 1, 0, 210), row(3, 1, 1, 210), // over both
			row(2, 2, 0, 120), row(2, 2, 1, 30), // passes 200; over 100
			row(3, 2, 0, 220), row(3, 2, 1, 10), // over both: the limit of two cleanings
		},
	}
	h.Rows[2].Culture = true // missed at 200, caught at 100
	h.Rows[0].Culture = true // missed at both
	levels := func(action unit.Number) []reading.Level {
		return []reading.Level{facility(scope.OuterDistalEnd, 0, action), facility(scope.InstrumentLumen, 0, action)}
	}
	got, err := h.Compare(levels(200), levels(100), terms(2))
	if err != nil {
		t.Fatal(err)
	}
	want := level.Replay{
		// 6 verifications of 2 kits and 8 minutes; 2 re-cleans of 16 minutes.
		Today: level.Tally{Cycles: 4, Verifications: 6, Over: 3, Recleans: 2, Holds: 1, Kits: 12, Minutes: 48 + 32, Missed: 2},
		// The re-clean of cycle 1 has no result: 2 further kits, 8 + 16 minutes.
		Proposed: level.Tally{
			Cycles: 4, Verifications: 6, Over: 5, Recleans: 3, Unknown: 1, Holds: 2, Kits: 14, Minutes: 48 + 8 + 3*16,
			Caught: 1, Missed: 1,
		},
		Changes: []level.Change{
			{Cycle: 1, Cleaning: 1, Today: reading.OK, Proposed: reading.Action},
			{Cycle: 2, Cleaning: 2, Today: reading.OK, Proposed: reading.Action},
		},
		Changed: 2,
	}
	want.Kinds = []level.KindTally{{Kind: scope.Duodenoscope, Today: want.Today, Proposed: want.Proposed}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}

	// A level of 230 would have spared the second verification of cycle 3.
	got, err = h.Compare(levels(200), levels(230), terms(2, func(t *level.Terms) { t.MaxChanges = 1 }))
	if err != nil {
		t.Fatal(err)
	}
	if p := got.Proposed; p.Spared != 1 || p.Verifications != 5 || p.Over != 1 || p.Holds != 0 || p.Kits != 10 {
		t.Errorf("at 230: %+v", p)
	}
	if got.Changed != 2 || len(got.Changes) != 1 || got.Changes[0] != (level.Change{Cycle: 3, Cleaning: 1, Today: reading.Action, Proposed: reading.OK}) {
		t.Errorf("%d changes, listed %+v", got.Changed, got.Changes)
	}
}

// Where only failing points were sampled again, a point that fails under the proposed level alone
// has no second result: the verification is undecided and not passed.
func TestReplayOfFailingPoints(t *testing.T) {
	h := level.History{
		Contexts: contexts(scope.Duodenoscope, scope.OuterDistalEnd, scope.InstrumentLumen),
		Rows: []level.Row{
			{Cycle: 0, Cleaning: 1, Context: 0, Value: 250, Culture: true},
			{Cycle: 0, Cleaning: 1, Context: 1, Value: 150},
			{Cycle: 0, Cleaning: 2, Context: 0, Value: 20},
			{Cycle: 1, Cleaning: 1, Context: 0, Value: 20, Culture: true},
		},
	}
	levels := []reading.Level{facility(scope.OuterDistalEnd, 0, 200), facility(scope.InstrumentLumen, 0, 200)}
	stricter := []reading.Level{levels[0], facility(scope.InstrumentLumen, 0, 100)}
	got, err := h.Compare(levels, stricter, terms(3, failingPoints))
	if err != nil {
		t.Fatal(err)
	}
	want := []level.Change{{Cycle: 0, Cleaning: 2, Today: reading.OK, Proposed: reading.None}}
	if !reflect.DeepEqual(got.Changes, want) || got.Proposed.Undecided != 1 || got.Today.Undecided != 0 {
		t.Errorf("changes %+v, tallies %+v and %+v", got.Changes, got.Today, got.Proposed)
	}
	// A re-clean without a result asks for the failing point only, at the cost of a reading before.
	h.Rows = []level.Row{
		{Cycle: 0, Cleaning: 1, Context: 0, Value: 250, Minutes: 6},
		{Cycle: 0, Cleaning: 1, Context: 1, Value: 20, Minutes: 4},
	}
	for retest, want := range map[reading.Retest]level.Tally{
		reading.FailingPoints: {Cycles: 1, Verifications: 1, Over: 1, Recleans: 1, Unknown: 1, Kits: 3, Minutes: 10 + 16 + 5},
		reading.AllPoints:     {Cycles: 1, Verifications: 1, Over: 1, Recleans: 1, Unknown: 1, Kits: 4, Minutes: 10 + 16 + 10},
	} {
		got, err := h.Compare(levels, nil, terms(3, func(t *level.Terms) { t.Rules.Retest = retest }))
		if err != nil || got.Today != want {
			t.Errorf("%s: %+v, %v; want %+v", retest, got.Today, err, want)
		}
	}
}

// Without levels nothing can be said, least of all that a culture was missed.
func TestReplayWithoutLevels(t *testing.T) {
	h := level.History{
		Contexts: contexts(scope.Duodenoscope, scope.OuterDistalEnd),
		Rows: []level.Row{
			{Cycle: 0, Cleaning: 1, Value: 250, Culture: true},
			{Cycle: 0, Cleaning: 2, Value: 20},
			{Cycle: 1, Cleaning: 1, Value: 20, Culture: true},
		},
	}
	got, err := h.Compare(nil, nil, terms(3))
	if err != nil {
		t.Fatal(err)
	}
	if p := got.Proposed; p.Undecided != 3 || p.Unjudged != 2 || p.Missed != 0 || p.Over != 0 {
		t.Errorf("without levels: %+v", p)
	}
}

func TestReplayRefuses(t *testing.T) {
	good := level.Row{Value: 10, Cleaning: 1}
	with := func(change func(*level.Row)) level.Row {
		r := good
		change(&r)
		return r
	}
	two := append(contexts(scope.Duodenoscope, scope.OuterDistalEnd), contexts(scope.Colonoscope, scope.OuterDistalEnd)...)
	levels := []reading.Level{facility(scope.OuterDistalEnd, 0, 200)}
	protein := levels[0]
	protein.Analyte, protein.Unit = reading.Protein, reading.PerCM2
	free := levels[0]
	free.Comparison = ""
	tests := []struct {
		reason   string
		contexts []level.Context
		rows     []level.Row
		levels   []reading.Level
		terms    level.Terms
		want     string
	}{
		{"no context", nil, []level.Row{good}, levels, terms(1), "context 0 of 0"},
		{"unknown kind", []level.Context{{Point: scope.OuterDistalEnd, Kind: "kite"}}, []level.Row{good}, levels, terms(1), `kind "kite"`},
		{"a value below 0", two, []level.Row{with(func(r *level.Row) { r.Value = -1 })}, levels, terms(1), "-1 RLU"},
		{"cleaning 0", two, []level.Row{with(func(r *level.Row) { r.Cleaning = 0 })}, levels, terms(1), "count from 1"},
		{"minutes that are none", two, []level.Row{with(func(r *level.Row) { r.Minutes = float32(math.NaN()) })}, levels, terms(1), "NaN minutes"},
		{"a number far out", two, []level.Row{with(func(r *level.Row) { r.Cycle = 7 })}, levels, terms(1), "cycle 7"},
		{"a gap", two, []level.Row{good, with(func(r *level.Row) { r.Cycle = 2 }), good}, levels, terms(1), "cycle 1 has no reading"},
		{"two kinds of scope", two, []level.Row{good, with(func(r *level.Row) { r.Context = 1 })}, levels, terms(1), "to a colonoscope"},
		{"no cleanings allowed", two, []level.Row{good}, levels, terms(0), "cleanings must be 1"},
		{"cleaning that takes back time", two, []level.Row{good}, levels, terms(1, func(t *level.Terms) { t.CleaningMinutes = -1 }), "-1 minutes"},
		{"a level without comparison", two, []level.Row{good}, []reading.Level{free}, terms(1), "comparison"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			_, err := level.History{Contexts: test.contexts, Rows: test.rows}.Compare(test.levels, test.levels, test.terms)
			if err == nil || !strings.Contains(err.Error(), test.want) {
				t.Errorf("got %v, want %q in it", err, test.want)
			}
		})
	}
	// A level for protein is not found for readings in RLU, so it does no harm.
	if _, err := (level.History{Contexts: two, Rows: []level.Row{good}}).Compare([]reading.Level{protein}, nil, terms(1)); err != nil {
		t.Error(err)
	}
	if got, err := (level.History{}).Compare(levels, levels, terms(1)); err != nil || got.Today != (level.Tally{}) {
		t.Errorf("no past: %+v, %v", got, err)
	}
}

// drawLevel draws a level whose limits lie among the values that drawHistory draws.
func drawLevel(t *rapid.T, point scope.PointKind, kind scope.Kind) reading.Level {
	action := rapid.IntRange(1, 12).Draw(t, "action")
	l := facility(point, unit.Number(rapid.IntRange(0, action).Draw(t, "alert")), unit.Number(action))
	l.Kind = kind
	l.Comparison = rapid.SampledFrom([]reading.Comparison{reading.Over, reading.AtOrOver}).Draw(t, "comparison")
	l.CV = rapid.SampledFrom([]unit.Number{0, 0.2, 0.5}).Draw(t, "cv")
	return l
}

func drawLevels(t *rapid.T) []reading.Level {
	var levels []reading.Level
	for _, p := range []scope.PointKind{scope.OuterDistalEnd, scope.InstrumentLumen, scope.ElevatorRecess} {
		for _, k := range []scope.Kind{"", scope.Colonoscope} {
			if rapid.IntRange(0, 3).Draw(t, "adopt") > 0 {
				levels = append(levels, drawLevel(t, p, k))
			}
		}
	}
	return levels
}

func drawTerms(t *rapid.T) level.Terms {
	return terms(rapid.IntRange(1, 3).Draw(t, "cleanings"), func(terms *level.Terms) {
		terms.Rules.Retest = rapid.SampledFrom([]reading.Retest{reading.AllPoints, reading.FailingPoints}).Draw(t, "retest")
		terms.Rules.Combine = rapid.SampledFrom(reading.Combines).Draw(t, "combine")
		terms.Rules.Duplicate = rapid.Bool().Draw(t, "duplicate")
		terms.MaxChanges = 1000
	})
}

func drawHistory(t *rapid.T) level.History {
	kinds := []scope.Kind{scope.Duodenoscope, scope.Colonoscope}
	h := level.History{}
	for _, k := range kinds {
		h.Contexts = append(h.Contexts, contexts(k, scope.OuterDistalEnd, scope.InstrumentLumen, scope.ElevatorRecess)...)
	}
	for cycle := range int32(rapid.IntRange(1, 4).Draw(t, "cycles")) {
		k := rapid.IntRange(0, 1).Draw(t, "kind")
		for range rapid.IntRange(1, 8).Draw(t, "rows") {
			h.Rows = append(h.Rows, level.Row{
				Cycle:    cycle,
				Value:    int32(rapid.IntRange(0, 14).Draw(t, "value")),
				Cleaning: uint8(rapid.IntRange(1, 4).Draw(t, "cleaning")),
				Context:  uint16(3*k + rapid.IntRange(0, 2).Draw(t, "point")),
				Culture:  rapid.IntRange(0, 5).Draw(t, "culture") == 0,
				Minutes:  float32(rapid.IntRange(0, 3).Draw(t, "minutes")),
			})
		}
	}
	return level.History{Contexts: h.Contexts, Rows: rapid.Permutation(h.Rows).Draw(t, "order")}
}

// followSlowly replays one set of levels with package reading alone and counts the verifications: the
// outcome of each (cycle, cleaning), and the tally without its cost.
func followSlowly(h level.History, levels []reading.Level, terms level.Terms) (map[[2]int]reading.Outcome, level.Tally) {
	outcomes := map[[2]int]reading.Outcome{}
	var tally level.Tally
	cycles := 0
	for _, r := range h.Rows {
		cycles = max(cycles, int(r.Cycle)+1)
	}
	for cycle := range cycles {
		tally.Cycles++
		over, passed, undecided, culture := 0, false, false, false
		var before *reading.Verification
		unknown := false
		for cleaning := 1; cleaning <= 4; cleaning++ {
			results := map[scope.PointKind]*reading.PointResult{}
			sampled := false
			for _, r := range h.Rows {
				if int(r.Cycle) != cycle || int(r.Cleaning) != cleaning {
					continue
				}
				sampled = true
				culture = culture || r.Culture
				c := h.Contexts[r.Context]
				if results[c.Point] == nil {
					results[c.Point] = &reading.PointResult{Point: c.Point}
				}
				v := reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: unit.Number(r.Value)}
				j := reading.Judge(v, reading.Circumstances{System: c.System, Kit: c.Kit, Point: c.Point, Kind: c.Kind, At: terms.AsOf}, levels)
				results[c.Point].Readings = append(results[c.Point].Readings, j)
			}
			if !sampled {
				continue
			}
			if passed {
				outcomes[[2]int{cycle, cleaning}] = level.Spared
				tally.Spared++
				continue
			}
			var required []scope.PointKind
			if before != nil && terms.Rules.Retest == reading.FailingPoints {
				required = before.Next.Points
				for _, p := range before.Points {
					if p.Outcome.Passed() && results[p.Point] == nil {
						results[p.Point] = &reading.PointResult{Point: p.Point, Outcome: p.Outcome, Carried: true}
					}
					if !p.Outcome.Passed() {
						required = append(required, p.Point)
					}
				}
			}
			var list []reading.PointResult
			for _, p := range results {
				list = append(list, *p)
			}
			rules := terms.Rules
			rules.Cleanings = 100 // the limit is looked at below
			verification := rules.Judge(cleaning, required, list)
			outcomes[[2]int{cycle, cleaning}] = verification.Outcome
			tally.Verifications++
			before, unknown = nil, false
			switch verification.Outcome {
			case reading.Action:
				tally.Over++
				over++
				before = &verification
				if over < terms.Rules.Cleanings {
					tally.Recleans++
					unknown = true
				}
				if over == terms.Rules.Cleanings {
					tally.Holds++
				}
			case reading.Alert:
				tally.Alerts++
				passed = true
			case reading.OK:
				passed = true
			default:
				tally.Undecided++
				undecided = true
			}
		}
		if unknown {
			tally.Unknown++
		}
		switch {
		case !culture:
		case over > 0:
			tally.Caught++
		case undecided:
			tally.Unjudged++
		default:
			tally.Missed++
		}
	}
	return outcomes, tally
}

// The replay gives what package reading gives, reading by reading and verification by verification.
func TestReplayEqualsReading(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h, terms := drawHistory(t), drawTerms(t)
		today, proposed := drawLevels(t), drawLevels(t)
		got, err := h.Compare(today, proposed, terms)
		if err != nil {
			t.Fatal(err)
		}
		a, tallyA := followSlowly(h, today, terms)
		b, tallyB := followSlowly(h, proposed, terms)
		for _, side := range []struct{ got, want level.Tally }{{got.Today, tallyA}, {got.Proposed, tallyB}} {
			side.want.Kits, side.want.Minutes = side.got.Kits, side.got.Minutes
			if side.got != side.want {
				t.Fatalf("got  %+v\nwant %+v", side.got, side.want)
			}
		}
		var want []level.Change
		for cycle := range got.Today.Cycles {
			for cleaning := 1; cleaning <= 4; cleaning++ {
				key := [2]int{cycle, cleaning}
				if a[key] != b[key] {
					want = append(want, level.Change{Cycle: cycle, Cleaning: cleaning, Today: a[key], Proposed: b[key]})
				}
			}
		}
		if got.Changed != len(want) || !reflect.DeepEqual(got.Changes, want) {
			t.Fatalf("changes %+v, want %+v", got.Changes, want)
		}
	})
}

// What the tallies promise whatever the levels.
func TestReplayProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h, terms := drawHistory(t), drawTerms(t)
		terms.Rules.Duplicate = false // a duplicate that is wanted is not a pass
		low := drawLevels(t)
		high := make([]reading.Level, len(low))
		up := rapid.IntRange(0, 5).Draw(t, "up")
		for i, l := range low {
			l.Action += unit.Number(up)
			high[i] = l
		}
		got, err := h.Compare(low, high, terms)
		if err != nil {
			t.Fatal(err)
		}
		if got.Proposed.Recleans > got.Today.Recleans || got.Proposed.Over > got.Today.Over || got.Proposed.Holds > got.Today.Holds ||
			got.Proposed.Caught > got.Today.Caught {
			t.Fatalf("a higher level asks for more: %+v, then %+v", got.Today, got.Proposed)
		}
		var sum level.Tally
		for _, k := range got.Kinds {
			sum.Kits += k.Today.Kits
			sum.Verifications += k.Today.Verifications
		}
		if sum.Kits != got.Today.Kits || sum.Verifications != got.Today.Verifications {
			t.Fatalf("the kinds add up to %+v, the total is %+v", sum, got.Today)
		}
		for _, x := range []level.Tally{got.Today, got.Proposed} {
			if x.Verifications+x.Spared != got.Today.Verifications+got.Today.Spared || x.Over+x.Alerts+x.Undecided > x.Verifications {
				t.Fatalf("rounds get lost: %+v", x)
			}
			if x.Unknown == 0 && x.Spared == 0 && x.Kits != len(h.Rows) {
				t.Fatalf("%d kits for %d readings", x.Kits, len(h.Rows))
			}
		}
		same, err := h.Compare(low, low, terms)
		if err != nil || same.Changed != 0 || same.Today != same.Proposed || same.Today != got.Today {
			t.Fatalf("the same levels differ: %+v, %v", same, err)
		}
	})
}

// The goal is below 300 ms for a million readings under two sets of levels.
func BenchmarkReplay(b *testing.B) {
	const n = 1_000_000
	rng := rand.New(rand.NewPCG(5, 5))
	points := []scope.PointKind{scope.OuterDistalEnd, scope.ElevatorRecess, scope.InstrumentLumen}
	var h level.History
	var today, proposed []reading.Level
	for _, k := range scope.Kinds {
		h.Contexts = append(h.Contexts, contexts(k, points...)...)
	}
	for _, p := range points {
		today, proposed = append(today, facility(p, 100, 200)), append(proposed, facility(p, 80, 150))
	}
	for cycle := int32(0); len(h.Rows) < n; cycle++ {
		kind := rng.IntN(len(scope.Kinds))
		for cleaning := uint8(1); cleaning <= 3; cleaning++ {
			failed := false
			for p := range points {
				v := int32(math.Exp(3.5 + rng.NormFloat64()))
				failed = failed || v > 200
				h.Rows = append(h.Rows, level.Row{
					Cycle: cycle, Cleaning: cleaning, Value: v, Minutes: 2, Context: uint16(3*kind + p), Culture: v%50 == 0,
				})
			}
			if !failed {
				break
			}
		}
	}
	b.Run(fmt.Sprintf("%d readings", n), func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := h.Compare(today, proposed, terms(3)); err != nil {
				b.Fatal(err)
			}
		}
	})
}
