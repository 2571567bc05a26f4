package reprocessing_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

func TestAsKnown(t *testing.T) {
	noon := instant(t, "12:00")
	ask := func(h reprocessing.History, known unit.Instant) reprocessing.Answer {
		return reprocessing.Release(h.AsKnown(known), preset(t), noon, berlin(t))
	}
	t.Run("an entry recorded later is unseen", func(t *testing.T) {
		h := good(t)
		leak := step(t, &h, reprocessing.LeakTest)
		leak.Recorded = noon + hour // a late entry of what happened at 08:50
		wantState(t, ask(h, noon), reprocessing.InReprocessing, "leak test is not on record")
		wantState(t, ask(h, noon+hour), reprocessing.Ready, "")
	})
	t.Run("a voided entry is seen before its voiding", func(t *testing.T) {
		h := good(t)
		step(t, &h, reprocessing.Inspection).Replaced = noon + hour // it was another scope's
		wantState(t, ask(h, noon+hour-us), reprocessing.Ready, "")
		wantState(t, ask(h, noon+hour), reprocessing.InReprocessing, "inspection is not on record")
	})
	t.Run("a hold recorded later", func(t *testing.T) {
		h := good(t)
		h.Holds = []reprocessing.Hold{{Stamp: stamp("hold", noon+hour), Scope: "D-01", At: noon - hour, By: "A. Lead", Reason: "bent tip"}}
		wantState(t, ask(h, noon), reprocessing.Ready, "")
		wantState(t, ask(h, noon+hour), reprocessing.OnHold, "bent tip")
	})
	t.Run("a voided cleaning verification carries no lift", func(t *testing.T) {
		h := recleaned(t)
		wantState(t, ask(h, noon), reprocessing.Ready, "")
		h.Decisions[1].Replaced = noon
		wantState(t, ask(h, noon), reprocessing.OnHold, "over the action level")
	})
	t.Run("every kind of entry", func(t *testing.T) {
		early, late := stamp("early", 10), stamp("late", 20)
		gone := reprocessing.Stamp{ID: "gone", Recorded: 10, Replaced: 15}
		h := reprocessing.History{
			Uses:      []reprocessing.Use{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Steps:     []reprocessing.Step{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Samples:   []reprocessing.Taken{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Decisions: []reprocessing.Decision{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Holds:     []reprocessing.Hold{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Lifts:     []reprocessing.Lift{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Repairs:   []reprocessing.Repair{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Requests:  []reprocessing.Request{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
		}
		for _, tt := range []struct {
			known unit.Instant
			want  []string
		}{{9, nil}, {10, []string{"early", "gone"}}, {14, []string{"early", "gone"}}, {15, []string{"early"}}, {20, []string{"early", "late"}}} {
			k := h.AsKnown(tt.known)
			for name, got := range map[string][]string{
				"uses":      ids(k.Uses, func(e reprocessing.Use) string { return e.ID }),
				"steps":     ids(k.Steps, func(e reprocessing.Step) string { return e.ID }),
				"samples":   ids(k.Samples, func(e reprocessing.Taken) string { return e.ID }),
				"decisions": ids(k.Decisions, func(e reprocessing.Decision) string { return e.ID }),
				"holds":     ids(k.Holds, func(e reprocessing.Hold) string { return e.ID }),
				"lifts":     ids(k.Lifts, func(e reprocessing.Lift) string { return e.ID }),
				"repairs":   ids(k.Repairs, func(e reprocessing.Repair) string { return e.ID }),
				"requests":  ids(k.Requests, func(e reprocessing.Request) string { return e.ID }),
			} {
				if diff := cmp.Diff(tt.want, got); diff != "" {
					t.Errorf("%s known at %d (-want +got):\n%s", name, tt.known, diff)
				}
			}
		}
	})
}

func ids[T any](entries []T, id func(T) string) []string {
	var list []string
	for _, e := range entries {
		list = append(list, id(e))
	}
	return list
}

func TestStart(t *testing.T) {
	use := func(id string, start, end unit.Instant) reprocessing.Use {
		return reprocessing.Use{Stamp: stamp(id, end), Start: start, End: end}
	}
	repair := func(id string, sent, returned unit.Instant) reprocessing.Repair {
		return reprocessing.Repair{Stamp: stamp(id, sent), Repair: scope.Repair{Sent: sent, Returned: returned}}
	}
	tests := []struct {
		name    string
		history reprocessing.History
		at      unit.Instant
		by      string
		record  string
	}{
		{"arrival", reprocessing.History{}, 100, "it came into service", ""},
		{"last use", reprocessing.History{Uses: []reprocessing.Use{use("b", 300, 350), use("a", 200, 250)}}, 350, "the last use ended", "b"},
		{"a use that goes on", reprocessing.History{Uses: []reprocessing.Use{use("a", 200, 250), use("b", 300, 0)}}, 300, "the last use ended", "b"},
		{
			"repair after the use",
			reprocessing.History{Uses: []reprocessing.Use{use("a", 200, 250)}, Repairs: []reprocessing.Repair{repair("r", 260, 400)}},
			400,
			"it came back from repair", "r",
		},
		{
			"use after the repair",
			reprocessing.History{Uses: []reprocessing.Use{use("a", 500, 550)}, Repairs: []reprocessing.Repair{repair("r", 260, 400)}},
			550,
			"the last use ended", "a",
		},
		{
			"away for repair",
			reprocessing.History{Uses: []reprocessing.Use{use("a", 200, 250)}, Repairs: []reprocessing.Repair{repair("r", 260, 0)}},
			250,
			"the last use ended", "a",
		},
		{"used before it came", reprocessing.History{Uses: []reprocessing.Use{use("a", 50, 60)}}, 100, "it came into service", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tt.history.Instrument.InService = 100
			at, by, record := reprocessing.Start(tt.history)
			if at != tt.at || by != tt.by || record != tt.record {
				t.Errorf("got %d %q %q, want %d %q %q", at, by, record, tt.at, tt.by, tt.record)
			}
		})
	}
}

// What lies before the loaded entries counts as it was summed up.
func TestEarlierFailure(t *testing.T) {
	h := good(t)
	h.Samples, h.Decisions = nil, nil
	h.Model.Risk = scope.StandardRisk
	was := instant(t, "2026-02-20T10:00:00Z")
	h.Earlier = reprocessing.Earlier{Passed: was - hour, Failed: was}
	wantState(t, reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t)), reprocessing.InReprocessing,
		"the last cleaning verification was over the action level and no cleaning verification has passed since")
	h.Earlier.Passed = was + 1
	wantState(t, reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t)), reprocessing.Ready, "")
}

func TestEntryChecks(t *testing.T) {
	tests := []struct {
		name string
		err  error
		want string
	}{
		{"use", reprocessing.Use{Scope: "D-01", Start: 5}.Check(), ""},
		{"use ended at once", reprocessing.Use{Scope: "D-01", Start: 5, End: 5}.Check(), ""},
		{"use of nothing", reprocessing.Use{Start: 5}.Check(), "the scope is missing"},
		{"use without a start", reprocessing.Use{Scope: "D-01"}.Check(), "when did it start?"},
		{"use backwards", reprocessing.Use{Scope: "D-01", Start: 5, End: 4}.Check(), "before it started"},

		{"step", reprocessing.Step{Scope: "D-01", Kind: reprocessing.Drying, Start: 5, End: 6}.Check(), ""},
		{"step of nothing", reprocessing.Step{Kind: reprocessing.Drying, Start: 5}.Check(), "the scope is missing"},
		{
			"unknown step", reprocessing.Step{Scope: "D-01", Kind: "polish", Start: 5}.Check(),
			`"polish" is not a step that is recorded; allowed: point-of-use, transport, leak-test, soak, manual-cleaning, inspection, disinfection`,
		},
		{"verification", reprocessing.Step{Scope: "D-01", Kind: reprocessing.Verification, Start: 5}.Check(), `"verification" is not a step that is recorded`},
		{"step without a start", reprocessing.Step{Scope: "D-01", Kind: reprocessing.Drying}.Check(), "when did it start?"},
		{"step backwards", reprocessing.Step{Scope: "D-01", Kind: reprocessing.Drying, Start: 5, End: 4}.Check(), "before it started"},
		{
			"unknown result", reprocessing.Step{Scope: "D-01", Kind: reprocessing.Drying, Start: 5, Result: "ok"}.Check(),
			`result "ok" is not known; allowed: pass, fail`,
		},
		{"unknown MEC result", reprocessing.Step{Scope: "D-01", Kind: reprocessing.Disinfection, Start: 5, MEC: "ok"}.Check(), `MEC result "ok" is not known`},
		{"contact below zero", reprocessing.Step{Scope: "D-01", Kind: reprocessing.Disinfection, Start: 5, Contact: -1}.Check(), "the contact time is below zero"},

		{"hold", reprocessing.Hold{Scope: "D-01", Kind: reprocessing.LeakHold, At: 5, By: "A", Reason: "r"}.Check(), ""},
		{"hold without a kind", reprocessing.Hold{Scope: "D-01", At: 5, By: "A", Reason: "r"}.Check(), `kind "" is not known; allowed: record, means`},
		{"hold of an unknown kind", reprocessing.Hold{Scope: "D-01", Kind: "smell", At: 5, By: "A", Reason: "r"}.Check(), `kind "smell" is not known`},
		{"hold of nothing", reprocessing.Hold{At: 5, By: "A", Reason: "r"}.Check(), "the scope or the time is missing"},
		{"hold without a time", reprocessing.Hold{Scope: "D-01", By: "A", Reason: "r"}.Check(), "the scope or the time is missing"},
		{"hold by nobody", reprocessing.Hold{Scope: "D-01", Kind: reprocessing.LeakHold, At: 5, Reason: "r"}.Check(), "who places it?"},
		{"hold without a reason", reprocessing.Hold{Scope: "D-01", Kind: reprocessing.LeakHold, At: 5, By: "A"}.Check(), "the reason is missing"},

		{"lift by a round", reprocessing.Lift{Hold: "h", Scope: "D-01", At: 5, By: "A", Reason: "r", Verification: "q"}.Check(), ""},
		{"lift by two", reprocessing.Lift{Hold: "h", Scope: "D-01", At: 5, By: "A", Reason: "r", Second: "B"}.Check(), ""},
		{"lift of nothing", reprocessing.Lift{Scope: "D-01", At: 5, By: "A", Reason: "r", Verification: "q"}.Check(), "the hold, the scope or the time is missing"},
		{"lift by nobody", reprocessing.Lift{Hold: "h", Scope: "D-01", At: 5, Reason: "r", Verification: "q"}.Check(), "who lifts it?"},
		{"lift without a reason", reprocessing.Lift{Hold: "h", Scope: "D-01", At: 5, By: "A", Verification: "q"}.Check(), "the reason is missing"},
		{
			"lift by the same twice", reprocessing.Lift{Hold: "h", Scope: "D-01", At: 5, By: "A", Reason: "r", Second: "A"}.Check(),
			"the second person must be another than A",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) { wantError(t, tt.err, tt.want) })
	}
}

// A request that was made and a decision that was taken after the instant are not seen at it.
func TestLaterEntriesAreUnseen(t *testing.T) {
	noon := instant(t, "12:00")
	h := good(t)
	h.Requests = []reprocessing.Request{{Request: sampling.Request{At: noon + us}}}
	h.Decisions = append(h.Decisions, decision("later", 2, instant(t, "08:30"), noon-us, noon+us, reading.Action))
	h.Holds = []reprocessing.Hold{{Stamp: stamp("hold", noon), At: noon - us, By: "A. Lead", Reason: "bent tip"}}
	h.Lifts = []reprocessing.Lift{{Hold: "hold", At: noon + us, By: "A. Lead", Second: "B. Lead"}}
	a := reprocessing.Release(h, preset(t), noon, berlin(t))
	wantState(t, a, reprocessing.OnHold, "bent tip")
	if got := status(t, a, reprocessing.Verification); got != reprocessing.DoneStep {
		t.Errorf("a decision of the future counts: %q", got)
	}
}

// A verification during which somebody cleaned the scope, or used it, shows no one state of it and discharges no duty.
func TestDisturbedVerification(t *testing.T) {
	rules := reprocessing.Rules{Due: []sampling.Rule{{When: sampling.AfterFailedVerification, Blocks: true}}}
	for _, tt := range []struct {
		reason      string
		first, last string
		use         string // begins then
		due         bool
	}{
		{"after the cleaning, which ended at 09:17", "09:17", "09:30", "09:31", false},
		{"begun while the scope was cleaned", "09:16", "09:30", "", true},
		{"begun before the cleaning", "08:58", "09:30", "", true},
		{"read as the cleaning began", "08:55", "09:00", "", true},
		{"over before the cleaning", "08:40", "08:59", "", false},
		{"used before it was read", "09:22", "09:30", "09:30", true},
		{"begun in a use", "08:10", "08:50", "", true},
		{"begun as the use ended", "08:30", "08:50", "", false},
	} {
		h := good(t)
		h.Earlier.Failed = instant(t, "07:00")
		h.Decisions[0].First, h.Decisions[0].Last, h.Decisions[0].Cycle = instant(t, tt.first), instant(t, tt.last), 0
		if tt.use != "" {
			h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("second", 1), Scope: "D-01", Start: instant(t, tt.use), End: instant(t, "11:00")})
		}
		if due := reprocessing.Due(h, rules, instant(t, "12:00"), berlin(t)); len(due) > 0 != tt.due {
			t.Errorf("%s: %d due", tt.reason, len(due))
		}
	}
}

// A verification of the cycle is due since the scope was last cleaned in it, or since it began.
func TestDueSince(t *testing.T) {
	rules := reprocessing.Rules{Due: []sampling.Rule{{When: sampling.EveryCycle}}}
	due := func(h reprocessing.History) string {
		h.Decisions = nil
		all := reprocessing.Due(h, rules, instant(t, "12:00"), berlin(t))
		if len(all) != 1 {
			t.Fatalf("%d due", len(all))
		}
		return all[0].Since.Time().Format("15:04")
	}
	h := good(t)
	if since := due(h); since != "09:17" {
		t.Errorf("cleaned: since %s", since)
	}
	h.Steps = append(h.Steps, again(t, &h, reprocessing.ManualCleaning, hour), again(t, &h, reprocessing.Drying, 90*mins))
	if since := due(h); since != "10:17" {
		t.Errorf("cleaned twice: since %s", since)
	}
	h = without(h, reprocessing.ManualCleaning)
	h.Steps = append(h.Steps, again(t, new(good(t)), reprocessing.ManualCleaning, -hour))
	if since := due(h); since != "08:30" {
		t.Errorf("cleaned before the use ended: since %s", since)
	}
}
