package reprocessing_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/domain/reprocessing"
)

// What is done with a scope after it was stored took it from where it hung; at the bedside it followed a use.
func TestActAfterTheStoring(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		kind     reprocessing.StepKind
		hungBack bool
		want     string // a reason, empty where it is ready
		next     string
	}{
		{
			reprocessing.PointOfUse, false,
			"point-of-use treatment at 2026-03-02 14:40 +00:00 came after storage at 2026-03-02 10:30 +00:00: a use is not on record", "record it",
		},
		{reprocessing.PointOfUse, true, "a use is not on record", "by the whole route after use"},
		{reprocessing.Transport, false, "a use is not on record, or the scope was carried away", "record the use"},
		{reprocessing.Transport, true, "a use is not on record, or the scope was carried away", "from the leak test to storage"},
		{reprocessing.LeakTest, false, "manual cleaning", "repeat"},
		{reprocessing.Soak, false, "soak", "repeat"},
		{reprocessing.ManualCleaning, false, "manual cleaning", "repeat"},
		{reprocessing.Inspection, false, "inspection", "repeat"},
		{reprocessing.FinalRinse, false, "final rinse", "repeat"},
		{reprocessing.Drying, false, "drying", "repeat"},
		{reprocessing.Drying, true, "", ""},
	} {
		for name, rules := range map[string]reprocessing.Rules{"preset": preset(t), "straight": straight(t)} {
			h := good(t)
			s := reprocessing.Step{Scope: "D-01", Kind: test.kind, Start: instant(t, "14:40"), End: instant(t, "14:55"), Result: reprocessing.Pass, By: "T. Echnician"}
			s.Stamp = stamp("afterwards", s.End)
			h.Steps = append(h.Steps, s)
			if test.hungBack {
				h.Steps = append(h.Steps, again(t, &h, reprocessing.Storage, instant(t, "14:56")-instant(t, "10:30")))
			}
			a := reprocessing.Release(h, rules, instant(t, "15:00"), time.UTC)
			if test.want == "" {
				wantState(t, a, reprocessing.Ready, "stored in")
				continue
			}
			if a.State != reprocessing.InReprocessing {
				t.Errorf("%s by the %s rules, hung back %t: %s; %s", test.kind, name, test.hungBack, a.State, told(a))
			}
			if name == "preset" {
				wantState(t, a, reprocessing.InReprocessing, test.want)
				if !slices.ContainsFunc(a.Next, func(n string) bool { return strings.Contains(n, test.next) }) {
					t.Errorf("%s: next is %q", test.kind, a.Next)
				}
			}
		}
	}
}

// A scope whose wait was over, or that came back from repair, is carried to the sink as well.
func TestCarriedToTheSinkAgain(t *testing.T) {
	t.Parallel()
	h := good(t)
	whole := slices.Clone(h.Steps)
	day := instant(t, "2026-03-04T00:00:00Z") - instant(t, "2026-03-03T00:00:00Z")
	for _, s := range whole {
		if s.Kind != reprocessing.PointOfUse {
			h.Steps = append(h.Steps, again(t, &reprocessing.History{Steps: []reprocessing.Step{s}}, s.Kind, day))
		}
	}
	for i := range h.Steps {
		h.Steps[i].Recorded = max(h.Steps[i].Start, h.Steps[i].End)
	}
	a := reprocessing.Release(h, preset(t), instant(t, "2026-03-03T11:00:00Z"), time.UTC)
	for _, r := range a.Reasons {
		if strings.Contains(r.Text, "not on record") && r.Blocks {
			t.Errorf("%s", r.Text)
		}
	}
}
