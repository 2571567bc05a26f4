package reprocessing_test

import (
	"slices"
	"strings"
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// Where whoever did it ends a hold, that is whoever did it: who sampled where it was for cleaning, and else who did a
// step that it ends over. The rules need nobody.
func TestWhoeverDidIt(t *testing.T) {
	const other = "B-02"
	for _, test := range []struct {
		name            string
		kind            reprocessing.HoldKind
		steps, samples  string
		byRule, refused bool
	}{
		{"cleaning, who sampled", reprocessing.CleaningHold, other, "a-01 ", false, false},
		{"cleaning, who cleaned and did not sample", reprocessing.CleaningHold, "A-01", other, false, true},
		{"cleaning, nobody is named", reprocessing.CleaningHold, "", "", false, true},
		{"cleaning, by the rules", reprocessing.CleaningHold, other, other, true, false},
		{"disinfection, who did the route", reprocessing.DisinfectionHold, "A-01", other, false, false},
		{"disinfection, who sampled in it", reprocessing.DisinfectionHold, other, "A-01", false, false},
		{"disinfection, somebody else", reprocessing.DisinfectionHold, other, other, false, true},
		{"means, who did the route", reprocessing.MeansHold, "A-01", "A-01", false, false},
		{"means, somebody else", reprocessing.MeansHold, other, other, false, true},
	} {
		h, rules := routed(t), preset(t)
		doneBy(&h, test.steps, test.samples)
		hold := reprocessing.Hold{
			Stamp: stamp("hold", instant(t, "11:00")), Scope: "D-01", Kind: test.kind, At: instant(t, "11:00"), By: "T-01", Reason: "r",
		}
		lift := signedBy(technician)
		lift.At = instant(t, "16:00")
		_, err := hold.Lifted(lift, reprocessing.Grounds{Since: h, Rules: &rules, Zone: berlin(t), ByRule: test.byRule})
		if test.refused {
			wantError(t, err, "ends with the signature of whoever did it")
		} else if err != nil {
			t.Errorf("%s: %v", test.name, err)
		}
		for signers, ends := range map[*reprocessing.Lift]bool{
			new(signedBy(aLead, prevention)): true, new(signedBy(prevention, aLead)): true,
			new(signedBy(aLead)): !test.refused, new(signedBy(prevention, prevention)): !test.refused, new(signedBy(technician, aLead)): !test.refused,
		} {
			signers.At = lift.At
			if _, err := hold.Lifted(*signers, reprocessing.Grounds{Since: h, Rules: &rules, Zone: berlin(t), ByRule: test.byRule}); (err == nil) != ends {
				t.Errorf("%s, by %v and %v: %v", test.name, signers.ByRoles, signers.SecondRoles, err)
			}
		}
	}
}

// doneBy names who did the steps and took the samples.
func doneBy(h *reprocessing.History, steps, samples string) {
	h.Steps, h.Samples = slices.Clone(h.Steps), slices.Clone(h.Samples)
	for i := range h.Steps {
		h.Steps[i].By = steps
	}
	for i := range h.Samples {
		h.Samples[i].By = samples
	}
}

// A hold that names a later time than that of its record counts from its record on.
func TestHoldCountsFromItsRecord(t *testing.T) {
	recorded, at := instant(t, "12:00"), instant(t, "12:02")
	h := good(t)
	h.Holds = []reprocessing.Hold{{Stamp: stamp("hold", recorded), Scope: "D-01", Kind: reprocessing.OtherHold, At: at, By: "T-01", Reason: "bent"}}
	wantState(t, reprocessing.Release(h, preset(t), recorded-us, berlin(t)), reprocessing.Ready, "stored in")
	wantState(t, reprocessing.Release(h, preset(t), recorded, berlin(t)), reprocessing.OnHold, "bent")
	wantState(t, reprocessing.Release(h, preset(t), at, berlin(t)), reprocessing.OnHold, "bent")
	// One that was recorded later counts from the time that it speaks of.
	h.Holds[0].At, h.Holds[0].Recorded = recorded, at
	wantState(t, reprocessing.Release(h, preset(t), recorded-us, berlin(t)), reprocessing.Ready, "stored in")
	wantState(t, reprocessing.Release(h, preset(t), recorded, berlin(t)), reprocessing.OnHold, "bent")
}

// Of a use between a copy and its restore nobody knows whether the scope was ready.
func TestUseBetweenACopyAndItsRestore(t *testing.T) {
	h, rules, zone := good(t), preset(t), berlin(t)
	use, begun := instant(t, "11:30"), instant(t, "2026-01-01T00:00:00Z")
	if a := reprocessing.Before(h, rules, use, zone); a.State != reprocessing.Ready {
		t.Fatalf("without a restore: %s", told(a))
	}
	h.Restores = []reprocessing.RestoreNote{{
		Stamp: stamp("restore", instant(t, "12:00")), Told: reprocessing.FromFile, Copied: instant(t, "11:00"), At: instant(t, "12:00"), Size: 9, By: "L-01",
	}}
	wantState(t, reprocessing.Before(h, rules, use, zone), reprocessing.NotKnown, "the records were restored from a copy")
	u, unready := h.Unready(rules, use, begun, reprocessing.Opening{}, zone)
	if !unready || u.Kind != reprocessing.RecordHold {
		t.Errorf("unready = %t, %q: %q", unready, u.Kind, u.Lacking)
	}
	if _, unready := h.Unready(rules, instant(t, "10:50"), begun, reprocessing.Opening{}, zone); unready {
		t.Error("a use before the copy was made is weighed by the restore")
	}
	h.Restores = append(h.Restores, nothingSince(t, "restore", "D-01"))
	if _, unready := h.Unready(rules, use, begun, reprocessing.Opening{}, zone); unready {
		t.Error("two people said that nothing happened to it")
	}
}

// A point that is carried over was sampled after a cleaning of the cycle.
func TestCarriedFromBeforeAnyCleaning(t *testing.T) {
	h := read(good(t))
	d := &h.Decisions[0]
	d.Verification.Cleaning = 2
	for i := range h.Samples {
		if h.Samples[i].Point != scope.ElevatorRecess {
			d.Verification.Points[i].Carried = true
		} else {
			h.Samples[i].Cleaning = 2
		}
	}
	carried := slices.IndexFunc(h.Samples, func(s reprocessing.Taken) bool { return s.Point == scope.OuterDistalEnd })
	cleaned := step(t, &h, reprocessing.ManualCleaning).Start
	for at, want := range map[unit.Instant]bool{h.Samples[carried].Collected: true, cleaned: true, cleaned - 1: false} {
		h.Samples[carried].Collected = at
		if got := h.Proven(*d); got != want {
			t.Errorf("cleaned from %s, sampled at %s: proven %t, want %t", cleaned, at, got, want)
		}
	}
	d.Verification.Points[carried].Carried = false // then it is for the order of the steps to say
	h.Samples[carried].Cleaning, h.Samples[carried].Collected = 2, cleaned-1
	if !h.Proven(*d) {
		t.Error("a point of the verification's own cleaning proves nothing")
	}
}

// A verification shows the scope as it was when it was sampled: what somebody asked for between that and the reading is
// still to be done.
func TestAskedBetweenSampleAndReading(t *testing.T) {
	for at, want := range map[string]bool{"09:21": false, "09:22": true, "09:25": true} {
		h := read(good(t))
		h.Requests = []reprocessing.Request{{Stamp: stamp("request", instant(t, at)), Request: sampling.Request{
			Scope: "D-01", Reason: "culture positive", By: "L-01", At: instant(t, at),
		}}}
		got := slices.ContainsFunc(reprocessing.Due(h, preset(t), instant(t, "12:00"), berlin(t)), func(d sampling.Due) bool { return d.Said == "culture positive" })
		if got != want {
			t.Errorf("asked at %s, sampled from 09:22, read until 09:30: still asked for %t, want %t", at, got, want)
		}
	}
}

// Where the rules do not say how long a scope may hang outside a cabinet, it may not between two storings either.
func TestGapWithoutALimit(t *testing.T) {
	rules := preset(t)
	h := good(t)
	first := step(t, &h, reprocessing.Storage)
	first.End = instant(t, "11:00")
	h.Steps = append(h.Steps, reprocessing.Step{
		Stamp: stamp("hung back", instant(t, "11:20")), Scope: "D-01", Kind: reprocessing.Storage, Start: instant(t, "11:20"), Cabinet: "drying-cabinet",
	})
	at := instant(t, "12:00")
	wantState(t, reprocessing.Release(h, rules, at, berlin(t)), reprocessing.Ready, "stored in")
	rules.Unstored = 0
	wantState(t, reprocessing.Release(h, rules, at, berlin(t)), reprocessing.InReprocessing, "it hung outside a cabinet from")
	h.Steps[len(h.Steps)-1].Start = instant(t, "11:00") // it was moved at once
	wantState(t, reprocessing.Release(h, rules, at, berlin(t)), reprocessing.Ready, "stored in")
}

// A treatment at the bedside for which no limit is set is missed once the scope has left the bedside; delayed reprocessing
// makes it good.
func TestBedsideWithoutALimit(t *testing.T) {
	rules := preset(t)
	rules.Steps = slices.Clone(rules.Steps)
	for i := range rules.Steps {
		if rules.Steps[i].Step == reprocessing.PointOfUse {
			rules.Steps[i].Within = 0
		}
	}
	at := instant(t, "12:00")
	wantState(t, reprocessing.Release(good(t), rules, at, berlin(t)), reprocessing.Ready, "stored in")
	h := without(good(t), reprocessing.PointOfUse)
	a := reprocessing.Release(h, rules, at, berlin(t))
	wantState(t, a, reprocessing.InReprocessing, "no soak for delayed reprocessing")
	if s := status(t, a, reprocessing.PointOfUse); s != reprocessing.NotDueStep {
		t.Errorf("at the bedside: %s, and nobody can go back there", s)
	}
	h.Steps = append(h.Steps, reprocessing.Step{
		Stamp: stamp("soak", instant(t, "08:59")), Scope: "D-01", Kind: reprocessing.Soak, Start: instant(t, "08:56"), End: instant(t, "08:59"),
	})
	rules.Steps = slices.Clone(rules.Steps)
	for i := range rules.Steps {
		if rules.Steps[i].Step == reprocessing.Soak {
			rules.Steps[i].AtLeast = 2 * unit.Minute
		}
	}
	wantState(t, reprocessing.Release(h, rules, at, berlin(t)), reprocessing.Ready, "stored in")
	// As long as it is at the bedside it can still be treated there.
	early := good(t)
	early.Steps, early.Samples, early.Decisions = nil, nil, nil
	a = reprocessing.Release(early, rules, instant(t, "08:40"), berlin(t))
	if s := status(t, a, reprocessing.PointOfUse); s != reprocessing.MissingStep || a.Next[0] != "do and record: point-of-use treatment" {
		t.Errorf("at the bedside: %s, next %q", s, a.Next)
	}
}

// Uses in a row of a scope that was not ready are told of as one, and each is named.
func TestUsesInARowAreToldOfAsOne(t *testing.T) {
	h := good(t)
	held := func(id, at string, kind reprocessing.HoldKind, cause string) {
		h.Holds = append(h.Holds, reprocessing.Hold{
			Stamp: stamp(id, instant(t, at)), Scope: "D-01", Kind: kind, At: instant(t, at), By: "N-01", Reason: "a use began while the scope was not ready",
			Cause: cause,
		})
	}
	held("first", "10:40", reprocessing.ExposureHold, "use 2")
	held("second", "10:50", reprocessing.ExposureHold, "use 3")
	held("third", "11:00", reprocessing.ExposureHold, "use 4")
	held("a person's", "11:10", reprocessing.ExposureHold, "")
	held("leak", "11:20", reprocessing.LeakHold, "leak test")
	a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
	var holds []reprocessing.Reason
	for _, r := range a.Reasons {
		if r.Since.Known() {
			holds = append(holds, r)
		}
	}
	if len(holds) != 3 || a.State != reprocessing.OnHold {
		t.Fatalf("%s, %d reasons: %s", a.State, len(holds), told(a))
	}
	for _, at := range []string{"10:40", "10:50", "11:00"} {
		if !strings.Contains(holds[0].Text, instant(t, at).In(berlin(t))) {
			t.Errorf("the use of %s is not named: %s", at, holds[0].Text)
		}
	}
	if holds[0].Record != "first" || holds[1].Record != "a person's" || holds[2].Record != "leak" {
		t.Errorf("holds %+v", holds)
	}
}
