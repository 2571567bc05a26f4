package turnaround_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/turnaround"
)

const (
	us   = unit.Instant(unit.Microsecond)
	sec  = unit.Instant(unit.Second)
	mins = unit.Instant(unit.Minute)
	hour = unit.Instant(unit.Hour)
)

func TestGoodTurnaroundIsReady(t *testing.T) {
	a := turnaround.Gate(good(t), preset(t), instant(t, "12:00"), berlin(t))
	wantState(t, a, turnaround.Ready, "stored in drying-cabinet since 2026-03-02 11:30 +01:00; at most 30 days")
	// 30 calendar days in Europe/Berlin: the clock went forward on 29 March.
	if want := instant(t, "2026-04-01T11:30:00+02:00"); a.Until != want {
		t.Errorf("until %s, want %s", a.Until, want)
	}
	if a.Scope != "D-01" || a.At != instant(t, "12:00") || a.Turnaround != instant(t, "08:30") || len(a.Due) != 0 || len(a.Next) != 0 {
		t.Errorf("answer %+v", a)
	}
	var kinds []turnaround.StepKind
	for _, p := range a.Steps {
		kinds = append(kinds, p.Step)
		if p.Status != turnaround.DoneStep || p.Record == "" {
			t.Errorf("%s is %s (record %q)", p.Step, p.Status, p.Record)
		}
	}
	want := []turnaround.StepKind{
		turnaround.PreClean, turnaround.Transport, turnaround.LeakTest, turnaround.ManualCleaning, turnaround.Inspection,
		turnaround.Verification, turnaround.Disinfection, turnaround.FinalRinse, turnaround.Drying, turnaround.Storage,
	}
	if diff := cmp.Diff(want, kinds); diff != "" {
		t.Errorf("steps (-want +got):\n%s", diff)
	}
}

func TestGateLeavesItsArgumentAlone(t *testing.T) {
	at := instant(t, "09:10") // cuts steps, uses and repairs that end later
	build := func() turnaround.History {
		h := good(t)
		h.Uses = append(h.Uses, turnaround.Use{Stamp: stamp("later", at), Scope: "D-01", Start: at, End: at + hour})
		h.Repairs = []turnaround.Repair{{Stamp: stamp("repair", at), Repair: scope.Repair{Scope: "D-01", Sent: at - hour, Returned: at + hour}}}
		slices.Reverse(h.Steps)
		return h
	}
	h, rules := build(), preset(t)
	turnaround.Gate(h, rules, at, berlin(t))
	turnaround.Gate(h, rules, instant(t, "12:00"), berlin(t))
	if diff := cmp.Diff(build(), h); diff != "" {
		t.Errorf("the history was changed:\n%s", diff)
	}
	if diff := cmp.Diff(preset(t), rules); diff != "" {
		t.Errorf("the rules were changed:\n%s", diff)
	}
}

// The order in which the entries are given does not matter.
func TestGateSortsForItself(t *testing.T) {
	h, reversed := good(t), good(t)
	slices.Reverse(reversed.Steps)
	slices.Reverse(reversed.Samples)
	at := instant(t, "12:00")
	if diff := cmp.Diff(turnaround.Gate(h, preset(t), at, berlin(t)), turnaround.Gate(reversed, preset(t), at, berlin(t))); diff != "" {
		t.Errorf("another order, another answer:\n%s", diff)
	}
}

func TestMissingStep(t *testing.T) {
	tests := []struct {
		kind   turnaround.StepKind
		state  turnaround.State
		status turnaround.Status
		reason string
	}{
		{turnaround.PreClean, turnaround.InWork, turnaround.MissingStep, "pre-clean is not on record"},
		{turnaround.Transport, turnaround.Ready, turnaround.NotDueStep, ""},
		{turnaround.LeakTest, turnaround.InWork, turnaround.MissingStep, "leak-test is not on record"},
		{turnaround.ManualCleaning, turnaround.InWork, turnaround.MissingStep, "manual-cleaning has not begun and should have by 2026-03-02 10:36 +01:00"},
		{turnaround.Inspection, turnaround.InWork, turnaround.MissingStep, "inspection is not on record"},
		{turnaround.Disinfection, turnaround.InWork, turnaround.MissingStep, "disinfection is not on record"},
		{turnaround.FinalRinse, turnaround.Ready, turnaround.NotDueStep, ""},
		{turnaround.Drying, turnaround.InWork, turnaround.MissingStep, "drying is not on record"},
		{turnaround.Storage, turnaround.Ready, turnaround.NotDueStep, "outside a cabinet since 2026-03-02 11:25 +01:00; at most 3h"},
	}
	for _, tt := range tests {
		t.Run(string(tt.kind), func(t *testing.T) {
			a := turnaround.Gate(without(good(t), tt.kind), preset(t), instant(t, "12:00"), berlin(t))
			wantState(t, a, tt.state, tt.reason)
			if got := status(t, a, tt.kind); got != tt.status {
				t.Errorf("status %q, want %q", got, tt.status)
			}
		})
	}
	t.Run("verification", func(t *testing.T) {
		h := good(t)
		h.Samples, h.Decisions = nil, nil
		a := turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t))
		wantState(t, a, turnaround.InWork, "sampling is due: high-risk models are sampled in every turnaround")
		if got := status(t, a, turnaround.Verification); got != turnaround.MissingStep || len(a.Due) != 1 {
			t.Errorf("status %q, due %+v", got, a.Due)
		}
		if !slices.Contains(a.Next, "sample and read: outer-distal-end, elevator-recess, instrument-channel, elevator-wire-channel") {
			t.Errorf("next: %q", a.Next)
		}
	})
	t.Run("everything is told at once", func(t *testing.T) {
		h := without(without(good(t), turnaround.LeakTest), turnaround.Drying)
		a := turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t))
		wantState(t, a, turnaround.InWork, "leak-test is not on record")
		wantState(t, a, turnaround.InWork, "drying is not on record")
	})
}

func TestFailedStep(t *testing.T) {
	for _, kind := range turnaround.StepKinds {
		if kind == turnaround.Verification || kind == turnaround.Issue {
			continue
		}
		t.Run(string(kind), func(t *testing.T) {
			h := good(t)
			step(t, &h, kind).Result = turnaround.Fail
			a := turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t))
			wantState(t, a, turnaround.InWork, string(kind)+" at ")
			if got := status(t, a, kind); got != turnaround.FailedStep {
				t.Errorf("status %q", got)
			}
		})
	}
}

// A failed step that was repeated well does not block, and is not forgotten.
func TestRepeatedStep(t *testing.T) {
	h := good(t)
	failed := *step(t, &h, turnaround.LeakTest)
	failed.ID, failed.Result = "leak-test that failed", turnaround.Fail
	failed.Start, failed.End = instant(t, "08:46"), instant(t, "08:48")
	h.Steps = append(h.Steps, failed)
	a := turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t))
	wantState(t, a, turnaround.Ready, "leak-test at 2026-03-02 09:46 +01:00 failed and was repeated")
}

func TestStepFaults(t *testing.T) {
	tests := []struct {
		name, reason string
		kind         turnaround.StepKind
		change       func(*turnaround.Step)
		status       turnaround.Status
		want         string // a part of the blocking reason; empty: ready
	}{
		{"leak test without a result", "a check without a result shows nothing", turnaround.LeakTest, func(s *turnaround.Step) { s.Result = "" }, turnaround.MissingStep, "leak-test at 2026-03-02 09:50 +01:00 has no result on record"},
		{"inspection without a result", "a check without a result shows nothing", turnaround.Inspection, func(s *turnaround.Step) { s.Result = "" }, turnaround.MissingStep, "inspection at 2026-03-02 10:18 +01:00 has no result on record"},
		{"disinfection without a result", "did the cycle pass?", turnaround.Disinfection, func(s *turnaround.Step) { s.Result = "" }, turnaround.MissingStep, "has no result on record"},
		{"cleaning that goes on", "not finished", turnaround.ManualCleaning, func(s *turnaround.Step) { s.End = 0 }, turnaround.RunningStep, "manual-cleaning goes on since"},
		{"disinfection that goes on", "not finished", turnaround.Disinfection, func(s *turnaround.Step) { s.End = 0 }, turnaround.RunningStep, "disinfection goes on since"},
		{"final rinse that goes on", "not required, yet begun", turnaround.FinalRinse, func(s *turnaround.Step) { s.End = 0 }, turnaround.RunningStep, "final-rinse goes on since"},
		{"drying, 10 min", "at least 10 min (ANSI/AAMI ST91:2021)", turnaround.Drying, func(s *turnaround.Step) { s.End = s.Start + 10*mins }, turnaround.DoneStep, ""},
		{"drying, 9 min 59 s", "too short", turnaround.Drying, func(s *turnaround.Step) { s.End = s.Start + 10*mins - sec }, turnaround.FailedStep, "drying took 9min59s; at least 10min is needed"},
		{"drying, a microsecond too short", "too short", turnaround.Drying, func(s *turnaround.Step) { s.End = s.Start + 10*mins - us }, turnaround.FailedStep, "at least 10min is needed"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			tt.change(step(t, &h, tt.kind))
			a := turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t))
			if tt.want == "" {
				wantState(t, a, turnaround.Ready, "")
			} else {
				wantState(t, a, turnaround.InWork, tt.want)
			}
			if got := status(t, a, tt.kind); got != tt.status {
				t.Errorf("%s: status %q, want %q", tt.reason, got, tt.status)
			}
		})
	}
}

func TestOutOfOrder(t *testing.T) {
	tests := []struct {
		name, reason string
		change       func(*testing.T, *turnaround.History)
		kind         turnaround.StepKind
		want         string
	}{
		{"leak test before pre-clean", "each required step begins after the one before ended", func(t *testing.T, h *turnaround.History) {
			t.Helper()
			s := step(t, h, turnaround.LeakTest)
			s.Start, s.End = instant(t, "08:31"), instant(t, "08:33")
		}, turnaround.LeakTest, "leak-test at 2026-03-02 09:31 +01:00 came before pre-clean ended at 2026-03-02 09:36 +01:00"},
		{"a microsecond too early", "before the end is before the end", func(t *testing.T, h *turnaround.History) {
			t.Helper()
			step(t, h, turnaround.Inspection).Start = instant(t, "09:17") - us
		}, turnaround.Inspection, "inspection at 2026-03-02 10:16 +01:00 came before manual-cleaning ended at 2026-03-02 10:17 +01:00"},
		{"inspection before cleaning ended", "half-cleaned", func(t *testing.T, h *turnaround.History) {
			t.Helper()
			step(t, h, turnaround.Inspection).Start = instant(t, "09:16")
		}, turnaround.Inspection, "inspection at 2026-03-02 10:16 +01:00 came before manual-cleaning ended"},
		{"sampled before cleaning ended", "the round shows another state of the scope", func(t *testing.T, h *turnaround.History) {
			t.Helper()
			h.Decisions[0].First = instant(t, "09:10")
		}, turnaround.Verification, "the round began at 2026-03-02 10:10 +01:00, before inspection ended"},
		{"disinfected before the reading", "cleaning was not yet shown", func(t *testing.T, h *turnaround.History) {
			t.Helper()
			step(t, h, turnaround.Disinfection).Start = instant(t, "09:29")
		}, turnaround.Disinfection, "disinfection at 2026-03-02 10:29 +01:00 came before verification ended at 2026-03-02 10:30 +01:00"},
		{"dried before disinfection ended", "wet again", func(t *testing.T, h *turnaround.History) {
			t.Helper()
			s := step(t, h, turnaround.Drying)
			s.Start, s.End = instant(t, "09:40"), instant(t, "10:00")
		}, turnaround.Drying, "drying at 2026-03-02 10:40 +01:00 came before disinfection ended"},
		{"cleaned a second time", "everything after the cleaning is to be done again", func(t *testing.T, h *turnaround.History) {
			t.Helper()
			again := *step(t, h, turnaround.ManualCleaning)
			again.ID, again.Start, again.End = "second cleaning", instant(t, "10:40"), instant(t, "10:50")
			h.Steps = append(h.Steps, again)
		}, turnaround.Verification, "the round began at 2026-03-02 10:22 +01:00, before manual-cleaning ended at 2026-03-02 11:50 +01:00"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			tt.change(t, &h)
			a := turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t))
			wantState(t, a, turnaround.InWork, tt.want)
			if got := status(t, a, tt.kind); got != turnaround.StaleStep {
				t.Errorf("%s: status %q", tt.reason, got)
			}
		})
	}
	t.Run("one after the other without a pause", func(t *testing.T) {
		h := good(t)
		s := step(t, &h, turnaround.Inspection)
		s.Start = instant(t, "09:17")
		wantState(t, turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t)), turnaround.Ready, "")
	})
	t.Run("cleaned a second time, the rest not repeated", func(t *testing.T) {
		h := good(t)
		again := *step(t, &h, turnaround.ManualCleaning)
		again.Start, again.End = instant(t, "10:40"), instant(t, "10:50")
		h.Steps = append(h.Steps, again)
		a := turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t))
		for _, kind := range []turnaround.StepKind{turnaround.Inspection, turnaround.Verification, turnaround.Disinfection, turnaround.Drying} {
			if got := status(t, a, kind); got != turnaround.StaleStep {
				t.Errorf("%s: status %q", kind, got)
			}
		}
	})
}

// Pre-clean to the start of manual cleaning: 60 min, as manufacturers' instructions have it (a
// secondary source); over it what was done about the delay must be on record.
func TestDelayedReprocessing(t *testing.T) {
	delayed := func(t *testing.T, by unit.Instant, done string) turnaround.History {
		t.Helper()
		h := good(t)
		// All that follows the pre-clean moves, so that the cleaning begins by after its end.
		shift := instant(t, "08:36") + by - instant(t, "09:00")
		for i := range h.Steps {
			if h.Steps[i].Kind != turnaround.PreClean {
				h.Steps[i].Start += shift
				if h.Steps[i].End.Known() {
					h.Steps[i].End += shift
				}
			}
		}
		for i := range h.Samples {
			h.Samples[i].Collected += shift
		}
		h.Decisions[0].First += shift
		h.Decisions[0].Last += shift
		step(t, &h, turnaround.ManualCleaning).Delayed = done
		return h
	}
	at := func(h turnaround.History) turnaround.Answer {
		return turnaround.Gate(h, preset(t), instant(t, "14:00"), berlin(t))
	}
	t.Run("60 min", func(t *testing.T) {
		wantState(t, at(delayed(t, hour, "")), turnaround.Ready, "")
	})
	t.Run("60 min and a microsecond", func(t *testing.T) {
		a := at(delayed(t, hour+us, ""))
		wantState(t, a, turnaround.InWork, "manual-cleaning began at 2026-03-02 10:36 +01:00, later than 2026-03-02 10:36 +01:00; what was done about the delay is not on record")
		if len(a.Next) != 1 || !strings.HasPrefix(a.Next[0], "delayed reprocessing: leak-test first") {
			t.Errorf("next: %q", a.Next)
		}
	})
	t.Run("with a record of what was done", func(t *testing.T) {
		wantState(t, at(delayed(t, hour+us, "soaked for 2 h")), turnaround.Ready, "; done about it: soaked for 2 h")
	})
	t.Run("a repeat in time does not hide the delay", func(t *testing.T) {
		h := delayed(t, 2*hour, "")
		failed := turnaround.Step{Stamp: stamp("first cleaning", 1), Scope: "D-01", Kind: turnaround.ManualCleaning, Result: turnaround.Fail, Start: instant(t, "09:00"), End: instant(t, "09:01")}
		h.Steps = append(h.Steps, failed)
		wantState(t, at(h), turnaround.InWork, "what was done about the delay is not on record")
	})
	t.Run("a second pre-clean does not restart the clock", func(t *testing.T) {
		h := delayed(t, hour+us, "")
		again := *step(t, &h, turnaround.PreClean)
		again.Start, again.End = instant(t, "08:31"), instant(t, "08:50") // begun earlier, ended later
		h.Steps = append(h.Steps, again)
		wantState(t, at(h), turnaround.InWork, "later than 2026-03-02 10:36 +01:00")
	})
	t.Run("no pre-clean on record", func(t *testing.T) {
		// The clock then starts with the end of the use, the earlier instant.
		h := without(delayed(t, hour, ""), turnaround.PreClean)
		wantState(t, at(h), turnaround.InWork, "later than 2026-03-02 10:30 +01:00")
	})
	t.Run("the clock while it runs", func(t *testing.T) {
		h := good(t)
		for _, tt := range []struct {
			at   unit.Instant
			want string
		}{
			{instant(t, "08:58"), "manual-cleaning is not on record"},
			{instant(t, "09:36"), "manual-cleaning is not on record"},
			{instant(t, "09:36") + us, "manual-cleaning has not begun and should have by 2026-03-02 10:36 +01:00"},
		} {
			h := without(h, turnaround.ManualCleaning)
			a := turnaround.Gate(h, preset(t), tt.at, berlin(t))
			wantState(t, a, turnaround.InWork, tt.want)
			if i := slices.IndexFunc(a.Steps, func(p turnaround.Progress) bool { return p.Step == turnaround.ManualCleaning }); a.Steps[i].Deadline != instant(t, "09:36") {
				t.Errorf("deadline %s", a.Steps[i].Deadline)
			}
		}
		a := turnaround.Gate(h, preset(t), instant(t, "08:58"), berlin(t))
		if !slices.Contains(a.Next, "do and record: manual-cleaning, to begin by 2026-03-02 10:36 +01:00") {
			t.Errorf("next: %q", a.Next)
		}
	})
}

func TestStates(t *testing.T) {
	noon := instant(t, "12:00")
	hold := turnaround.Hold{Stamp: stamp("hold", noon-hour), Scope: "D-01", At: noon - hour, By: "A. Lead", Reason: "bent tip"}
	tests := []struct {
		name, reason string
		change       func(*turnaround.History)
		state        turnaround.State
		want         string
	}{
		{"held", "nobody has lifted it", func(h *turnaround.History) { h.Holds = append(h.Holds, hold) }, turnaround.Held, "held since 2026-03-02 12:00 +01:00: bent tip"},
		{"held from this instant", "the instant itself is held", func(h *turnaround.History) { hold := hold; hold.At = noon; h.Holds = append(h.Holds, hold) }, turnaround.Held, "held since"},
		{"held a moment later", "not yet", func(h *turnaround.History) { hold := hold; hold.At = noon + us; h.Holds = append(h.Holds, hold) }, turnaround.Ready, ""},
		{"away for repair", "out of service", func(h *turnaround.History) {
			h.Repairs = []turnaround.Repair{{Stamp: stamp("repair", noon), Repair: scope.Repair{Scope: "D-01", Sent: noon, Fault: "leak"}}}
		}, turnaround.Out, "away for repair since 2026-03-02 13:00 +01:00: leak"},
		{"back from repair", "it is reprocessed before use", func(h *turnaround.History) {
			h.Repairs = []turnaround.Repair{{Stamp: stamp("repair", noon), Repair: scope.Repair{Scope: "D-01", Sent: noon - hour, Returned: noon}}}
		}, turnaround.InWork, "no reprocessing step is on record since it came back from repair at 2026-03-02 13:00 +01:00"},
		{"back from repair, to be sampled", "annex 8 on flexible endoscopes: after repair", func(h *turnaround.History) {
			h.Repairs = []turnaround.Repair{{Stamp: stamp("repair", noon), Repair: scope.Repair{Scope: "D-01", Sent: noon - hour, Returned: noon}}}
		}, turnaround.InWork, "back from repair and not sampled since"},
		{"retired", "gone for good", func(h *turnaround.History) { h.Instrument.Retired = noon }, turnaround.Out, "retired since 2026-03-02 13:00 +01:00"},
		{"retired later", "not yet", func(h *turnaround.History) { h.Instrument.Retired = noon + us }, turnaround.Ready, ""},
		{"retired and held", "the gravest state counts, both are told", func(h *turnaround.History) { h.Instrument.Retired = noon; h.Holds = append(h.Holds, hold) }, turnaround.Out, "held since"},
		{"in use", "begun and not ended", func(h *turnaround.History) {
			h.Uses = append(h.Uses, turnaround.Use{Stamp: stamp("use 2", noon), Scope: "D-01", Start: noon})
		}, turnaround.InWork, "in use on a patient since 2026-03-02 13:00 +01:00"},
		{"in use and held", "held is graver", func(h *turnaround.History) {
			h.Uses = append(h.Uses, turnaround.Use{Stamp: stamp("use 2", noon), Scope: "D-01", Start: noon})
			h.Holds = append(h.Holds, hold)
		}, turnaround.Held, "in use on a patient"},
		{"used since", "no step is on record since", func(h *turnaround.History) {
			h.Uses = append(h.Uses, turnaround.Use{Stamp: stamp("use 2", noon), Scope: "D-01", Start: noon - hour, End: noon - 30*mins})
		}, turnaround.InWork, "no reprocessing step is on record since the last use ended at 2026-03-02 12:30 +01:00"},
		{"issued", "on its way to a patient", func(h *turnaround.History) {
			h.Steps = append(h.Steps, turnaround.Step{Stamp: stamp("issue", noon), Scope: "D-01", Kind: turnaround.Issue, Start: noon})
		}, turnaround.InWork, "issued at 2026-03-02 13:00 +01:00 and not back"},
		{"unknown", "no history at all", func(h *turnaround.History) {
			*h = turnaround.History{Instrument: h.Instrument, Model: h.Model}
		}, turnaround.Unknown, "no reprocessing step is on record since it came into service"},
		{"not yet in service", "it was elsewhere then", func(h *turnaround.History) { h.Instrument.InService = noon + us }, turnaround.Unknown, "was not in service"},
		{"service without a date", "missing is never taken for good", func(h *turnaround.History) { h.Instrument.InService = 0 }, turnaround.Unknown, "was not in service"},
		{"no such scope", "an empty history", func(h *turnaround.History) { *h = turnaround.History{} }, turnaround.Unknown, "was not in service"},
		{"model missing", "nobody can say what the scope needs", func(h *turnaround.History) { h.Model = scope.Model{} }, turnaround.Unknown, `its model "duodenoscope A" is not on record`},
		{"another model", "its rules may be laxer", func(h *turnaround.History) { h.Model.Name = "colonoscope B" }, turnaround.Unknown, `its model "duodenoscope A" is not on record`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			tt.change(&h)
			wantState(t, turnaround.Gate(h, preset(t), noon, berlin(t)), tt.state, tt.want)
		})
	}
}

// recleaned returns a turnaround whose first round was over the action level and held the scope,
// with a second cleaning, a second round that passed and, if told so, the lift of the hold.
func recleaned(t *testing.T) turnaround.History {
	t.Helper()
	at := func(text string) unit.Instant { return instant(t, text) }
	h := good(t)
	h.Decisions[0] = decision("round 1", 1, at("08:30"), at("09:22"), at("09:30"), reading.Action)
	h.Holds = []turnaround.Hold{{Stamp: stamp("hold", at("09:30")), Scope: "D-01", At: at("09:30"), By: "rules", Reason: "over the action level", Cause: "round 1"}}
	for _, s := range []turnaround.Step{
		{Kind: turnaround.ManualCleaning, Start: at("09:40"), End: at("09:57")},
		{Kind: turnaround.Inspection, Start: at("09:58"), End: at("10:00"), Result: turnaround.Pass},
	} {
		s.Scope, s.Stamp = "D-01", stamp("second "+string(s.Kind), s.End)
		h.Steps = append(h.Steps, s)
	}
	h.Samples = append(h.Samples, samples(2, at("10:01"))...)
	h.Decisions = append(h.Decisions, decision("round 2", 2, at("08:30"), at("10:01"), at("10:10"), reading.Below))
	for i := range h.Steps {
		if k := h.Steps[i].Kind; slices.Index(turnaround.StepKinds, k) >= slices.Index(turnaround.StepKinds, turnaround.Disinfection) {
			h.Steps[i].Start += hour
			if h.Steps[i].End.Known() {
				h.Steps[i].End += hour
			}
		}
	}
	h.Lifts = []turnaround.Lift{{Stamp: stamp("lift", at("10:15")), Hold: "hold", Scope: "D-01", At: at("10:15"), By: "A. Lead", Reason: "second round passed", Round: "round 2"}}
	return h
}

func TestCleanAgainLoop(t *testing.T) {
	ask := func(h turnaround.History, at string) turnaround.Answer {
		return turnaround.Gate(h, preset(t), instant(t, at), berlin(t))
	}
	t.Run("ready, and the failed attempt is shown", func(t *testing.T) {
		a := ask(recleaned(t), "12:00")
		wantState(t, a, turnaround.Ready, "attempt 1 of this turnaround was action")
		wantState(t, a, turnaround.Ready, "round of attempt 2 is below")
	})
	t.Run("after the first round", func(t *testing.T) {
		a := ask(recleaned(t), "09:35")
		wantState(t, a, turnaround.Held, "held since 2026-03-02 10:30 +01:00: over the action level")
		wantState(t, a, turnaround.Held, "round of attempt 1 is action")
		wantState(t, a, turnaround.Held, "over the action level and no round has passed since")
		if !slices.Contains(a.Next, "next: action") || !slices.Contains(a.Next, "sample again and pass, or lift the hold with a second person") {
			t.Errorf("next: %q", a.Next)
		}
	})
	t.Run("the second round passed, the hold stays", func(t *testing.T) {
		wantState(t, ask(recleaned(t), "10:14"), turnaround.Held, "held since")
	})
	t.Run("lifted", func(t *testing.T) {
		wantState(t, ask(recleaned(t), "10:16"), turnaround.InWork, "disinfection is not on record")
	})
	t.Run("sampled again without cleaning", func(t *testing.T) {
		h := recleaned(t)
		h.Steps = slices.DeleteFunc(h.Steps, func(s turnaround.Step) bool { return strings.HasPrefix(s.ID, "second ") })
		a := ask(h, "12:00")
		wantState(t, a, turnaround.InWork, "attempt 1 of this turnaround was action and the scope was not cleaned again before it was sampled again")
		if got := status(t, a, turnaround.Verification); got != turnaround.StaleStep {
			t.Errorf("status %q", got)
		}
	})
	t.Run("the second round over action, too", func(t *testing.T) {
		h := recleaned(t)
		h.Lifts = nil
		h.Decisions[1] = decision("round 2", 2, instant(t, "08:30"), instant(t, "10:01"), instant(t, "10:10"), reading.Action)
		wantState(t, ask(h, "12:00"), turnaround.Held, "round of attempt 2 is action")
	})
	t.Run("a later action decides, an earlier pass does not undo it", func(t *testing.T) {
		h := good(t)
		h.Decisions = append(h.Decisions, decision("round 2", 2, instant(t, "08:30"), instant(t, "09:22"), instant(t, "09:31"), reading.Action))
		wantState(t, ask(h, "12:00"), turnaround.InWork, "round of attempt 2 is action")
	})
}

func TestLift(t *testing.T) {
	tests := []struct {
		name, reason string
		change       func(*testing.T, *turnaround.History)
		state        turnaround.State
	}{
		{"by a passed round", "", func(*testing.T, *turnaround.History) {}, turnaround.Ready},
		{"by a second person", "", func(_ *testing.T, h *turnaround.History) { h.Lifts[0].Round, h.Lifts[0].Second = "", "B. Lead" }, turnaround.Ready},
		{"by the same person twice", "one person is not two", func(_ *testing.T, h *turnaround.History) { h.Lifts[0].Round, h.Lifts[0].Second = "", "A. Lead" }, turnaround.Held},
		{"by nothing", "nobody could defend it", func(_ *testing.T, h *turnaround.History) { h.Lifts[0].Round = "" }, turnaround.Held},
		{"by a failed round", "it shows the contrary", func(_ *testing.T, h *turnaround.History) { h.Lifts[0].Round = "round 1" }, turnaround.Held},
		{"by a round after the hold that did not pass", "it shows nothing good", func(t *testing.T, h *turnaround.History) {
			t.Helper()
			h.Decisions = append(h.Decisions, decision("round 3", 2, instant(t, "08:30"), instant(t, "10:01"), instant(t, "10:05"), reading.None))
			h.Lifts[0].Round = "round 3"
		}, turnaround.Held},
		{"by a round that is voided", "what it rested on is gone", func(_ *testing.T, h *turnaround.History) { h.Lifts[0].Round = "round 9" }, turnaround.Held},
		{"by a round from before the hold", "the hold was placed after its samples", func(t *testing.T, h *turnaround.History) { t.Helper(); h.Holds[0].At = instant(t, "10:02") }, turnaround.Held},
		{"of another hold", "this one stays", func(_ *testing.T, h *turnaround.History) { h.Lifts[0].Hold = "other" }, turnaround.Held},
		{"one of two holds", "the other stays", func(_ *testing.T, h *turnaround.History) {
			second := h.Holds[0]
			second.ID = "hold 2"
			h.Holds = append(h.Holds, second)
		}, turnaround.Held},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := recleaned(t)
			tt.change(t, &h)
			a := turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t))
			if a.State != tt.state {
				t.Errorf("%s: %s, want %s: %s", tt.reason, a.State, tt.state, told(a))
			}
			if open := len(h.OpenHolds()); (open > 0) != (tt.state == turnaround.Held) {
				t.Errorf("%s: %d holds are open", tt.reason, open)
			}
		})
	}
	t.Run("escalated", func(t *testing.T) {
		h := recleaned(t)
		h.Lifts, h.Holds[0].Escalated = nil, true
		a := turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t))
		wantState(t, a, turnaround.Held, "held since")
		if !strings.HasPrefix(a.Next[0], "the lead decides") {
			t.Errorf("next: %q", a.Next)
		}
	})
	t.Run("of an earlier turnaround", func(t *testing.T) {
		h := good(t)
		was := instant(t, "2026-02-01T10:00:00Z")
		h.Holds = []turnaround.Hold{{Stamp: stamp("old", was), Scope: "D-01", At: was, By: "rules", Reason: "over the action level", Cause: "round of January"}}
		h.Lifts = []turnaround.Lift{{Stamp: stamp("lift", was+hour), Hold: "old", Scope: "D-01", At: was + hour, By: "A. Lead", Reason: "passed", Round: "round of February"}}
		// A round that is not in the history shows nothing.
		wantState(t, turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t)), turnaround.Held, "held since")
		h.Lifts[0].Second = "B. Lead"
		wantState(t, turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t)), turnaround.Ready, "")
	})
}

// Which lifts end which holds, at the limits.
func TestWhatEndsAHold(t *testing.T) {
	const placed = 100
	byRules := turnaround.Hold{Scope: "D-01", At: placed, By: "T-01", Reason: "over", Cause: "round"}
	byPerson := turnaround.Hold{Scope: "D-01", At: placed, By: "T-01", Reason: "culture positive"}
	escalated := byRules
	escalated.Escalated = true
	byPersonEscalated := byPerson
	byPersonEscalated.Escalated = true
	alone := turnaround.Lift{Scope: "D-01", At: 300, By: "L-01", Reason: "r", Round: "later"}
	with := func(second string) turnaround.Lift { l := alone; l.Second = second; return l }
	passed := func(change ...func(*turnaround.Decision)) *turnaround.Decision {
		d := decision("later", 2, 50, placed+1, 200, reading.Below)
		for _, f := range change {
			f(&d)
		}
		return &d
	}
	tests := []struct {
		name  string
		lift  turnaround.Lift
		hold  turnaround.Hold
		round *turnaround.Decision
		want  bool
	}{
		{"round alone, hold of the rules", alone, byRules, passed(), true},
		{"first sample at the instant of the hold", alone, byRules, passed(func(d *turnaround.Decision) { d.First = placed }), false},
		{"first sample before the hold", alone, byRules, passed(func(d *turnaround.Decision) { d.First = placed - 1 }), false},
		{"alert passes", alone, byRules, passed(func(d *turnaround.Decision) { d.Round.Outcome = reading.Alert }), true},
		{"over the action level", alone, byRules, passed(func(d *turnaround.Decision) { d.Round.Outcome = reading.Action }), false},
		{"incomplete", alone, byRules, passed(func(d *turnaround.Decision) { d.Round.Complete = false }), false},
		{"of another scope", alone, byRules, passed(func(d *turnaround.Decision) { d.Scope = "D-02" }), false},
		{"a round that does not stand", alone, byRules, nil, false},
		{"round alone, escalated", alone, escalated, passed(), false},
		{"round alone, hold of a person", alone, byPerson, passed(), false},
		{"round alone, escalated hold of a person", alone, byPersonEscalated, passed(), false},
		{"two, hold of a person", with("L-02"), byPerson, nil, true},
		{"two, escalated", with("L-02"), escalated, passed(), true},
		{"the same person twice, hold of a person", with("L-01"), byPerson, passed(), false},
		{"the same person in other letters", with(" l-01 "), byPerson, passed(), false},
		{"the same person twice, hold of the rules", with("L-01"), byRules, passed(), true},
		{"two, before the hold", func() turnaround.Lift { l := with("L-02"); l.At = placed - 1; return l }(), byPerson, passed(), false},
		{"two, for another scope", func() turnaround.Lift { l := with("L-02"); l.Scope = "D-02"; return l }(), byPerson, passed(), false},
		{"two without a first", func() turnaround.Lift { l := with("L-02"); l.By = ""; return l }(), byPerson, passed(), false},
	}
	for _, test := range tests {
		if got := test.lift.Ends(test.hold, test.round); got != test.want {
			t.Errorf("%s: ends = %t, want %t", test.name, got, test.want)
		}
	}
}

func TestUnfinishedRound(t *testing.T) {
	// A colonoscope is of standard risk: no round is due in a turnaround of its own.
	standard := func(t *testing.T) turnaround.History {
		t.Helper()
		h := good(t)
		h.Model.Kind, h.Model.Risk = scope.Colonoscope, scope.StandardRisk
		h.Samples, h.Decisions = nil, nil
		h.Earlier.Passed = instant(t, "2026-02-20T10:00:00Z")
		return h
	}
	at := func(h turnaround.History) turnaround.Answer {
		return turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t))
	}
	t.Run("not due and not begun", func(t *testing.T) {
		a := at(standard(t))
		wantState(t, a, turnaround.Ready, "")
		if got := status(t, a, turnaround.Verification); got != turnaround.NotDueStep {
			t.Errorf("status %q", got)
		}
	})
	t.Run("not due and begun", func(t *testing.T) {
		h := standard(t)
		h.Samples = samples(1, instant(t, "09:22"))
		a := at(h)
		wantState(t, a, turnaround.InWork, "outer-distal-end was sampled at 2026-03-02 10:22 +01:00 and its round has no result")
		if got := status(t, a, turnaround.Verification); got != turnaround.RunningStep {
			t.Errorf("status %q", got)
		}
	})
	t.Run("not applicable alone", func(t *testing.T) {
		h := standard(t)
		h.Samples = samples(1, instant(t, "09:22"))[:1]
		h.Samples[0].NotApplicable = "the channel is sealed"
		wantState(t, at(h), turnaround.Ready, "")
	})
	t.Run("recorded as incomplete", func(t *testing.T) {
		h := standard(t)
		h.Samples = samples(1, instant(t, "09:22"))
		h.Decisions = []turnaround.Decision{decision("round 1", 1, instant(t, "08:30"), instant(t, "09:22"), instant(t, "09:25"), reading.None)}
		a := at(h)
		wantState(t, a, turnaround.InWork, "round of attempt 1 is none")
		if got := status(t, a, turnaround.Verification); got != turnaround.RunningStep {
			t.Errorf("status %q", got)
		}
	})
	t.Run("recorded as incomplete, nothing read", func(t *testing.T) {
		h := standard(t)
		h.Samples = samples(1, instant(t, "09:22"))
		h.Decisions = []turnaround.Decision{decision("round 1", 1, instant(t, "08:30"), instant(t, "09:22"), 0, reading.None)}
		wantState(t, at(h), turnaround.InWork, "round of attempt 1 is none")
	})
	t.Run("sampled again after the round was decided", func(t *testing.T) {
		h := good(t)
		h.Samples = append(h.Samples, samples(1, instant(t, "11:00"))...)
		wantState(t, at(h), turnaround.InWork, "was sampled at 2026-03-02 12:00 +01:00 and its round has no result")
	})
	t.Run("a sample that came after the action", func(t *testing.T) {
		// Its attempt was over the action level already, and the next attempt passed.
		h := recleaned(t)
		h.Samples = append(h.Samples, samples(1, instant(t, "09:31"))[:1]...)
		wantState(t, at(h), turnaround.Ready, "attempt 1 of this turnaround was action")
	})
	t.Run("a decision of an earlier turnaround decides nothing", func(t *testing.T) {
		h := standard(t)
		h.Samples = samples(1, instant(t, "09:22"))
		was := instant(t, "2026-02-20T10:00:00Z")
		h.Decisions = []turnaround.Decision{decision("old round", 1, was-hour, was, was, reading.Below)}
		wantState(t, at(h), turnaround.InWork, "its round has no result")
	})
	t.Run("due and not blocking", func(t *testing.T) {
		h := standard(t)
		h.Earlier.Passed = instant(t, "2026-01-20T10:00:00Z")
		a := at(h)
		wantState(t, a, turnaround.Ready, "sampling is due: the last passed round is more than 30 days ago")
		if len(a.Due) != 1 || a.Due[0].When != sampling.Periodic {
			t.Errorf("due: %+v", a.Due)
		}
	})
}

func TestPeriodicCountsUses(t *testing.T) {
	rules := preset(t)
	rules.Due = []sampling.Rule{{When: sampling.Periodic, Uses: 3, Blocks: true, Source: sampling.Source{Citation: "common practice"}}}
	passed := instant(t, "2026-02-20T10:00:00Z")
	tests := []struct {
		name, reason string
		change       func(*turnaround.History)
		state        turnaround.State
	}{
		{"below the limit", "one earlier use and the loaded one", func(h *turnaround.History) { h.Earlier = turnaround.Earlier{Passed: passed, Uses: 1} }, turnaround.Ready},
		{"at the limit", "two earlier uses and the loaded one", func(h *turnaround.History) { h.Earlier = turnaround.Earlier{Passed: passed, Uses: 2} }, turnaround.InWork},
		{"a passed round among the loaded", "it starts the count again", func(h *turnaround.History) {
			h.Earlier = turnaround.Earlier{Passed: passed, Uses: 2}
			h.Decisions = []turnaround.Decision{decision("round 1", 1, instant(t, "08:30"), instant(t, "09:22"), instant(t, "09:30"), reading.Below)}
		}, turnaround.Ready},
		{"a use before the last pass", "it was counted then", func(h *turnaround.History) {
			h.Earlier = turnaround.Earlier{Passed: passed, Uses: 1}
			h.Uses = append(h.Uses, turnaround.Use{Scope: "D-01", Start: passed - hour, End: passed - 1})
		}, turnaround.Ready},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			h.Samples, h.Decisions = nil, nil
			tt.change(&h)
			if a := turnaround.Gate(h, rules, instant(t, "12:00"), berlin(t)); a.State != tt.state {
				t.Errorf("%s: %s, want %s: %s", tt.reason, a.State, tt.state, told(a))
			}
			due := turnaround.Due(h, rules, instant(t, "12:00"), berlin(t))
			if (len(due) > 0) != (tt.state == turnaround.InWork) {
				t.Errorf("%s: due %+v", tt.reason, due)
			}
		})
	}
}

func TestRequest(t *testing.T) {
	rules := preset(t)
	for i := range rules.Due {
		rules.Due[i].Blocks = true
	}
	h := good(t)
	h.Requests = []turnaround.Request{{Stamp: stamp("request", instant(t, "11:00")), Request: sampling.Request{Scope: "D-01", Reason: "cluster", By: "I. Control", At: instant(t, "11:00"), Points: []scope.PointKind{scope.ElevatorRecess}}}}
	wantState(t, turnaround.Gate(h, rules, instant(t, "10:59"), berlin(t)), turnaround.Ready, "")
	a := turnaround.Gate(h, rules, instant(t, "11:00"), berlin(t))
	wantState(t, a, turnaround.InWork, "sampling is due: asked for by I. Control: cluster")
	if !slices.Contains(a.Next, "sample and read: elevator-recess") {
		t.Errorf("next: %q", a.Next)
	}
}

func TestModelOfItsOwnSteps(t *testing.T) {
	rules := preset(t)
	own := slices.Clone(rules.Steps)
	i := slices.IndexFunc(own, func(s turnaround.StepRule) bool { return s.Step == turnaround.FinalRinse })
	own[i].Required = true
	rules.Models = map[string][]turnaround.StepRule{"duodenoscope A": own}
	h := without(good(t), turnaround.FinalRinse)
	wantState(t, turnaround.Gate(h, rules, instant(t, "12:00"), berlin(t)), turnaround.InWork, "final-rinse is not on record")
	h.Instrument.Model, h.Model.Name = "duodenoscope Z", "duodenoscope Z"
	wantState(t, turnaround.Gate(h, rules, instant(t, "12:00"), berlin(t)), turnaround.Ready, "")
}

// The gate answers for any instant of the past as it would have then.
func TestPastInstants(t *testing.T) {
	h := good(t)
	tests := []struct {
		at    string
		state turnaround.State
		want  string
	}{
		{"2025-12-31T23:59:59Z", turnaround.Unknown, "not in service"},
		{"2026-02-01T00:00:00Z", turnaround.Unknown, "no reprocessing step is on record since it came into service"},
		{"08:15", turnaround.InWork, "in use on a patient since 2026-03-02 09:00 +01:00"},
		{"08:30", turnaround.InWork, "no reprocessing step is on record since the last use ended at 2026-03-02 09:30 +01:00"},
		{"08:34", turnaround.InWork, "pre-clean goes on since"},
		{"08:52", turnaround.InWork, "leak-test goes on since"},
		{"09:10", turnaround.InWork, "manual-cleaning goes on since"},
		{"09:25", turnaround.InWork, "was sampled at 2026-03-02 10:22 +01:00 and its round has no result"},
		{"09:50", turnaround.InWork, "disinfection goes on since"},
		{"10:20", turnaround.InWork, "drying goes on since"},
		{"10:26", turnaround.Ready, "outside a cabinet since"},
		{"10:30", turnaround.Ready, "stored in drying-cabinet"},
	}
	t.Run("a result is not known before the end", func(t *testing.T) {
		h := good(t)
		step(t, &h, turnaround.LeakTest).Result = turnaround.Fail
		wantState(t, turnaround.Gate(h, preset(t), instant(t, "08:54"), berlin(t)), turnaround.InWork, "leak-test goes on since")
		wantState(t, turnaround.Gate(h, preset(t), instant(t, "08:55"), berlin(t)), turnaround.InWork, "leak-test at 2026-03-02 09:50 +01:00 failed")
	})
	for _, tt := range tests {
		t.Run(tt.at, func(t *testing.T) {
			wantState(t, turnaround.Gate(h, preset(t), instant(t, tt.at), berlin(t)), tt.state, tt.want)
		})
	}
}
