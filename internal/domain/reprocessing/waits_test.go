package reprocessing_test

import (
	"slices"
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
)

// Where a scope waited too long, its route begins with a cleaning: a disinfection alone does not make up for it.
func TestStorageRunOut(t *testing.T) {
	const wait = 31 * 24 * hour
	over := instant(t, "2026-04-01T11:30:00+02:00") // 30 days after 10:30 UTC
	disinfected := []reprocessing.StepKind{reprocessing.Disinfection, reprocessing.FinalRinse, reprocessing.Drying, reprocessing.Storage}
	cleaned := append([]reprocessing.StepKind{reprocessing.LeakTest, reprocessing.ManualCleaning, reprocessing.Inspection}, disinfected...)
	for _, tt := range []struct {
		reason  string
		kinds   []reprocessing.StepKind
		by      unit.Instant
		sampled bool
		state   reprocessing.State
		part    string
	}{
		{"disinfected in time, while it may still wait", disinfected, 29 * 24 * hour, false, reprocessing.Ready, "stored in drying-cabinet"},
		{
			"disinfected once its time was over", disinfected, wait, false, reprocessing.InReprocessing,
			"manual cleaning is not on record since its storage time was over at 2026-04-01 11:30 +02:00",
		},
		{"disinfected at the last moment", disinfected, over - us - instant(t, "09:35"), false, reprocessing.Ready, "stored in drying-cabinet"},
		{
			"disinfected as its time was over", disinfected, over - instant(t, "09:35"), false, reprocessing.InReprocessing,
			"manual cleaning is not on record since its storage time was over at 2026-04-01 11:30 +02:00",
		},
		{"cleaned and sampled as well", cleaned, wait, true, reprocessing.Ready, "stored in drying-cabinet"},
		{"leak-tested and cleaned as its time was over", cleaned, over - instant(t, "08:50"), true, reprocessing.Ready, "stored in drying-cabinet"},
		{
			"cleaned as its time was over, and leak-tested before", cleaned, over - instant(t, "09:00"), true, reprocessing.InReprocessing,
			"leak test is not on record since its storage time was over",
		},
		{"cleaned before", cleaned, over - us - instant(t, "09:00"), true, reprocessing.Ready, "stored in drying-cabinet"},
	} {
		h := good(t)
		for _, kind := range tt.kinds {
			h.Steps = append(h.Steps, again(t, &h, kind, tt.by))
		}
		if tt.sampled {
			at := instant(t, "09:22") + tt.by
			h.Samples = append(h.Samples, samples(2, at)...)
			d := decision("round 2", 2, instant(t, "08:30"), at, at+8*mins, h.Decisions[0].Verification.Outcome)
			h.Decisions = append(h.Decisions, d)
		}
		wantState(t, reprocessing.Release(h, straight(t), instant(t, "12:00")+tt.by, berlin(t)), tt.state, tt.part)
		if t.Failed() {
			t.Fatal(tt.reason)
		}
	}
}

// A place that failed is none: a scope that hung there too long hung nowhere.
func TestStoredBadly(t *testing.T) {
	for _, tt := range []struct {
		back  unit.Instant
		state reprocessing.State
		part  string
	}{
		{3*hour - us, reprocessing.Ready, "stored in drying-cabinet"},
		{3 * hour, reprocessing.InReprocessing, "it hung outside a cabinet from 2026-03-02 13:30 +01:00"},
	} {
		h := good(t)
		bad, well := again(t, &h, reprocessing.Storage, 2*hour), again(t, &h, reprocessing.Storage, 2*hour+tt.back)
		bad.Result, bad.ID = reprocessing.Fail, "failed storage"
		h.Steps = append(h.Steps, bad, well)
		wantState(t, reprocessing.Release(h, preset(t), instant(t, "18:00"), berlin(t)), tt.state, tt.part)
	}
}

// Who wets a scope once it is dry, also by a step that the rules do not ask for, has to dry it again.
func TestWetAgain(t *testing.T) {
	for _, kind := range []reprocessing.StepKind{reprocessing.FinalRinse, reprocessing.Soak} {
		h := good(t)
		s := again(t, &h, reprocessing.FinalRinse, 20*mins) // dried until 10:25
		s.Kind = kind
		h.Steps = append(h.Steps, s)
		wantState(t, reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t)), reprocessing.InReprocessing, "came before "+kind.Words()+" ended")
		dried, stored := again(t, &h, reprocessing.Drying, 30*mins), again(t, &h, reprocessing.Storage, 40*mins)
		h.Steps = append(h.Steps, dried, stored)
		state, part := reprocessing.Ready, "stored in drying-cabinet"
		if kind == reprocessing.Soak { // what dissolves residue is cleaned off
			state, part = reprocessing.InReprocessing, "manual cleaning at 2026-03-02 10:00 +01:00 came before soak ended"
		}
		wantState(t, reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t)), state, part)
	}
}

// Of two steps of a kind that began at one instant the bad one counts, in whatever order they come.
func TestAtOneInstant(t *testing.T) {
	for name, worse := range map[string]func(*reprocessing.Step){
		"failed":    func(s *reprocessing.Step) { s.Result = reprocessing.Fail },
		"no result": func(s *reprocessing.Step) { s.Result = reprocessing.NotStated },
		"goes on":   func(s *reprocessing.Step) { s.End = 0 },
		"as it was": nil,
		"took less": func(s *reprocessing.Step) { s.End = s.Start + us; s.Kind = reprocessing.Drying },
		"took no":   func(s *reprocessing.Step) { s.End = s.Start; s.Kind = reprocessing.ManualCleaning },
		"other lot ": func(s *reprocessing.Step) {
			s.Kind, s.DisinfectantLot, s.Recorded = reprocessing.Disinfection, "", s.Recorded+1
		},
	} {
		for _, order := range []func([]reprocessing.Step){func([]reprocessing.Step) {}, slices.Reverse[[]reprocessing.Step]} {
			h := good(t)
			if worse != nil {
				var probe reprocessing.Step
				probe.Kind = reprocessing.Inspection
				worse(&probe)
				s := again(t, &h, probe.Kind, 0)
				worse(&s)
				h.Steps = append(h.Steps, s)
			} else {
				h.Steps = append(h.Steps, again(t, &h, reprocessing.Inspection, 0))
			}
			order(h.Steps)
			a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
			if ready := a.State == reprocessing.Ready; ready != (worse == nil) {
				t.Errorf("%s: %s: %s", name, a.State, told(a))
			}
		}
	}
}

// A scope that leaves is ready until then at the most.
func TestReadyUntilRetired(t *testing.T) {
	h := good(t)
	h.Instrument.Retired = instant(t, "15:00")
	a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
	wantState(t, a, reprocessing.Ready, "retired from 2026-03-02 16:00 +01:00 on")
	if a.Until != instant(t, "15:00") {
		t.Errorf("until %s", a.Until)
	}
	wantState(t, reprocessing.Release(h, preset(t), instant(t, "15:00"), berlin(t)), reprocessing.OutOfService, "retired since")
}

// Where the rules do not say how long a scope may wait outside a cabinet, and which cabinets there are, that is all that is told.
func TestWaitsWithoutALimit(t *testing.T) {
	rules := straight(t)
	rules.Unstored = 0
	for part, h := range map[string]reprocessing.History{
		"not in a cabinet, and the rule set does not say how long a scope may wait outside one": without(good(t), reprocessing.Storage),
		`cabinet "hook" is not in the rule set, so nobody can say how long it keeps a scope`: func() reprocessing.History {
			h := good(t)
			step(t, &h, reprocessing.Storage).Cabinet = "hook"
			return h
		}(),
	} {
		a := reprocessing.Release(h, rules, instant(t, "12:00"), berlin(t))
		wantState(t, a, reprocessing.InReprocessing, part)
		if i := slices.IndexFunc(a.Reasons, func(r reprocessing.Reason) bool { return r.Blocks }); a.Reasons[i].Text != part {
			t.Errorf("%q", a.Reasons[i].Text)
		}
	}
}
