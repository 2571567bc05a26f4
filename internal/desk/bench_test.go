package desk_test

import (
	"context"
	crand "crypto/rand"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/ledger"
	"rinsate/internal/reading"
	"rinsate/internal/sampling"
	"rinsate/internal/scope"
	"rinsate/internal/store"
	"rinsate/internal/turnaround"
	"rinsate/internal/unit"
)

// BenchmarkGate measures how long a person waits for the gate while 8 others write a use and its nine
// steps, then the next use, each write 5 ms after the last one is durable. The number of readings on record is
// RINSATE_BENCH_READINGS, 100,000 if that is not set; they belong to 100 scopes in turnarounds of
// three samples, one in 50 of which is over the action level at first.
func BenchmarkGate(b *testing.B) {
	readings := 100_000
	if text := os.Getenv("RINSATE_BENCH_READINGS"); text != "" {
		var err error
		if readings, err = strconv.Atoi(text); err != nil || readings < 1 {
			b.Fatalf("RINSATE_BENCH_READINGS is %q, want a whole number over 0", text)
		}
	}
	const scopes = 100
	bench := start(b)
	tags := make([]string, scopes)
	for i := range tags {
		tags[i] = fmt.Sprintf("SC-%03d", i)
	}
	begin := bench.at()
	bench.do(func(w *desk.Work) error {
		for _, tag := range tags {
			if _, err := w.RegisterInstrument(lead, begin, scope.Instrument{Tag: tag, Model: "D1", Owner: scope.Own, InService: begin}); err != nil {
				return err
			}
		}
		return nil
	})
	f := fixture{db: bench.desk.DB, at: begin}
	for n := 0; n < readings; {
		err := bench.desk.DB.Write(context.Background(), func(tx *store.Tx) error {
			for range 200 {
				if err := f.turnaround(tx, tags[f.n/3%scopes]); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
		n = f.n
		bench.now.Move(f.at.Sub(bench.at()))
	}

	var stop atomic.Bool
	var wg sync.WaitGroup
	var written atomic.Int64
	for w := range 8 {
		wg.Go(func() {
			for i := 0; !stop.Load(); i++ {
				tag, at := tags[(w+8*(i/10))%scopes], bench.now.Move(time.Millisecond)
				err := bench.desk.Do(context.Background(), func(w *desk.Work) (err error) {
					if i%10 == 0 {
						_, err = w.RecordUse(nurse, turnaround.Use{Scope: tag, Start: at, End: at}, "")
					} else {
						_, err = w.RecordStep(tech, turnaround.Step{Scope: tag, Kind: turnaround.Drying, Start: at, End: at, By: "T-01"})
					}
					return err
				})
				if err != nil {
					b.Error(err)
					return
				}
				written.Add(1)
				time.Sleep(5 * time.Millisecond)
			}
		})
	}
	random := rand.New(rand.NewPCG(1, 1))
	var waits []time.Duration
	for b.Loop() {
		tag := tags[random.IntN(scopes)]
		start := time.Now()
		err := bench.desk.View(context.Background(), func(v desk.View) error {
			_, err := v.Gate(tag, bench.at(), store.Forever)
			return err
		})
		waits = append(waits, time.Since(start))
		if err != nil {
			b.Fatal(err)
		}
	}
	stop.Store(true)
	wg.Wait()
	slices.Sort(waits)
	ms := func(q float64) float64 { return float64(waits[int(q*float64(len(waits)-1))].Microseconds()) / 1000 }
	b.ReportMetric(ms(0.5), "p50-ms")
	b.ReportMetric(ms(0.99), "p99-ms")
	b.ReportMetric(float64(written.Load())/b.Elapsed().Seconds(), "writes/s")
	b.ReportMetric(float64(f.n), "readings")
}

// fixture writes turnarounds as the desk would, without asking the rules about each.
type fixture struct {
	db *store.DB
	at unit.Instant
	n  int // readings
}

func (f *fixture) put(tx *store.Tx, typ string, at unit.Instant, body any) (ledger.ID, error) {
	id := ledger.NewID(at, crand.Reader)
	_, _, err := tx.Append(store.Draft{Type: typ, ID: id, At: at, By: "T-01", Body: body})
	return id, err
}

// turnaround writes one trip of a scope: a use, the steps, and a round of three samples.
func (f *fixture) turnaround(tx *store.Tx, tag string) error {
	at := f.at
	f.at = f.at.Add(time.Minute) // many scopes at a time
	if _, err := f.put(tx, store.TypeUse, at, turnaround.Use{Scope: tag, Start: at, End: at.Add(20 * time.Minute)}); err != nil {
		return err
	}
	start := at.Add(20 * time.Minute)
	for _, kind := range []turnaround.StepKind{turnaround.PreClean, turnaround.LeakTest, turnaround.ManualCleaning, turnaround.Inspection, turnaround.Disinfection, turnaround.Drying} {
		if _, err := f.put(tx, store.TypeStep, start, turnaround.Step{Scope: tag, Kind: kind, Start: start, End: start.Add(10 * time.Minute), Result: turnaround.Pass}); err != nil {
			return err
		}
	}
	failing := f.n/3%50 == 0
	attempts := []reading.Outcome{reading.Below}
	if failing {
		attempts = []reading.Outcome{reading.Action, reading.Below}
	}
	var hold ledger.ID
	for attempt, outcome := range attempts {
		taken := start.Add(time.Duration(attempt+1) * time.Minute)
		round, err := f.round(tx, tag, start, taken, attempt+1, outcome)
		if err != nil {
			return err
		}
		switch {
		case outcome == reading.Action:
			if hold, err = f.put(tx, store.TypeHold, taken, turnaround.Hold{Scope: tag, At: taken, By: "T-01", Reason: "over", Cause: string(round)}); err != nil {
				return err
			}
		case hold != "":
			if _, err := f.put(tx, store.TypeLift, taken, turnaround.Lift{Hold: string(hold), Scope: tag, At: taken, By: "T-01", Reason: "passed", Round: string(round)}); err != nil {
				return err
			}
		}
	}
	return nil
}

func (f *fixture) round(tx *store.Tx, tag string, start, taken unit.Instant, attempt int, outcome reading.Outcome) (ledger.ID, error) {
	for _, point := range points {
		s := sampling.Sample{Scope: tag, Point: point, Attempt: attempt, Kit: "K", Lot: "7", By: "T-01", Collected: taken, Activated: taken, Shaken: 6 * unit.Second}
		sample, err := f.put(tx, store.TypeSample, taken, s)
		if err != nil {
			return "", err
		}
		v := reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: 30, Typed: "30"}
		x := reading.Reading{
			Sample: string(sample), Scope: tag, Attempt: attempt, Meter: "M-1", Lot: "7", By: "T-01", Value: v, Rules: "fixture",
			With:      reading.Circumstances{System: "A", Kit: "K", Point: point, Kind: scope.Duodenoscope, At: taken},
			Judgement: reading.Judgement{Outcome: outcome, Judged: v, Why: "30 RLU is below the alert level 100"},
		}
		if _, err := f.put(tx, store.TypeReading, taken, x); err != nil {
			return "", err
		}
		f.n++
	}
	d := turnaround.Decision{Scope: tag, Turnaround: start, First: taken, Last: taken, Rules: "fixture", Round: reading.Round{Attempt: attempt, Outcome: outcome, Complete: true, Why: "fixture"}}
	return f.put(tx, store.TypeRound, taken, d)
}
