package desk_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/storetest"
)

// bench is a desk with a fleet of one duodenoscope, a clock that the test moves, and rules.
type bench struct {
	testing.TB
	desk *desk.Desk
	now  *storetest.Clock
	// unchecked leaves the checking of the meter to the test, trial the signing of the start.
	unchecked, trial bool
	// started says that the start is signed.
	started bool
	// by is who does a kind of step, where that is not T-01.
	by map[reprocessing.StepKind]string
}

func start(tb testing.TB) *bench {
	tb.Helper()
	b := &bench{TB: tb, now: storetest.NewClock()}
	db, err := sqlite.Folder(tb.TempDir()).
		Create(context.Background(), record.SiteBody{Code: "S1", Name: "Test site", Zone: "Europe/Berlin", Origin: "test.example/s1"}, b.now.Now)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := db.Close(); err != nil {
			tb.Error(err)
		}
	})
	b.desk = desk.New(db)
	lead := desk.Entry{By: "L-01"}
	since := b.at()
	b.do(func(w *desk.Work) error {
		if _, _, err := w.SettingUp().AdoptRules(lead, desk.Adoption{At: since, Name: "general.yaml", Text: policy.Preset()}); err != nil {
			return err
		}
		if _, _, err := w.SettingUp().RegisterModel(lead, since, model()); err != nil {
			return err
		}
		if _, err := w.SettingUp().RegisterInstrument(lead, since, scope.Instrument{Tag: "D-01", Model: "D1", Owner: scope.Own, InService: since}); err != nil {
			return err
		}
		for code, role := range map[string]string{
			"L-01": "lead", "L-02": "lead", "H-01": "infection prevention", "T-01": "technician", "T-02": "technician", "N-01": "procedure room",
		} {
			if _, err := w.SettingUp().RegisterPerson(lead, since, record.PersonBody{Code: code, Role: role}); err != nil {
				return err
			}
		}
		if _, err := w.SettingUp().RegisterMeter(lead, since, quality.Meter{Code: "M-1", System: "A"}); err != nil {
			return err
		}
		if _, err := w.SettingUp().RegisterLot(lead, since, quality.Lot{Kit: "K", Lot: "7", Expires: since.Add(90 * 24 * time.Hour)}); err != nil {
			return err
		}
		for _, p := range points {
			l := reading.Level{
				System:     "A",
				Kit:        "K",
				Point:      p,
				Analyte:    reading.ATP,
				Unit:       reading.RLU,
				Alert:      100,
				Action:     200,
				Comparison: reading.Over,
				Source:     "test",
				Edition:    "1",
				Adopter:    "L-01",
				Adopted:    since,
			}
			if _, err := w.SettingUp().AdoptLevel(lead, l); err != nil {
				return err
			}
		}
		return nil
	})
	return b
}

func model() scope.Model {
	return scope.Model{
		Name: "D1", Kind: scope.Duodenoscope, Risk: scope.HighRisk, Elevator: true, OuterDiameter: 13, SampledLength: 100,
		Channels: []scope.Channel{
			{Kind: scope.InstrumentChannel, Diameter: 4.2, Length: 1350, Brushable: true, Flushable: true, Cleaning: "brush and flush"},
			{Kind: scope.ElevatorWireChannel, Diameter: 0.85, Length: 1500, Sealed: true},
		},
	}
}

func (b *bench) at() unit.Instant { return b.now.At() }

func (b *bench) do(work func(*desk.Work) error) {
	b.Helper()
	if err := b.desk.As(access.Scribe()).Do(context.Background(), work); err != nil {
		b.Fatal(err)
	}
}

// both makes an entry one of two people who may take back together what is adverse.
func both(e desk.Entry) desk.Entry {
	e.By, e.Second = "L-01", access.Operator("H-01")
	return e
}

// pass moves the clock.
func (b *bench) pass(d time.Duration) unit.Instant {
	return b.now.Move(d)
}

func (b *bench) release() reprocessing.Answer { return b.releaseAt(b.at(), store.Forever) }

func (b *bench) releaseAt(at, known unit.Instant) reprocessing.Answer {
	b.Helper()
	var a reprocessing.Answer
	err := b.desk.View(context.Background(), func(v desk.View) (err error) {
		a, err = v.Release("D-01", at, known)
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return a
}

// must runs one act and returns its receipt.
func (b *bench) must(act func(*desk.Work) (desk.Receipt, error)) (r desk.Receipt) {
	b.Helper()
	b.do(func(w *desk.Work) (err error) {
		r, err = act(w)
		return err
	})
	return r
}

// size returns the number of records in the ledger.
func (b *bench) size() (n int64) {
	b.Helper()
	err := b.desk.DB.Read(context.Background(), func(tx *store.Tx) (err error) {
		n, err = tx.Size()
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return n
}

// step records a step that takes d and ends now.
func (b *bench) step(kind reprocessing.StepKind, d time.Duration, fill func(*reprocessing.Step)) {
	b.Helper()
	s := reprocessing.Step{Scope: "D-01", Kind: kind, Start: b.at(), By: "T-01"}
	if by, ok := b.by[kind]; ok {
		s.By = by
	}
	s.End = b.pass(d)
	if fill != nil {
		fill(&s)
	}
	b.do(func(w *desk.Work) error {
		_, err := w.RecordStep(desk.Entry{By: s.By}, s)
		return err
	})
}

// read samples and reads one point.
func (b *bench) read(point scope.PointKind, value string) desk.Receipt {
	b.Helper()
	b.checkMeter("M-1", b.at())
	s := b.take(point)
	at := b.pass(15 * time.Second)
	taken := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(desk.Entry{By: "T-01"}, s) })
	return b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Read(desk.Entry{By: "T-01"}, desk.Reading{Sample: taken.Record.ID, Meter: "M-1", Value: b.rlu(value), At: at})
	})
}

// checkMeter records a good check of a meter at an instant where nobody has checked it that day, unless the test does
// so itself.
func (b *bench) checkMeter(code string, at unit.Instant) {
	b.Helper()
	if b.unchecked {
		return
	}
	var state quality.State
	var targets []quality.Target
	err := b.desk.View(b.Context(), func(v desk.View) (err error) {
		if targets, err = v.Measuring().Targets(); err == nil {
			state, err = v.Measuring().MeterState(code, at)
		}
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	if state.Condition != quality.Unchecked {
		return
	}
	if len(targets) == 0 {
		b.targets()
	}
	b.do(func(w *desk.Work) error {
		_, _, err := w.AtMeters().CheckMeter(desk.Entry{By: "T-01"}, desk.Check{Meter: code, Controls: []quality.Control{
			{Kind: quality.Positive, Material: "light", Value: 1000, At: at}, {Kind: quality.Blank, Material: "empty chamber", Value: 1, At: at},
		}})
		return err
	})
}

// take handles a sample up to its activation, in time.
func (b *bench) take(point scope.PointKind) sampling.Sample {
	s := sampling.Sample{Scope: "D-01", Point: point, Kit: "K", Lot: "7", By: "T-01", Collected: b.at()}
	if sampling.MethodOf(point) == sampling.Rinsate {
		s.Dipped, s.Flushed = b.pass(10*time.Second), 40
	}
	s.Activated, s.Shaken = b.pass(20*time.Second), 6*unit.Second
	return s
}

func (b *bench) rlu(text string) reading.Value {
	b.Helper()
	v, err := reading.ParseValue(reading.ATP, reading.RLU, text)
	if err != nil {
		b.Fatal(err)
	}
	return v
}

// verification reads every point of a verification.
func (b *bench) verification(values ...string) (last desk.Receipt) {
	b.Helper()
	for i, p := range points {
		last = b.read(p, values[i])
	}
	return last
}

// clean records the steps up to the samples.
func (b *bench) clean() {
	b.Helper()
	b.step(reprocessing.ManualCleaning, 17*time.Minute, nil)
	b.step(reprocessing.Inspection, 2*time.Minute, passed)
}

// use records a use of 40 minutes and the steps up to the first cleaning.
func (b *bench) use() (reprocessing.Use, ledger.ID) {
	b.Helper()
	u := reprocessing.Use{Scope: "D-01", Start: b.at(), End: b.pass(40 * time.Minute)}
	r := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(desk.Entry{By: "N-01"}, u, "") })
	b.step(reprocessing.PointOfUse, 2*time.Minute, nil)
	b.step(reprocessing.LeakTest, 2*time.Minute, passed)
	b.clean()
	return u, r.Record.ID
}

// finish records the steps from disinfection to the cabinet.
func (b *bench) finish() {
	b.Helper()
	b.step(reprocessing.Disinfection, 30*time.Minute, func(s *reprocessing.Step) {
		s.Result, s.Disinfectant, s.DisinfectantLot, s.MEC, s.Contact, s.Coldest, s.HasTemperature = reprocessing.Pass, "opa-0.55", "L9", reprocessing.Pass,
			12*unit.Minute, 21, true
		s.DisinfectantFilled, s.DisinfectantExpires = s.Start.Add(-time.Hour), s.Start.Add(240*time.Hour)
	})
	b.step(reprocessing.Drying, 12*time.Minute, nil)
	b.step(reprocessing.Storage, 0, func(s *reprocessing.Step) { s.Cabinet, s.End = "drying-cabinet", 0 })
	b.signStart()
}

// person registers somebody with a role.
func (b *bench) person(code string, role access.Role) {
	b.Helper()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterPerson(desk.Entry{By: "A-01"}, b.at(), record.PersonBody{Code: code, Role: string(role)})
	})
}

// signStart ends the trial, unless it is over: a lead and infection prevention sign once the first cycle is on record.
func (b *bench) signStart() {
	b.Helper()
	if b.started || b.trial {
		return
	}
	b.started = true
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().SignStart(desk.Entry{By: "L-01"}, "H-01")
	})
}

// openHolds returns the holds that are open now.
func (b *bench) openHolds() (open []reprocessing.Hold) {
	b.Helper()
	err := b.desk.View(context.Background(), func(v desk.View) (err error) {
		open, err = v.OpenHolds("D-01", b.at())
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return open
}

// wantHeldFor compares what the open holds are for, the oldest first.
func (b *bench) wantHeldFor(what string, want ...reprocessing.HoldKind) {
	b.Helper()
	var got []reprocessing.HoldKind
	for _, h := range b.openHolds() {
		got = append(got, h.Of())
	}
	if !slices.Equal(got, want) {
		b.Fatalf("%s: on hold for %q, want %q:\n%s", what, got, want, strings.Join(blocking(b.release()), "\n"))
	}
}

// liftAll has infection prevention and a lead lift every hold that is open.
func (b *bench) liftAll() {
	b.Helper()
	for _, h := range b.openHolds() {
		if _, err := b.lift(reprocessing.Lift{Hold: h.ID, By: "H-01", Second: "L-01", Reason: "reprocessed since, and followed up"}); err != nil {
			b.Fatal(err)
		}
	}
}

// points are the routine points of the model.
var points = []scope.PointKind{scope.OuterDistalEnd, scope.ElevatorRecess, scope.InstrumentLumen}

func passed(s *reprocessing.Step) { s.Result = reprocessing.Pass }

func TestFromUseToReady(t *testing.T) {
	b := start(t)
	if a := b.release(); a.State != reprocessing.NotKnown {
		t.Fatalf("new scope: %s %+v", a.State, a.Reasons)
	}
	u, used := b.use()
	b.read(scope.OuterDistalEnd, "30")
	b.read(scope.ElevatorRecess, "250")
	if a := b.release(); a.State != reprocessing.OnHold {
		t.Fatalf("over the action level: %s %+v", a.State, a.Reasons)
	}
	b.clean()
	b.verification("40", "40", "40")
	b.finish()
	a := b.release()
	if a.State != reprocessing.Ready {
		t.Fatalf("at the end: %s\n%+v", a.State, a.Reasons)
	}
	if want := b.at().AddDays(30, b.desk.DB.Zone()); a.Until != want {
		t.Errorf("until %s, want %s", a.Until, want)
	}

	// Correcting when the use ended moves the start of the cycle; its verification stays its own.
	u.End = u.End.Add(-5 * time.Minute)
	correction := both(desk.Entry{Corrects: used, Reason: "the clock of the room was slow"})
	b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(correction, u, "") })
	if c := b.release(); c.State != reprocessing.Ready || c.Until != a.Until || c.Cycle != u.End {
		t.Errorf("after the correction: %s until %s since %s\n%+v", c.State, c.Until, c.Cycle, c.Reasons)
	}
}
