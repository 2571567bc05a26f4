package level_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

// One reading decides a verification of one point, so that a replay of single readings shows how each was
// judged; the outcome is that of package reading for every count, at and around each limit.
func TestCountsAreJudgedAsReadingDoes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		action := rapid.IntRange(1, reading.MaxRLU).Draw(t, "action")
		l := facility(scope.OuterDistalEnd, unit.Number(rapid.IntRange(0, action).Draw(t, "alert")), unit.Number(action))
		l.Comparison = rapid.SampledFrom([]reading.Comparison{reading.Over, reading.AtOrOver}).Draw(t, "comparison")
		l.CV = rapid.SampledFrom([]unit.Number{0, 0.3, 2}).Draw(t, "cv")
		if err := l.Check(); err != nil {
			t.Fatal(err)
		}
		terms := terms(1, func(x *level.Terms) { x.Rules.Duplicate = true })
		lo, hi, _ := reading.Band(l.Action, l.CV)
		near := rapid.SampledFrom([]unit.Number{0, l.Alert, l.Action, lo, hi, reading.MaxRLU}).Draw(t, "near")
		n := min(max(int(near)+rapid.IntRange(-2, 2).Draw(t, "off"), 0), reading.MaxRLU)
		v := reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: unit.Number(n)}
		want := terms.Rules.Judge(1, []scope.PointKind{l.Point}, []reading.PointResult{{
			Point: l.Point, Readings: []reading.Judgement{l.Judge(v, reading.Circumstances{})},
		}}).Outcome
		h := level.History{Contexts: contexts(scope.Gastroscope, l.Point), Rows: []level.Row{{Value: int32(n), Cleaning: 1}}}
		got, err := h.Compare([]reading.Level{l}, nil, terms)
		if err != nil {
			t.Fatal(err)
		}
		outcome := reading.OK
		switch x := got.Today; {
		case x.Over == 1:
			outcome = reading.Action
		case x.Alerts == 1:
			outcome = reading.Alert
		case x.Undecided == 1:
			outcome = reading.None
		}
		if outcome != want {
			t.Fatalf("%d RLU under %s/%s (%s, cv %s): %s, package reading says %s", n, l.Alert, l.Action, l.Comparison, l.CV, outcome, want)
		}
	})
}

// Every kind of point and scope has its place in a replay.
func TestReplayOfEveryPoint(t *testing.T) {
	for _, kind := range scope.Kinds {
		h := level.History{Contexts: contexts(kind, scope.PointKinds...)}
		var levels []reading.Level
		for i, p := range scope.PointKinds {
			h.Rows = append(h.Rows, level.Row{Value: 300, Cleaning: 1, Context: uint16(i)})
			levels = append(levels, facility(p, 0, 200))
		}
		got, err := h.Compare(levels, nil, terms(2))
		if err != nil {
			t.Fatal(err)
		}
		if got.Today.Over != 1 || got.Today.Kits != 2*len(scope.PointKinds) || got.Kinds[0].Kind != kind {
			t.Errorf("%s: %+v", kind, got)
		}
	}
}

func TestTargetCheck(t *testing.T) {
	good := level.Target{System: "system A", Kit: "rinsate kit", Point: scope.OuterDistalEnd}
	tests := []struct {
		reason string
		change func(*level.Target)
		want   string
	}{
		{"complete", func(*level.Target) {}, ""},
		{"one kind", func(x *level.Target) { x.Kind = scope.EBUS }, ""},
		{"no system", func(x *level.Target) { x.System = "" }, "one meter system"},
		{"no kit", func(x *level.Target) { x.Kit = "" }, "one kit"},
		{"unknown point", func(x *level.Target) { x.Point = "handle" }, `point "handle"`},
		{"unknown kind", func(x *level.Target) { x.Kind = "kite" }, `kind "kite"`},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			x := good
			test.change(&x)
			err := x.Check()
			if (err == nil) != (test.want == "") || err != nil && !strings.Contains(err.Error(), test.want) {
				t.Errorf("got %v, want %q", err, test.want)
			}
		})
	}
}
