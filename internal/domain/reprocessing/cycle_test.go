package reprocessing_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
)

func TestRetrace(t *testing.T) {
	at := func(text string) unit.Instant { return instant(t, text) }
	away := good(t)
	away.Repairs = []reprocessing.Repair{{Stamp: stamp("repair", at("11:00")), Repair: scope.Repair{Scope: "D-01", Sent: at("10:40"), Returned: at("11:00")}}}
	inUse := good(t)
	inUse.Uses = append(inUse.Uses, reprocessing.Use{Stamp: stamp("next use", at("11:00")), Scope: "D-01", Start: at("11:00")})
	fresh := good(t)
	fresh.Uses = nil
	held := good(t)
	held.Holds = []reprocessing.Hold{
		{Stamp: stamp("before", at("07:00")), Scope: "D-01", At: at("07:00"), By: "L", Reason: "r"},
		{Stamp: stamp("hold", at("10:00")), Scope: "D-01", At: at("10:00"), By: "L", Reason: "r"},
	}
	held.Lifts = []reprocessing.Lift{byTwo(reprocessing.Lift{
		Stamp: stamp("lift", at("10:20")), Hold: "hold", Scope: "D-01", At: at("10:20"), By: "L", Reason: "r",
	})}
	tests := []struct {
		name, reason string
		history      reprocessing.History
		at           unit.Instant
		cause        reprocessing.Cause
		from, start  unit.Instant
		state        reprocessing.State
		// How many entries are told.
		uses, steps, samples, decisions, holds, lifts, repairs int
	}{
		{"done", "everything since the use", good(t), at("11:30"), reprocessing.AfterUse, at("08:00"), at("08:30"), reprocessing.Ready, 1, 9, 4, 1, 0, 0, 0},
		{
			"half-way", "what comes later is not told", good(t), at("09:20"), reprocessing.AfterUse, at("08:00"), at("08:30"), reprocessing.InReprocessing, 1, 5, 0,
			0, 0, 0, 0,
		},
		{
			"in use", "the use itself belongs to it", inUse, at("11:10"), reprocessing.AfterUse, at("11:00"), at("11:00"), reprocessing.InReprocessing, 1, 0, 0, 0, 0,
			0, 0,
		},
		{
			"the instant before the next use", "the next use does not", inUse, at("11:00") - 1, reprocessing.AfterUse, at("08:00"),
			at("08:30"), reprocessing.Ready, 1, 9, 4, 1, 0, 0, 0,
		},
		{
			"away", "a repair that goes on belongs to the cycle that it ends", away, at("10:50"), reprocessing.AfterUse, at("08:00"),
			at("08:30"), reprocessing.OutOfService, 1, 9, 4, 1, 0, 0, 1,
		},
		{
			"the instant before the repair", "one that has not begun does not", away, at("10:40") - 1, reprocessing.AfterUse, at("08:00"),
			at("08:30"), reprocessing.Ready, 1, 9, 4, 1, 0, 0, 0,
		},
		{
			"back", "its return begins another, which the repair belongs to", away, at("11:00"), reprocessing.AfterRepair, at("10:40"),
			at("11:00"), reprocessing.InReprocessing, 0, 0, 0, 0, 0, 0, 1,
		},
		{
			"never used", "the arrival begins the first", fresh, at("11:30"), reprocessing.OnArrival, 0, instant(t, "2026-01-01T00:00:00Z"),
			reprocessing.Ready, 0, 9, 4, 1, 0, 0, 0,
		},
		{
			"held", "a hold of before is not told again, and blocks all the same", held, at("11:30"), reprocessing.AfterUse, at("08:00"),
			at("08:30"), reprocessing.OnHold, 1, 9, 4, 1, 1, 1, 0,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := reprocessing.Retrace(tt.history, preset(t), tt.at, berlin(t))
			if got.Cause != tt.cause || got.From != tt.from || got.Start != tt.start || got.End != tt.at || got.Answer.State != tt.state {
				t.Errorf("%s: after %s, from %s, began %s, to %s, %s; want after %s, from %s, began %s, %s\n%s", tt.reason,
					got.Cause, got.From, got.Start, got.End, got.Answer.State, tt.cause, tt.from, tt.start, tt.state, told(got.Answer))
			}
			counts := [...]int{len(got.Uses), len(got.Steps), len(got.Samples), len(got.Decisions), len(got.Holds), len(got.Lifts), len(got.Repairs)}
			if want := [...]int{tt.uses, tt.steps, tt.samples, tt.decisions, tt.holds, tt.lifts, tt.repairs}; counts != want {
				t.Errorf("%s: uses, steps, samples, decisions, holds, lifts, repairs: %v, want %v", tt.reason, counts, want)
			}
		})
	}
}

// Cycles that follow each other tell every entry once, whatever happened in which order.
func TestCyclesShareNothingAndLeaveNothingOut(t *testing.T) {
	rules, zone := preset(t), berlin(t)
	rapid.Check(t, func(rt *rapid.T) {
		h := reprocessing.History{Instrument: good(t).Instrument, Model: good(t).Model}
		entries := map[string]int{}
		now := instant(t, "00:00")
		for i := range rapid.IntRange(0, 25).Draw(rt, "entries") {
			begin := now.Add(time.Duration(rapid.IntRange(1, 90).Draw(rt, "pause")) * time.Minute)
			now = begin.Add(time.Duration(rapid.IntRange(0, 60).Draw(rt, "takes")) * time.Minute)
			s := stamp(string(rune('a'+i)), now)
			entries[s.ID] = 0
			switch rapid.IntRange(0, 4).Draw(rt, "kind") {
			case 0:
				h.Uses = append(h.Uses, reprocessing.Use{Stamp: s, Scope: "D-01", Start: begin, End: now})
			case 1:
				h.Repairs = append(h.Repairs, reprocessing.Repair{Stamp: s, Repair: scope.Repair{Scope: "D-01", Sent: begin, Returned: now}})
			case 2:
				h.Decisions = append(h.Decisions, decision(s.ID, 1, begin, begin, now, reading.OK))
			case 3:
				h.Holds = append(h.Holds, reprocessing.Hold{Stamp: s, Scope: "D-01", At: begin, By: "L", Reason: "r"})
			default:
				h.Steps = append(h.Steps, reprocessing.Step{Stamp: s, Scope: "D-01", Kind: reprocessing.Drying, Start: begin, End: now})
			}
		}
		for at, n := now.Add(time.Hour), 0; ; n++ {
			cycle := reprocessing.Retrace(h, rules, at, zone)
			for _, x := range cycle.Uses {
				entries[x.ID]++
			}
			for _, x := range cycle.Repairs {
				entries[x.ID]++
			}
			for _, x := range cycle.Decisions {
				entries[x.ID]++
			}
			for _, x := range cycle.Holds {
				entries[x.ID]++
			}
			for _, x := range cycle.Steps {
				entries[x.ID]++
			}
			if cycle.Cause == reprocessing.OnArrival {
				break
			}
			if cycle.From >= at || n > len(entries) {
				rt.Fatalf("the cycle told to %s is from %s: there is no end to it", at, cycle.From)
			}
			at = cycle.From - 1
		}
		for id, n := range entries {
			if n != 1 {
				rt.Errorf("entry %s is told %d times", id, n)
			}
		}
	})
}
