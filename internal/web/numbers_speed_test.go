package web

import (
	"fmt"
	"net/http"
	"slices"
	"testing"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

// manyReadings is a series of a scope that is sampled ten times a day for five years.
const manyReadings = 20_000

// BenchmarkSeries measures how long a series of 20,000 readings takes, all of them drawn: for the server,
// and for a browser from asking until the picture is laid out and painted. The goal is under 300 ms for
// each.
func BenchmarkSeries(b *testing.B) {
	s := serve(b, storetest.NewClock())
	s.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.SettingUp().RegisterInstrument(e, s.at(), scope.Instrument{Tag: numberedScope, Model: duodenoscope.Name, Owner: scope.Own, InService: s.at()})
	})
	const apart = 13 * time.Hour // what comes sooner without a use between is a repeat
	for i := 0; i < manyReadings; {
		err := s.desk.DB.Write(b.Context(), func(tx *store.Tx) error {
			for range 1000 {
				at := s.at().Add(-time.Duration(manyReadings-i) * apart)
				if err := s.measured(tx, scope.OuterDistalEnd, at, i, i%1000 > 950); err != nil {
					return err
				}
				i++
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	if err := s.server.LookAtSeries(b.Context()); err != nil {
		b.Fatal(err)
	}
	p95 := func(b *testing.B, times []float64) {
		b.Helper()
		slices.Sort(times)
		b.ReportMetric(times[int(0.95*float64(len(times)-1))], "p95-ms")
	}
	for _, view := range []string{"single", "weighted", "sums"} {
		path := seriesPath + "?last=all&view=" + view
		b.Run("server/"+view, func(b *testing.B) {
			var times []float64
			for b.Loop() {
				begun := time.Now()
				a := s.ask(http.MethodGet, path, access.Lead)
				times = append(times, float64(time.Since(begun).Microseconds())/1000)
				if a.status != http.StatusOK {
					b.Fatal(a.status)
				}
				b.ReportMetric(float64(len(a.body))/1e6, "MB")
			}
			p95(b, times)
		})
	}
	b.Run("browser", func(b *testing.B) {
		p := openPage(b, s.server.Base.String())
		signIn(s, p, access.Lead)
		var times []float64
		const drawn = `performance.getEntriesByType("navigation")[0].loadEventEnd - performance.getEntriesByType("navigation")[0].responseStart`
		for i := 0; b.Loop(); i++ {
			p.open(fmt.Sprintf("%s?last=all&to=2026-03-%02d", seriesPath, 2+i%20))
			p.wait(drawn + " > 0")
			times = append(times, eval[float64](p, drawn))
		}
		p95(b, times)
	})
}
