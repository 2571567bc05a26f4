package turnaround_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/turnaround"
)

func TestRetrace(t *testing.T) {
	at := func(text string) unit.Instant { return instant(t, text) }
	away := good(t)
	away.Repairs = []turnaround.Repair{{Stamp: stamp("repair", at("11:00")), Repair: scope.Repair{Scope: "D-01", Sent: at("10:40"), Returned: at("11:00")}}}
	inUse := good(t)
	inUse.Uses = append(inUse.Uses, turnaround.Use{Stamp: stamp("next use", at("11:00")), Scope: "D-01", Start: at("11:00")})
	fresh := good(t)
	fresh.Uses = nil
	held := good(t)
	held.Holds = []turnaround.Hold{
		{Stamp: stamp("before", at("07:00")), Scope: "D-01", At: at("07:00"), By: "L", Reason: "r"},
		{Stamp: stamp("hold", at("10:00")), Scope: "D-01", At: at("10:00"), By: "L", Reason: "r"},
	}
	held.Lifts = []turnaround.Lift{{Stamp: stamp("lift", at("10:20")), Hold: "hold", Scope: "D-01", At: at("10:20"), By: "L", Second: "M", Reason: "r"}}
	tests := []struct {
		name, reason string
		history      turnaround.History
		at           unit.Instant
		cause        turnaround.Cause
		from, start  unit.Instant
		state        turnaround.State
		// How many entries are told.
		uses, steps, samples, decisions, holds, lifts, repairs int
	}{
		{"done", "everything since the use", good(t), at("11:30"), turnaround.AfterUse, at("08:00"), at("08:30"), turnaround.Ready, 1, 9, 4, 1, 0, 0, 0},
		{"half-way", "what comes later is not told", good(t), at("09:20"), turnaround.AfterUse, at("08:00"), at("08:30"), turnaround.InWork, 1, 5, 0, 0, 0, 0, 0},
		{"in use", "the use itself belongs to it", inUse, at("11:10"), turnaround.AfterUse, at("11:00"), at("11:00"), turnaround.InWork, 1, 0, 0, 0, 0, 0, 0},
		{
			"the instant before the next use", "the next use does not", inUse, at("11:00") - 1, turnaround.AfterUse, at("08:00"),
			at("08:30"), turnaround.Ready, 1, 9, 4, 1, 0, 0, 0,
		},
		{
			"away", "a repair that goes on belongs to the turnaround that it ends", away, at("10:50"), turnaround.AfterUse, at("08:00"),
			at("08:30"), turnaround.Out, 1, 9, 4, 1, 0, 0, 1,
		},
		{
			"the instant before the repair", "one that has not begun does not", away, at("10:40") - 1, turnaround.AfterUse, at("08:00"),
			at("08:30"), turnaround.Ready, 1, 9, 4, 1, 0, 0, 0,
		},
		{
			"back", "its return begins another, which the repair belongs to", away, at("11:00"), turnaround.AfterRepair, at("10:40"),
			at("11:00"), turnaround.InWork, 0, 0, 0, 0, 0, 0, 1,
		},
		{
			"never used", "the arrival begins the first", fresh, at("11:30"), turnaround.OnArrival, 0, instant(t, "2026-01-01T00:00:00Z"),
			turnaround.Ready, 0, 9, 4, 1, 0, 0, 0,
		},
		{
			"held", "a hold of before is not told again, and blocks all the same", held, at("11:30"), turnaround.AfterUse, at("08:00"),
			at("08:30"), turnaround.Held, 1, 9, 4, 1, 1, 1, 0,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := turnaround.Retrace(tt.history, preset(t), tt.at, berlin(t))
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

// Trips that follow each other tell every entry once, whatever happened in which order.
func TestTripsShareNothingAndLeaveNothingOut(t *testing.T) {
	rules, zone := preset(t), berlin(t)
	rapid.Check(t, func(rt *rapid.T) {
		h := turnaround.History{Instrument: good(t).Instrument, Model: good(t).Model}
		entries := map[string]int{}
		now := instant(t, "00:00")
		for i := range rapid.IntRange(0, 25).Draw(rt, "entries") {
			begin := now.Add(time.Duration(rapid.IntRange(1, 90).Draw(rt, "pause")) * time.Minute)
			now = begin.Add(time.Duration(rapid.IntRange(0, 60).Draw(rt, "takes")) * time.Minute)
			s := stamp(string(rune('a'+i)), now)
			entries[s.ID] = 0
			switch rapid.IntRange(0, 4).Draw(rt, "kind") {
			case 0:
				h.Uses = append(h.Uses, turnaround.Use{Stamp: s, Scope: "D-01", Start: begin, End: now})
			case 1:
				h.Repairs = append(h.Repairs, turnaround.Repair{Stamp: s, Repair: scope.Repair{Scope: "D-01", Sent: begin, Returned: now}})
			case 2:
				h.Decisions = append(h.Decisions, decision(s.ID, 1, begin, begin, now, reading.Below))
			case 3:
				h.Holds = append(h.Holds, turnaround.Hold{Stamp: s, Scope: "D-01", At: begin, By: "L", Reason: "r"})
			default:
				h.Steps = append(h.Steps, turnaround.Step{Stamp: s, Scope: "D-01", Kind: turnaround.Drying, Start: begin, End: now})
			}
		}
		for at, n := now.Add(time.Hour), 0; ; n++ {
			trip := turnaround.Retrace(h, rules, at, zone)
			for _, x := range trip.Uses {
				entries[x.ID]++
			}
			for _, x := range trip.Repairs {
				entries[x.ID]++
			}
			for _, x := range trip.Decisions {
				entries[x.ID]++
			}
			for _, x := range trip.Holds {
				entries[x.ID]++
			}
			for _, x := range trip.Steps {
				entries[x.ID]++
			}
			if trip.Cause == turnaround.OnArrival {
				break
			}
			if trip.From >= at || n > len(entries) {
				rt.Fatalf("the turnaround told to %s is from %s: there is no end to it", at, trip.From)
			}
			at = trip.From - 1
		}
		for id, n := range entries {
			if n != 1 {
				rt.Errorf("entry %s is told %d times", id, n)
			}
		}
	})
}
