package web

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/demo"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/storetest"
)

// demoToday is where the invented data end, a Thursday, and demoCycles how many cycles there are:
// the fewest hundreds with which limits are adopted and revised and the worn channel is found.
var demoToday = time.Date(2026, 9, 17, 12, 40, 0, 0, time.UTC)

const demoCycles = 2300

// invented is the invented hospital on disk, built once for all tests.
type invented struct {
	dir     string
	summary demo.Summary
}

var buildDemo = sync.OnceValues(func() (d invented, err error) {
	if d.dir, err = os.MkdirTemp("", "rinsate-demo-"); err != nil {
		return d, err
	}
	atEnd = append(atEnd, func() error { return os.RemoveAll(d.dir) })
	d.summary, err = demo.Build(context.Background(), d.dir+"/data", demo.Options{Today: demoToday, Cycles: demoCycles})
	return d, err
})

// storySite serves a copy of the invented hospital, which the test may change, and tells its stories.
func storySite(t *testing.T) (*site, []demo.Story) {
	t.Helper()
	d, err := buildDemo()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir() + "/data"
	if err := os.CopyFS(dir, os.DirFS(d.dir+"/data")); err != nil {
		t.Fatal(err)
	}
	clock := storetest.NewClock()
	clock.Move(demoToday.Sub(clock.Now()))
	db, err := sqlite.Folder(dir).Open(t.Context(), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	b := &site{TB: t, desk: desk.New(db), clock: clock, tokens: map[access.Role]string{}}
	return serveSite(t, "127.0.0.1", func(base string) *site {
		b.live(base)
		return b
	}), d.summary.Stories
}

func told(t *testing.T, all []demo.Story, name string) demo.Story {
	t.Helper()
	i := slices.IndexFunc(all, func(s demo.Story) bool { return s.Name == name })
	if i < 0 {
		t.Fatalf("nobody told the story %q", name)
	}
	return all[i]
}

// signalOf goes from the first page to the signal of a series.
func (p *page) signalOf(tag, point string) {
	p.Helper()
	p.open("/")
	p.follow("nav", "Numbers")
	p.follow("nav.section", "Signals")
	p.wait(`document.querySelector(".signals")`)
	p.follow(".signals th", fmt.Sprintf("of %s, %s", tag, point))
	p.waitText("h1", fmt.Sprintf("Signal: %s, %s", tag, point))
}

// TestStoriesByClicking finds what is planted in the invented hospital by clicking alone.
func TestStoriesByClicking(t *testing.T) {
	needsBrowser(t)
	b, stories := storySite(t)
	if err := b.server.LookAtSeries(t.Context()); err != nil {
		t.Fatal(err)
	}
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)

	t.Run(demo.WornChannel, func(*testing.T) {
		s := told(t, stories, demo.WornChannel)
		p.signalOf(s.Scope, s.Point.Words())
		p.waitText("main", "above the baseline") // in the words of whichever chart spoke first
		began := eval[string](p, `document.querySelector("dl.facts dt:nth-of-type(2) + dd a").getAttribute("href")`)
		p.follow("main", "The series")
		p.waitText("h1", s.Scope+", "+s.Point.Words())
		p.waitText("[aria-labelledby=signals]", "Most likely since the reading of")
		p.waitText(".headline .mark.action", "higher")
		p.click(fmt.Sprintf(".wide a[href=%q]", began)) // its point in the chart
		p.wait(`location.pathname.startsWith("/records/")`)
		r := b.recordAt(p)
		// How well the change is dated is for the statistics to say, with an interval; the page leads to a reading in it.
		since := b.raised(func(r desk.Raised) bool { return r.Series.Scope == s.Scope && r.Series.Point == s.Point }).Signal.Since
		if r.Type != record.Reading || !strings.Contains(string(r.Body), s.Scope) || !inside(r.At, since.After, since.Until) ||
			!inside(s.From, since.After, since.Until) && !inside(s.Full, since.After, since.Until) {
			t.Errorf("it began with %s of %s, by the signal from %s to %s; the channel wore out from %s to %s",
				r.Type, r.At, since.After, since.Until, s.From, s.Full)
		}
	})
	t.Run(demo.BadLot, func(*testing.T) {
		s := told(t, stories, demo.BadLot)
		signal := b.withLot(s)
		p.signalOf(signal.Series.Scope, signal.Series.Point.Words())
		p.follow("[aria-labelledby=with]", "lot "+s.Lot)
		if r := b.recordAt(p); r.Type != record.Lot || !strings.Contains(string(r.Body), s.Lot) {
			t.Errorf("what came with it leads to %s: %s", r.Type, r.Body)
		}
	})
	t.Run(demo.RepairCures, func(*testing.T) {
		s := told(t, stories, demo.RepairCures)
		p.open("/")
		p.follow("nav", "Numbers")
		p.fill("#f-scope", s.Scope)
		p.click(".filter button")
		p.wait(fmt.Sprintf("location.search.includes(%q) && document.readyState === 'complete'", "scope="+s.Scope))
		p.follow(".series", "instrument channel of "+s.Scope)
		p.waitText("[aria-labelledby=baseline]", "repair")
		p.follow("main", "The scope")
		p.waitText("[aria-labelledby=repairs]", "instrument channel replaced")
	})
	t.Run(demo.AtTheEnd, func(*testing.T) {
		s := told(t, stories, demo.AtTheEnd)
		// All of its points were pushed; which of them are beyond a limit depends on what they read otherwise.
		p.open("/")
		p.follow("nav", "Numbers")
		p.follow("nav.section", "Signals")
		p.wait(`document.querySelector(".signals")`)
		p.follow(".signals th", "of "+s.Scope+", ")
		p.waitText("h1", "Signal: "+s.Scope+", ")
		p.follow("main", "The scope")
		p.waitText("h1 ~ p .mark", "on hold")
		p.waitText("[aria-labelledby=signals]", "new")
	})
	t.Run(demo.AfterLeave, func(*testing.T) {
		s := told(t, stories, demo.AfterLeave)
		p.open("/")
		p.follow("nav", "Numbers")
		p.follow("nav.section", "Sources of variation")
		p.set("[name=people]", "shown")
		p.click(".filter button")
		p.waitText(".stand-out", s.Person)
	})
	for _, s := range stories {
		if s.Meter == "" {
			continue
		}
		t.Run(s.Name, func(*testing.T) {
			p.open("/")
			p.follow("nav", "Numbers")
			p.follow("nav.section", "Meters")
			p.follow("main", s.Meter)
			p.waitText("h1", s.Meter)
			p.set("#from", s.From.AddDays(-30, b.desk.DB.Zone()).In(b.desk.DB.Zone())[:10])
			p.click(".filter button")
			p.wait("location.search.includes('from=') && document.readyState === 'complete'")
			if s.Name == demo.DriftingMeter { // every check is within what the maker states, and not within what was usual
				p.waitText("[aria-labelledby=targets]", "would have been refused, the first at")
				return
			}
			p.waitText("[aria-labelledby=verdicts] table", "refused")
		})
	}
	// What shows in single records is found among the records by what one would ask for.
	for name, ask := range map[string][2]string{
		demo.Voided: {"state", "voided"}, demo.Corrected: {"state", "corrected"}, demo.Request: {"type", "request"}, demo.Culture: {"type", "hold"},
		demo.Escalation: {"type", "lift"}, demo.ExpiredSample: {"type", "sample"}, demo.LateEntry: {"late", "yes"}, demo.DelayedNight: {"type", "step"},
	} {
		t.Run(name, func(*testing.T) {
			s := told(t, stories, name)
			tag := s.Scope
			if tag == "" {
				tag = s.Scopes[0]
			}
			p.open("/")
			p.follow("nav", "Records")
			p.fill("#scope", tag)
			p.set("#from", s.From.In(b.desk.DB.Zone())[:10]+"T00:00")
			p.set("#to", s.To.AddDays(2, b.desk.DB.Zone()).In(b.desk.DB.Zone())[:10]+"T00:00")
			if field := "[name=" + ask[0] + "]"; ask[0] == "late" {
				p.click(field)
			} else {
				p.set(field, ask[1])
			}
			p.press("form", "Search")
			p.wait(fmt.Sprintf("location.search.includes(%q) && document.readyState === 'complete'", ask[0]+"="+ask[1]))
			if len(s.Records) == 0 { // it is told by what the records say
				p.waitText("main", "soak")
				return
			}
			found := eval[[]string](p, `[...document.querySelectorAll("main a[href*='/records/']")].map((a) => a.getAttribute("href").split("/").pop())`)
			if !slices.ContainsFunc(s.Records, func(id ledger.ID) bool { return slices.Contains(found, string(id)) }) {
				t.Errorf("%s: none of %v among %v:\n%s", s.What, s.Records, found, p.text("main"))
			}
		})
	}
}

// TestHoldsByClicking finds a hold of every kind in the invented hospital: among the records, by what it is for, and
// from there what ended it.
func TestHoldsByClicking(t *testing.T) {
	needsBrowser(t)
	b, stories := storySite(t)
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	for _, kind := range reprocessing.HoldKinds {
		t.Run(string(kind), func(t *testing.T) {
			i := slices.IndexFunc(stories, func(s demo.Story) bool { return s.Held == kind })
			if i < 0 {
				t.Fatal("nobody tells of it")
			}
			s := stories[i]
			p.open("/")
			p.follow("nav", "Records")
			p.fill("#scope", s.Scope)
			p.set("[name=type]", "hold")
			p.press("form", "Search")
			p.wait("location.search.includes('type=hold') && document.readyState === 'complete'")
			p.click(fmt.Sprintf("main a[href$='/records/%s']", s.Hold))
			p.wait("location.pathname.startsWith('/records/')")
			r := b.recordAt(p)
			if h, err := desk.BodyOf[reprocessing.Hold](desk.Edition{Line: r}); err != nil || h.Of() != kind {
				t.Errorf("the record found is a hold for %s", h.Of())
			}
			if s.Lift == "" {
				return
			}
			p.click(fmt.Sprintf("main a[href$='/records/%s']", s.Lift)) // what rests on it
			p.wait(fmt.Sprintf("location.pathname.endsWith(%q)", s.Lift))
			if l, err := desk.BodyOf[reprocessing.Lift](desk.Edition{Line: b.recordAt(p)}); err != nil || l.Hold != string(s.Hold) {
				t.Errorf("the lift found is that of %s", l.Hold)
			}
		})
	}
}

// recordAt returns the record whose page is open.
func (b *site) recordAt(p *page) (l desk.Line) {
	b.Helper()
	id, ok := strings.CutPrefix(p.location(), "/records/")
	if !ok {
		b.Fatalf("at %s, want a record", p.location())
	}
	b.look(func(v desk.View) (err error) {
		l, err = v.Show(id)
		return err
	})
	return l
}

// withLot returns a signal that came together with the lot of a story, while that lot was in use.
func (b *site) withLot(s demo.Story) desk.Raised {
	b.Helper()
	const after = 14 * 24 * time.Hour
	return b.raised(func(r desk.Raised) bool {
		return r.Signal.Direction == trend.Higher && slices.Contains(r.Signal.Coincides, "lot "+s.Lot) &&
			inside(r.Signalled, s.From, s.To.Add(after))
	})
}

// raised returns the first signal of a series that is as asked.
func (b *site) raised(asked func(desk.Raised) bool) desk.Raised {
	b.Helper()
	var all []desk.Raised
	b.look(func(v desk.View) (err error) {
		all, err = v.Numbers().Raised(signalsIn(b.server.outlook()))
		return err
	})
	i := slices.IndexFunc(all, func(r desk.Raised) bool { return r.Signal != nil && asked(r) })
	if i < 0 {
		b.Fatal("no signal is as asked")
	}
	return all[i]
}

func inside(at, from, to unit.Instant) bool { return at >= from && at <= to }
