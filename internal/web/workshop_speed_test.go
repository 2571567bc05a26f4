package web

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"os"
	"strconv"
	"testing"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

// BenchmarkWorkshop measures the steps of the workshop and the comparison over everything that a fleet of
// 60 scopes has on record: RINSATE_BENCH_READINGS readings, 30,000 if that is not set, a third of them at
// the point that a level is derived for. A fresh page finds nothing derived before.
func BenchmarkWorkshop(b *testing.B) {
	readings := 30_000
	if text := os.Getenv("RINSATE_BENCH_READINGS"); text != "" {
		var err error
		if readings, err = strconv.Atoi(text); err != nil || readings < 1 {
			b.Fatalf("RINSATE_BENCH_READINGS is %q, want a whole number over 0", text)
		}
	}
	s := newSite(b, storetest.NewClock(), "https://test.example")
	begin := s.at()
	const scopes = 60
	tag := func(i int) string { return fmt.Sprintf("SC-%03d", i%scopes) }
	s.do("L-01", func(w *desk.Work, e desk.Entry) (r desk.Receipt, err error) {
		for i := range scopes {
			if r, err = w.SettingUp().
				RegisterInstrument(e, begin, scope.Instrument{Tag: tag(i), Model: duodenoscope.Name, Owner: scope.Own, InService: begin}); err != nil {
				return r, err
			}
		}
		return r, nil
	})
	rng := rand.New(rand.NewPCG(3, 3))
	values := map[int]int{}
	past := storetest.Past{At: begin, Every: time.Minute, RLU: func(n int) int {
		if _, ok := values[n]; !ok {
			clear(values)
			for i := range 8 { // a verification and what its next cleaning would read
				values[n+i] = int(math.Round(math.Exp(3.5 + 0.7*rng.NormFloat64())))
			}
		}
		return values[n]
	}}
	for i := 0; past.Readings < readings; {
		err := s.desk.DB.Write(context.Background(), func(tx *store.Tx) error {
			for range 500 {
				if err := past.Cycle(tx, tag(i)); err != nil {
					return err
				}
				i++
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
		s.clock.Move(past.At.Sub(s.at()))
	}
	ask := levelQuery + "&from=2020-01-01&method=typed&alert=70&action=150&step="
	for _, page := range []struct{ name, path string }{
		{"baseline", workshopPath + "?" + ask + baselineStep},
		{"candidates", workshopPath + "?" + ask + candidatesStep},
		{"cultures", workshopPath + "?" + ask + culturesStep},
		{"known", workshopPath + "?" + ask + knownStep},
		{"replay", workshopPath + "?" + ask + replayStep},
		{"adopt", workshopPath + "?" + ask + adoptStep},
		{"compare", comparePath + "?" + levelQuery + "&from=2020-01-01&second=typed&second-action=150"},
	} {
		for _, fresh := range []bool{true, false} {
			b.Run(fmt.Sprintf("%s/fresh=%t", page.name, fresh), func(b *testing.B) {
				for b.Loop() {
					if fresh {
						s.server.studies.Forget()
					}
					if a := s.ask(http.MethodGet, page.path, access.Lead); a.status != http.StatusOK {
						b.Fatalf("%s: status %d: %s", page.path, a.status, problemOf(a))
					} else {
						b.ReportMetric(float64(len(a.body))/1024, "kB")
					}
				}
			})
		}
	}
}
