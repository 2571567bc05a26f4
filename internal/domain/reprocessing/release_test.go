package reprocessing_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

const (
	us   = unit.Instant(unit.Microsecond)
	sec  = unit.Instant(unit.Second)
	mins = unit.Instant(unit.Minute)
	hour = unit.Instant(unit.Hour)
)

func TestGoodCycleIsReady(t *testing.T) {
	a := reprocessing.Release(good(t), preset(t), instant(t, "12:00"), berlin(t))
	wantState(t, a, reprocessing.Ready, "stored in drying-cabinet since 2026-03-02 11:30 +01:00; at most 30 days")
	// 30 calendar days in Europe/Berlin: the clock went forward on 29 March.
	if want := instant(t, "2026-04-01T11:30:00+02:00"); a.Until != want {
		t.Errorf("until %s, want %s", a.Until, want)
	}
	if a.Scope != "D-01" || a.At != instant(t, "12:00") || a.Cycle != instant(t, "08:30") || len(a.Due) != 0 || len(a.Next) != 0 {
		t.Errorf("answer %+v", a)
	}
	var kinds []reprocessing.StepKind
	for _, p := range a.Steps {
		kinds = append(kinds, p.Step)
		if p.Status != reprocessing.DoneStep || p.Record == "" {
			t.Errorf("%s is %s (record %q)", p.Step, p.Status, p.Record)
		}
	}
	want := []reprocessing.StepKind{
		reprocessing.PointOfUse, reprocessing.Transport, reprocessing.LeakTest, reprocessing.ManualCleaning, reprocessing.Inspection,
		reprocessing.Verification, reprocessing.Disinfection, reprocessing.FinalRinse, reprocessing.Drying, reprocessing.Storage,
	}
	if diff := cmp.Diff(want, kinds); diff != "" {
		t.Errorf("steps (-want +got):\n%s", diff)
	}
}

func TestReleaseLeavesItsArgumentAlone(t *testing.T) {
	at := instant(t, "09:10") // cuts steps, uses and repairs that end later
	build := func() reprocessing.History {
		h := good(t)
		h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("later", at), Scope: "D-01", Start: at, End: at + hour})
		h.Repairs = []reprocessing.Repair{{Stamp: stamp("repair", at), Repair: scope.Repair{Scope: "D-01", Sent: at - hour, Returned: at + hour}}}
		slices.Reverse(h.Steps)
		return h
	}
	h, rules := build(), preset(t)
	reprocessing.Release(h, rules, at, berlin(t))
	reprocessing.Release(h, rules, instant(t, "12:00"), berlin(t))
	if diff := cmp.Diff(build(), h); diff != "" {
		t.Errorf("the history was changed:\n%s", diff)
	}
	if diff := cmp.Diff(preset(t), rules); diff != "" {
		t.Errorf("the rules were changed:\n%s", diff)
	}
}

// The order in which the entries are given does not matter.
func TestReleaseSortsForItself(t *testing.T) {
	h, reversed := good(t), good(t)
	slices.Reverse(reversed.Steps)
	slices.Reverse(reversed.Samples)
	at := instant(t, "12:00")
	if diff := cmp.Diff(reprocessing.Release(h, preset(t), at, berlin(t)), reprocessing.Release(reversed, preset(t), at, berlin(t))); diff != "" {
		t.Errorf("another order, another answer:\n%s", diff)
	}
}

func TestMissingStep(t *testing.T) {
	tests := []struct {
		kind   reprocessing.StepKind
		state  reprocessing.State
		status reprocessing.Status
		reason string
	}{
		{reprocessing.PointOfUse, reprocessing.InReprocessing, reprocessing.NotDueStep, "point-of-use treatment is not on record in time"},
		{reprocessing.Transport, reprocessing.Ready, reprocessing.NotDueStep, ""},
		{reprocessing.LeakTest, reprocessing.InReprocessing, reprocessing.MissingStep, "leak test is not on record"},
		{reprocessing.ManualCleaning, reprocessing.InReprocessing, reprocessing.MissingStep, "manual cleaning has not begun and should have by 2026-03-02 " +
			"10:36 +01:00"},
		{reprocessing.Inspection, reprocessing.InReprocessing, reprocessing.MissingStep, "inspection is not on record"},
		{reprocessing.Disinfection, reprocessing.InReprocessing, reprocessing.MissingStep, "disinfection has not begun and should have by 2026-03-02 12:17 +01:00"},
		{reprocessing.FinalRinse, reprocessing.Ready, reprocessing.NotDueStep, ""},
		{reprocessing.Drying, reprocessing.InReprocessing, reprocessing.MissingStep, "drying has not begun and should have by 2026-03-02 12:05 +01:00"},
		{reprocessing.Storage, reprocessing.InReprocessing, reprocessing.MissingStep, "storage has not begun and should have by 2026-03-02 12:25 +01:00"},
	}
	for _, tt := range tests {
		t.Run(string(tt.kind), func(t *testing.T) {
			a := reprocessing.Release(without(good(t), tt.kind), preset(t), instant(t, "12:00"), berlin(t))
			wantState(t, a, tt.state, tt.reason)
			if got := status(t, a, tt.kind); got != tt.status {
				t.Errorf("status %q, want %q", got, tt.status)
			}
		})
	}
	t.Run("verification", func(t *testing.T) {
		h := good(t)
		h.Samples, h.Decisions = nil, nil
		a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
		wantState(t, a, reprocessing.InReprocessing, "sampling is due: high-risk models are sampled in every cycle")
		if got := status(t, a, reprocessing.Verification); got != reprocessing.MissingStep || len(a.Due) != 1 {
			t.Errorf("status %q, due %+v", got, a.Due)
		}
		if !slices.Contains(a.Next, "sample and read: outer distal end, elevator recess, instrument channel, elevator wire channel") {
			t.Errorf("next: %q", a.Next)
		}
	})
	t.Run("everything is told at once", func(t *testing.T) {
		h := without(without(good(t), reprocessing.LeakTest), reprocessing.Drying)
		a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
		wantState(t, a, reprocessing.InReprocessing, "leak test is not on record")
		wantState(t, a, reprocessing.InReprocessing, "drying has not begun")
	})
}

func TestFailedStep(t *testing.T) {
	for _, kind := range reprocessing.StepKinds {
		if kind == reprocessing.Verification || kind == reprocessing.Issue || kind == reprocessing.Soak {
			continue
		}
		t.Run(string(kind), func(t *testing.T) {
			h := good(t)
			step(t, &h, kind).Result = reprocessing.Fail
			a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
			wantState(t, a, reprocessing.InReprocessing, kind.Words()+" at ")
			if got := status(t, a, kind); got != reprocessing.FailedStep {
				t.Errorf("status %q", got)
			}
		})
	}
}

// A failed step that was repeated well does not block, and is not forgotten, where to repeat it is all that the
// failure asks for. A leak does not go by testing again, nor residue by looking again.
func TestRepeatedStep(t *testing.T) {
	failed := func(kind reprocessing.StepKind, start, end string) reprocessing.Step {
		return reprocessing.Step{
			Stamp: stamp(string(kind)+" that failed", 1), Scope: "D-01", Kind: kind, Result: reprocessing.Fail, By: "T. Echnician",
			Start: instant(t, start), End: instant(t, end),
		}
	}
	cleaned := func(start, end string) reprocessing.Step {
		s := failed(reprocessing.ManualCleaning, start, end)
		s.ID, s.Result = "cleaning between", reprocessing.NotStated
		return s
	}
	repaired := reprocessing.Repair{Stamp: stamp("repair", 1), Repair: scope.Repair{Scope: "D-01", Sent: instant(t, "08:48"), Returned: instant(t, "08:49")}}
	for _, tt := range []struct {
		name   string
		change func(*reprocessing.History)
		state  reprocessing.State
		want   string
	}{
		{"a drying that failed", func(h *reprocessing.History) {
			h.Steps = append(h.Steps, failed(reprocessing.Drying, "10:08", "10:10"))
		}, reprocessing.Ready, "drying at 2026-03-02 11:08 +01:00 failed and was repeated"},
		{"a leak test 2 minutes before one that passed", func(h *reprocessing.History) {
			h.Steps = append(h.Steps, failed(reprocessing.LeakTest, "08:46", "08:48"))
		}, reprocessing.InReprocessing, "leak test at 2026-03-02 09:46 +01:00 failed, and leak test passed at 2026-03-02 09:50 +01:00 without a repair between them"},
		{"a leak test, and a repair before the one that passed", func(h *reprocessing.History) {
			h.Steps = append(h.Steps, failed(reprocessing.LeakTest, "08:46", "08:48"))
			h.Repairs = append(h.Repairs, repaired)
		}, reprocessing.Ready, ""},
		{"an inspection, looked at again", func(h *reprocessing.History) {
			h.Steps = append(h.Steps, failed(reprocessing.Inspection, "09:17", "09:18"))
		}, reprocessing.InReprocessing, "without a manual cleaning between them"},
		{"an inspection, cleaned, and looked at again", func(h *reprocessing.History) {
			h.Steps = append(h.Steps, failed(reprocessing.Inspection, "09:05", "09:06"), cleaned("09:06", "09:18"))
		}, reprocessing.Ready, "inspection at 2026-03-02 10:05 +01:00 failed and was repeated"},
		{"an inspection, cleaned before it", func(h *reprocessing.History) {
			h.Steps = append(h.Steps, failed(reprocessing.Inspection, "09:17", "09:18"), cleaned("09:05", "09:16"))
		}, reprocessing.InReprocessing, "without a manual cleaning between them"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			tt.change(&h)
			wantState(t, reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t)), tt.state, tt.want)
		})
	}
}

func TestStepFaults(t *testing.T) {
	tests := []struct {
		name, reason string
		kind         reprocessing.StepKind
		change       func(*reprocessing.Step)
		status       reprocessing.Status
		want         string // a part of the blocking reason; empty: ready
	}{
		{
			"leak test without a result", "a check without a result shows nothing", reprocessing.LeakTest,
			func(s *reprocessing.Step) { s.Result = "" }, reprocessing.MissingStep,
			"leak test at 2026-03-02 09:50 +01:00 has no result on record",
		},
		{
			"inspection without a result", "a check without a result shows nothing", reprocessing.Inspection,
			func(s *reprocessing.Step) { s.Result = "" }, reprocessing.MissingStep,
			"inspection at 2026-03-02 10:18 +01:00 has no result on record",
		},
		{
			"disinfection without a result", "did the cycle pass?", reprocessing.Disinfection, func(s *reprocessing.Step) { s.Result = "" },
			reprocessing.MissingStep, "has no result on record",
		},
		{
			"cleaning that goes on", "not finished", reprocessing.ManualCleaning, func(s *reprocessing.Step) { s.End = 0 },
			reprocessing.RunningStep, "manual cleaning goes on since",
		},
		{
			"disinfection that goes on", "not finished", reprocessing.Disinfection, func(s *reprocessing.Step) { s.End = 0 },
			reprocessing.RunningStep, "disinfection goes on since",
		},
		{
			"final rinse that goes on", "not required, yet begun", reprocessing.FinalRinse, func(s *reprocessing.Step) { s.End = 0 },
			reprocessing.RunningStep, "final rinse goes on since",
		},
		{
			"drying, 10 min", "at least 10 min (ANSI/AAMI ST91:2021)", reprocessing.Drying,
			func(s *reprocessing.Step) { s.End = s.Start + 10*mins }, reprocessing.DoneStep, "",
		},
		{
			"drying, 9 min 59 s", "too short", reprocessing.Drying, func(s *reprocessing.Step) { s.End = s.Start + 10*mins - sec },
			reprocessing.FailedStep, "drying took 9min59s; at least 10min is needed",
		},
		{
			"drying, a microsecond too short", "too short", reprocessing.Drying,
			func(s *reprocessing.Step) { s.End = s.Start + 10*mins - us }, reprocessing.FailedStep, "at least 10min is needed",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			tt.change(step(t, &h, tt.kind))
			a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
			if tt.want == "" {
				wantState(t, a, reprocessing.Ready, "")
			} else {
				wantState(t, a, reprocessing.InReprocessing, tt.want)
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
		change       func(*testing.T, *reprocessing.History)
		kind         reprocessing.StepKind
		want         string
	}{
		{"leak test before point-of-use treatment", "each required step begins after the one before ended", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			s := step(t, h, reprocessing.LeakTest)
			s.Start, s.End = instant(t, "08:31"), instant(t, "08:33")
		}, reprocessing.LeakTest, "leak test at 2026-03-02 09:31 +01:00 came before point-of-use treatment ended at 2026-03-02 09:36 +01:00"},
		{"a microsecond too early", "before the end is before the end", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			step(t, h, reprocessing.Inspection).Start = instant(t, "09:17") - us
		}, reprocessing.Inspection, "inspection at 2026-03-02 10:16 +01:00 came before manual cleaning ended at 2026-03-02 10:17 +01:00"},
		{"inspection before cleaning ended", "half-cleaned", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			step(t, h, reprocessing.Inspection).Start = instant(t, "09:16")
		}, reprocessing.Inspection, "inspection at 2026-03-02 10:16 +01:00 came before manual cleaning ended"},
		{"sampled before cleaning ended", "the cleaning verification shows another state of the scope", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			h.Decisions[0].First = instant(t, "09:10")
		}, reprocessing.Verification, "the cleaning verification began at 2026-03-02 10:10 +01:00, before inspection ended"},
		{"disinfected before the reading", "cleaning was not yet shown", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			step(t, h, reprocessing.Disinfection).Start = instant(t, "09:29")
		}, reprocessing.Disinfection, "disinfection at 2026-03-02 10:29 +01:00 came before cleaning verification ended at 2026-03-02 10:30 +01:00"},
		{"dried before disinfection ended", "wet again", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			s := step(t, h, reprocessing.Drying)
			s.Start, s.End = instant(t, "09:40"), instant(t, "10:00")
		}, reprocessing.Drying, "drying at 2026-03-02 10:40 +01:00 came before final rinse ended"},
		{"cleaned a second time", "everything after the cleaning is to be done again", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			again := *step(t, h, reprocessing.ManualCleaning)
			again.ID, again.Start, again.End = "second cleaning", instant(t, "10:40"), instant(t, "10:50")
			h.Steps = append(h.Steps, again)
		}, reprocessing.Verification, "the cleaning verification began at 2026-03-02 10:22 +01:00, before manual cleaning ended at 2026-03-02 11:50 +01:00"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			tt.change(t, &h)
			a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
			wantState(t, a, reprocessing.InReprocessing, tt.want)
			if got := status(t, a, tt.kind); got != reprocessing.StaleStep {
				t.Errorf("%s: status %q", tt.reason, got)
			}
		})
	}
	t.Run("one after the other without a pause", func(t *testing.T) {
		h := good(t)
		s := step(t, &h, reprocessing.Inspection)
		s.Start = instant(t, "09:17")
		wantState(t, reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t)), reprocessing.Ready, "")
	})
	t.Run("cleaned a second time, the rest not repeated", func(t *testing.T) {
		h := good(t)
		again := *step(t, &h, reprocessing.ManualCleaning)
		again.Start, again.End = instant(t, "10:40"), instant(t, "10:50")
		h.Steps = append(h.Steps, again)
		a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
		for _, kind := range []reprocessing.StepKind{reprocessing.Inspection, reprocessing.Verification, reprocessing.Disinfection, reprocessing.Drying} {
			if got := status(t, a, kind); got != reprocessing.StaleStep {
				t.Errorf("%s: status %q", kind, got)
			}
		}
	})
}

// Point-of-use treatment to the start of manual cleaning: 60 min, as manufacturers' instructions have it (a
// secondary source); over it a soak must be on record, with a manual cleaning after it.
func TestDelayedReprocessing(t *testing.T) {
	// late moves all steps from the one on, so that the cleaning begins by after the end of the treatment.
	late := func(t *testing.T, by unit.Instant, from reprocessing.StepKind) reprocessing.History {
		t.Helper()
		h := good(t)
		shift := instant(t, "08:36") + by - instant(t, "09:00")
		moves := false
		for i := range h.Steps {
			if moves = moves || h.Steps[i].Kind == from; !moves {
				continue
			}
			h.Steps[i].Start += shift
			if h.Steps[i].End.Known() {
				h.Steps[i].End += shift
			}
		}
		for i := range h.Samples {
			h.Samples[i].Collected += shift
		}
		h.Decisions[0].First += shift
		h.Decisions[0].Last += shift
		return h
	}
	delayed := func(t *testing.T, by unit.Instant) reprocessing.History {
		t.Helper()
		return late(t, by, reprocessing.Transport)
	}
	soak := func(start, end unit.Instant) reprocessing.Step {
		return reprocessing.Step{Stamp: stamp("soak", end), Scope: "D-01", Kind: reprocessing.Soak, Start: start, End: end, By: "T. Echnician"}
	}
	at := func(h reprocessing.History) reprocessing.Answer {
		return reprocessing.Release(h, preset(t), instant(t, "16:00"), berlin(t))
	}
	const lacks = "manual cleaning is not on record in time, and no soak for delayed reprocessing either"
	t.Run("60 min", func(t *testing.T) {
		wantState(t, at(delayed(t, hour)), reprocessing.Ready, "")
	})
	t.Run("60 min and a microsecond", func(t *testing.T) {
		a := at(delayed(t, hour+us))
		wantState(t, a, reprocessing.InReprocessing, lacks)
		if len(a.Next) != 1 || !strings.HasPrefix(a.Next[0], "delayed reprocessing: leak-test first") {
			t.Errorf("next: %q", a.Next)
		}
		if got := status(t, a, reprocessing.Soak); got != reprocessing.MissingStep {
			t.Errorf("the soak is %q", got)
		}
	})
	t.Run("soaked between leak test and cleaning", func(t *testing.T) {
		h := delayed(t, 3*hour)
		test := step(t, &h, reprocessing.LeakTest)
		test.Start -= hour
		test.End -= hour
		h.Steps = append(h.Steps, soak(test.End, test.End+30*mins))
		wantState(t, at(h), reprocessing.Ready, "manual cleaning began at 2026-03-02 12:36 +01:00, later than 2026-03-02 10:36 +01:00")
	})
	for _, tt := range []struct {
		name, want string
		soak       func(cleaning reprocessing.Step) reprocessing.Step
	}{
		{"soaked after the cleaning only", "manual cleaning at 2026-03-02 12:36 +01:00 came before soak ended", func(c reprocessing.Step) reprocessing.Step {
			return soak(c.End, c.End+30*mins)
		}},
		{"soaked for too short", "soak took 1min; at least 10min is needed", func(c reprocessing.Step) reprocessing.Step {
			return soak(c.Start-2*mins, c.Start-mins)
		}},
		{"soaked in no time", "soak at 2026-03-02 12:36 +01:00 began and ended at the same time", func(c reprocessing.Step) reprocessing.Step {
			return soak(c.Start, c.Start)
		}},
		{"still soaking", "soak goes on since", func(c reprocessing.Step) reprocessing.Step {
			s := soak(c.Start-20*mins, 0)
			return s
		}},
		{"the soak failed", "soak at 2026-03-02 12:16 +01:00 failed", func(c reprocessing.Step) reprocessing.Step {
			s := soak(c.Start-20*mins, c.Start)
			s.Result = reprocessing.Fail
			return s
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h := delayed(t, 3*hour)
			h.Steps = append(h.Steps, tt.soak(*step(t, &h, reprocessing.ManualCleaning)))
			wantState(t, at(h), reprocessing.InReprocessing, tt.want)
		})
	}
	t.Run("a rule set without a soak asks for one all the same", func(t *testing.T) {
		rules := preset(t)
		rules.Steps = slices.DeleteFunc(slices.Clone(rules.Steps), func(r reprocessing.StepRule) bool { return r.Step == reprocessing.Soak })
		wantState(t, reprocessing.Release(delayed(t, hour+us), rules, instant(t, "16:00"), berlin(t)), reprocessing.InReprocessing, lacks)
	})
	t.Run("a failed cleaning in time stops nothing", func(t *testing.T) {
		h := delayed(t, 2*hour)
		failed := reprocessing.Step{
			Stamp: stamp("first cleaning", 1), Scope: "D-01", Kind: reprocessing.ManualCleaning, Result: reprocessing.Fail,
			Start: instant(t, "09:00"), End: instant(t, "09:01"),
		}
		h.Steps = append(h.Steps, failed)
		wantState(t, at(h), reprocessing.InReprocessing, lacks)
	})
	t.Run("a second point-of-use treatment does not restart the clock", func(t *testing.T) {
		h := delayed(t, hour+us)
		again := *step(t, &h, reprocessing.PointOfUse)
		again.Start, again.End = instant(t, "08:40"), instant(t, "08:50")
		h.Steps = append(h.Steps, again)
		wantState(t, at(h), reprocessing.InReprocessing, lacks)
	})
	t.Run("a late point-of-use treatment starts no clock anew", func(t *testing.T) {
		h := late(t, 3*hour, reprocessing.PointOfUse)
		a := at(h)
		wantState(t, a, reprocessing.InReprocessing, "point-of-use treatment is not on record in time, and no soak for delayed reprocessing either")
	})
	t.Run("a point-of-use treatment that went on for hours starts no clock anew", func(t *testing.T) {
		h := delayed(t, 3*hour)
		step(t, &h, reprocessing.PointOfUse).End = instant(t, "11:00")
		wantState(t, at(h), reprocessing.InReprocessing, lacks)
	})
	t.Run("no point-of-use treatment on record", func(t *testing.T) {
		h := without(delayed(t, hour), reprocessing.PointOfUse)
		wantState(t, at(h), reprocessing.InReprocessing, "no soak for delayed reprocessing either")
	})
	t.Run("no limit for the point-of-use treatment", func(t *testing.T) {
		// Then the clock starts with the end of the use, the earlier instant.
		rules := preset(t)
		rules.Steps = slices.Clone(rules.Steps)
		rules.Steps[0].Within = 0
		wantState(t, reprocessing.Release(delayed(t, hour-6*mins), rules, instant(t, "16:00"), berlin(t)), reprocessing.Ready, "")
		wantState(t, reprocessing.Release(delayed(t, hour-6*mins+us), rules, instant(t, "16:00"), berlin(t)), reprocessing.InReprocessing, lacks)
	})
	t.Run("not after a repair", func(t *testing.T) {
		h := good(t)
		h.Uses = nil
		h = without(h, reprocessing.PointOfUse)
		h.Repairs = []reprocessing.Repair{
			{Stamp: stamp("repair", 1), Repair: scope.Repair{Scope: "D-01", Sent: instant(t, "06:00"), Returned: instant(t, "07:00")}},
		}
		wantState(t, at(h), reprocessing.Ready, "")
	})
	t.Run("the clock while it runs", func(t *testing.T) {
		h := good(t)
		for _, tt := range []struct {
			at   unit.Instant
			want string
		}{
			{instant(t, "08:58"), "manual cleaning is not on record"},
			{instant(t, "09:36"), "manual cleaning is not on record"},
			{instant(t, "09:36") + us, "manual cleaning has not begun and should have by 2026-03-02 10:36 +01:00"},
		} {
			h := without(h, reprocessing.ManualCleaning)
			a := reprocessing.Release(h, preset(t), tt.at, berlin(t))
			wantState(t, a, reprocessing.InReprocessing, tt.want)
			if i := slices.IndexFunc(a.Steps, func(p reprocessing.Progress) bool {
				return p.Step == reprocessing.ManualCleaning
			}); a.Steps[i].Deadline != instant(t, "09:36") {
				t.Errorf("deadline %s", a.Steps[i].Deadline)
			}
		}
		a := reprocessing.Release(h, preset(t), instant(t, "08:58"), berlin(t))
		if !slices.Contains(a.Next, "do and record: manual cleaning, to begin by 2026-03-02 10:36 +01:00") {
			t.Errorf("next: %q", a.Next)
		}
	})
}

func TestStates(t *testing.T) {
	noon := instant(t, "12:00")
	hold := reprocessing.Hold{Stamp: stamp("hold", noon-hour), Scope: "D-01", At: noon - hour, By: "A. Lead", Reason: "bent tip"}
	tests := []struct {
		name, reason string
		change       func(*reprocessing.History)
		state        reprocessing.State
		want         string
	}{
		{
			"held", "nobody has lifted it", func(h *reprocessing.History) { h.Holds = append(h.Holds, hold) }, reprocessing.OnHold,
			"on hold since 2026-03-02 12:00 +01:00: bent tip",
		},
		{
			"held from this instant", "the instant itself is held",
			func(h *reprocessing.History) { hold := hold; hold.At = noon; h.Holds = append(h.Holds, hold) }, reprocessing.OnHold, "on hold since",
		},
		{
			"held and recorded a moment later", "not yet", func(h *reprocessing.History) {
				hold := hold
				hold.At, hold.Recorded = noon+us, noon+us
				h.Holds = append(h.Holds, hold)
			},
			reprocessing.Ready, "",
		},
		{"away for repair", "out of service", func(h *reprocessing.History) {
			h.Repairs = []reprocessing.Repair{{Stamp: stamp("repair", noon), Repair: scope.Repair{Scope: "D-01", Sent: noon, Fault: "leak"}}}
		}, reprocessing.OutOfService, "away for repair since 2026-03-02 13:00 +01:00: leak"},
		{"back from repair", "it is reprocessed before use", func(h *reprocessing.History) {
			h.Repairs = []reprocessing.Repair{{Stamp: stamp("repair", noon), Repair: scope.Repair{Scope: "D-01", Sent: noon - hour, Returned: noon}}}
		}, reprocessing.InReprocessing, "no reprocessing step is on record since it came back from repair at 2026-03-02 13:00 +01:00"},
		{"back from repair, to be sampled", "annex 8 on flexible endoscopes: after repair", func(h *reprocessing.History) {
			h.Repairs = []reprocessing.Repair{{Stamp: stamp("repair", noon), Repair: scope.Repair{Scope: "D-01", Sent: noon - hour, Returned: noon}}}
		}, reprocessing.InReprocessing, "back from repair, no cleaning verification has passed since"},
		{"retired", "gone for good", func(h *reprocessing.History) { h.Instrument.Retired = noon }, reprocessing.OutOfService, "retired since 2026-03-02 " +
			"13:00 +01:00"},
		{"retired later", "not yet", func(h *reprocessing.History) { h.Instrument.Retired = noon + us }, reprocessing.Ready, ""},
		{
			"retired and held", "the gravest state counts, both are told",
			func(h *reprocessing.History) { h.Instrument.Retired = noon; h.Holds = append(h.Holds, hold) }, reprocessing.OutOfService, "on hold since",
		},
		{"in use", "begun and not ended", func(h *reprocessing.History) {
			h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("use 2", noon), Scope: "D-01", Start: noon})
		}, reprocessing.InReprocessing, "in use on a patient since 2026-03-02 13:00 +01:00"},
		{"in use and held", "held is graver", func(h *reprocessing.History) {
			h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("use 2", noon), Scope: "D-01", Start: noon})
			h.Holds = append(h.Holds, hold)
		}, reprocessing.OnHold, "in use on a patient"},
		{"used since", "no step is on record since", func(h *reprocessing.History) {
			h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("use 2", noon), Scope: "D-01", Start: noon - hour, End: noon - 30*mins})
		}, reprocessing.InReprocessing, "no reprocessing step is on record since the last use ended at 2026-03-02 12:30 +01:00"},
		{"issued", "on its way to a patient", func(h *reprocessing.History) {
			h.Steps = append(h.Steps, reprocessing.Step{Stamp: stamp("issue", noon), Scope: "D-01", Kind: reprocessing.Issue, Start: noon})
		}, reprocessing.InReprocessing, "issued at 2026-03-02 13:00 +01:00 and not back"},
		{"unknown", "no history at all", func(h *reprocessing.History) {
			*h = reprocessing.History{Instrument: h.Instrument, Model: h.Model}
		}, reprocessing.NotKnown, "no reprocessing step is on record since it came into service"},
		{
			"not yet in service", "it was elsewhere then", func(h *reprocessing.History) { h.Instrument.InService = noon + us }, reprocessing.NotKnown,
			"was not in service",
		},
		{
			"service without a date", "missing is never taken for good", func(h *reprocessing.History) { h.Instrument.InService = 0 },
			reprocessing.NotKnown, "was not in service",
		},
		{"no such scope", "an empty history", func(h *reprocessing.History) { *h = reprocessing.History{} }, reprocessing.NotKnown, "was not in service"},
		{
			"model missing", "nobody can say what the scope needs", func(h *reprocessing.History) { h.Model = scope.Model{} },
			reprocessing.NotKnown, `its model "duodenoscope A" is not on record`,
		},
		{
			"another model", "its rules may be laxer", func(h *reprocessing.History) { h.Model.Name = "colonoscope B" }, reprocessing.NotKnown,
			`its model "duodenoscope A" is not on record`,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			tt.change(&h)
			wantState(t, reprocessing.Release(h, preset(t), noon, berlin(t)), tt.state, tt.want)
		})
	}
}

// recleaned returns a cycle whose first test was over the action level and held the scope,
// with a second cleaning, a second verification that passed and, if told so, the lift of the hold.
func recleaned(t *testing.T) reprocessing.History {
	t.Helper()
	at := func(text string) unit.Instant { return instant(t, text) }
	h := good(t)
	h.Decisions[0] = decision("round 1", 1, at("08:30"), at("09:22"), at("09:30"), reading.Action)
	h.Holds = []reprocessing.Hold{{
		Stamp: stamp("hold", at("09:30")), Scope: "D-01", Kind: reprocessing.CleaningHold, At: at("09:30"), By: "rules",
		Reason: "first test: action level exceeded: elevator recess action", Cause: "round 1",
	}}
	for _, s := range []reprocessing.Step{
		{Kind: reprocessing.ManualCleaning, Start: at("09:40"), End: at("09:57")},
		{Kind: reprocessing.Inspection, Start: at("09:58"), End: at("10:00"), Result: reprocessing.Pass},
	} {
		s.Scope, s.Stamp = "D-01", stamp("second "+string(s.Kind), s.End)
		h.Steps = append(h.Steps, s)
	}
	h.Samples = append(h.Samples, samples(2, at("10:01"))...)
	h.Decisions = append(h.Decisions, decision("round 2", 2, at("08:30"), at("10:01"), at("10:10"), reading.OK))
	for i := range h.Steps {
		if k := h.Steps[i].Kind; slices.Index(reprocessing.StepKinds, k) >= slices.Index(reprocessing.StepKinds, reprocessing.Disinfection) {
			h.Steps[i].Start += hour
			if h.Steps[i].End.Known() {
				h.Steps[i].End += hour
			}
		}
	}
	h.Lifts = []reprocessing.Lift{{
		Stamp: stamp("lift", at("10:15")), Hold: "hold", Scope: "D-01", At: at("10:15"), By: "A. Lead", Reason: "second cleaning verification passed",
		Verification: "round 2", Evidence: []string{"second manual-cleaning"},
	}}
	return h
}

func TestCleanAgainLoop(t *testing.T) {
	ask := func(h reprocessing.History, at string) reprocessing.Answer {
		return reprocessing.Release(h, preset(t), instant(t, at), berlin(t))
	}
	t.Run("ready, and the failed cleaning is shown", func(t *testing.T) {
		a := ask(recleaned(t), "12:00")
		wantState(t, a, reprocessing.Ready, "first test: action level exceeded")
		wantState(t, a, reprocessing.Ready, "re-test after the 2nd cleaning: OK")
	})
	t.Run("after the first test", func(t *testing.T) {
		a := ask(recleaned(t), "09:35")
		wantState(t, a, reprocessing.OnHold, "on hold since 2026-03-02 10:30 +01:00: first test: action level exceeded")
		told := 0
		for _, r := range a.Reasons {
			told += strings.Count(r.Whole(), "action level exceeded")
		}
		if told != 1 {
			t.Errorf("that the action level was exceeded is said %d times: %v", told, a.Reasons)
		}
		wantState(t, a, reprocessing.OnHold, "over the action level and no cleaning verification has passed since")
		if len(a.Next) == 0 || a.Next[0] != "next: action" ||
			!slices.Contains(a.Next, "clean and sample again: the hold ends with a cleaning verification that passes") {
			t.Errorf("next: %q", a.Next)
		}
	})
	t.Run("what is to be done anew is said once, and no clock runs from it", func(t *testing.T) {
		h := recleaned(t)
		h.Decisions[0].Verification.Next = reading.Next{Act: reading.CleanAgain, Words: "clean the scope again, then sample"}
		// The second test of the history passes; without it the disinfection would be late by now.
		h.Decisions, h.Samples = h.Decisions[:1], slices.DeleteFunc(h.Samples, func(s reprocessing.Taken) bool { return s.Cleaning == 2 })
		h.Steps = slices.DeleteFunc(h.Steps, func(s reprocessing.Step) bool { return s.Start > h.Holds[0].At })
		h.Lifts = nil
		a := ask(h, "12:30")
		want := []string{"clean the scope again, then sample", "do and record: disinfection", "do and record: drying", "do and record: storage"}
		if !slices.Equal(a.Next, want) {
			t.Errorf("next: %q, want %q", a.Next, want)
		}
		h = recleaned(t)
		h.Decisions[0].Verification.Next = reading.Next{Act: reading.CleanAgain, Points: []scope.PointKind{scope.ElevatorRecess}, Words: want[0]}
		h.Decisions, h.Samples = h.Decisions[:1], slices.DeleteFunc(h.Samples, func(s reprocessing.Taken) bool { return s.Cleaning == 2 })
		h.Lifts = nil
		if a := ask(h, "09:50"); len(a.Next) < 3 || a.Next[0] != "finish and record: manual cleaning" || a.Next[2] != "sample again: elevator recess" ||
			slices.Contains(a.Next, "clean the scope again, then sample") {
			t.Errorf("while it is cleaned again: next: %q", a.Next)
		}
	})
	t.Run("the second cleaning verification passed, the hold stays", func(t *testing.T) {
		wantState(t, ask(recleaned(t), "10:14"), reprocessing.OnHold, "on hold since")
	})
	t.Run("lifted", func(t *testing.T) {
		wantState(t, ask(recleaned(t), "10:16"), reprocessing.InReprocessing, "disinfection is not on record")
	})
	t.Run("sampled again without cleaning", func(t *testing.T) {
		h := recleaned(t)
		h.Steps = slices.DeleteFunc(h.Steps, func(s reprocessing.Step) bool { return strings.HasPrefix(s.ID, "second ") })
		a := ask(h, "12:00")
		// The hold is not ended either: no cleaning lies between it and the verification.
		wantState(t, a, reprocessing.OnHold, "first test: action level exceeded and the scope was not cleaned again before it was sampled again")
		if got := status(t, a, reprocessing.Verification); got != reprocessing.StaleStep {
			t.Errorf("status %q", got)
		}
	})
	t.Run("the second cleaning verification over action, too", func(t *testing.T) {
		h := recleaned(t)
		h.Lifts = nil
		h.Decisions[1] = decision("round 2", 2, instant(t, "08:30"), instant(t, "10:01"), instant(t, "10:10"), reading.Action)
		wantState(t, ask(h, "12:00"), reprocessing.OnHold, "re-test after the 2nd cleaning: action level exceeded")
	})
	t.Run("a later action decides, an earlier pass does not undo it", func(t *testing.T) {
		h := good(t)
		h.Decisions = append(h.Decisions, decision("round 2", 2, instant(t, "08:30"), instant(t, "09:22"), instant(t, "09:31"), reading.Action))
		wantState(t, ask(h, "12:00"), reprocessing.InReprocessing, "re-test after the 2nd cleaning: action level exceeded")
	})
}

func TestLift(t *testing.T) {
	tests := []struct {
		name, reason string
		change       func(*testing.T, *reprocessing.History)
		state        reprocessing.State
	}{
		{"by a passed round", "", func(*testing.T, *reprocessing.History) {}, reprocessing.Ready},
		{"by two people without a round", "what a reading showed takes another reading", func(_ *testing.T, h *reprocessing.History) {
			h.Lifts[0] = byTwo(h.Lifts[0])
			h.Lifts[0].Verification, h.Lifts[0].Evidence = "", nil
		}, reprocessing.OnHold},
		{"by nothing", "nobody could defend it", func(_ *testing.T, h *reprocessing.History) { h.Lifts[0].Verification = "" }, reprocessing.OnHold},
		{"without a cleaning", "a second sample cleans nothing", func(_ *testing.T, h *reprocessing.History) { h.Lifts[0].Evidence = nil }, reprocessing.OnHold},
		{"with a cleaning that is voided", "what it rested on is gone", func(_ *testing.T, h *reprocessing.History) {
			h.Lifts[0].Evidence = []string{"gone"}
		}, reprocessing.OnHold},
		{
			"by a failed round",
			"it shows the contrary",
			func(_ *testing.T, h *reprocessing.History) { h.Lifts[0].Verification = "round 1" },
			reprocessing.OnHold,
		},
		{"by a cleaning verification after the hold that did not pass", "it shows nothing good", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			h.Decisions = append(h.Decisions, decision("round 3", 2, instant(t, "08:30"), instant(t, "10:01"), instant(t, "10:05"), reading.None))
			h.Lifts[0].Verification = "round 3"
		}, reprocessing.OnHold},
		{"by a cleaning verification that is voided", "what it rested on is gone", func(_ *testing.T,
			h *reprocessing.History,
		) {
			h.Lifts[0].Verification = "round 9"
		}, reprocessing.OnHold},
		{
			"by a cleaning verification from before the hold", "the hold was placed after its samples",
			func(t *testing.T, h *reprocessing.History) { t.Helper(); h.Holds[0].At = instant(t, "10:02") }, reprocessing.OnHold,
		},
		{"of another hold", "this one stays", func(_ *testing.T, h *reprocessing.History) { h.Lifts[0].Hold = "other" }, reprocessing.OnHold},
		{"one of two holds", "the other stays", func(_ *testing.T, h *reprocessing.History) {
			second := h.Holds[0]
			second.ID = "hold 2"
			h.Holds = append(h.Holds, second)
		}, reprocessing.OnHold},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := recleaned(t)
			tt.change(t, &h)
			a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
			if a.State != tt.state {
				t.Errorf("%s: %s, want %s: %s", tt.reason, a.State, tt.state, told(a))
			}
			if open := len(h.OpenHolds()); (open > 0) != (tt.state == reprocessing.OnHold) {
				t.Errorf("%s: %d holds are open", tt.reason, open)
			}
		})
	}
	t.Run("escalated", func(t *testing.T) {
		h := recleaned(t)
		h.Lifts, h.Holds[0].Escalated = nil, true
		a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
		wantState(t, a, reprocessing.OnHold, "on hold since")
		if !strings.HasPrefix(a.Next[0], "the lead decides") {
			t.Errorf("next: %q", a.Next)
		}
	})
	t.Run("of an earlier cycle", func(t *testing.T) {
		h := good(t)
		was := instant(t, "2026-02-01T10:00:00Z")
		h.Holds = []reprocessing.Hold{
			{Stamp: stamp("old", was), Scope: "D-01", At: was, By: "rules", Reason: "over the action level", Kind: reprocessing.CleaningHold, Cause: "round of January"},
		}
		h.Lifts = []reprocessing.Lift{{
			Stamp: stamp("lift", was+hour), Hold: "old", Scope: "D-01", At: was + hour, By: "A. Lead", Reason: "passed",
			Verification: "round of February",
		}}
		// A verification that is not in the history shows nothing.
		wantState(t, reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t)), reprocessing.OnHold, "on hold since")
		h.Lifts[0] = byTwo(h.Lifts[0])
		wantState(t, reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t)), reprocessing.OnHold, "on hold since")
	})
}

// byTwo has a lead and a second person sign a lift.
func byTwo(l reprocessing.Lift) reprocessing.Lift {
	l.Second, l.ByRoles, l.SecondRoles = "B. Lead", []access.Role{access.Lead}, []access.Role{access.Lead}
	return l
}

func TestUnfinishedVerification(t *testing.T) {
	// A colonoscope is of standard risk: no verification is due in a cycle of its own.
	standard := func(t *testing.T) reprocessing.History {
		t.Helper()
		h := good(t)
		h.Model.Kind, h.Model.Risk = scope.Colonoscope, scope.StandardRisk
		h.Samples, h.Decisions = nil, nil
		h.Earlier.Passed = instant(t, "2026-02-20T10:00:00Z")
		return h
	}
	at := func(h reprocessing.History) reprocessing.Answer {
		return reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
	}
	t.Run("not due and not begun", func(t *testing.T) {
		a := at(standard(t))
		wantState(t, a, reprocessing.Ready, "")
		if got := status(t, a, reprocessing.Verification); got != reprocessing.NotDueStep {
			t.Errorf("status %q", got)
		}
	})
	t.Run("not due and begun", func(t *testing.T) {
		h := standard(t)
		h.Samples = samples(1, instant(t, "09:22"))
		a := at(h)
		wantState(t, a, reprocessing.InReprocessing, "outer distal end was sampled at 2026-03-02 10:22 +01:00 and its cleaning verification has no result")
		if got := status(t, a, reprocessing.Verification); got != reprocessing.RunningStep {
			t.Errorf("status %q", got)
		}
	})
	t.Run("not applicable alone", func(t *testing.T) {
		h := standard(t)
		h.Samples = samples(1, instant(t, "09:22"))[:1]
		h.Samples[0].NotApplicable = "the channel is sealed"
		wantState(t, at(h), reprocessing.Ready, "")
	})
	t.Run("recorded as incomplete", func(t *testing.T) {
		h := standard(t)
		h.Samples = samples(1, instant(t, "09:22"))
		h.Decisions = []reprocessing.Decision{decision("round 1", 1, instant(t, "08:30"), instant(t, "09:22"), instant(t, "09:25"), reading.None)}
		a := at(h)
		wantState(t, a, reprocessing.InReprocessing, "first test: not judged")
		if got := status(t, a, reprocessing.Verification); got != reprocessing.RunningStep {
			t.Errorf("status %q", got)
		}
	})
	t.Run("recorded as incomplete, nothing read", func(t *testing.T) {
		h := standard(t)
		h.Samples = samples(1, instant(t, "09:22"))
		h.Decisions = []reprocessing.Decision{decision("round 1", 1, instant(t, "08:30"), instant(t, "09:22"), 0, reading.None)}
		wantState(t, at(h), reprocessing.InReprocessing, "first test: not judged")
	})
	t.Run("sampled again after the cleaning verification was decided", func(t *testing.T) {
		h := good(t)
		h.Samples = append(h.Samples, samples(1, instant(t, "11:00"))...)
		wantState(t, at(h), reprocessing.InReprocessing, "was sampled at 2026-03-02 12:00 +01:00 and its cleaning verification has no result")
	})
	t.Run("a sample that came after the action", func(t *testing.T) {
		// Its cleaning was over the action level already, and the next cleaning passed.
		h := recleaned(t)
		h.Samples = append(h.Samples, samples(1, instant(t, "09:31"))[:1]...)
		wantState(t, at(h), reprocessing.Ready, "first test: action level exceeded")
	})
	t.Run("a decision of an earlier cycle decides nothing", func(t *testing.T) {
		h := standard(t)
		h.Samples = samples(1, instant(t, "09:22"))
		was := instant(t, "2026-02-20T10:00:00Z")
		h.Decisions = []reprocessing.Decision{decision("old round", 1, was-hour, was, was, reading.OK)}
		wantState(t, at(h), reprocessing.InReprocessing, "its cleaning verification has no result")
	})
	t.Run("due and not blocking", func(t *testing.T) {
		h := standard(t)
		h.Earlier.Passed = instant(t, "2026-01-20T10:00:00Z")
		a := at(h)
		wantState(t, a, reprocessing.Ready, "sampling is due: the last passed cleaning verification is more than 30 days ago")
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
		change       func(*reprocessing.History)
		state        reprocessing.State
	}{
		{
			"below the limit", "one earlier use and the loaded one",
			func(h *reprocessing.History) { h.Earlier = reprocessing.Earlier{Passed: passed, Uses: 1} }, reprocessing.Ready,
		},
		{
			"at the limit", "two earlier uses and the loaded one",
			func(h *reprocessing.History) { h.Earlier = reprocessing.Earlier{Passed: passed, Uses: 2} }, reprocessing.InReprocessing,
		},
		{"a passed cleaning verification among the loaded", "it starts the count again", func(h *reprocessing.History) {
			h.Earlier = reprocessing.Earlier{Passed: passed, Uses: 2}
			h.Decisions = []reprocessing.Decision{decision("round 1", 1, instant(t, "08:30"), instant(t, "09:22"), instant(t, "09:30"), reading.OK)}
		}, reprocessing.Ready},
		{"a use before the last pass", "it was counted then", func(h *reprocessing.History) {
			h.Earlier = reprocessing.Earlier{Passed: passed, Uses: 1}
			h.Uses = append(h.Uses, reprocessing.Use{Scope: "D-01", Start: passed - hour, End: passed - 1})
		}, reprocessing.Ready},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			h.Samples, h.Decisions = nil, nil
			tt.change(&h)
			if a := reprocessing.Release(h, rules, instant(t, "12:00"), berlin(t)); a.State != tt.state {
				t.Errorf("%s: %s, want %s: %s", tt.reason, a.State, tt.state, told(a))
			}
			due := reprocessing.Due(h, rules, instant(t, "12:00"), berlin(t))
			if (len(due) > 0) != (tt.state == reprocessing.InReprocessing) {
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
	h.Requests = []reprocessing.Request{
		{
			Stamp: stamp("request", instant(t, "11:00")),
			Request: sampling.Request{
				Scope:  "D-01",
				Reason: "cluster",
				By:     "I. Control",
				At:     instant(t, "11:00"),
				Points: []scope.PointKind{scope.ElevatorRecess},
			},
		},
	}
	wantState(t, reprocessing.Release(h, rules, instant(t, "10:59"), berlin(t)), reprocessing.Ready, "")
	a := reprocessing.Release(h, rules, instant(t, "11:00"), berlin(t))
	wantState(t, a, reprocessing.InReprocessing, "sampling is due: asked for: cluster")
	if !slices.Contains(a.Next, "sample and read: elevator recess") {
		t.Errorf("next: %q", a.Next)
	}
}

func TestModelOfItsOwnSteps(t *testing.T) {
	rules := preset(t)
	own := slices.Clone(rules.Steps)
	i := slices.IndexFunc(own, func(s reprocessing.StepRule) bool { return s.Step == reprocessing.FinalRinse })
	own[i].Required = true
	rules.Models = map[string][]reprocessing.StepRule{"duodenoscope A": own}
	h := without(good(t), reprocessing.FinalRinse)
	wantState(t, reprocessing.Release(h, rules, instant(t, "12:00"), berlin(t)), reprocessing.InReprocessing, "final rinse is not on record")
	h.Instrument.Model, h.Model.Name = "duodenoscope Z", "duodenoscope Z"
	wantState(t, reprocessing.Release(h, rules, instant(t, "12:00"), berlin(t)), reprocessing.Ready, "")
}

// The release check answers for any instant of the past as it would have then.
func TestPastInstants(t *testing.T) {
	h := good(t)
	tests := []struct {
		at    string
		state reprocessing.State
		want  string
	}{
		{"2025-12-31T23:59:59Z", reprocessing.NotKnown, "not in service"},
		{"2026-02-01T00:00:00Z", reprocessing.NotKnown, "no reprocessing step is on record since it came into service"},
		{"08:15", reprocessing.InReprocessing, "in use on a patient since 2026-03-02 09:00 +01:00"},
		{"08:30", reprocessing.InReprocessing, "no reprocessing step is on record since the last use ended at 2026-03-02 09:30 +01:00"},
		{"08:34", reprocessing.InReprocessing, "point-of-use treatment goes on since"},
		{"08:52", reprocessing.InReprocessing, "leak test goes on since"},
		{"09:10", reprocessing.InReprocessing, "manual cleaning goes on since"},
		{"09:25", reprocessing.InReprocessing, "was sampled at 2026-03-02 10:22 +01:00 and its cleaning verification has no result"},
		{"09:50", reprocessing.InReprocessing, "disinfection goes on since"},
		{"10:20", reprocessing.InReprocessing, "drying goes on since"},
		{"10:26", reprocessing.InReprocessing, "storage is not on record"},
		{"10:30", reprocessing.Ready, "stored in drying-cabinet"},
	}
	t.Run("a result is not known before the end", func(t *testing.T) {
		h := good(t)
		step(t, &h, reprocessing.LeakTest).Result = reprocessing.Fail
		wantState(t, reprocessing.Release(h, preset(t), instant(t, "08:54"), berlin(t)), reprocessing.InReprocessing, "leak test goes on since")
		wantState(
			t,
			reprocessing.Release(h, preset(t), instant(t, "08:55"), berlin(t)),
			reprocessing.InReprocessing,
			"leak test at 2026-03-02 09:50 +01:00 failed",
		)
	})
	for _, tt := range tests {
		t.Run(tt.at, func(t *testing.T) {
			wantState(t, reprocessing.Release(h, preset(t), instant(t, tt.at), berlin(t)), tt.state, tt.want)
		})
	}
}

// A cleaning that proves nothing did not stop residue from drying: the one that was done hours later was delayed.
func TestCleaningOfNoTimeStopsNothing(t *testing.T) {
	for name, change := range map[string]func(*reprocessing.Step){
		"no time":       func(s *reprocessing.Step) { s.End = s.Start },
		"too short":     func(s *reprocessing.Step) { s.End = s.Start + 3*mins - us },
		"never ended":   func(s *reprocessing.Step) { s.End = 0 },
		"failed":        func(s *reprocessing.Step) { s.Result = reprocessing.Fail },
		"in time, done": func(*reprocessing.Step) {},
	} {
		h := good(t)
		first := *step(t, &h, reprocessing.ManualCleaning)
		first.ID = "first"
		change(&first)
		later := h
		later.Steps = slices.Clone(h.Steps)
		for i := range later.Steps { // everything from the cleaning on was done four hours later
			if s := &later.Steps[i]; s.Start >= first.Start {
				s.Start += 4 * hour
				if s.End.Known() {
					s.End += 4 * hour
				}
			}
		}
		later.Samples = samples(1, instant(t, "13:22"))
		passed := decision("round 1", 1, instant(t, "08:30"), instant(t, "13:22"), instant(t, "13:30"), h.Decisions[0].Verification.Outcome)
		later.Decisions = []reprocessing.Decision{passed}
		later.Steps = append(later.Steps, first)
		a := reprocessing.Release(later, preset(t), instant(t, "16:00"), berlin(t))
		if name == "in time, done" {
			wantState(t, a, reprocessing.Ready, "stored in")
			continue
		}
		wantState(t, a, reprocessing.InReprocessing, "no soak for delayed reprocessing")
	}
}

// What begins at the instant at which the use ended, or the scope came back, belongs to the cycle.
func TestStepAtTheStartOfTheCycle(t *testing.T) {
	h := good(t)
	step(t, &h, reprocessing.PointOfUse).Start = instant(t, "08:30")
	wantState(t, reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t)), reprocessing.Ready, "stored in")
	h.Repairs = []reprocessing.Repair{{Stamp: stamp("repair", 1), Repair: scope.Repair{Scope: "D-01", Sent: instant(t, "08:45"), Returned: instant(t, "08:50")}}}
	wantState(t, reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t)), reprocessing.Ready, "stored in")
	h.Repairs[0].Returned += us
	wantState(t, reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t)), reprocessing.InReprocessing, "leak test is not on record")
}

// What a person said of a hold is kept apart from the program's own words; a hold that the rules placed is told in theirs.
func TestWordsOfAHold(t *testing.T) {
	h := good(t)
	h.Holds = []reprocessing.Hold{
		{Stamp: stamp("rules", instant(t, "11:00")), Scope: "D-01", At: instant(t, "11:00"), By: "T1", Cause: "round 1", Reason: "first test: action"},
		{Stamp: stamp("person", instant(t, "11:10")), Scope: "D-01", At: instant(t, "11:10"), By: "L1", Reason: "bent tip"},
	}
	a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
	for _, want := range []struct{ record, public, said string }{
		{"rules", "on hold since 2026-03-02 12:00 +01:00: first test: action", ""},
		{"person", "on hold since 2026-03-02 12:10 +01:00", "bent tip"},
	} {
		i := slices.IndexFunc(a.Reasons, func(r reprocessing.Reason) bool { return r.Record == want.record })
		if i < 0 {
			t.Fatalf("nothing of %s: %s", want.record, told(a))
		}
		if r := a.Reasons[i]; r.Text != want.public || r.Said != want.said {
			t.Errorf("%s: %q and %q", want.record, r.Text, r.Said)
		}
	}
}

// A step that failed is said to have been repeated only where it was.
func TestFailedAndRepeated(t *testing.T) {
	h := good(t)
	step(t, &h, reprocessing.Drying).Result = reprocessing.Fail
	a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
	wantState(t, a, reprocessing.InReprocessing, "drying at 2026-03-02 11:11 +01:00 failed")
	if strings.Contains(told(a), "was repeated") {
		t.Error(told(a))
	}
	h.Steps = append(h.Steps, again(t, &h, reprocessing.Drying, 16*mins))
	last := &h.Steps[len(h.Steps)-1]
	last.Result = reprocessing.NotStated
	for i := range h.Steps {
		if h.Steps[i].Kind == reprocessing.Storage {
			h.Steps[i].Start += 15 * mins
		}
	}
	a = reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
	wantState(t, a, reprocessing.Ready, "drying at 2026-03-02 11:11 +01:00 failed and was repeated")
}

// Why readings do not count any more is told once for each record that says so, with what to do.
func TestReadingsInDoubtAreTold(t *testing.T) {
	const (
		why  = "readings of the cleaning verification do not count: the meter failed its check"
		next = "sample again, with a meter that passed its check and a lot that may be used"
	)
	h := good(t)
	for i := range h.Samples[:3] {
		h.Samples[i].Doubt, h.Samples[i].DoubtRecord = "the meter failed its check", []string{"check 1", "check 1", "check 2"}[i]
	}
	count := func(h reprocessing.History) (n int) {
		a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
		for _, r := range a.Reasons {
			if r.Text == why && r.Blocks {
				n++
			}
		}
		if slices.Contains(a.Next, next) != (n > 0) {
			t.Errorf("%d told, next %q", n, a.Next)
		}
		return n
	}
	if n := count(h); n != 0 { // the decision stands, until it is made anew
		t.Errorf("%d told of a verification that passed", n)
	}
	undecided := h
	undecided.Decisions = nil
	if n := count(undecided); n != 2 {
		t.Errorf("%d told where nothing is decided, want 2", n)
	}
	failed := h
	failed.Decisions = []reprocessing.Decision{decision("round 1", 1, instant(t, "08:30"), instant(t, "09:22"), instant(t, "09:30"), reading.None)}
	if n := count(failed); n != 2 {
		t.Errorf("%d told where the verification is open again, want 2", n)
	}
	earlier := failed
	earlier.Samples = slices.Clone(failed.Samples)
	for i := range earlier.Samples { // of the cycle before
		earlier.Samples[i].Collected = instant(t, "07:00")
	}
	if n := count(earlier); n != 0 {
		t.Errorf("%d told of an earlier cycle", n)
	}
}

// What is listed is done once and in that order: what is still to be done has everything after it done again.
func TestNextIsInOrder(t *testing.T) {
	t.Parallel()
	rules, at := preset(t), instant(t, "12:00")
	h := good(t)
	h.Samples, h.Decisions = nil, nil
	want := []string{"repeat: disinfection", "repeat: drying", "repeat: storage"}
	a := reprocessing.Release(h, rules, at, berlin(t))
	if len(a.Next) < 2 || !strings.HasPrefix(a.Next[0], "sample and read: ") || !slices.Equal(a.Next[1:], want) {
		t.Errorf("not sampled: %q", a.Next)
	}
	// Attesting what was written down late, or saying a result, leaves the rest as it is.
	late := good(t)
	s := step(t, &late, reprocessing.Inspection)
	s.Recorded = s.End.Add(reprocessing.LateAfter) + 1
	if a := reprocessing.Release(late, rules, at, berlin(t)); slices.Contains(a.Next, want[0]) {
		t.Errorf("written down late: %q", a.Next)
	}
	silent := good(t)
	step(t, &silent, reprocessing.Inspection).Result = reprocessing.NotStated
	if a := reprocessing.Release(silent, rules, at, berlin(t)); slices.Contains(a.Next, want[0]) {
		t.Errorf("without a result: %q", a.Next)
	}
}

// Nothing that is done before the repair of a leak counts.
func TestRepairOfALeakComesFirst(t *testing.T) {
	t.Parallel()
	h, at := good(t), instant(t, "12:00")
	step(t, &h, reprocessing.LeakTest).Result = reprocessing.Fail
	h.Holds = []reprocessing.Hold{{
		Stamp: stamp("hold", instant(t, "08:56")), Scope: "D-01", Kind: reprocessing.LeakHold, At: instant(t, "08:55"), By: "T-01", Reason: "r", Cause: "leak-test",
	}}
	const repair = "send the scope to repair"
	for name, test := range map[string]struct {
		after reprocessing.AfterFail
		want  bool
	}{"a repair": {reprocessing.RepairFirst, true}, "a second test": {reprocessing.JustRepeat, false}} {
		rules := preset(t)
		afterLeak(test.after)(&rules)
		if a := reprocessing.Release(h, rules, at, berlin(t)); (a.Next[0] == repair) != test.want {
			t.Errorf("%s: %q", name, a.Next)
		}
	}
	h.Repairs = []reprocessing.Repair{{
		Stamp: stamp("repair", instant(t, "11:30")), Repair: scope.Repair{Scope: "D-01", Sent: instant(t, "09:00"), Returned: instant(t, "11:30")},
	}}
	if a := reprocessing.Release(h, preset(t), at, berlin(t)); slices.Contains(a.Next, repair) {
		t.Errorf("back from repair: %q", a.Next)
	}
	h.Repairs[0].Sent = h.Holds[0].At
	if a := reprocessing.Release(h, preset(t), at, berlin(t)); slices.Contains(a.Next, repair) {
		t.Errorf("back from a repair to which it went at the instant of the hold: %q", a.Next)
	}
}
