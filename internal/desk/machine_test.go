package desk_test

import (
	"context"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

// checked lets helpers fail the rapid check rather than the whole test, so that rapid can shrink.
type checked struct {
	*testing.T
	rt *rapid.T
}

func (c checked) Helper()                   {}
func (c checked) Fatal(args ...any)         { c.rt.Fatal(args...) }
func (c checked) Fatalf(f string, a ...any) { c.rt.Fatalf(f, a...) }
func (c checked) Error(args ...any)         { c.rt.Error(args...) }
func (c checked) Errorf(f string, a ...any) { c.rt.Errorf(f, a...) }

// machine does at random what people do with a scope.
type machine struct {
	*bench
	// given are the answers that the release check gave, to be asked for again.
	given []reprocessing.Answer
	// readings and uses may be voided.
	readings, uses []ledger.ID
}

// try runs an act and lets it be refused with a code that a person caused.
func (m *machine) try(act func(*desk.Work) (desk.Receipt, error)) (r desk.Receipt, ok bool) {
	m.pass(time.Second)
	err := m.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) (err error) {
		r, err = act(w)
		return err
	})
	if err != nil && fault.CodeOf(err) == "" {
		m.Fatalf("an error that no person caused: %v", err)
	}
	return r, err == nil
}

// openHolds reads which holds are open from the ledger alone: those that were placed, not voided and not lifted over
// records that all stand.
func (m *machine) openHolds() (open []string) {
	holds, replaced := map[string]bool{}, map[string]bool{}
	var lifts []reprocessing.Lift
	err := m.desk.DB.Read(context.Background(), func(tx *store.Tx) error {
		return tx.Chronicle("D-01", 0, store.Forever, 1_000_000, func(k store.Kept) error {
			replaced[string(k.ID)] = k.Replaced.Known()
			switch k.Kind() {
			case record.Hold:
				holds[string(k.ID)] = true
			case record.Lift:
				lifts = append(lifts, body[reprocessing.Lift](m, k.Record))
			}
			return nil
		})
	})
	if err != nil {
		m.Fatal(err)
	}
	for hold := range holds {
		lifted := replaced[hold]
		for _, l := range lifts {
			stands := !slices.ContainsFunc(l.Rests(), func(id string) bool { return replaced[id] })
			lifted = lifted || l.Hold == hold && stands
		}
		if !lifted {
			open = append(open, hold)
		}
	}
	return open
}

// TestReleaseNeverOpensUnderAHold is also the test that an answer, once given, is given again for ever
// when the same instant is asked about as it could be known then.
func TestReleaseNeverOpensUnderAHold(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	ready, asked := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		m := &machine{bench: start(checked{t, rt})}
		m.use()
		m.verification("30", "30", "30")
		m.finish()
		if a := m.release(); a.State == reprocessing.Ready { // every history begins from a scope that was released
			ready++
			m.given = append(m.given, a)
		}
		value := rapid.Custom(func(rt *rapid.T) string {
			return strconv.Itoa(rapid.SampledFrom([]int{5, 30, 99, 120, 200, 250}).Draw(rt, "RLU"))
		})
		point := rapid.SampledFrom(points)
		read := func(r desk.Receipt) { m.readings = append(m.readings, r.Record.ID) }
		rt.Repeat(map[string]func(*rapid.T){
			"use": func(*rapid.T) { m.use() },
			"cycle": func(rt *rapid.T) { // a whole one, which mostly ends ready
				m.use()
				read(m.verification(value.Draw(rt, "a"), "30", "30"))
				m.finish()
				for _, open := range m.openHolds() {
					m.try(func(w *desk.Work) (desk.Receipt, error) {
						return w.LiftHold(lead, reprocessing.Lift{Hold: open, By: "L-01", Reason: "r", Second: "H-01"})
					})
				}
			},
			"leak": func(*rapid.T) {
				m.step(reprocessing.LeakTest, 2*time.Minute, func(s *reprocessing.Step) { s.Result = reprocessing.Fail })
			},
			"clean":  func(*rapid.T) { m.clean() },
			"finish": func(*rapid.T) { m.finish() },
			"read":   func(rt *rapid.T) { read(m.read(point.Draw(rt, "point"), value.Draw(rt, "value"))) },
			"verification": func(rt *rapid.T) {
				read(m.verification(value.Draw(rt, "a"), value.Draw(rt, "b"), value.Draw(rt, "c")))
			},
			"lateUse": func(rt *rapid.T) {
				start := m.at().Add(-time.Duration(rapid.IntRange(1, 600).Draw(rt, "minutes ago")) * time.Minute)
				u := reprocessing.Use{Scope: "D-01", Start: start, End: min(start.Add(10*time.Minute), m.at())}
				if r, ok := m.try(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(nurse, u, "") }); ok {
					m.uses = append(m.uses, r.Record.ID)
				}
			},
			"hold": func(rt *rapid.T) {
				m.try(func(w *desk.Work) (desk.Receipt, error) {
					return w.PlaceHold(tech, reprocessing.Hold{
						Scope: "D-01", Kind: rapid.SampledFrom(reprocessing.HoldKinds).Draw(rt, "kind"), By: "T-01", Reason: "smells",
					})
				})
			},
			"lift": func(rt *rapid.T) {
				open := m.openHolds()
				if len(open) == 0 {
					return
				}
				l := reprocessing.Lift{
					Hold:   rapid.SampledFrom(open).Draw(rt, "hold"),
					By:     "L-01",
					Reason: "r",
					Second: rapid.SampledFrom([]string{"", "L-01", "L-02", "H-01"}).Draw(rt, "second"),
				}
				m.try(func(w *desk.Work) (desk.Receipt, error) { return w.LiftHold(lead, l) })
			},
			"void": func(rt *rapid.T) {
				all := append(append([]ledger.ID{}, m.readings...), m.uses...)
				for _, h := range m.openHolds() {
					all = append(all, ledger.ID(h))
				}
				if len(all) > 0 {
					id := rapid.SampledFrom(all).Draw(rt, "record")
					m.try(func(w *desk.Work) (desk.Receipt, error) {
						return w.Void(desk.Entry{By: "L-01", Corrects: id, Reason: "wrong"})
					})
				}
			},
			"correct": func(rt *rapid.T) {
				if len(m.readings) == 0 {
					return
				}
				id := rapid.SampledFrom(m.readings).Draw(rt, "record")
				v := m.rlu(value.Draw(rt, "value"))
				r, ok := m.try(func(w *desk.Work) (desk.Receipt, error) {
					line, err := w.Show(string(id))
					if err != nil {
						return desk.Receipt{}, err
					}
					old := body[reading.Reading](m, ledger.Record{Body: line.Body})
					return w.Read(
						desk.Entry{By: "T-01", Corrects: id, Reason: "typed wrong"},
						desk.Reading{Sample: ledger.ID(old.Sample), Meter: old.Meter, Value: v, At: old.With.At},
					)
				})
				if ok {
					read(r)
				}
			},
			"wait": func(rt *rapid.T) {
				m.pass(time.Duration(rapid.IntRange(1, 40*24*60).Draw(rt, "minutes")) * time.Minute)
			},
			"": func(rt *rapid.T) {
				m.pass(time.Second)
				a := m.release()
				if open := m.openHolds(); len(open) > 0 && a.State == reprocessing.Ready {
					rt.Fatalf("ready under the holds %v", open)
				} else if a.State == reprocessing.OnHold && len(open) == 0 {
					rt.Fatalf("held without a hold: %v", blocking(a))
				}
				if a.State == reprocessing.Ready {
					ready++
				}
				m.given = append(m.given, a)
			},
		})
		for _, a := range m.given {
			if diff := cmp.Diff(a, m.releaseAt(a.At, a.At)); diff != "" {
				rt.Fatalf("the answer that was given at %s (-), asked for again (+):\n%s", a.At, diff)
			}
			asked++
		}
		size := m.size()
		storetest.Verify(checked{t, rt}, m.desk.DB.Home(), size)
	})
	t.Logf("%d answers, %d of them ready", asked, ready)
	if ready == 0 {
		t.Error("the release check was never open: this shows nothing")
	}
}
