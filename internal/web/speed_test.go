package web

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

// BenchmarkPages measures how long the server takes for a page of a fleet of 60 scopes that has been at
// work for years: a cycle every ten minutes, and RINSATE_BENCH_READINGS readings on record, 30,000 if
// that is not set. The last records are days old, as on a Monday.
func BenchmarkPages(b *testing.B) {
	readings := 30_000
	if text := os.Getenv("RINSATE_BENCH_READINGS"); text != "" {
		var err error
		if readings, err = strconv.Atoi(text); err != nil || readings < 1 {
			b.Fatalf("RINSATE_BENCH_READINGS is %q, want a whole number over 0", text)
		}
	}
	const scopes = 60
	s := newSite(b, storetest.NewClock(), "https://test.example")
	tags := make([]string, scopes)
	begin := s.at()
	s.do("L-01", func(w *desk.Work, e desk.Entry) (r desk.Receipt, err error) {
		for i := range tags {
			tags[i] = fmt.Sprintf("SC-%03d", i)
			if r, err = w.SettingUp().
				RegisterInstrument(e, begin, scope.Instrument{Tag: tags[i], Model: duodenoscope.Name, Owner: scope.Own, InService: begin}); err != nil {
				return r, err
			}
		}
		return r, nil
	})
	past := storetest.Past{At: begin, Every: 10 * time.Minute}
	for past.Readings < readings {
		err := s.desk.DB.Write(context.Background(), func(tx *store.Tx) error {
			for range 200 {
				if err := past.Cycle(tx, tags[past.Readings/3%scopes]); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
		s.clock.Move(past.At.Sub(s.at()))
	}
	begun := time.Now()
	if err := s.server.LookAtSeries(context.Background()); err != nil {
		b.Fatal(err)
	}
	b.Logf("looking at the series of %d readings took %s", past.Readings, time.Since(begun))
	pages := []string{
		"/today",
		"/today/due",
		"/records/ledger",
		"/bench",
		"/bench/state",
		"/bench/jobs/SC-007",
		"/ready/SC-007",
		"/scopes",
		"/scopes/SC-007",
		"/trends",
		"/trends/SC-007/outer-distal-end",
		"/failures",
		"/signals",
		"/levels",
		workshopPath,
		comparePath,
		"/meters",
		"/meters/M-1",
		"/meters/compare",
		"/meters/compare?what=meters&kit=K&old=M-1&new=M-2",
		"/variation",
		"/variation?of=failures",
		"/comparison?by=scope",
		"/comparison?by=person",
		"/set-up",
		"/set-up/fleet",
		"/set-up/models/D1",
		"/set-up/kits",
		"/set-up/meters",
		"/set-up/rules",
		"/set-up/rules/edit",
		"/import",
		"/import/readings",
		"/help?q=signal",
		"/help/back-up",
		"/help/glossary",
	}
	for _, record := range []string{s.lastOf("SC-007", record.Reading), s.lastOf("SC-007", record.Verification), s.lastOf("SC-007", record.Use)} {
		pages = append(pages, "/records/"+record)
	}
	// Common values, rare ones, ones that never meet, the oldest and the whole time.
	for _, query := range []string{
		"", "before=3000", "lot=7&type=reading", "scope=SC-007&meter=M-1&person=T-01&kit=K&outcome=ok", "type=lift&scope=SC-007", "outcome=action&type=use",
		"state=voided", "late=yes&scope=SC-059",
		"from=2026-03-02T08:00&to=2026-03-02T11:00", "from=2026-03-01&to=2070-01-01&outcome=action&scope=SC-007", "scope=SC-007&lot=8",
		"from=2026-03-02&to=2026-03-04&scope=SC-031&type=sample", "id=019c&type=hold",
	} {
		pages = append(pages, "/records?"+query)
	}
	for _, page := range pages {
		b.Run(page, func(b *testing.B) {
			var waits []time.Duration
			for b.Loop() {
				start := time.Now()
				a := s.ask(http.MethodGet, page, access.Lead)
				waits = append(waits, time.Since(start))
				if a.status != http.StatusOK && !strings.Contains(a.body, "records begin with") {
					b.Fatal(a.status)
				}
			}
			slices.Sort(waits)
			b.ReportMetric(float64(waits[int(0.95*float64(len(waits)-1))].Microseconds())/1000, "p95-ms")
		})
	}
}

// BenchmarkPaint measures how long a browser takes from asking for a page to the first thing on it: of the
// release check as of any page that is open all day, and of the bench with an empty cache.
func BenchmarkPaint(b *testing.B) {
	const paint = `performance.getEntriesByType("paint").find((e) => e.name === "first-contentful-paint")?.startTime ?? 0`
	for _, c := range []struct {
		name, path string
		cold       bool
	}{{"ready", "/ready/" + readyScope, false}, {"bench-cold", "/bench", true}} {
		b.Run(c.name, func(b *testing.B) {
			s := serve(b, storetest.NewClock())
			p := openPage(b, s.server.Base.String())
			signIn(s, p, access.Technician)
			var times []float64
			for b.Loop() {
				if c.cold {
					p = openPage(b, s.server.Base.String())
					signIn(s, p, access.Technician)
				}
				p.open(c.path)
				p.wait(paint)
				times = append(times, eval[float64](p, paint))
			}
			slices.Sort(times)
			b.ReportMetric(times[int(0.95*float64(len(times)-1))], "p95-ms")
		})
	}
}
