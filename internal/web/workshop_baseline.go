package web

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// baselineView says which readings a level is derived from.
type baselineView struct {
	Doubts []doubtLine
	// Counted of Given readings of so many scopes count; all are zero before the readings could be had.
	Given, Counted, Scopes, Censored     int
	First, Last, Lowest, Median, Highest string
	Digest                               string
	// Cut says that there are more readings than are taken.
	Cut      string
	Picture  kit.Picture
	LeftOut  []leftOut
	Tops     []sampleLine
	Allows   []allowance
	Alert    string
	Action   string
	Exports  kit.Exports
	Warnings []string
	samples  []level.Sample
	out      map[string]string
	at       func(level.Sample) string
}

// doubtLine is a row for a reading or a scope that somebody leaves out.
type doubtLine struct{ ID, Why string }

// leftOut are the readings that do not count for one reason.
type leftOut struct {
	Why   string
	Count int
	Lines []sampleLine
	More  int
}

// sampleLine is a reading of the baseline. Doubt is where it can be left out.
type sampleLine struct {
	At, Scope, ScopeHref, Value, Href, Doubt string
	Cleaning                                 int
}

// allowance says whether a method has enough readings for both levels.
type allowance struct{ Method, Assumes, Alert, Action string }

// doubtLines are the rows of the form: those that are asked about, and one more that is empty or names
// the reading that a link leads here with.
func doubtLines(q asked, name string) (lines []doubtLine) {
	for i, id := range q["doubt"] {
		lines = append(lines, doubtLine{id, q["why"][i]})
	}
	return append(lines, doubtLine{ID: name})
}

// Bounds of what is listed of the readings.
const (
	mostTops    = 10 // the highest ones, which somebody may want to look into
	mostLeftOut = 25 // of each reason
)

func (s levelPages) fillBaseline(x *kit.Exchange, page *workshopPage, d desk.Studied) {
	b, sum, zone := page.Baseline, d.Baseline, s.Desk.DB.Zone()
	b.Given, b.Counted, b.Scopes, b.Censored, b.Digest = sum.Given, sum.Counted, sum.Scopes, sum.Censored, sum.Digest
	b.First, b.Last = words.Full(sum.First, zone), words.Full(sum.Last, zone)
	b.Lowest, b.Median, b.Highest = strconv.Itoa(sum.Lowest), sum.Median.String(), strconv.Itoa(sum.Highest)
	b.Alert, b.Action = shareText(d.Plan.Alert.Float()), shareText(d.Plan.Action.Float())
	b.Warnings, b.Exports = sentences(d.Warnings), page.exports(x, baselineStep)
	if from, _, err := s.days(page.q); err == nil && d.From > from {
		b.Cut = fmt.Sprintf("There are more readings than are taken at once: the latest %d count, from %s on.", sum.Given, words.Full(d.From, zone))
	}
	b.Picture = kit.Pictured("baseline", figure.Baseline(d.Samples, d.Derivation, reading.Level{}))
	b.samples, b.out = d.Samples, map[string]string{}
	for _, e := range d.Excluded {
		b.out[e.ID] = e.Why
	}
	b.at = func(m level.Sample) string { return words.Full(m.At, zone) }
	line := func(m level.Sample) sampleLine {
		return sampleLine{
			At: b.at(m), Scope: m.Scope, ScopeHref: s.ScopeHref(m.Scope), Value: strconv.Itoa(m.Value), Href: s.RecordHref(m.ID), Cleaning: m.Cleaning,
			Doubt: page.Path + "?" + page.q.with("step", baselineStep, "name", m.ID) + "#doubts",
		}
	}
	b.fillLeftOut(d, line)
	counted := slices.DeleteFunc(slices.Clone(d.Samples), func(m level.Sample) bool { return b.out[m.ID] != "" })
	slices.SortStableFunc(counted, func(x, y level.Sample) int { return cmp.Compare(y.Value, x.Value) })
	for _, m := range counted[:min(mostTops, len(counted))] {
		b.Tops = append(b.Tops, line(m))
	}
	b.allow(d)
}

// fillLeftOut groups the readings that do not count by the reason.
func (b *baselineView) fillLeftOut(d desk.Studied, line func(level.Sample) sampleLine) {
	groups := map[string]*leftOut{}
	for _, m := range d.Samples {
		why, ok := b.out[m.ID]
		if !ok {
			continue
		}
		reason, more, _ := strings.Cut(why, ":")
		if strings.HasPrefix(reason, "re-test ") {
			reason += ":" + more // what happened before, the same for all of it
		}
		g := groups[reason]
		if g == nil {
			g = &leftOut{Why: reason}
			groups[reason] = g
		}
		if g.Count++; g.Count <= mostLeftOut {
			g.Lines = append(g.Lines, line(m))
		} else {
			g.More++
		}
	}
	for _, reason := range slices.Sorted(maps.Keys(groups)) {
		b.LeftOut = append(b.LeftOut, *groups[reason])
	}
}

// allow says what the number of readings allows.
func (b *baselineView) allow(d desk.Studied) {
	for _, m := range level.Methods {
		have := d.Baseline.Counted
		switch m {
		case level.LogNormal:
			have -= d.Baseline.Censored
		case level.FreeEffective:
			have = d.Clustering.Effective
		case level.Free, level.ScopeBootstrap:
		}
		a := allowance{Method: string(m), Assumes: m.Assumes()}
		for _, p := range []struct {
			to *string
			level.Percentile
		}{{&a.Alert, d.Alert}, {&a.Action, d.Action}} {
			need, more, err := level.Needed(m, p.Of, d.Plan.Confidence, have)
			switch c := p.By(m); {
			case err != nil:
				*p.to = err.Error()
			case more > 0:
				*p.to = fmt.Sprintf("%d more: needs %d, has %d", more, need, have)
			case c.Refused != "":
				*p.to = c.Refused
			default:
				*p.to = fmt.Sprintf("enough: needs %d, has %d", need, have)
			}
		}
		b.Allows = append(b.Allows, a)
	}
}

// listing is the readings as a file.
func (b *baselineView) listing() kit.Listing {
	l := kit.Listing{Name: "baseline", Columns: []table.SheetColumn{
		{
			Name: "record",
		},
		{Name: "scope"},
		{Name: "kind"},
		{Name: "at"},
		{Name: "cleaning", Number: true},
		{Name: "RLU", Number: true},
		{Name: "counts"},
		{Name: "why not"},
	}}
	for _, m := range b.samples {
		why := b.out[m.ID]
		l.Rows = append(l.Rows, []string{m.ID, m.Scope, string(m.Kind), b.at(m), strconv.Itoa(m.Cleaning), strconv.Itoa(m.Value), sayYes(why == ""), why})
	}
	return l
}

// shareText writes a share as a percentage.
func shareText(p float64) string {
	return strconv.FormatFloat(float64(int(p*1e6+0.5))/1e4, 'f', -1, 64) + " %"
}
