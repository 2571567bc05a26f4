package reading_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

func TestLaxer(t *testing.T) {
	level := reading.Level{
		System: "A", Kit: "K", Point: scope.OuterDistalEnd, Analyte: reading.ATP, Unit: reading.RLU, Alert: 100, Action: 200, Comparison: reading.AtOrOver, CV: 0.3,
	}
	strip := reading.Level{Analyte: reading.Strip, Unit: reading.StripRun, Dirty: []string{"red", "pink"}, Clean: []string{"green"}}
	change := func(l reading.Level, f func(*reading.Level)) reading.Level {
		f(&l)
		return l
	}
	for _, test := range []struct {
		name          string
		before, after reading.Level
		want          string
	}{
		{"the same", level, level, ""},
		{"lower", level, change(level, func(l *reading.Level) { l.Action, l.Alert = 150, 50 }), ""},
		{"lower, exceeded only over it", level, change(level, func(l *reading.Level) { l.Action, l.Comparison = 199, reading.Over }), ""},
		{"another source", level, change(level, func(l *reading.Level) { l.Source, l.Edition, l.Adopter, l.Adopted = "s", "2", "L", 5 }), ""},
		{"an alert level as well", change(level, func(l *reading.Level) { l.Alert = 0 }), level, ""},
		{"higher", level, change(level, func(l *reading.Level) { l.Action = 201 }), "action level 201 instead of 200 RLU"},
		{"only over it", level, change(level, func(l *reading.Level) { l.Comparison = reading.Over }), "a value at the action level does not exceed it any more"},
		{"a higher alert level", level, change(level, func(l *reading.Level) { l.Alert = 101 }), "alert level 101 instead of 100 RLU"},
		{"no alert level", level, change(level, func(l *reading.Level) { l.Alert = 0 }), "alert level none instead of 100 RLU"},
		{"a narrower band", level, change(level, func(l *reading.Level) { l.CV = 0.2 }), "fewer values near a level are read a second time"},
		{"another unit", level, change(level, func(l *reading.Level) { l.Unit = reading.PerML }), "it judges atp in ug/mL instead of atp in RLU"},
		{"a dirty word less", strip, change(strip, func(l *reading.Level) { l.Dirty = []string{"RED"} }), `"pink" does not count as dirty any more`},
		{"a clean word more", strip, change(strip, func(l *reading.Level) { l.Clean = []string{"green", "pale"} }), `"pale" counts as clean`},
		{"the words in another case", strip, change(strip, func(l *reading.Level) { l.Clean, l.Dirty = []string{"GREEN"}, []string{"Pink", "Red"} }), ""},
	} {
		less := reading.Laxer(test.before, test.after)
		if test.want == "" && len(less) > 0 || test.want != "" && !slices.Contains(less, test.want) {
			t.Errorf("%s: %q, want %q", test.name, less, test.want)
		}
	}
}

// What is not less lets no value pass that did not, and calls none better.
func TestLaxerLetsNothingPass(t *testing.T) {
	level := func(t *rapid.T, name string) reading.Level {
		action := rapid.IntRange(1, 6).Draw(t, name+" action")
		return reading.Level{
			System: "A", Kit: "K", Point: scope.OuterDistalEnd, Analyte: reading.ATP, Unit: reading.RLU, Action: unit.Number(action),
			Alert:      unit.Number(rapid.IntRange(0, action).Draw(t, name+" alert")),
			Comparison: rapid.SampledFrom([]reading.Comparison{reading.Over, reading.AtOrOver}).Draw(t, name+" comparison"),
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		before, after := level(t, "before"), level(t, "after")
		if less := reading.Laxer(before, before); len(less) > 0 {
			t.Fatalf("the same: %q", less)
		}
		if len(reading.Laxer(before, after)) > 0 {
			return
		}
		for n := range 8 {
			v := reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: unit.Number(n)}
			c := reading.Circumstances{System: "A", Kit: "K", Point: scope.OuterDistalEnd}
			was, is := before.Judge(v, c), after.Judge(v, c)
			if is.Outcome.Severity() < was.Outcome.Severity() {
				t.Fatalf("%d: %s instead of %s", n, is.Outcome, was.Outcome)
			}
		}
	})
}

// A level takes the place of what judges the same, then or later, and one for a kind that of the one for all.
func TestReplaces(t *testing.T) {
	level := func(edition string, kind scope.Kind, from unit.Instant) reading.Level {
		return reading.Level{System: "A", Kit: "K", Point: scope.OuterDistalEnd, Kind: kind, Analyte: reading.ATP, Edition: edition, Adopted: from}
	}
	gone := level("gone", "", 15)
	gone.Until = 18
	other := level("other", "", 1)
	other.Kit = "K2"
	all := []reading.Level{level("old", "", 1), level("now", "", 10), level("coming", "", 30), level("gastro", scope.Gastroscope, 5), gone, other}
	for kind, want := range map[scope.Kind][]string{
		"": {"coming", "now"}, scope.Gastroscope: {"gastro"}, scope.Duodenoscope: {"coming", "now"},
	} {
		var got []string
		for _, x := range level("new", kind, 20).Replaces(all, 20) {
			got = append(got, x.Edition)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%q: %q, want %q", kind, got, want)
		}
	}
}
