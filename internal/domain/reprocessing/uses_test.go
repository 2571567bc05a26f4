package reprocessing_test

import (
	"slices"
	"testing"

	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
)

// A use without an end, and one that overlaps with the last, keep the scope from patients whatever was
// done since.
func TestUsesBeforeTheCycle(t *testing.T) {
	use := func(id, start, end, room string) reprocessing.Use {
		u := reprocessing.Use{Stamp: stamp(id, instant(t, start)), Scope: "D-01", Start: instant(t, start), Room: room}
		if end != "" {
			u.End = instant(t, end)
		}
		return u
	}
	const january = "2026-01-12T10:00:00Z"
	tests := []struct {
		name  string
		uses  []reprocessing.Use // beside that of 08:00 to 08:30
		state reprocessing.State
		words string
		next  string
	}{
		{
			"never ended, and another use since",
			[]reprocessing.Use{use("lost", january, "", "2")},
			reprocessing.InReprocessing,
			"the use that began at 2026-01-12 11:00 +01:00 in 2 has no end on record",
			"record the end of the use that began at 2026-01-12 11:00 +01:00 in 2, or void it if it never was",
		},
		{
			"begun within the last use, never ended",
			[]reprocessing.Use{use("lost", "08:10", "", "")},
			reprocessing.InReprocessing,
			"the use that began at 2026-03-02 09:10 +01:00 has no end on record",
			"record the end of the use that began at 2026-03-02 09:10 +01:00, or void it if it never was",
		},
		{
			"goes on",
			[]reprocessing.Use{use("now", "11:00", "", "3")},
			reprocessing.InReprocessing,
			"in use on a patient since 2026-03-02 12:00 +01:00 in 3", "record the end of the use, then point-of-use treatment at the bedside",
		},
		{"ended when the last began", []reprocessing.Use{use("before", "07:00", "08:00", "")}, reprocessing.Ready, "", ""},
		{
			"ended a moment after the last began",
			[]reprocessing.Use{use("before", "07:00", "2026-03-02T08:00:00.000001Z", "2")},
			reprocessing.InReprocessing,
			"two uses overlap, 2026-03-02 09:00 +01:00 to 2026-03-02 09:30 +01:00 and 2026-03-02 08:00 +01:00 to 2026-03-02 09:00 +01:00 in 2: one " +
				"of them has wrong times or was of another scope",
			"find out which scope was used where; correct or void the use that is wrong",
		},
		{
			"within the last",
			[]reprocessing.Use{use("inside", "08:10", "08:15", "")},
			reprocessing.InReprocessing, "two uses overlap",
			"find out which scope was used where; correct or void the use that is wrong",
		},
		{
			"ended after the last and after its reprocessing began",
			[]reprocessing.Use{use("long", "07:00", "09:00", "")},
			reprocessing.InReprocessing, "point-of-use treatment is not on record", "",
		},
		{"two that overlap, and a whole use since", []reprocessing.Use{use("a", "06:00", "07:00", ""), use("b", "06:30", "07:30", "")}, reprocessing.Ready, "", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			for _, order := range []func([]reprocessing.Use){func([]reprocessing.Use) {}, slices.Reverse[[]reprocessing.Use]} {
				h := good(t)
				h.Uses = append(slices.Clone(tt.uses), h.Uses...)
				order(h.Uses)
				a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
				wantState(t, a, tt.state, tt.words)
				if tt.next != "" && !slices.Contains(a.Next, tt.next) {
					t.Errorf("next: %q, want %q in it", a.Next, tt.next)
				}
			}
		})
	}
}

// Which cycle an instant belongs to goes by what had happened by then: the end of a use that lies
// later does not begin it.
func TestCycleStart(t *testing.T) {
	h := good(t)
	h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("long", 1), Scope: "D-01", Start: instant(t, "07:00"), End: instant(t, "12:00")})
	for at, want := range map[string]string{"07:10": "07:00", "08:10": "08:00", "08:30": "08:30", "11:59": "08:30", "12:00": "12:00"} {
		if got := reprocessing.CycleStart(h, instant(t, at)); got != instant(t, want) {
			t.Errorf("at %s it began at %s, want %s", at, got, want)
		}
	}
}

// Uses that overlap are asked about also where the scope was away for repair since, or came back into service.
func TestOverlapAfterRepair(t *testing.T) {
	early := func(h *reprocessing.History) { // everything was done before, so that the rest is as it should be
		h.Uses[0].Start, h.Uses[0].End = instant(t, "07:00"), instant(t, "07:30")
		h.Steps[0].Start, h.Steps[0].End = instant(t, "07:31"), instant(t, "07:33")
		h.Steps = append(h.Steps, reprocessing.Step{
			Stamp: stamp("soak", 1), Scope: "D-01", Kind: reprocessing.Soak, Start: instant(t, "08:56"), End: instant(t, "09:00") - us,
		})
		step(t, h, reprocessing.ManualCleaning).Start, step(t, h, reprocessing.Soak).End = instant(t, "09:10"), instant(t, "09:08")
	}
	back := reprocessing.Repair{Stamp: stamp("repair", 1), Repair: scope.Repair{Scope: "D-01", Sent: instant(t, "07:40"), Returned: instant(t, "08:40")}}
	beside := reprocessing.Use{Stamp: stamp("beside", 1), Scope: "D-01", Start: instant(t, "06:50"), End: instant(t, "07:00") + us}
	for name, change := range map[string]func(*reprocessing.History){
		"repair":  func(h *reprocessing.History) { h.Repairs = append(h.Repairs, back) },
		"arrival": func(h *reprocessing.History) { h.Instrument.InService = instant(t, "08:40") },
	} {
		h := good(t)
		early(&h)
		change(&h)
		wantState(t, reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t)), reprocessing.Ready, "stored in")
		h.Uses = append(h.Uses, beside)
		wantState(t, reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t)), reprocessing.InReprocessing, "two uses overlap")
		if t.Failed() {
			t.Fatal(name)
		}
	}
}
