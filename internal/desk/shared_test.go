package desk_test

import (
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store"
)

// disinfection returns one in a reprocessor, which passed.
func (b *bench) disinfection(tag string, d time.Duration) reprocessing.Step {
	s := reprocessing.Step{Scope: tag, Kind: reprocessing.Disinfection, Start: b.at(), End: b.pass(d), By: "T-01", Result: reprocessing.Pass}
	s.Disinfectant, s.DisinfectantLot, s.MEC, s.Contact, s.Coldest, s.HasTemperature = "opa-0.55", "L9", reprocessing.Pass, 12*unit.Minute, 21, true
	s.DisinfectantFilled, s.DisinfectantExpires = s.Start.Add(-time.Hour), s.Start.Add(240*time.Hour)
	s.Reprocessor, s.CycleNumber = "W-1", "77"
	return s
}

func (b *bench) disinfected(s reprocessing.Step) ledger.ID {
	b.Helper()
	return b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordStep(desk.Entry{By: s.By}, s) }).Record.ID
}

// stored has a scope go through a whole cycle, with a disinfection that somebody changes.
func (b *bench) stored(change func(*reprocessing.Step)) reprocessing.Step {
	b.Helper()
	b.use()
	b.verification("30", "30", "30")
	s := b.disinfection("D-01", 30*time.Minute)
	change(&s)
	b.disinfected(s)
	b.step(reprocessing.Drying, 12*time.Minute, nil)
	b.step(reprocessing.Storage, 0, func(s *reprocessing.Step) { s.Cabinet, s.End = "drying-cabinet", 0 })
	b.signStart()
	b.pass(time.Minute)
	return s
}

// another registers a second scope of the same model.
func (b *bench) another() {
	b.Helper()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterInstrument(lead, b.at(), scope.Instrument{Tag: "D-02", Model: "D1", Owner: scope.Own, InService: b.at()})
	})
}

// What is recorded of another scope of the run, the solution or the lot that a scope was disinfected with counts for this
// one, whenever it arrives; a use that began by then is an exposure.
func TestMeansAreShared(t *testing.T) {
	for _, tt := range []struct {
		name string
		// own changes the disinfection of the scope, other the one that is recorded of another afterwards.
		own, other func(*reprocessing.Step)
		part       string // empty: ready
	}{
		{"the run passed", func(*reprocessing.Step) {}, func(*reprocessing.Step) {}, ""},
		{"the run failed", func(*reprocessing.Step) {}, func(s *reprocessing.Step) { s.Result = reprocessing.Fail }, "the run of W-1 failed by the record of D-02"},
		{
			"in other letters", func(*reprocessing.Step) {},
			func(s *reprocessing.Step) { s.Reprocessor, s.MEC = " w-1", reprocessing.Fail }, "the run of W-1 failed by the record of D-02",
		},
		{"the next run failed", func(*reprocessing.Step) {}, func(s *reprocessing.Step) { s.Result, s.CycleNumber = reprocessing.Fail, "78" }, ""},
		{"in use for weeks", func(s *reprocessing.Step) { s.DisinfectantFilled = 0 }, func(s *reprocessing.Step) {
			s.Start, s.End, s.DisinfectantFilled, s.CycleNumber = s.Start.Add(-400*time.Hour), s.End.Add(-400*time.Hour), 0, "20"
			s.DisinfectantExpires = s.Start.Add(9000 * time.Hour)
		}, "is in use since"},
		{"an earlier date of the lot", func(s *reprocessing.Step) { s.DisinfectantExpires = s.Start.Add(9000 * time.Hour) }, func(s *reprocessing.Step) {
			s.DisinfectantExpires = s.End
			s.Start, s.End, s.DisinfectantFilled, s.CycleNumber = s.Start.Add(-400*time.Hour), s.End.Add(-400*time.Hour), 0, "20"
			s.Reprocessor = "W-2"
		}, "of two dates the earlier one counts"},
		{"an earlier date of its filling", func(*reprocessing.Step) {}, func(s *reprocessing.Step) {
			s.DisinfectantExpires, s.CycleNumber = s.End, "78"
		}, "of two dates the earlier one counts"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b := start(t)
			b.another()
			s := b.stored(tt.own)
			if a := b.release(); a.State != reprocessing.Ready {
				t.Fatalf("before: %s: %q", a.State, blocking(a))
			}
			known := b.at()
			b.pass(time.Minute)
			u := reprocessing.Use{Scope: "D-01", Start: b.at(), End: b.pass(20 * time.Minute)}
			b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(desk.Entry{By: "N-01"}, u, "") })
			b.wantHeldFor("used")
			x := s
			x.Scope = "D-02"
			tt.other(&x)
			id := b.disinfected(x)
			if tt.part == "" {
				b.wantHeldFor("nothing speaks against it")
				return
			}
			b.wantHeldFor("exposed", reprocessing.ExposureHold)
			then := func(known unit.Instant) reprocessing.Answer { return b.releaseAt(u.Start.Add(-time.Second), known) }
			if a := then(known); a.State != reprocessing.Ready {
				t.Errorf("as known then: %q", blocking(a))
			}
			if a := then(store.Forever); a.State == reprocessing.Ready || !strings.Contains(strings.Join(blocking(a), "; "), tt.part) {
				t.Errorf("as known now: %q", blocking(a))
			}
			// Two take back what was wrong.
			b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.Void(both(desk.Entry{Corrects: id, Reason: "of another machine"}))
			})
			if a := then(store.Forever); a.State != reprocessing.Ready {
				t.Errorf("once it is taken back: %q", blocking(a))
			}
		})
	}
}

// What a later disinfection of the scope itself says of its lot has the uses before it weighed again, as that of another
// would.
func TestMeansAreSharedWithItself(t *testing.T) {
	b := start(t)
	s := b.stored(func(s *reprocessing.Step) { s.DisinfectantExpires = s.Start.Add(9000 * time.Hour) })
	b.pass(time.Minute)
	u := reprocessing.Use{Scope: "D-01", Start: b.at(), End: b.pass(20 * time.Minute)}
	b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(desk.Entry{By: "N-01"}, u, "") })
	b.wantHeldFor("used")
	x := s
	x.DisinfectantExpires = s.End // which somebody reads only now
	x.Start = b.pass(time.Minute)
	x.End, x.CycleNumber = b.pass(30*time.Minute), "78" // of the same filling
	b.disinfected(x)
	b.wantHeldFor("exposed", reprocessing.ExposureHold)
}
