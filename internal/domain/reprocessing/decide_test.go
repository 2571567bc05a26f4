package reprocessing_test

import (
	"slices"
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

// A point that nobody has to sample, and that was over the action level when somebody did, has to be sampled after a
// later cleaning until it passes: other points do not show that it is clean.
func TestPointOverTheActionLevelIsSampledAgain(t *testing.T) {
	at := func(text string) unit.Instant { return instant(t, text) }
	h := undecided(t)
	const extra = scope.SuctionLumen
	over := decision("first", 1, at("08:30"), at("08:50"), at("08:51"), reading.Action)
	over.Verification.Points = []reading.PointResult{{Point: extra, Outcome: reading.Action}}
	missed := decision("second", 2, at("08:30"), at("09:00"), at("09:01"), reading.Action)
	missed.Verification.Points = []reading.PointResult{{Point: extra, Outcome: reading.None}}
	passed := decision("second", 2, at("08:30"), at("09:00"), at("09:01"), reading.Action)
	passed.Verification.Points = []reading.PointResult{{Point: extra, Outcome: reading.Alert}}
	repaired := reprocessing.Repair{Repair: scope.Repair{Scope: "D-01", Sent: at("08:52"), Returned: at("09:10")}}
	for name, test := range map[string]struct {
		before   []reprocessing.Decision
		cleaning int
		change   func(h *reprocessing.History)
		passes   bool
	}{
		"not sampled":              {[]reprocessing.Decision{over}, 2, nil, false},
		"sampled, and it passed":   {[]reprocessing.Decision{over}, 2, sampled(taken(at("09:22"), 2, extra, reading.OK)), true},
		"sampled, and over again":  {[]reprocessing.Decision{over}, 2, sampled(taken(at("09:22"), 2, extra, reading.Action)), false},
		"not sampled since, twice": {[]reprocessing.Decision{over, missed}, 3, nil, false},
		"out of order":             {[]reprocessing.Decision{missed, over}, 3, nil, false},
		"passed since":             {[]reprocessing.Decision{over, passed}, 3, nil, true},
		"over later":               {[]reprocessing.Decision{over}, 1, nil, true},
		"over before a repair": {[]reprocessing.Decision{over}, 2, func(h *reprocessing.History) {
			h.Repairs = []reprocessing.Repair{repaired}
		}, true},
	} {
		h.Decisions, h.Repairs = test.before, nil
		h.Samples = everyPoint(h, at("09:22"), test.cleaning, reading.OK)
		if test.change != nil {
			test.change(&h)
		}
		if d, _ := decide(t, h, nil, "09:22", test.cleaning); d.Passed() != test.passes {
			t.Errorf("%s: passed = %t, want %t: %+v", name, d.Passed(), test.passes, d.Verification)
		}
	}
}

func sampled(x reprocessing.Taken) func(*reprocessing.History) {
	return func(h *reprocessing.History) { h.Samples = append(h.Samples, x) }
}

// What was sampled and decided after a repair is of another cycle.
func TestDecideLeavesTheNextCycle(t *testing.T) {
	at := func(text string) unit.Instant { return instant(t, text) }
	h := undecided(t)
	h.Repairs = []reprocessing.Repair{{Repair: scope.Repair{Scope: "D-01", Sent: at("09:30"), Returned: at("10:00")}}}
	h.Samples = append(everyPoint(h, at("09:22"), 1, reading.OK), everyPoint(h, at("10:00"), 1, reading.Action)...)
	h.Decisions = []reprocessing.Decision{decision("after", 1, at("10:00"), at("10:00"), at("10:01"), reading.Action)}
	if d, prior := decide(t, h, nil, "09:22", 1); prior != nil || !d.Passed() {
		t.Errorf("%+v after %+v", d.Verification, prior)
	}
	if d, prior := decide(t, h, nil, "10:00", 1); prior == nil || d.Verification.Outcome != reading.Action {
		t.Errorf("after the repair: %+v after %+v", d.Verification, prior)
	}
}

// The cleanings after one are those of its cycle that were sampled or decided on, in order.
func TestLaterCleanings(t *testing.T) {
	at := func(text string) unit.Instant { return instant(t, text) }
	h := undecided(t)
	h.Repairs = []reprocessing.Repair{{Repair: scope.Repair{Scope: "D-01", Sent: at("10:30"), Returned: at("11:00")}}}
	tip := h.Model.Routine()[0]
	h.Samples = []reprocessing.Taken{
		taken(at("09:22"), 1, tip, reading.Action), taken(at("09:52"), 3, tip, reading.OK), taken(at("09:42"), 2, tip, reading.OK),
		taken(at("09:43"), 2, tip, reading.OK), taken(at("11:00"), 5, tip, reading.OK),
	}
	h.Decisions = []reprocessing.Decision{
		decision("second", 2, at("08:30"), at("09:42"), at("09:44"), reading.Action), decision("fourth", 4, at("08:30"), at("10:02"), at("10:03"), reading.None),
	}
	want := []reprocessing.Cleaned{{Cleaning: 2, At: at("09:43")}, {Cleaning: 3, At: at("09:52")}, {Cleaning: 4, At: at("10:03")}}
	if got := h.Later(at("09:22"), 1); !slices.Equal(got, want) {
		t.Errorf("after the first: %v, want %v", got, want)
	}
	if got := h.Later(at("09:22"), 4); len(got) != 0 {
		t.Errorf("after the last: %v", got)
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
	last := over
	last.Verification.Next.Act = reading.HoldScope
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
		{"over before, the last that is allowed now", last, &over, true, true},
		{"the last that was allowed, another follows now", over, &last, true, false},
		{"the last that is allowed, before and now", last, &last, false, false},
	} {
		if got := test.d.New(test.prior); got != test.isNew {
			t.Errorf("%s: new = %t, want %t", test.name, got, test.isNew)
		}
		if got := test.d.HoldsAfter(test.prior); got != test.hold {
			t.Errorf("%s: holds = %t, want %t", test.name, got, test.hold)
		}
	}
}
