package desk_test

import (
	"context"
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
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

// BenchmarkRelease measures how long a person waits for the release check while 8 others write a use and its nine
// steps, then the next use, each write 5 ms after the last one is durable. The number of readings on record is
// RINSATE_BENCH_READINGS, 100,000 if that is not set; they belong to 100 scopes in cycles of
// three samples, one in 50 of which is over the action level at first.
func BenchmarkRelease(b *testing.B) {
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
			if _, err := w.SettingUp().
				RegisterInstrument(lead, begin, scope.Instrument{Tag: tag, Model: "D1", Owner: scope.Own, InService: begin}); err != nil {
				return err
			}
		}
		return nil
	})
	f := storetest.Past{At: begin, Every: time.Minute} // many scopes at a time
	for f.Readings < readings {
		err := bench.desk.DB.Write(context.Background(), func(tx *store.Tx) error {
			for range 200 {
				if err := f.Cycle(tx, tags[f.Readings/3%scopes]); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
		bench.now.Move(f.At.Sub(bench.at()))
	}

	var stop atomic.Bool
	var wg sync.WaitGroup
	var written atomic.Int64
	for w := range 8 {
		wg.Go(func() {
			for i := 0; !stop.Load(); i++ {
				tag, at := tags[(w+8*(i/10))%scopes], bench.now.Move(time.Millisecond)
				err := bench.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) (err error) {
					if i%10 == 0 {
						_, err = w.RecordUse(nurse, reprocessing.Use{Scope: tag, Start: at, End: at}, "")
					} else {
						_, err = w.RecordStep(tech, reprocessing.Step{Scope: tag, Kind: reprocessing.Drying, Start: at, End: at, By: "T-01"})
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
			_, err := v.Release(tag, bench.at(), store.Forever)
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
	b.ReportMetric(float64(f.Readings), "readings")
}
