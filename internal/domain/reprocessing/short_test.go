package reprocessing_test

import (
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
)

// How far from ready: "clean, one day over" is not "not clean".
func TestShort(t *testing.T) {
	rules := preset(t)
	month := instant(t, "2026-04-02T10:00:00Z")
	noon := instant(t, "12:00")
	missing := func(kinds ...reprocessing.StepKind) func(*reprocessing.History) {
		return func(h *reprocessing.History) {
			for _, k := range kinds {
				*h = without(*h, k)
			}
		}
	}
	for _, test := range []struct {
		name, reason string
		at           unit.Instant
		change       func(*reprocessing.History)
		grade        reprocessing.Grade
		says         []string
		not          []string
	}{
		{"ready", "nothing is lacking", noon, missing(), reprocessing.Nothing, []string{"nothing is lacking"}, nil},
		{
			"a day over", "every step is there and only storage has run out", month, missing(), reprocessing.OnlyTime,
			[]string{"only time is over, since 2026-04-01"},
			[]string{"lacking"},
		},
		{
			"a day over, and on hold", "a hold is no matter of time", month,
			func(h *reprocessing.History) {
				h.Holds = []reprocessing.Hold{{
					Stamp: stamp("hold", noon), Scope: "D-01", Kind: reprocessing.LeakHold, At: noon, By: "T", Reason: "secret",
				}}
			},
			reprocessing.Held,
			[]string{"it is on hold: a leak, since 2026-03-02"},
			[]string{"secret", "only time"},
		},
		{
			"not disinfected", "cleaned is said, not only what lacks", noon, missing(reprocessing.Disinfection), reprocessing.NotDisinfected,
			[]string{"lacking: disinfection", "on record: ", "manual cleaning"},
			[]string{"only time"},
		},
		{
			"not cleaned", "cleaning is graver than what follows it", noon, missing(reprocessing.ManualCleaning, reprocessing.Drying), reprocessing.NotCleaned,
			[]string{"lacking: soak, manual cleaning, drying"},
			nil,
		},
		{
			"a month after, and not dried", "time does not hide a step", month, missing(reprocessing.Drying), reprocessing.NotDry,
			[]string{"drying"},
			[]string{"only time"},
		},
		{
			"not verified", "cleaned and disinfected", noon,
			func(h *reprocessing.History) { h.Samples, h.Decisions = nil, nil }, reprocessing.NotVerified,
			[]string{"lacking: cleaning verification"},
			nil,
		},
		{
			"over the action level", "a verification that failed is no matter of time", month,
			func(h *reprocessing.History) {
				h.Decisions = []reprocessing.Decision{decision("round 1", 1, instant(t, "08:30"), instant(t, "09:22"), instant(t, "09:30"), reading.Action)}
			},
			reprocessing.NotVerified,
			[]string{"cleaning verification (failed)"},
			[]string{"only time"},
		},
		{
			"in use", "a patient lies there", noon,
			func(h *reprocessing.History) {
				h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("use 2", noon), Scope: "D-01", Start: noon.Add(-time.Hour)})
			},
			reprocessing.AtPatient,
			[]string{"in use on a patient"},
			nil,
		},
		{
			"taken out", "every step is there, and time is not what stands against it", noon,
			func(h *reprocessing.History) {
				h.Steps = append(h.Steps, reprocessing.Step{
					Stamp: stamp("out", noon), Scope: "D-01", Kind: reprocessing.Issue, Start: instant(t, "11:00"), By: "T",
				})
			},
			reprocessing.OnlyRecord,
			[]string{"every step is on record", "issued at"},
			nil,
		},
		{
			"retired", "it is not here", noon,
			func(h *reprocessing.History) { h.Instrument.Retired = instant(t, "11:00") }, reprocessing.NotHere,
			[]string{"retired since"},
			nil,
		},
		{
			"never used here", "nobody knows", noon,
			func(h *reprocessing.History) { h.Uses, h.Steps, h.Samples, h.Decisions = nil, nil, nil, nil }, reprocessing.Unclear,
			[]string{"nobody can say"},
			nil,
		},
	} {
		t.Run(test.name, func(t *testing.T) {
			h := good(t)
			test.change(&h)
			a := reprocessing.Release(h, rules, test.at, time.UTC)
			if (a.State == reprocessing.Ready) != (test.grade == reprocessing.Nothing) {
				t.Fatalf("it is %s: %+v", a.State, a.Reasons)
			}
			got := h.ShortAt(a, rules, test.at, time.UTC)
			if got.Grade != test.grade {
				t.Errorf("%s (%q), want %s: %s", got.Grade, got.Words, test.grade, test.reason)
			}
			for _, words := range test.says {
				if !strings.Contains(got.Words, words) {
					t.Errorf("%q does not say %q: %s", got.Words, words, test.reason)
				}
			}
			for _, words := range test.not {
				if strings.Contains(got.Words, words) {
					t.Errorf("%q says %q: %s", got.Words, words, test.reason)
				}
			}
			if now := h.ShortNow(a, rules, test.at, time.UTC); now != got {
				t.Errorf("at present %+v, and of the past %+v", now, got)
			}
		})
	}
}

// However much stands against a scope, the line is one that a record can hold.
func TestShortFits(t *testing.T) {
	h := good(t)
	noon := instant(t, "12:00")
	for i := range 300 {
		h.Holds = append(h.Holds, reprocessing.Hold{
			Stamp: stamp("hold", noon), Scope: "D-01", Kind: reprocessing.HoldKinds[i%len(reprocessing.HoldKinds)], At: noon.Add(time.Duration(i) * time.Second),
			By: "T", Reason: "seen",
		})
	}
	a := reprocessing.Release(h, preset(t), noon.Add(time.Hour), time.UTC)
	got := h.ShortAt(a, preset(t), noon.Add(time.Hour), time.UTC)
	if n := len([]rune(got.Words)); n > 1000 || strings.Count(got.Words, "a leak, since") != 1 || !strings.Contains(got.Words, "since 2026-03-02 12:00") {
		t.Errorf("%d characters: %q", n, got.Words)
	}
}
