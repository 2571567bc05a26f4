package quality_test

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
)

func TestRulesCheck(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason string
		rules  quality.Rules
		want   string
	}{
		{"limits alone", quality.Rules{}, ""},
		{"as first published", classic(), ""},
		{"unknown", quality.Rules{Use: []quality.Rule{"7-t"}}, `"7-t" is not known`},
		{"the limits cannot be switched", quality.Rules{Use: []quality.Rule{quality.OutsideLimits}}, "is not known"},
		{"twice", quality.Rules{Use: []quality.Rule{quality.TenX, quality.TenX}}, "listed twice"},
		{"a warning that is not in use", quality.Rules{Use: []quality.Rule{quality.TenX}, WarningFirst: true}, "comes first but is not in use"},
		{"unknown kind", quality.Rules{Required: []quality.ControlKind{"x"}}, `"x" is not known`},
	}
	for _, test := range tests {
		if err := test.rules.Check(); !mentions(err, test.want) {
			t.Errorf("%s: got %v, want %q", test.reason, err, test.want)
		}
	}
}

// The definitions of Westgard et al., Clin Chem 1981;27:493-501, at and beside their limits. The
// last run is judged; A, B and C are levels, numbers are z.
func TestMultiRules(t *testing.T) {
	t.Parallel()
	every := quality.Rules{Use: quality.MultiRules}
	across := quality.Rules{Use: quality.MultiRules, AcrossLevels: true}
	without := func(rule quality.Rule) quality.Rules {
		return quality.Rules{Use: slices.DeleteFunc(slices.Clone(quality.MultiRules), func(r quality.Rule) bool { return r == rule })}
	}
	tests := []struct {
		reason string
		rules  quality.Rules
		runs   string
		want   string
	}{
		{"in order", every, "A0.5 B-0.5", "accepted"},
		{"exactly 2 is not beyond 2", every, "A2", "accepted"},
		{"a warning above", every, "A2.1", "warning 1-2s(1A)"},
		{"a warning below", every, "A-2.1", "warning 1-2s(1A)"},
		{"the warning switched off", without(quality.OneTwo), "A2.1", "accepted"},
		{"exactly 3 is not beyond 3", every, "A3", "warning 1-2s(1A)"},
		{"beyond 3 above", every, "A3.1", "rejected 1-2s(1A) 1-3s(1A)"},
		{"beyond 3 below", every, "A-2.99 B0", "warning 1-2s(1A)"},
		{"1-3s switched off", without(quality.OneThree), "A3.1", "warning 1-2s(1A)"},

		{"2-2s of one level across runs", every, "A2.1; A2.2", "rejected 1-2s(2A) 2-2s(1A 2A)"},
		{"2-2s across a run without the level", every, "A2.1; B0; A2.2", "rejected 1-2s(3A) 2-2s(1A 3A)"},
		{"2-2s on opposite sides is none", every, "A2.1; A-2.2", "warning 1-2s(2A)"},
		{"2-2s broken by a good control", every, "A2.1; A0; A2.2", "warning 1-2s(3A)"},
		{"2-2s of two levels in one run", every, "A2.1 B2.2", "rejected 1-2s(1A 1B) 2-2s(1A 1B)"},
		{"2-2s of two levels in two runs is none", across, "A0 B2.1; A2.2 B0", "warning 1-2s(2A)"},
		{"2-2s needs both beyond 2, not at it", every, "A2; A2.2", "warning 1-2s(2A)"},
		{"2-2s switched off", without(quality.TwoTwo), "A2.1; A2.2", "warning 1-2s(2A)"},

		{"R-4s in one run", every, "A2.1 B-2.1", "rejected 1-2s(1A 1B) R-4s(1A 1B)"},
		{"R-4s names those beyond 2 only", every, "A2.1 B0 C-2.1", "rejected 1-2s(1A 1C) R-4s(1A 1C)"},
		{"R-4s not across runs", every, "A2.1; A-2.1", "warning 1-2s(2A)"},
		{"4 apart in another way is none", every, "A2.8 B-1.5", "warning 1-2s(1A)"},
		{"exactly −2 is not below −2", every, "A2.5 B-2", "warning 1-2s(1A)"},
		{"R-4s switched off", without(quality.RFour), "A2.1 B-2.1", "warning 1-2s(1A 1B)"},

		{"4-1s of one level", every, "A1.1; A1.2; A1.3; A1.4", "rejected 4-1s(1A 2A 3A 4A)"},
		{"3 are not 4", every, "A1.1; A1.2; A1.3", "accepted"},
		{"exactly 1 is not beyond 1", every, "A1.1; A1; A1.3; A1.4", "accepted"},
		{"4-1s below", every, "A-1.1; A-1.2; A-1.3; A-1.4", "rejected 4-1s(1A 2A 3A 4A)"},
		{"4-1s names the last four", every, "A1.1; A1.2; A1.3; A1.4; A1.5", "rejected 4-1s(2A 3A 4A 5A)"},
		{"4-1s across levels", across, "A1.1 B1.2; A1.3 B1.4", "rejected 4-1s(1A 1B 2A 2B)"},
		{"4-1s not across levels unless asked", every, "A1.1 B1.2; A1.3 B1.4", "accepted"},
		{"4-1s switched off", without(quality.FourOne), "A1.1; A1.2; A1.3; A1.4", "accepted"},

		{"10-x of one level", every, "A.1; A.1; A.1; A.1; A.1; A.1; A.1; A.1; A.1; A.2", "rejected 10-x(1A 2A 3A 4A 5A 6A 7A 8A 9A 10A)"},
		{"9 are not 10", every, "A.1; A.1; A.1; A.1; A.1; A.1; A.1; A.1; A.1", "accepted"},
		{"a control on the mean is on no side", every, "A.1; A.1; A.1; A.1; A0; A.1; A.1; A.1; A.1; A.2", "accepted"},
		{"10-x across levels", across, "A.1 B.2; A.1 B.2; A.1 B.2; A.1 B.2; A.1 B.2", "rejected 10-x(1A 1B 2A 2B 3A 3B 4A 4B 5A 5B)"},
		{"10-x switched off", without(quality.TenX), "A.1; A.1; A.1; A.1; A.1; A.1; A.1; A.1; A.1; A.2", "accepted"},

		{"what was rejected stays in the count", every, "A3.2; A2.1", "rejected 1-2s(2A) 2-2s(1A 2A)"},
		{"the warning comes first: a slow drift alone is not looked at", classic(), "A1.1; A1.2; A1.3; A1.4", "accepted"},
		{"the warning comes first: then it is", classic(), "A1.1; A1.2; A1.3; A2.4", "rejected 1-2s(4A) 4-1s(1A 2A 3A 4A)"},

		{"a blank at its limit", every, "A0 blank10", "accepted"},
		{"a blank over its limit", every, "A0 blank11", "rejected limits(1blank)"},
		{"limits count whatever comes first", classic(), "A0 blank11", "rejected limits(1blank)"},
		{"no target, no verdict", every, "A0 D0", "unjudged"},
		{"a failure counts although another control has no target", every, "A3.1 D0", "rejected 1-2s(1A) 1-3s(1A)"},
		{"a required kind is missing", quality.Rules{Required: []quality.ControlKind{quality.Blank}}, "A0", "unjudged"},
		{"a required kind is there", quality.Rules{Required: []quality.ControlKind{quality.Blank}}, "A0 blank0", "accepted"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			t.Parallel()
			w := must[*quality.Watch](t)(quality.NewWatch(meter, targets(), test.rules))
			var last quality.Verdict
			for _, run := range parseRuns(t, test.runs) {
				last = must[quality.Verdict](t)(w.Next(run))
			}
			if got := shown(last); got != test.want {
				t.Errorf("%s: got %q, want %q", test.runs, got, test.want)
			}
			if last.Why == "" || (last.Next == "") != (last.Outcome == quality.Accepted) {
				t.Errorf("%s: why %q, next %q", test.runs, last.Why, last.Next)
			}
		})
	}
}

func TestStatedLimits(t *testing.T) {
	t.Parallel()
	stated := levelTarget("A")
	stated.Mean, stated.SD, stated.Runs, stated.Low, stated.High = 0, 0, 0, 100, 200
	run := parseRuns(t, "A0")[0]
	for value, want := range map[unit.Number]string{99: "rejected limits(1A)", 100: "accepted", 200: "accepted", 201: "rejected limits(1A)"} {
		w := must[*quality.Watch](t)(quality.NewWatch(meter, []quality.Target{stated}, classic()))
		run[0].Value = value
		v := must[quality.Verdict](t)(w.Next(run))
		if got := shown(v); got != want {
			t.Errorf("%v RLU within 100 to 200: got %q, want %q", value, got, want)
		}
		if v.Outcome == quality.Rejected && v.Hits[0].Points != quality.UnknownError {
			t.Errorf("limits alone point to %q", v.Hits[0].Points)
		}
	}
}

// What a rule points to decides what a person does next.
func TestErrorKinds(t *testing.T) {
	t.Parallel()
	tests := []struct {
		runs string
		want quality.ErrorKind
		next string
	}{
		{"A3.1", quality.RandomError, "random error"},
		{"A2.1 B-2.1", quality.RandomError, "random error"},
		{"A2.1; A2.1", quality.SystematicError, "systematic error"},
		{"A1.1; A1.1; A1.1; A1.1", quality.SystematicError, "systematic error"},
		{"A.1; A.1; A.1; A.1; A.1; A.1; A.1; A.1; A.1; A.1", quality.SystematicError, "systematic error"},
		{"blank11", quality.BackgroundError, "light without a sample"},
	}
	for _, test := range tests {
		w := must[*quality.Watch](t)(quality.NewWatch(meter, targets(), quality.Rules{Use: quality.MultiRules}))
		var v quality.Verdict
		for _, run := range parseRuns(t, test.runs) {
			v = must[quality.Verdict](t)(w.Next(run))
		}
		if got := v.Hits[len(v.Hits)-1].Points; got != test.want || !strings.Contains(v.Next, test.next) || !strings.Contains(v.Next, "do not use the meter") {
			t.Errorf("%s points to %q: %s", test.runs, got, v.Next)
		}
		for _, other := range tests {
			if other.want != test.want && strings.Contains(v.Next, other.next) {
				t.Errorf("%s also points to %q: %s", test.runs, other.want, v.Next)
			}
		}
	}
}

func TestNextRefuses(t *testing.T) {
	t.Parallel()
	good := func() []quality.Control { return parseRuns(t, "A0 B0")[0] }
	tests := []struct {
		reason string
		change func([]quality.Control) []quality.Control
		want   string
	}{
		{"in order", func(c []quality.Control) []quality.Control { return c }, ""},
		{"no control", func([]quality.Control) []quality.Control { return nil }, "at least one control"},
		{"another meter's", func(c []quality.Control) []quality.Control { c[1].Meter = "M-2"; return c }, "judge each by itself"},
		{"two runs", func(c []quality.Control) []quality.Control { c[1].Run = "x"; return c }, "judge each by itself"},
		{"twice the same", func(c []quality.Control) []quality.Control { c[1] = c[0]; return c }, "given twice"},
		{"one name for the runs of two days", func(c []quality.Control) []quality.Control { c[1].At += unit.Instant(unit.Day); return c }, "name of its own"},
		{"no reading", func(c []quality.Control) []quality.Control { c[1].Value = -1; return c }, "whole number"},
		{"back in time", func(c []quality.Control) []quality.Control { c[0].At, c[1].At = 1, 2; return c }, "in the order of time"},
	}
	for _, test := range tests {
		w := must[*quality.Watch](t)(quality.NewWatch(meter, targets(), classic()))
		if _, err := w.Next(good()); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Next(test.change(good())); !mentions(err, test.want) {
			t.Errorf("%s: got %v, want %q", test.reason, err, test.want)
		}
	}
	if _, err := quality.NewWatch(quality.Meter{}, nil, classic()); err == nil {
		t.Error("a watch without a meter")
	}
	if _, err := quality.NewWatch(meter, []quality.Target{{}}, classic()); err == nil {
		t.Error("a watch with a target that judges nothing")
	}
	if _, err := quality.Verdicts(meter, targets(), classic(), append(good(), good()...), nil); !mentions(err, "given twice") {
		t.Errorf("controls given twice: %v", err)
	}
}

func TestRestartAndEdition(t *testing.T) {
	t.Parallel()
	rules := quality.Rules{Use: quality.MultiRules, AcrossLevels: true}
	controls := slices.Concat(parseRuns(t, "A2.1; A2.2")...)
	second := controls[1].At
	tests := []struct {
		reason   string
		restarts []unit.Instant
		want     string
	}{
		{"none", nil, "rejected 1-2s(2A) 2-2s(1A 2A)"},
		{"between", []unit.Instant{second - 1}, "warning 1-2s(2A)"},
		{"at the instant of the control: it is the first of the new series", []unit.Instant{second}, "warning 1-2s(2A)"},
		{"after it", []unit.Instant{second + 1}, "rejected 1-2s(2A) 2-2s(1A 2A)"},
		{"several, in any order", []unit.Instant{second + 1, second - 1, 1}, "warning 1-2s(2A)"},
	}
	for _, test := range tests {
		got := must[[]quality.Verdict](t)(quality.Verdicts(meter, targets(), rules, controls, test.restarts))
		if s := shown(got[len(got)-1]); s != test.want {
			t.Errorf("restart %s: got %q, want %q", test.reason, s, test.want)
		}
	}
	edition := levelTarget("A")
	edition.Edition, edition.Adopted = "2", second
	got := must[[]quality.Verdict](t)(quality.Verdicts(meter, append(targets(), edition), rules, controls, nil))
	if s := shown(got[1]); s != "warning 1-2s(2A)" {
		t.Errorf("a new edition of the target starts a new series: got %q", s)
	}
}

// drawHistory draws runs of up to three levels with z on a grid that holds every limit and both
// sides of it.
func drawHistory(t *rapid.T) [][]quality.Control {
	var runs [][]quality.Control
	for i := range rapid.IntRange(1, 25).Draw(t, "runs") {
		var run []quality.Control
		for j, level := range []string{"A", "B", "C"}[:rapid.IntRange(1, 3).Draw(t, "levels")] {
			// Half steps from −2.5 to 3.5, so that rounding to whole RLU never crosses a limit.
			z := float64(rapid.IntRange(-5, 7).Draw(t, "half z")) / 2
			run = append(run, quality.Control{
				ID: ledger.ID(fmt.Sprintf("%02d%s", i, level)), Meter: meter.Code, Kind: quality.Positive, Material: "light source",
				Lot: level, Value: rluAt(z), At: since + unit.Instant(10*i+j), Person: "lead", Run: fmt.Sprintf("%02d", i),
			})
		}
		runs = append(runs, run)
	}
	return runs
}

func drawRules(t *rapid.T) quality.Rules {
	var r quality.Rules
	for _, rule := range quality.MultiRules {
		if rapid.Bool().Draw(t, string(rule)) {
			r.Use = append(r.Use, rule)
		}
	}
	r.WarningFirst = slices.Contains(r.Use, quality.OneTwo) && rapid.Bool().Draw(t, "warning first")
	r.AcrossLevels = rapid.Bool().Draw(t, "across levels")
	return r
}

// A watch fed run by run, and all controls at once in any order, come to the same verdicts; no
// argument is changed.
func TestStreamingIsBatch(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		runs, rules := drawHistory(t), drawRules(t)
		w := must[*quality.Watch](t)(quality.NewWatch(meter, targets(), rules))
		var streamed []quality.Verdict
		for _, run := range runs {
			streamed = append(streamed, must[quality.Verdict](t)(w.Next(run)))
		}
		controls := rapid.Permutation(slices.Concat(runs...)).Draw(t, "order")
		before := slices.Clone(controls)
		batch := must[[]quality.Verdict](t)(quality.Verdicts(meter, targets(), rules, controls, nil))
		if !reflect.DeepEqual(streamed, batch) {
			t.Fatalf("streamed\n%+v\nbatch\n%+v", streamed, batch)
		}
		if !slices.Equal(before, controls) {
			t.Fatal("the controls were changed")
		}
	})
}

// Moving controls and target by the same amount on log10 changes nothing: v+1 times 10 is log10
// plus 1, in whole RLU.
func TestShiftInvariance(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		runs, rules := drawHistory(t), drawRules(t)
		controls := slices.Concat(runs...)
		low, high := slices.Clone(targets()), slices.Clone(targets())
		for i := range low[:3] { // the mean is 3 without any constant, 2 + 1 with it
			low[i].Mean, high[i].Mean = 2, 3
		}
		moved := slices.Clone(controls)
		for i := range controls {
			// z as under levelTarget, a decade lower, in whole RLU; then ten times v+1.
			controls[i].Value = unit.Number(math.Round(float64(controls[i].Value+1)/10) - 1)
			controls[i].Value = max(controls[i].Value, 0)
			moved[i].Value = (controls[i].Value+1)*10 - 1
		}
		a := must[[]quality.Verdict](t)(quality.Verdicts(meter, low, rules, controls, nil))
		b := must[[]quality.Verdict](t)(quality.Verdicts(meter, high, rules, moved, nil))
		for i := range a {
			if shown(a[i]) != shown(b[i]) {
				t.Fatalf("run %d: %q and moved %q", i, shown(a[i]), shown(b[i]))
			}
		}
	})
}

// The verdicts agree with the definitions applied by brute force to the whole history.
func TestAgainstDefinitions(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		runs, rules := drawHistory(t), drawRules(t)
		got := must[[]quality.Verdict](t)(quality.Verdicts(meter, targets(), rules, slices.Concat(runs...), nil))
		for i := range runs {
			if want := rejectedByDefinition(rules, runs[:i+1]); want != (got[i].Outcome == quality.Rejected) {
				t.Fatalf("run %d: got %s, by definition rejected = %v", i, shown(got[i]), want)
			}
		}
	})
}

// rejectedByDefinition judges the last of the runs, looking at every window of every sequence.
func rejectedByDefinition(rules quality.Rules, runs [][]quality.Control) bool {
	z := func(c quality.Control) float64 { return levelTarget(c.Lot).Z(c.Value) }
	uses := func(r quality.Rule) bool { return slices.Contains(rules.Use, r) }
	last := runs[len(runs)-1]
	isLast := func(c quality.Control) bool { return c.Run == last[0].Run }
	// window says whether some n consecutive controls, one of the last run among them, are all
	// beyond the limit on one side.
	window := func(s []quality.Control, n int, limit float64) bool {
		for i := 0; i+n <= len(s); i++ {
			w := s[i : i+n]
			above := !slices.ContainsFunc(w, func(c quality.Control) bool { return z(c) <= limit })
			below := !slices.ContainsFunc(w, func(c quality.Control) bool { return z(c) >= -limit })
			if (above || below) && slices.ContainsFunc(w, isLast) {
				return true
			}
		}
		return false
	}
	some := func(is func(z float64) bool) bool {
		return slices.ContainsFunc(last, func(c quality.Control) bool { return is(z(c)) })
	}
	if rules.WarningFirst && !some(func(z float64) bool { return z > 2 || z < -2 }) {
		return false
	}
	all := slices.Concat(runs...)
	sequences := [][]quality.Control{}
	for _, level := range []string{"A", "B", "C"} {
		sequences = append(sequences, slices.DeleteFunc(slices.Clone(all), func(c quality.Control) bool { return c.Lot != level }))
	}
	twos := append(slices.Clone(sequences), last)
	if rules.AcrossLevels {
		sequences = append(sequences, all)
	}
	rejected := uses(quality.OneThree) && some(func(z float64) bool { return z > 3 || z < -3 })
	rejected = rejected || uses(quality.RFour) && some(func(z float64) bool { return z > 2 }) && some(func(z float64) bool { return z < -2 })
	for _, s := range twos {
		rejected = rejected || uses(quality.TwoTwo) && window(s, 2, 2)
	}
	for _, s := range sequences {
		rejected = rejected || uses(quality.FourOne) && window(s, 4, 1) || uses(quality.TenX) && window(s, 10, 0)
	}
	return rejected
}

// BenchmarkVerdicts judges five years of daily checks at three levels.
func BenchmarkVerdicts(b *testing.B) {
	var controls []quality.Control
	for i := range 5 * 365 {
		for j, level := range []string{"A", "B", "C"} {
			controls = append(controls, quality.Control{
				ID: ledger.ID(fmt.Sprintf("%d%s", i, level)), Meter: meter.Code, Kind: quality.Positive, Material: "light source",
				Lot: level, Value: rluAt(math.Sin(float64(7*i + j))), At: since + unit.Instant(10*i+j), Person: "lead", Run: fmt.Sprintf("%d", i),
			})
		}
	}
	for b.Loop() {
		if _, err := quality.Verdicts(meter, targets(), classic(), controls, nil); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(controls)), "ns/control")
}
