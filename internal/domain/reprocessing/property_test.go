package reprocessing_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
)

// between draws an instant, the bounds included.
func between(t *rapid.T, name string, lo, hi unit.Instant) unit.Instant {
	return unit.Instant(rapid.Int64Range(int64(lo), int64(max(lo, hi))).Draw(t, name))
}

// disturb spoils a history here and there, or leaves it as it is.
func disturb(t *rapid.T, h reprocessing.History, morning unit.Instant) reprocessing.History {
	for range rapid.IntRange(0, 3).Draw(t, "disturbances") {
		i := rapid.IntRange(0, max(0, len(h.Steps)-1)).Draw(t, "which")
		switch rapid.IntRange(0, 9).Draw(t, "how") {
		case 0:
			h.Steps = slices.Delete(h.Steps, i, min(i+1, len(h.Steps)))
		case 1:
			h.Steps[i].Start = between(t, "start", morning, h.Steps[i].Start)
		case 2:
			h.Steps[i].End = 0
		case 3:
			h.Steps[i].Result = rapid.SampledFrom([]reprocessing.Result{reprocessing.NotStated, reprocessing.Pass, reprocessing.Fail}).Draw(t, "result")
		case 4:
			again := h.Steps[i]
			again.Start = between(t, "again", morning, morning+8*hour)
			if again.End.Known() {
				again.End = again.Start + 15*mins
			}
			h.Steps = append(h.Steps, again)
		case 5:
			h.Steps[i].DisinfectantLot, h.Steps[i].Cabinet = "", ""
		case 6:
			h.Decisions = h.Decisions[:len(h.Decisions)-min(1, len(h.Decisions))]
		case 7:
			h.Samples = append(h.Samples, samples(rapid.IntRange(1, 3).Draw(t, "cleaning"), between(t, "collected", morning, morning+8*hour))...)
		case 8:
			h.Lifts = nil
		case 9:
			h.Model.Risk = scope.StandardRisk
		}
	}
	return h
}

// worsen adds one adverse fact at or before an instant: a hold, a failed step, a verification over the
// action level, a use, a repair, the retirement or a restore of the records. A use or a repair that ended before the first
// point-of-use treatment of the cycle is left out: nothing that was reprocessed after it is touched by it.
func worsen(t *rapid.T, h reprocessing.History, morning, at unit.Instant) (reprocessing.History, string) {
	when := between(t, "when", morning, at)
	end := between(t, "end", when, at)
	var begun unit.Instant
	for _, s := range h.Steps {
		if s.Kind == reprocessing.PointOfUse {
			begun = max(begun, s.Start+1)
		}
	}
	late := max(begun, end)
	h.Steps, h.Uses, h.Repairs = slices.Clone(h.Steps), slices.Clone(h.Uses), slices.Clone(h.Repairs)
	h.Decisions, h.Holds = slices.Clone(h.Decisions), slices.Clone(h.Holds)
	fact := rapid.SampledFrom([]string{
		"hold", "step", "action", "use", "open use", "earlier use", "repair", "away", "retired", "hold lifted by one", "restore",
	}).Draw(t, "fact")
	switch fact {
	case "hold":
		h.Holds = append(h.Holds, reprocessing.Hold{Stamp: stamp("further hold", when), Scope: "D-01", At: when, By: "A. Lead", Reason: "bent tip"})
	case "hold lifted by one":
		// A person's hold, and a lift by one person over every verification there is.
		h.Holds = append(h.Holds, reprocessing.Hold{Stamp: stamp("further hold", when), Scope: "D-01", At: when, By: "A. Lead", Reason: "culture positive"})
		h.Lifts = slices.Clone(h.Lifts)
		for i, d := range h.Decisions {
			h.Lifts = append(h.Lifts, reprocessing.Lift{
				Stamp: stamp(fmt.Sprint("further lift ", i), end), Hold: "further hold", Scope: "D-01", At: end, By: "A. Lead",
				Second: rapid.SampledFrom([]string{"", "A. Lead", "a. lead"}).Draw(t, "second"), Reason: "passed", Verification: d.ID,
			})
		}
	case "step":
		kinds := slices.DeleteFunc(slices.Clone(reprocessing.StepKinds), func(k reprocessing.StepKind) bool { return k == reprocessing.Verification })
		s := reprocessing.Step{
			Stamp: stamp("further step", when), Scope: "D-01", Kind: rapid.SampledFrom(kinds).Draw(t, "kind"), Start: when,
			Result: reprocessing.Fail, Cabinet: "drying-cabinet",
		}
		if rapid.Bool().Draw(t, "ended") {
			s.End = end
		}
		h.Steps = append(h.Steps, s)
		fact += " " + string(s.Kind)
	case "action":
		h.Decisions = append(h.Decisions, decision("further round", 9, instantOf(h), when, end, reading.Action))
	case "use":
		if late > at {
			return h, ""
		}
		h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("further use", late), Scope: "D-01", Start: when, End: late})
	case "open use":
		h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("further use", when), Scope: "D-01", Start: when})
	case "earlier use":
		h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("further use", morning), Scope: "D-01", Start: morning - 2*hour, End: morning - hour})
	case "repair":
		if late > at {
			return h, ""
		}
		h.Repairs = append(h.Repairs, reprocessing.Repair{Stamp: stamp("further repair", late), Repair: scope.Repair{Scope: "D-01", Sent: when, Returned: late}})
	case "away":
		h.Repairs = append(h.Repairs, reprocessing.Repair{Stamp: stamp("further repair", when), Repair: scope.Repair{Scope: "D-01", Sent: when}})
	case "retired":
		h.Instrument.Retired = when
	case "restore":
		h.Restores = append(slices.Clone(h.Restores), reprocessing.RestoreNote{
			Stamp: stamp("further restore", end), Told: reprocessing.InPlace, Copied: when, At: end, Size: 1, By: "A. Lead",
		})
	}
	return h, fact
}

func instantOf(h reprocessing.History) unit.Instant {
	start, _, _ := reprocessing.Start(h)
	return start
}

// An adverse fact at or before the instant never makes a scope usable that was not, and never
// prolongs the time for which it is.
func TestReleaseIsMonotone(t *testing.T) {
	rules, zone := preset(t), berlin(t)
	fresh := []reprocessing.History{good(t), recleaned(t)}
	morning := instant(t, "08:00")
	ready := 0
	rapid.Check(t, func(rt *rapid.T) {
		h := fresh[rapid.IntRange(0, 1).Draw(rt, "history")]
		h.Steps, h.Samples = slices.Clone(h.Steps), slices.Clone(h.Samples)
		h = disturb(rt, h, morning)
		at := between(rt, "at", morning+3*hour, morning+rapid.SampledFrom([]unit.Instant{6, 12, 24 * 20, 24 * 31}).Draw(rt, "range")*hour)
		worse, fact := worsen(rt, h, morning, at)
		if fact == "" {
			rt.Skip("no such fact")
		}
		before, after := reprocessing.Release(h, rules, at, zone), reprocessing.Release(worse, rules, at, zone)
		if before.State == reprocessing.Ready {
			ready++
		}
		switch {
		case after.State != reprocessing.Ready:
		case before.State != reprocessing.Ready:
			rt.Fatalf("%s made it ready; before: %s; after: %s", fact, told(before), told(after))
		case after.Until > before.Until:
			rt.Fatalf("%s prolonged it from %s to %s", fact, before.Until, after.Until)
		}
	})
	if ready == 0 {
		t.Error("no drawn history was ready: the property shows nothing")
	}
}

// Ready always has an end in the future, nothing that blocks, and nothing to do; everything else
// has a reason that blocks and no end. Once the end has come and nothing was done since, the scope is not ready any more.
func TestAnswerIsConsistent(t *testing.T) {
	rules, zone := preset(t), berlin(t)
	fresh := []reprocessing.History{good(t), recleaned(t)}
	morning := instant(t, "08:00")
	rapid.Check(t, func(rt *rapid.T) {
		h := fresh[rapid.IntRange(0, 1).Draw(rt, "history")]
		h.Steps, h.Samples = slices.Clone(h.Steps), slices.Clone(h.Samples)
		h = disturb(rt, h, morning)
		at := between(rt, "at", morning-hour, morning+40*24*hour)
		a := reprocessing.Release(h, rules, at, zone)
		blocked := slices.ContainsFunc(a.Reasons, func(r reprocessing.Reason) bool { return r.Blocks })
		if ready := a.State == reprocessing.Ready; ready == blocked || ready != (a.Until > at) || !ready && a.Until.Known() {
			rt.Fatalf("%s until %s: %s", a.State, a.Until, told(a))
		}
		if diff := cmp.Diff(a, reprocessing.Release(h, rules, at, zone)); diff != "" {
			rt.Fatalf("asked twice, answered differently:\n%s", diff)
		}
		if a.State == reprocessing.Ready && at >= lastEntry(h) {
			later := between(rt, "later", a.Until, a.Until+1000*24*hour)
			if over := reprocessing.Release(h, rules, later, zone); over.State == reprocessing.Ready {
				rt.Fatalf("ready until %s and ready again at %s: %s", a.Until, later, told(over))
			}
		}
	})
}

// lastEntry is the last instant at which anything is on record.
func lastEntry(h reprocessing.History) unit.Instant {
	var last unit.Instant
	for _, s := range h.Steps {
		last = max(last, s.Start, s.End)
	}
	for _, s := range h.Samples {
		last = max(last, s.Collected)
	}
	for _, d := range h.Decisions {
		last = max(last, d.Last)
	}
	for _, l := range h.Lifts {
		last = max(last, l.At)
	}
	return last
}
