package turnaround_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/turnaround"
)

func TestAsKnown(t *testing.T) {
	noon := instant(t, "12:00")
	ask := func(h turnaround.History, known unit.Instant) turnaround.Answer {
		return turnaround.Gate(h.AsKnown(known), preset(t), noon, berlin(t))
	}
	t.Run("an entry recorded later is unseen", func(t *testing.T) {
		h := good(t)
		leak := step(t, &h, turnaround.LeakTest)
		leak.Recorded = noon + hour // a late entry of what happened at 08:50
		wantState(t, ask(h, noon), turnaround.InWork, "leak-test is not on record")
		wantState(t, ask(h, noon+hour), turnaround.Ready, "")
	})
	t.Run("a voided entry is seen before its voiding", func(t *testing.T) {
		h := good(t)
		step(t, &h, turnaround.Inspection).Replaced = noon + hour // it was another scope's
		wantState(t, ask(h, noon+hour-us), turnaround.Ready, "")
		wantState(t, ask(h, noon+hour), turnaround.InWork, "inspection is not on record")
	})
	t.Run("a hold recorded later", func(t *testing.T) {
		h := good(t)
		h.Holds = []turnaround.Hold{{Stamp: stamp("hold", noon+hour), Scope: "D-01", At: noon - hour, By: "A. Lead", Reason: "bent tip"}}
		wantState(t, ask(h, noon), turnaround.Ready, "")
		wantState(t, ask(h, noon+hour), turnaround.Held, "bent tip")
	})
	t.Run("a voided round carries no lift", func(t *testing.T) {
		h := recleaned(t)
		wantState(t, ask(h, noon), turnaround.Ready, "")
		h.Decisions[1].Replaced = noon
		wantState(t, ask(h, noon), turnaround.Held, "over the action level")
	})
	t.Run("every kind of entry", func(t *testing.T) {
		early, late := stamp("early", 10), stamp("late", 20)
		gone := turnaround.Stamp{ID: "gone", Recorded: 10, Replaced: 15}
		h := turnaround.History{
			Uses:      []turnaround.Use{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Steps:     []turnaround.Step{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Samples:   []turnaround.Taken{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Decisions: []turnaround.Decision{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Holds:     []turnaround.Hold{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Lifts:     []turnaround.Lift{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Repairs:   []turnaround.Repair{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
			Requests:  []turnaround.Request{{Stamp: early}, {Stamp: late}, {Stamp: gone}},
		}
		for _, tt := range []struct {
			known unit.Instant
			want  []string
		}{{9, nil}, {10, []string{"early", "gone"}}, {14, []string{"early", "gone"}}, {15, []string{"early"}}, {20, []string{"early", "late"}}} {
			k := h.AsKnown(tt.known)
			for name, got := range map[string][]string{
				"uses":      ids(k.Uses, func(e turnaround.Use) string { return e.ID }),
				"steps":     ids(k.Steps, func(e turnaround.Step) string { return e.ID }),
				"samples":   ids(k.Samples, func(e turnaround.Taken) string { return e.ID }),
				"decisions": ids(k.Decisions, func(e turnaround.Decision) string { return e.ID }),
				"holds":     ids(k.Holds, func(e turnaround.Hold) string { return e.ID }),
				"lifts":     ids(k.Lifts, func(e turnaround.Lift) string { return e.ID }),
				"repairs":   ids(k.Repairs, func(e turnaround.Repair) string { return e.ID }),
				"requests":  ids(k.Requests, func(e turnaround.Request) string { return e.ID }),
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
	use := func(id string, start, end unit.Instant) turnaround.Use {
		return turnaround.Use{Stamp: stamp(id, end), Start: start, End: end}
	}
	repair := func(id string, sent, returned unit.Instant) turnaround.Repair {
		return turnaround.Repair{Stamp: stamp(id, sent), Repair: scope.Repair{Sent: sent, Returned: returned}}
	}
	tests := []struct {
		name    string
		history turnaround.History
		at      unit.Instant
		by      string
		record  string
	}{
		{"arrival", turnaround.History{}, 100, "it came into service", ""},
		{"last use", turnaround.History{Uses: []turnaround.Use{use("b", 300, 350), use("a", 200, 250)}}, 350, "the last use ended", "b"},
		{"a use that goes on", turnaround.History{Uses: []turnaround.Use{use("a", 200, 250), use("b", 300, 0)}}, 300, "the last use ended", "b"},
		{
			"repair after the use",
			turnaround.History{Uses: []turnaround.Use{use("a", 200, 250)}, Repairs: []turnaround.Repair{repair("r", 260, 400)}},
			400,
			"it came back from repair", "r",
		},
		{
			"use after the repair",
			turnaround.History{Uses: []turnaround.Use{use("a", 500, 550)}, Repairs: []turnaround.Repair{repair("r", 260, 400)}},
			550,
			"the last use ended", "a",
		},
		{
			"away for repair",
			turnaround.History{Uses: []turnaround.Use{use("a", 200, 250)}, Repairs: []turnaround.Repair{repair("r", 260, 0)}},
			250,
			"the last use ended", "a",
		},
		{"used before it came", turnaround.History{Uses: []turnaround.Use{use("a", 50, 60)}}, 100, "it came into service", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tt.history.Instrument.InService = 100
			at, by, record := turnaround.Start(tt.history)
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
	h.Earlier = turnaround.Earlier{Passed: was - hour, Failed: was}
	wantState(t, turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t)), turnaround.InWork,
		"the last round was over the action level and no round has passed since")
	h.Earlier.Passed = was + 1
	wantState(t, turnaround.Gate(h, preset(t), instant(t, "12:00"), berlin(t)), turnaround.Ready, "")
}

func TestEntryChecks(t *testing.T) {
	tests := []struct {
		name string
		err  error
		want string
	}{
		{"use", turnaround.Use{Scope: "D-01", Start: 5}.Check(), ""},
		{"use ended at once", turnaround.Use{Scope: "D-01", Start: 5, End: 5}.Check(), ""},
		{"use of nothing", turnaround.Use{Start: 5}.Check(), "the scope is missing"},
		{"use without a start", turnaround.Use{Scope: "D-01"}.Check(), "when did it start?"},
		{"use backwards", turnaround.Use{Scope: "D-01", Start: 5, End: 4}.Check(), "before it started"},

		{"step", turnaround.Step{Scope: "D-01", Kind: turnaround.Drying, Start: 5, End: 6}.Check(), ""},
		{"step of nothing", turnaround.Step{Kind: turnaround.Drying, Start: 5}.Check(), "the scope is missing"},
		{
			"unknown step", turnaround.Step{Scope: "D-01", Kind: "polish", Start: 5}.Check(),
			`"polish" is not a step that is recorded; allowed: pre-clean, transport, leak-test, manual-cleaning, inspection, disinfection`,
		},
		{"verification", turnaround.Step{Scope: "D-01", Kind: turnaround.Verification, Start: 5}.Check(), `"verification" is not a step that is recorded`},
		{"step without a start", turnaround.Step{Scope: "D-01", Kind: turnaround.Drying}.Check(), "when did it start?"},
		{"step backwards", turnaround.Step{Scope: "D-01", Kind: turnaround.Drying, Start: 5, End: 4}.Check(), "before it started"},
		{"unknown result", turnaround.Step{Scope: "D-01", Kind: turnaround.Drying, Start: 5, Result: "ok"}.Check(), `result "ok" is not known; allowed: pass, fail`},
		{"unknown MEC result", turnaround.Step{Scope: "D-01", Kind: turnaround.Disinfection, Start: 5, MEC: "ok"}.Check(), `MEC result "ok" is not known`},
		{"contact below zero", turnaround.Step{Scope: "D-01", Kind: turnaround.Disinfection, Start: 5, Contact: -1}.Check(), "the contact time is below zero"},

		{"hold", turnaround.Hold{Scope: "D-01", At: 5, By: "A", Reason: "r"}.Check(), ""},
		{"hold of nothing", turnaround.Hold{At: 5, By: "A", Reason: "r"}.Check(), "the scope or the time is missing"},
		{"hold without a time", turnaround.Hold{Scope: "D-01", By: "A", Reason: "r"}.Check(), "the scope or the time is missing"},
		{"hold by nobody", turnaround.Hold{Scope: "D-01", At: 5, Reason: "r"}.Check(), "who places it?"},
		{"hold without a reason", turnaround.Hold{Scope: "D-01", At: 5, By: "A"}.Check(), "the reason is missing"},

		{"lift by a round", turnaround.Lift{Hold: "h", Scope: "D-01", At: 5, By: "A", Reason: "r", Round: "q"}.Check(), ""},
		{"lift by two", turnaround.Lift{Hold: "h", Scope: "D-01", At: 5, By: "A", Reason: "r", Second: "B"}.Check(), ""},
		{"lift of nothing", turnaround.Lift{Scope: "D-01", At: 5, By: "A", Reason: "r", Round: "q"}.Check(), "the hold, the scope or the time is missing"},
		{"lift by nobody", turnaround.Lift{Hold: "h", Scope: "D-01", At: 5, Reason: "r", Round: "q"}.Check(), "who lifts it?"},
		{"lift without a reason", turnaround.Lift{Hold: "h", Scope: "D-01", At: 5, By: "A", Round: "q"}.Check(), "the reason is missing"},
		{
			"lift by one alone", turnaround.Lift{Hold: "h", Scope: "D-01", At: 5, By: "A", Reason: "r"}.Check(),
			"it needs a round passed since the hold, or a second person's name",
		},
		{
			"lift by the same twice", turnaround.Lift{Hold: "h", Scope: "D-01", At: 5, By: "A", Reason: "r", Second: "A"}.Check(),
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
	h.Requests = []turnaround.Request{{Request: sampling.Request{At: noon + us}}}
	h.Decisions = append(h.Decisions, decision("later", 2, instant(t, "08:30"), noon-us, noon+us, reading.Action))
	h.Holds = []turnaround.Hold{{Stamp: stamp("hold", noon), At: noon - us, By: "A. Lead", Reason: "bent tip"}}
	h.Lifts = []turnaround.Lift{{Hold: "hold", At: noon + us, By: "A. Lead", Second: "B. Lead"}}
	a := turnaround.Gate(h, preset(t), noon, berlin(t))
	wantState(t, a, turnaround.Held, "bent tip")
	if got := status(t, a, turnaround.Verification); got != turnaround.DoneStep {
		t.Errorf("a decision of the future counts: %q", got)
	}
}
