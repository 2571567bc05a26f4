package demo_test

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/demo"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
)

// A false NO: everything of a cycle was in truth done right, nothing that is planted speaks against the scope, and the
// check says NO all the same when somebody looks: ten minutes after the scope was stored, or when it was next
// needed, each time by what was on record then. A cycle counts once, however often it meets one.
//
// mostFalse is in how many cycles there may be one.
const mostFalse = 50

// asksAfter is how long after the storing somebody looks for the first time: whoever stored has recorded that by then.
const asksAfter = 10 * time.Minute

// cause is why a false NO was said, with the way out of it.
type cause struct {
	name string
	// is says whether a reason is of this cause.
	is func(a reprocessing.Reason) bool
	// way is what ends it, by whom, and about how many minutes that takes.
	way, who string
	minutes  int
}

// causes are all that the invented hospital meets. One that is not here fails the test: then somebody has to say how
// people get out of it.
var causes = []cause{
	{
		"what was done is not on record yet", func(r reprocessing.Reason) bool {
			return !r.Since.Known() && (strings.HasSuffix(r.Text, "is not on record") || strings.HasPrefix(r.Text, "outside a cabinet since") ||
				strings.Contains(r.Text, " has not begun and should have by "))
		},
		"record it", "whoever did it", 2,
	},
	{
		"a use began before everything was on record", func(r reprocessing.Reason) bool {
			return r.Since.Known() && strings.HasPrefix(r.Text, "on hold (record)")
		},
		"record what is missing, then lift the hold", "whoever did it, then a lead", 5,
	},
}

// fairness is how often the check was wrong to say NO.
type fairness struct {
	cycles, wrong, planted, no int
	by                         map[string]int
	// shortest is how long the shortest cycle took from the end of the use to the storing.
	shortest time.Duration
}

func (f fairness) String() string {
	var text strings.Builder
	fmt.Fprintf(&text, "%d cycles, %d not done right, %d with a fault that is planted; false NO in %d", f.cycles, f.wrong, f.planted, f.no)
	for _, name := range slices.Sorted(maps.Keys(f.by)) {
		fmt.Fprintf(&text, "; %s: %d", name, f.by[name])
	}
	return text.String()
}

// fair counts the false NOs of a built hospital.
func (b built) fair(tb testing.TB) fairness {
	tb.Helper()
	f := fairness{by: map[string]int{}, shortest: 24 * time.Hour}
	uses := map[string][]reprocessing.Use{}
	b.view(tb, func(v desk.View) error {
		for _, trip := range b.summary.Trips {
			if _, ok := uses[trip.Scope]; ok {
				continue
			}
			lines, err := v.Chronicle(trip.Scope, 0, store.Forever, 1<<30)
			if err != nil {
				return err
			}
			uses[trip.Scope] = []reprocessing.Use{}
			for _, l := range slices.Backward(lines) {
				if l.Type == record.Use && !l.Replaced.Known() {
					uses[trip.Scope] = append(uses[trip.Scope], body[reprocessing.Use](tb, l))
				}
			}
		}
		return nil
	})
	for i, trip := range b.summary.Trips {
		asks := []unit.Instant{trip.Stored.Add(asksAfter)}
		var ended unit.Instant
		for _, u := range uses[trip.Scope] {
			if u.Start <= trip.Stored {
				ended = u.End
			}
			if u.Start > trip.Stored {
				asks = append(asks, u.Start.Add(-time.Second))
				break
			}
		}
		if ended.Known() {
			f.shortest = min(f.shortest, trip.Stored.Sub(ended))
		}
		for _, later := range b.summary.Trips[i+1:] {
			if later.Scope == trip.Scope { // what comes after it was asked of the next
				asks = slices.DeleteFunc(asks, func(at unit.Instant) bool { return at > later.Stored })
				break
			}
		}
		b.ask(tb, &f, trip, asks)
	}
	return f
}

// ask counts what the check says about a cycle.
func (b built) ask(tb testing.TB, f *fairness, trip demo.Trip, asks []unit.Instant) {
	tb.Helper()
	f.cycles++
	if trip.Wrong != "" {
		f.wrong++
		return
	}
	met := map[string]bool{}
	for _, at := range asks {
		if at >= unit.At(today) {
			continue
		}
		var a reprocessing.Answer
		b.view(tb, func(v desk.View) (err error) {
			a, err = v.Release(trip.Scope, at, at)
			return err
		})
		if here(a) == reprocessing.Ready { // that paper decides on the first day is no NO
			continue
		}
		if b.isPlanted(a, at) {
			f.planted++
			return
		}
		for _, r := range a.Reasons {
			if !r.Blocks {
				continue
			}
			i := slices.IndexFunc(causes, func(c cause) bool { return c.is(r) })
			if i < 0 {
				tb.Errorf("%s, stored at %s, was %s at %s without a known way out: %s", trip.Scope, trip.Stored.In(b.desk.DB.Zone()), a.State,
					at.In(b.desk.DB.Zone()), r.Whole())
				met["unknown"] = true
				continue
			}
			met[causes[i].name] = true
		}
		b.wayOut(tb, trip, at)
	}
	if len(met) > 0 {
		f.no++
	}
	for name := range met {
		f.by[name]++
	}
}

// isPlanted says whether a fault that is planted was there: a hold of a story that says something true against the
// scope, or a meter that had failed.
func (b built) isPlanted(a reprocessing.Answer, at unit.Instant) bool {
	for _, s := range b.summary.Stories {
		about := s.Scope == a.Scope || slices.Contains(s.Scopes, a.Scope)
		switch {
		case about && s.Hold != "" && s.Held != reprocessing.RecordHold &&
			slices.ContainsFunc(a.Reasons, func(r reprocessing.Reason) bool { return r.Record == string(s.Hold) }):
			return true
		case about && s.Name == demo.FailedCheck && at >= s.From && at < s.To.Add(6*time.Hour):
			return true
		}
	}
	return false
}

// wayOut makes sure that nobody had to reprocess a scope for a false NO: all that was missing came to be on record, by
// which the scope was ready at that very instant.
func (b built) wayOut(tb testing.TB, trip demo.Trip, at unit.Instant) {
	tb.Helper()
	b.view(tb, func(v desk.View) error {
		h, err := v.Around(trip.Scope, at, at, store.Forever)
		if err != nil {
			return err
		}
		rules, err := v.Registry().Rules(at, store.Forever)
		if err != nil {
			return err
		}
		h.Holds = slices.DeleteFunc(h.Holds, func(x reprocessing.Hold) bool { return x.Of() == reprocessing.RecordHold })
		if a := reprocessing.Release(h, rules.Reprocessing, at, v.Zone()); a.State != reprocessing.Ready {
			tb.Errorf("%s at %s: by what is on record now it was %s: %+v", trip.Scope, at.In(v.Zone()), a.State, a.Reasons)
		}
		return nil
	})
}

// A careful unit meets few false NOs, each with a way out that takes less than a cycle.
func fewFalse(tb testing.TB, b built) {
	tb.Helper()
	f := b.fair(tb)
	tb.Log(f)
	if f.cycles < b.summary.Cycles*9/10 || f.wrong == 0 {
		tb.Errorf("of %d uses only %d cycles were asked about, %d of them not done right", b.summary.Cycles, f.cycles, f.wrong)
	}
	if f.no*mostFalse > f.cycles {
		tb.Errorf("%d false NOs in %d cycles; at most 1 in %d", f.no, f.cycles, mostFalse)
	}
	if f.no == 0 { // the hospital records something late by design
		tb.Error("the story of the late entry was not noticed: nothing is measured")
	}
	for _, c := range causes {
		if f.by[c.name] == 0 {
			tb.Errorf("nobody met: %s", c.name)
		}
		if out := time.Duration(c.minutes) * time.Minute; out >= f.shortest {
			tb.Errorf("%s: %s takes %s, and the shortest cycle %s", c.name, c.way, out, f.shortest)
		}
	}
}

// BenchmarkFalseNo counts the false NOs of the whole year; docs/numbers.md says what it found.
func BenchmarkFalseNo(b *testing.B) {
	var f fairness
	for b.Loop() {
		year := built{dir: b.TempDir()}
		var err error
		if year.summary, err = demo.Build(context.Background(), year.dir, demo.Options{Today: today}); err != nil {
			b.Fatal(err)
		}
		db, err := sqlite.Folder(year.dir).Open(context.Background(), func() time.Time { return today })
		if err != nil {
			b.Fatal(err)
		}
		year.desk = desk.New(db)
		f = year.fair(b)
		if err := db.Close(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(f.cycles), "cycles")
	b.ReportMetric(float64(f.no), "false-no")
	b.ReportMetric(1000*float64(f.no)/float64(f.cycles), "‰")
	b.Log(f)
	if f.no*mostFalse > f.cycles {
		b.Errorf("%d false NOs in %d cycles; at most 1 in %d", f.no, f.cycles, mostFalse)
	}
}
