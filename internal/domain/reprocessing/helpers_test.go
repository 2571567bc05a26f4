package reprocessing_test

import (
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the zone tests must not depend on the machine

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// instant reads RFC 3339, or a time of day on Monday 2 March 2026 UTC such as "09:17".
func instant(tb testing.TB, text string) unit.Instant {
	tb.Helper()
	if len(text) == len("15:04") {
		text = "2026-03-02T" + text + ":00Z"
	}
	parsed, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		tb.Fatal(err)
	}
	return unit.At(parsed)
}

func berlin(tb testing.TB) *time.Location {
	tb.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		tb.Fatal(err)
	}
	return zone
}

// preset returns the cycle part of the rule set that ships with the program.
func preset(tb testing.TB) reprocessing.Rules {
	tb.Helper()
	r, err := policy.Parse("general.yaml", policy.Preset())
	if err != nil {
		tb.Fatal(err)
	}
	return r.Reprocessing
}

// straight returns the preset of a facility that lets a dried scope go straight to a procedure, without limits between the
// steps after the cleaning: how long a scope waits is seen alone.
func straight(tb testing.TB) reprocessing.Rules {
	tb.Helper()
	rules := preset(tb)
	for i := range rules.Steps {
		switch rules.Steps[i].Step {
		case reprocessing.Storage:
			rules.Steps[i].Required = false
			fallthrough
		case reprocessing.Disinfection, reprocessing.Drying:
			rules.Steps[i].Within, rules.Steps[i].From = 0, ""
		}
	}
	return rules
}

// good returns the history of a duodenoscope that was used once, went through every step of the
// preset on the morning of 2 March 2026 and hangs in a drying cabinet since 10:30.
func good(tb testing.TB) reprocessing.History {
	tb.Helper()
	at := func(text string) unit.Instant { return instant(tb, text) }
	h := reprocessing.History{
		Instrument: scope.Instrument{Tag: "D-01", Model: "duodenoscope A", Owner: scope.Own, InService: instant(tb, "2026-01-01T00:00:00Z")},
		Model: scope.Model{
			Name: "duodenoscope A", Kind: scope.Duodenoscope, Risk: scope.HighRisk, Elevator: true, OuterDiameter: 13, SampledLength: 100,
			Channels: []scope.Channel{
				{Kind: scope.InstrumentChannel, Diameter: 4.2, Length: 1350}, {Kind: scope.ElevatorWireChannel, Diameter: 0.85, Length: 1500},
			},
		},
		Uses: []reprocessing.Use{{Stamp: stamp("use", at("08:30")), Scope: "D-01", Start: at("08:00"), End: at("08:30")}},
	}
	step := func(kind reprocessing.StepKind, start, end string, result reprocessing.Result) reprocessing.Step {
		s := reprocessing.Step{Scope: "D-01", Kind: kind, Start: at(start), Result: result, By: "T. Echnician"}
		if end != "" {
			s.End = at(end)
		}
		s.Stamp = stamp(string(kind), max(s.Start, s.End))
		return s
	}
	disinfection := step(reprocessing.Disinfection, "09:35", "10:05", reprocessing.Pass)
	disinfection.Disinfectant, disinfection.DisinfectantLot, disinfection.DisinfectantExpires = "opa-0.55-reprocessor", "A12", instant(tb, "2026-03-10T00:00:00Z")
	disinfection.DisinfectantFilled = instant(tb, "2026-03-01T05:00:00Z")
	disinfection.MEC, disinfection.Contact = reprocessing.Pass, 5*unit.Minute
	disinfection.Coldest, disinfection.HasTemperature = 25, true
	stored := step(reprocessing.Storage, "10:30", "", reprocessing.NotStated)
	stored.Cabinet = "drying-cabinet"
	h.Steps = []reprocessing.Step{
		step(reprocessing.PointOfUse, "08:32", "08:36", reprocessing.NotStated),
		step(reprocessing.Transport, "08:37", "08:45", reprocessing.NotStated),
		step(reprocessing.LeakTest, "08:50", "08:55", reprocessing.Pass),
		step(reprocessing.ManualCleaning, "09:00", "09:17", reprocessing.NotStated),
		step(reprocessing.Inspection, "09:18", "09:21", reprocessing.Pass),
		disinfection,
		step(reprocessing.FinalRinse, "10:06", "10:10", reprocessing.NotStated),
		step(reprocessing.Drying, "10:11", "10:25", reprocessing.NotStated),
		stored,
	}
	h.Samples = samples(1, at("09:22"))
	h.Decisions = []reprocessing.Decision{decision("round 1", 1, at("08:30"), at("09:22"), at("09:30"), reading.OK)}
	return h
}

func stamp(id string, recorded unit.Instant) reprocessing.Stamp {
	return reprocessing.Stamp{ID: id, Recorded: recorded}
}

// samples are one of each routine point of the duodenoscope.
func samples(cleaning int, at unit.Instant) []reprocessing.Taken {
	var taken []reprocessing.Taken
	for _, point := range []scope.PointKind{scope.OuterDistalEnd, scope.ElevatorRecess, scope.InstrumentLumen, scope.ElevatorWire} {
		taken = append(taken, reprocessing.Taken{
			Stamp:  stamp("sample of "+string(point), at),
			Sample: sampling.Sample{Scope: "D-01", Point: point, Cleaning: cleaning, Kit: "kit", Lot: "L7", Collected: at},
		})
	}
	return taken
}

// decision is the result of a complete verification, or of one over the action level.
func decision(id string, cleaning int, start, first, last unit.Instant, outcome reading.Outcome) reprocessing.Decision {
	verification := reading.Verification{Cleaning: cleaning, Outcome: outcome, Complete: outcome != reading.None, Why: "every point " + string(outcome)}
	verification.Next.Words = "next: " + string(outcome)
	return reprocessing.Decision{
		Stamp: stamp(id, last), Scope: "D-01", Cycle: start, First: first, Last: last, Verification: verification,
		Rules: "General rule set, edition 2026-1",
	}
}

// step returns the only step of a kind.
func step(tb testing.TB, h *reprocessing.History, kind reprocessing.StepKind) *reprocessing.Step {
	tb.Helper()
	found := -1
	for i, s := range h.Steps {
		if s.Kind == kind {
			if found >= 0 {
				tb.Fatalf("two steps %s", kind)
			}
			found = i
		}
	}
	if found < 0 {
		tb.Fatalf("no step %s", kind)
	}
	return &h.Steps[found]
}

// without returns the history without the steps of a kind.
func without(h reprocessing.History, kind reprocessing.StepKind) reprocessing.History {
	h.Steps = slices.DeleteFunc(slices.Clone(h.Steps), func(s reprocessing.Step) bool { return s.Kind == kind })
	return h
}

// status returns where a step of the answer stands.
func status(tb testing.TB, a reprocessing.Answer, kind reprocessing.StepKind) reprocessing.Status {
	tb.Helper()
	for _, p := range a.Steps {
		if p.Step == kind {
			return p.Status
		}
	}
	tb.Fatalf("the answer has no step %s", kind)
	return ""
}

// wantState checks the state, and that a reason of the right weight holds the part: one that blocks
// where the scope is not ready, any where it is.
func wantState(tb testing.TB, a reprocessing.Answer, state reprocessing.State, part string) {
	tb.Helper()
	if a.State != state {
		tb.Errorf("%s, want %s; reasons: %s", a.State, state, told(a))
	}
	if state != reprocessing.Ready && a.Until.Known() {
		tb.Errorf("%s and yet until %s", a.State, a.Until)
	}
	if state == reprocessing.Ready && !a.Until.Known() {
		tb.Errorf("ready without an end")
	}
	if !slices.ContainsFunc(a.Reasons, func(r reprocessing.Reason) bool {
		return strings.Contains(r.Whole(), part) && (state == reprocessing.Ready || r.Blocks)
	}) {
		tb.Errorf("no reason holds %q: %s", part, told(a))
	}
	if state == reprocessing.Ready {
		for _, r := range a.Reasons {
			if r.Blocks {
				tb.Errorf("ready although %q blocks", r.Whole())
			}
		}
	} else if len(a.Next) == 0 {
		tb.Errorf("%s and nothing to do next: %s", a.State, told(a))
	}
}

func told(a reprocessing.Answer) string {
	var parts []string
	for _, r := range a.Reasons {
		if r.Blocks {
			parts = append(parts, "BLOCKS "+r.Whole())
		} else {
			parts = append(parts, r.Whole())
		}
	}
	return strings.Join(parts, "; ")
}

// wantError checks that err holds the part, or is nil where the part is empty.
func wantError(t *testing.T, err error, part string) {
	t.Helper()
	switch {
	case part == "" && err != nil:
		t.Errorf("unexpected error: %v", err)
	case part != "" && (err == nil || !strings.Contains(err.Error(), part)):
		t.Errorf("got error %v, want %q in it", err, part)
	}
}

// again returns a step of the good history once more, so much later.
func again(tb testing.TB, h *reprocessing.History, kind reprocessing.StepKind, by unit.Instant) reprocessing.Step {
	tb.Helper()
	i := slices.IndexFunc(h.Steps, func(s reprocessing.Step) bool { return s.Kind == kind })
	if i < 0 {
		tb.Fatalf("no step %s", kind)
	}
	s := h.Steps[i]
	s.ID += " again"
	s.Start += by
	if s.End.Known() {
		s.End += by
	}
	if s.DisinfectantExpires.Known() {
		s.DisinfectantExpires += by
		s.DisinfectantFilled += by
	}
	return s
}
