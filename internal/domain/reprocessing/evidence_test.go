package reprocessing_test

import (
	"slices"
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// read gives a history's samples a reading that passed, and its decision the points.
func read(h reprocessing.History) reprocessing.History {
	h.Samples, h.Decisions = slices.Clone(h.Samples), slices.Clone(h.Decisions)
	d := &h.Decisions[0]
	d.Verification.Points = nil
	for i := range h.Samples {
		h.Samples[i].Judgements = []reading.Judgement{{Outcome: reading.OK}}
		h.Samples[i].Read = d.Last
		h.Samples[i].By = "T-01"
		d.Verification.Points = append(d.Verification.Points, reading.PointResult{Point: h.Samples[i].Point, Outcome: reading.OK})
	}
	return h
}

func word(at unit.Instant, from reprocessing.AttestedFrom, of ...string) reprocessing.Attestation {
	return reprocessing.Attestation{Stamp: stamp("word", at), Scope: "D-01", At: at, By: "T-01", Of: of, From: from}
}

// Common practice: what the record does not show is attested within a day by whoever did it, within three by a lead,
// later over the signed form; a reading on a meter that nothing shows to be good never is.
func TestEvidenceOfAVerification(t *testing.T) {
	const recess = "sample of elevator-recess"
	marks := reprocessing.Lack{Why: "no moment of dipping"}
	meter := reprocessing.Lack{Why: "no check", Final: true}
	lacks := func(h *reprocessing.History, point scope.PointKind, l ...reprocessing.Lack) {
		for i := range h.Samples {
			if h.Samples[i].Point == point {
				h.Samples[i].Lacks = l
			}
		}
	}
	ended := instant(t, "09:30")
	for _, test := range []struct {
		name   string
		change func(*reprocessing.History)
		at     unit.Instant
		state  reprocessing.State
		part   string
		proven bool
	}{
		{"proven", func(*reprocessing.History) {}, 0, reprocessing.Ready, "first test: OK", true},
		{"marks missing", func(h *reprocessing.History) { lacks(h, scope.ElevatorRecess, marks) }, 0, reprocessing.InReprocessing, "no moment of dipping", false},
		{"attested", func(h *reprocessing.History) {
			lacks(h, scope.ElevatorRecess, marks)
			h.Attestations = []reprocessing.Attestation{word(instant(t, "11:00"), reprocessing.OwnAct, recess)}
		}, 0, reprocessing.Ready, "is attested", false},
		{"a word for another sample", func(h *reprocessing.History) {
			lacks(h, scope.ElevatorRecess, marks)
			h.Attestations = []reprocessing.Attestation{word(instant(t, "11:00"), reprocessing.OwnAct, "sample of outer-distal-end")}
		}, 0, reprocessing.InReprocessing, "no moment of dipping", false},
		{"a word after the instant", func(h *reprocessing.History) {
			lacks(h, scope.ElevatorRecess, marks)
			h.Attestations = []reprocessing.Attestation{word(instant(t, "12:00")+1, reprocessing.OwnAct, recess)}
		}, 0, reprocessing.InReprocessing, "no moment of dipping", false},
		{"no word helps an unchecked meter", func(h *reprocessing.History) {
			lacks(h, scope.ElevatorRecess, marks, meter)
			h.Attestations = []reprocessing.Attestation{word(instant(t, "11:00"), reprocessing.OwnAct, recess)}
		}, 0, reprocessing.InReprocessing, "no check", false},
		{"own word to the last instant", func(h *reprocessing.History) {
			lacks(h, scope.ElevatorRecess, marks)
			h.Attestations = []reprocessing.Attestation{word(ended.Add(reprocessing.DoerAttests), reprocessing.OwnAct, recess)}
		}, ended.Add(reprocessing.DoerAttests), reprocessing.Ready, "is attested", false},
		{"own word too late", func(h *reprocessing.History) {
			lacks(h, scope.ElevatorRecess, marks)
			h.Attestations = []reprocessing.Attestation{word(ended.Add(reprocessing.DoerAttests)+1, reprocessing.OwnAct, recess)}
		}, ended.Add(reprocessing.DoerAttests) + 1, reprocessing.InReprocessing, "no moment of dipping", false},
		{"lead's word to the last instant", func(h *reprocessing.History) {
			lacks(h, scope.ElevatorRecess, marks)
			h.Attestations = []reprocessing.Attestation{word(ended.Add(reprocessing.LeadAttests), reprocessing.WhoDidIt, recess)}
		}, ended.Add(reprocessing.LeadAttests), reprocessing.Ready, "is attested", false},
		{"lead's word too late", func(h *reprocessing.History) {
			lacks(h, scope.ElevatorRecess, marks)
			h.Attestations = []reprocessing.Attestation{word(ended.Add(reprocessing.LeadAttests)+1, reprocessing.WhoDidIt, recess)}
		}, ended.Add(reprocessing.LeadAttests) + 1, reprocessing.InReprocessing, "no moment of dipping", false},
		{"the signed form", func(h *reprocessing.History) {
			lacks(h, scope.ElevatorRecess, marks)
			h.Attestations = []reprocessing.Attestation{word(ended.Add(reprocessing.LeadAttests)+1, reprocessing.SignedForm, recess)}
		}, ended.Add(reprocessing.LeadAttests) + 1, reprocessing.Ready, "is attested", false},
		{"another sample of the point proves it", func(h *reprocessing.History) {
			lacks(h, scope.ElevatorRecess, meter)
			again := h.Samples[1]
			again.ID, again.Lacks = "again", nil
			h.Samples = append(h.Samples, again)
		}, 0, reprocessing.Ready, "first test: OK", true},
		{"no sample of a point", func(h *reprocessing.History) {
			h.Samples = slices.DeleteFunc(h.Samples, func(s reprocessing.Taken) bool { return s.Point == scope.ElevatorRecess })
		}, 0, reprocessing.InReprocessing, "no sample of it", false},
		{"a sample of another cycle", func(h *reprocessing.History) {
			for i := range h.Samples {
				if h.Samples[i].Point == scope.ElevatorRecess {
					h.Samples[i].Collected = instant(t, "08:29")
				}
			}
		}, 0, reprocessing.InReprocessing, "no sample of it", false},
	} {
		t.Run(test.name, func(t *testing.T) {
			h := read(good(t))
			test.change(&h)
			at := test.at
			if at == 0 {
				at = instant(t, "12:00")
			}
			a := reprocessing.Release(h, preset(t), at, berlin(t))
			wantState(t, a, test.state, test.part)
			if got := h.Proven(h.Decisions[0]); got != test.proven {
				t.Errorf("proven %v, want %v", got, test.proven)
			}
			wanted := test.state != reprocessing.Ready && test.part == marks.Why
			if got := len(a.Wanting) == 1 && a.Wanting[0].Record == recess && a.Wanting[0].By == "T-01"; got != wanted {
				t.Errorf("wants a word for %+v", a.Wanting)
			}
		})
	}
}

// A point that was carried over from a failed verification is shown by its sample there.
func TestEvidenceOfCarriedPoints(t *testing.T) {
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
	if !h.Proven(*d) {
		t.Error("the points that were carried over are proven by the samples of the first cleaning")
	}
	h.Samples[0].Lacks = []reprocessing.Lack{{Why: "no moment of dipping"}}
	if h.Proven(*d) {
		t.Error("a point was carried over without proof")
	}
	d.Verification.Points[0].Carried = false
	h.Samples[0].Lacks = nil
	if h.Proven(*d) {
		t.Error("a sample of an earlier cleaning proves a point that was not carried over")
	}
}

// A step that was written down more than 12 hours after it ended proves nothing until somebody attests it.
func TestEvidenceOfAStep(t *testing.T) {
	h := good(t)
	s := step(t, &h, reprocessing.ManualCleaning)
	at := instant(t, "2026-03-03T12:00:00Z")
	s.Recorded = s.End.Add(reprocessing.LateAfter)
	wantState(t, reprocessing.Release(h, preset(t), at, berlin(t)), reprocessing.Ready, "")
	s.Recorded++
	a := reprocessing.Release(h, preset(t), at, berlin(t))
	wantState(t, a, reprocessing.InReprocessing, "nobody attests what proves nothing by itself: manual cleaning (was written down more than 12h after it ended)")
	if got := status(t, a, reprocessing.ManualCleaning); got != reprocessing.MissingStep {
		t.Errorf("the step is %s", got)
	}
	if len(a.Wanting) != 1 || a.Wanting[0].Record != s.ID {
		t.Errorf("wants a word for %+v", a.Wanting)
	}
	h.Attestations = []reprocessing.Attestation{word(at, reprocessing.WhoDidIt, s.ID)}
	wantState(t, reprocessing.Release(h, preset(t), at, berlin(t)), reprocessing.Ready, "manual cleaning at 2026-03-02 10:00 +01:00 is attested")
	// Nobody could know of the word before it was given.
	h.Attestations[0].Recorded = at + 1
	wantState(t, reprocessing.Release(h.AsKnown(at), preset(t), at, berlin(t)), reprocessing.InReprocessing, "nobody attests what proves nothing")
	// What speaks against the scope counts however late.
	s.Result = reprocessing.Fail
	wantState(t, reprocessing.Release(h, preset(t), at, berlin(t)), reprocessing.InReprocessing, "failed")
}

func TestAttestationCheck(t *testing.T) {
	good := word(instant(t, "11:00"), reprocessing.OwnAct, "a")
	for _, test := range []struct {
		change func(*reprocessing.Attestation)
		part   string
	}{
		{func(*reprocessing.Attestation) {}, ""},
		{func(a *reprocessing.Attestation) { a.Of = nil }, "missing"},
		{func(a *reprocessing.Attestation) { a.Scope = "" }, "missing"},
		{func(a *reprocessing.Attestation) { a.By = "" }, "who attests"},
		{func(a *reprocessing.Attestation) { a.From = "hearsay" }, "allowed: own-act, who-did-it, signed-form"},
		{func(a *reprocessing.Attestation) { a.From = reprocessing.SignedForm }, "picture of the signed form"},
		{func(a *reprocessing.Attestation) { a.Form = "f" }, "picture of the signed form"},
	} {
		a := good
		test.change(&a)
		wantError(t, a.Check(), test.part)
	}
}

// A storage that was written down days later hangs the scope nowhere, and no word that is missing ends a hold.
func TestStoredFromMemory(t *testing.T) {
	h := good(t)
	at := instant(t, "2026-03-06T12:00:00Z")
	step(t, &h, reprocessing.Storage).Recorded = at
	a := reprocessing.Release(h, straight(t), at, berlin(t))
	wantState(t, a, reprocessing.InReprocessing, "outside a cabinet since")
	if len(a.Wanting) != 1 || a.Wanting[0].What != "storage" {
		t.Errorf("wants a word for %+v", a.Wanting)
	}
	h.Attestations = []reprocessing.Attestation{{
		Stamp: stamp("word", at), Scope: "D-01", At: at, By: "L-01", Of: []string{step(t, &h, reprocessing.Storage).ID}, From: reprocessing.SignedForm, Form: "f",
	}}
	wantState(t, reprocessing.Release(h, straight(t), at, berlin(t)), reprocessing.Ready, "stored in drying-cabinet")
}

// A verification that nothing proves stands for no duty once another cycle has begun.
func TestUnprovenVerificationDischargesNothing(t *testing.T) {
	at := instant(t, "12:00")
	for _, lacks := range []bool{false, true} {
		h := read(good(t))
		h.Requests = []reprocessing.Request{{Stamp: stamp("request", instant(t, "09:00")), Request: sampling.Request{
			Scope: "D-01", Reason: "culture positive", By: "L-01", At: instant(t, "09:00"),
		}}}
		if lacks {
			h.Samples[0].Lacks = []reprocessing.Lack{{Why: "no check", Final: true}}
		}
		h.Repairs = []reprocessing.Repair{{Stamp: stamp("repair", at), Repair: scope.Repair{Scope: "D-01", Sent: instant(t, "11:00"), Returned: instant(t, "11:30")}}}
		asked := slices.ContainsFunc(reprocessing.Due(h, preset(t), at, berlin(t)), func(d sampling.Due) bool { return d.Said == "culture positive" })
		if asked != lacks {
			t.Errorf("proven %t, still asked for %t", !lacks, asked)
		}
	}
}
