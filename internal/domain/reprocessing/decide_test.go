package reprocessing_test

import (
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// undecided returns the good history without its samples and decisions.
func undecided(t *testing.T) reprocessing.History {
	t.Helper()
	h := good(t)
	h.Samples, h.Decisions = nil, nil
	return h
}

// taken is a sample with the outcomes of its readings, each read 20 s after it was collected.
func taken(at unit.Instant, cleaning int, point scope.PointKind, outcomes ...reading.Outcome) reprocessing.Taken {
	x := reprocessing.Taken{Sample: sampling.Sample{Scope: "D-01", Point: point, Cleaning: cleaning, Collected: at}}
	for _, o := range outcomes {
		x.AddReading(reading.Judgement{Outcome: o}, at+20*unit.Instant(unit.Second), nil)
	}
	return x
}

// everyPoint samples all routine points at an instant with the same outcome.
func everyPoint(h reprocessing.History, at unit.Instant, cleaning int, outcome reading.Outcome) (all []reprocessing.Taken) {
	for _, p := range h.Model.Routine() {
		all = append(all, taken(at, cleaning, p, outcome))
	}
	return all
}

func decide(t *testing.T, h reprocessing.History, change func(*reading.Rules), at string, cleaning int) (reprocessing.Decision, *reprocessing.Decision) {
	t.Helper()
	rules, err := policy.Parse("general.yaml", policy.Preset())
	if err != nil {
		t.Fatal(err)
	}
	judging := rules.Reading
	if change != nil {
		change(&judging)
	}
	return reprocessing.Decide(h, preset(t), judging, instant(t, at), cleaning, berlin(t))
}

func TestDecide(t *testing.T) {
	at := func(text string) unit.Instant { return instant(t, text) }
	t.Run("complete and below", func(t *testing.T) {
		h := undecided(t)
		h.Samples = everyPoint(h, at("09:22"), 1, reading.OK)
		d, prior := decide(t, h, nil, "09:22", 1)
		if prior != nil || !d.Passed() || d.Cycle != at("08:30") || d.First != at("09:22") || d.Last != at("09:22")+20*unit.Instant(unit.Second) {
			t.Errorf("%+v after %v", d, prior)
		}
	})
	t.Run("one point is missing", func(t *testing.T) {
		h := undecided(t)
		h.Samples = everyPoint(h, at("09:22"), 1, reading.OK)[1:]
		if d, _ := decide(t, h, nil, "09:22", 1); d.Verification.Complete || d.Passed() {
			t.Errorf("%+v", d.Verification)
		}
	})
	t.Run("of another cleaning or cycle", func(t *testing.T) {
		h := undecided(t)
		h.Samples = append(everyPoint(h, at("09:22"), 2, reading.OK), everyPoint(h, at("08:30")-1, 1, reading.OK)...)
		if d, _ := decide(t, h, nil, "09:22", 1); d.Passed() || d.First.Known() || d.Last.Known() {
			t.Errorf("%+v", d)
		}
	})
	t.Run("in the instant in which the cycle begins", func(t *testing.T) {
		h := undecided(t)
		h.Samples = everyPoint(h, at("08:30"), 1, reading.Action)
		if d, _ := decide(t, h, nil, "08:30", 1); d.Verification.Outcome != reading.Action {
			t.Errorf("%+v", d)
		}
	})
	t.Run("a void sample does not say when the cleaning verification began", func(t *testing.T) {
		h := undecided(t)
		h.Samples = append(everyPoint(h, at("09:22"), 1, reading.OK), taken(at("09:20"), 1, h.Model.Routine()[0], reading.Void))
		if d, _ := decide(t, h, nil, "09:22", 1); d.First != at("09:22") {
			t.Errorf("begun at %s", d.First)
		}
	})
}

// Where only failing points are sampled again the others are carried over, from the cleaning before and no
// other, and not when they are sampled all the same.
func TestRetestCarriesOver(t *testing.T) {
	at := func(text string) unit.Instant { return instant(t, text) }
	h := undecided(t)
	routine := h.Model.Routine()
	failed := decision("first", 1, at("08:30"), at("09:00"), at("09:05"), reading.Action)
	for i, p := range routine {
		failed.Verification.Points = append(failed.Verification.Points, reading.PointResult{Point: p, Outcome: []reading.Outcome{reading.Action, reading.OK}[min(i,
			1)]})
	}
	h.Decisions = []reprocessing.Decision{failed}
	h.Samples = []reprocessing.Taken{taken(at("09:22"), 2, routine[0], reading.OK)}
	failing := func(r *reading.Rules) { r.Retest = reading.FailingPoints }
	all := func(r *reading.Rules) { r.Retest = reading.AllPoints }
	if d, _ := decide(t, h, failing, "09:22", 2); !d.Passed() {
		t.Errorf("only the failing point is sampled again: %+v", d.Verification)
	}
	if d, _ := decide(t, h, all, "09:22", 2); d.Passed() {
		t.Errorf("all points are to be sampled again: %+v", d.Verification)
	}
	if d, _ := decide(t, h, failing, "09:22", 3); d.Passed() {
		t.Errorf("the cleaning before the last carries nothing: %+v", d.Verification)
	}
	h.Samples = append(h.Samples, taken(at("09:23"), 2, routine[1], reading.Action))
	if d, _ := decide(t, h, failing, "09:23", 2); d.Verification.Outcome != reading.Action {
		t.Errorf("a carried point that is sampled again counts by its sample: %+v", d.Verification)
	}
}

// The last allowed cleaning escalates; a cleaning that passed does not bring it nearer.
func TestEscalation(t *testing.T) {
	at := func(text string) unit.Instant { return instant(t, text) }
	h := undecided(t)
	three := func(r *reading.Rules) { r.Cleanings = 3 }
	for _, test := range []struct {
		before   []reading.Outcome
		cleaning int
		want     bool
	}{
		{[]reading.Outcome{reading.Action}, 2, false},
		{[]reading.Outcome{reading.Action, reading.Action}, 3, true},
		{[]reading.Outcome{reading.OK, reading.Action}, 3, false},
		{[]reading.Outcome{reading.Alert, reading.Action, reading.Action}, 4, true},
	} {
		h.Decisions = nil
		for i, o := range test.before {
			when := at("08:40") + unit.Instant(i)*mins
			h.Decisions = append(h.Decisions, decision("d", i+1, at("08:30"), when, when, o))
		}
		h.Samples = everyPoint(h, at("09:22"), test.cleaning, reading.Action)
		d, prior := decide(t, h, three, "09:22", test.cleaning)
		hold := d.Hold("verification", "T-01")
		if !d.HoldsAfter(prior) || hold.Escalated != test.want || hold.EndsByVerification() == test.want || hold.At != d.Last || hold.Cause != "verification" {
			t.Errorf("after %v: %+v, want escalated = %t", test.before, hold, test.want)
		}
	}
}

func TestNewDecision(t *testing.T) {
	base := decision("first", 1, 10, 20, 30, reading.OK)
	over, open := decision("first", 1, 10, 20, 30, reading.Action), decision("first", 1, 10, 20, 30, reading.None)
	later := base
	later.Last++
	for _, test := range []struct {
		name        string
		d           reprocessing.Decision
		prior       *reprocessing.Decision
		isNew, hold bool
	}{
		{"complete", base, nil, true, false},
		{"unfinished", open, nil, false, false},
		{"over the action level", over, nil, true, true},
		{"the same again", base, &base, false, false},
		{"read later", later, &base, true, false},
		{"passed before, over now", over, &base, true, true},
		{"over before and now", over, &over, false, false},
		{"passed before, unfinished now", open, &base, true, false},
	} {
		if got := test.d.New(test.prior); got != test.isNew {
			t.Errorf("%s: new = %t, want %t", test.name, got, test.isNew)
		}
		if got := test.d.HoldsAfter(test.prior); got != test.hold {
			t.Errorf("%s: holds = %t, want %t", test.name, got, test.hold)
		}
	}
}
