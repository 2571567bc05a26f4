package desk

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/history"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

const (
	// provisional is how many readings a baseline takes that nobody has adopted.
	provisional = 30
	// monthly is over how long the number of readings in a month is counted.
	monthly = 90 * 24 * time.Hour
	month   = 30.4375 * 24 * float64(time.Hour)
	// latest is how many readings the test for a rise looks at.
	latest = 10
)

// Watching is how the series of a facility are watched.
type Watching struct {
	// FalseSignals are expected in a month over all series together.
	FalseSignals unit.Number
	Charts       trend.Charts
	// Lambda, K and HeadStart are as in trend.Promise; zero stands for the usual ones.
	Lambda, K, HeadStart unit.Number
	// Trial holds readings against these limits also where others are adopted, to see what they would
	// find; the adopted baselines stay.
	Trial bool
}

// UsualWatching is one false signal a month over all series, with charts of single readings, of
// weighted means and of sums.
func UsualWatching() Watching {
	return Watching{FalseSignals: 1, Charts: trend.Charts{Individuals: true, EWMA: true, CUSUM: true}}
}

// Series is a series of readings with all that the charts make of it.
type Series struct {
	Key  trend.Key  `json:"key"`
	Kind scope.Kind `json:"kind"`
	// Points are the first readings of each cycle after the first cleaning, in order.
	Points []trend.Point `json:"-"`
	// Breaks are what a baseline does not outlast.
	Breaks []trend.Break `json:"breaks,omitempty"`
	// Chart is the adopted chart; empty when there is none that holds.
	Chart ledger.ID `json:"chart,omitempty"`
	// Provisional says that nobody has adopted the baseline and the limits.
	Provisional bool            `json:"provisional,omitempty"`
	Baseline    *trend.Baseline `json:"baseline,omitempty"`
	Design      *trend.Design   `json:"design,omitempty"`
	// From is the index of the first point that is held against the baseline.
	From    int           `json:"-"`
	Watched trend.Watched `json:"-"`
	// Missing is how many readings a baseline still wants, Why says more about it.
	Missing int    `json:"missing,omitempty"`
	Why     string `json:"why,omitempty"`

	facts []circumstance
}

// circumstance is what a reading was made with.
type circumstance struct{ lot, meter, cleaner string }

// After returns the points that are held against the baseline.
func (s Series) After() []trend.Point { return s.Points[s.From:] }

// Monitor returns the charts of the series, nil when it has no baseline or one that no chart fits.
func (s Series) Monitor() *trend.Monitor {
	if s.Baseline == nil || s.Design == nil {
		return nil
	}
	m, err := trend.NewMonitor(*s.Baseline, *s.Design)
	if err != nil {
		return nil
	}
	return m
}

// allSeries collects readings into series.
type allSeries struct {
	order []trend.Key
	byKey map[trend.Key]*Series
}

func newSeries() *allSeries {
	return &allSeries{byKey: map[trend.Key]*Series{}}
}

// add takes a reading in, unless it is a repeat, a retest, or does not count.
func (c *allSeries) add(m Measured) {
	if !m.First {
		return
	}
	key := trend.Key{Scope: m.Scope, Point: m.Point, System: m.System, Kit: m.Kit}
	s := c.byKey[key]
	if s == nil {
		s = &Series{Key: key, Kind: m.Kind}
		c.byKey[key] = s
		c.order = append(c.order, key)
	}
	s.Points = append(s.Points, trend.Point{ID: m.ID, At: m.At, Value: m.Value})
	s.facts = append(s.facts, circumstance{m.Lot, m.Meter, m.Cleaner})
}

// AllSeries returns every series of the fleet up to an instant, with what the charts make of it, in the
// order of scope, point, meter system and kit.
func (v NumbersView) AllSeries(at unit.Instant, w Watching) ([]Series, error) {
	all, err := v.measuredAfter(0, at+1, reprocessing.ManualCleaning)
	if err != nil {
		return nil, err
	}
	return v.seriesOf(all, at, w)
}

// seriesOf puts readings into series and runs the charts over them.
func (v NumbersView) seriesOf(all []Measured, at unit.Instant, w Watching) ([]Series, error) {
	c := newSeries()
	for _, m := range all {
		c.add(m)
	}
	var list []Series
	for _, key := range c.order {
		list = append(list, *c.byKey[key])
	}
	slices.SortFunc(list, func(a, b Series) int { return compareKeys(a.Key, b.Key) })
	context, err := v.watchingContext(at, w)
	if err != nil {
		return nil, err
	}
	context.readings = perMonth(list, at)
	for i := range list {
		if err := context.watch(&list[i]); err != nil {
			return nil, err
		}
	}
	return list, nil
}

func compareKeys(a, b trend.Key) int {
	return cmp.Or(cmp.Compare(a.Scope, b.Scope), cmp.Compare(slices.Index(scope.PointKinds, a.Point), slices.Index(scope.PointKinds, b.Point)),
		cmp.Compare(a.System, b.System), cmp.Compare(a.Kit, b.Kit))
}

// fewestMonthly is how few readings a month limits are made for. Where there are fewer, or none any more,
// limits for ten promise less than they keep.
const fewestMonthly = 10

// perMonth returns how many readings of all series fall into a month, counted over the last three
// months or as long as there are readings, and not fewer than fewestMonthly.
func perMonth(list []Series, at unit.Instant) float64 {
	since := at.Add(-monthly)
	first, n := at, 0
	for _, s := range list {
		if len(s.Points) > 0 {
			first = min(first, s.Points[0].At)
		}
		for i := len(s.Points) - 1; i >= 0 && s.Points[i].At > since; i-- {
			n++
		}
	}
	span := max(24*time.Hour, min(monthly, at.Sub(first)))
	return max(fewestMonthly, float64(n)*month/float64(span))
}

// Series returns one series up to an instant, with what its adopted chart makes of it; without one it
// has no signals. It reads that series alone.
func (v NumbersView) Series(key trend.Key, at unit.Instant) (Series, error) {
	context, err := v.watchingContext(at, Watching{})
	if err != nil {
		return Series{}, err
	}
	// The chart says where its baseline ends: the readings before are not needed.
	var from unit.Instant
	chart, adopted := context.charts[key]
	if adopted {
		from = chart.Baseline.Last
	}
	s, err := v.collect(key, from, at)
	if err != nil {
		return Series{}, err
	}
	if s == nil {
		s = &Series{Key: key}
	}
	if !adopted {
		s.Why = "no baseline is adopted"
		return *s, nil
	}
	return *s, context.watch(s)
}

// collect reads one series, from <= at <= to, alone, so that who cleaned is not known; nil when no reading
// counts.
func (v NumbersView) collect(key trend.Key, from, to unit.Instant) (*Series, error) {
	begins, err := v.cycleBegins(key.Scope, to)
	if err != nil {
		return nil, err
	}
	events := make([]explanation, len(begins))
	for i, at := range begins {
		events[i] = explanation{at: at, scope: key.Scope, kind: used}
	}
	// The cycle that speaks for the first readings rests on nothing before it.
	var since unit.Instant
	if n, _ := slices.BinarySearch(begins, from+1); n > 0 && from.Sub(begins[n-1]) <= history.Covers {
		since = begins[n-1]
	}
	all, err := v.told(telling{
		from: from, to: to + 1, since: since, events: events,
		read: func(from, to unit.Instant, visit func(store.Measured) error) error {
			return v.tx.Numbers().ReadingsOf(key.Scope, from, to, visit)
		},
		wanted: func(m store.Measured) bool { return m.Point == key.Point && m.System == key.System && m.Kit == key.Kit },
	})
	c := newSeries()
	for _, m := range all {
		c.add(m)
	}
	return c.byKey[key], err
}

// cycleBegins returns when the cycles of a scope up to an instant began: its uses and returns from repair,
// the earliest first.
func (v NumbersView) cycleBegins(tag string, to unit.Instant) (begins []unit.Instant, err error) {
	if err := v.tx.Numbers().UsesOfScope(tag, 0, to+1, func(start unit.Instant) error {
		begins = append(begins, start)
		return nil
	}); err != nil {
		return nil, err
	}
	err = v.tx.Events(tag, 0, to, store.Forever, func(k store.Kept) error {
		return fold(k, func(r record.RepairBody) {
			if r.Returned.Known() && r.Returned <= to {
				begins = append(begins, r.Returned)
			}
		})
	}, record.Repair)
	slices.Sort(begins)
	return begins, err
}

// watching is what the series of a fleet are watched with.
type watching struct {
	Watching
	at       unit.Instant
	readings float64
	charts   map[trend.Key]adoptedChart
	repairs  map[string][]trend.Break
	// protocols are the breaks by change of protocol, of each model and point.
	protocols func(tag string, point scope.PointKind) ([]trend.Break, error)
	designs   map[[2]int]trend.Design
}

type adoptedChart struct {
	record.ChartBody
	id ledger.ID
}

func (v NumbersView) watchingContext(at unit.Instant, w Watching) (*watching, error) {
	c := &watching{
		Watching: w, at: at, charts: map[trend.Key]adoptedChart{}, repairs: map[string][]trend.Break{},
		designs: map[[2]int]trend.Design{}, protocols: v.protocolBreaks(),
	}
	charts, err := v.tx.Entities(record.Chart)
	if err != nil {
		return nil, err
	}
	for _, k := range charts {
		if k.Replaced.Known() || k.At > at {
			continue
		}
		body, err := record.Body[record.ChartBody](k.Record)
		if err != nil {
			return nil, err
		}
		c.charts[body.Series] = adoptedChart{body, k.ID}
	}
	err = v.tx.Numbers().Between(record.Repair, "", 0, at+1, func(k store.Kept) error {
		return fold(k, func(r record.RepairBody) {
			if r.Returned.Known() && r.Returned <= at {
				c.repairs[r.Scope] = append(c.repairs[r.Scope], trend.Break{At: r.Returned, Reason: trend.Repair})
			}
		})
	})
	return c, err
}

// protocolBreaks returns a function that says when the protocol of a point of a scope changed: when a
// rule set was adopted that samples the point in another way than the one before.
func (v NumbersView) protocolBreaks() func(tag string, point scope.PointKind) ([]trend.Break, error) {
	type edition struct {
		at     unit.Instant
		sample func(model string) []sampling.Protocol
	}
	var editions []edition
	loaded := false
	load := func() error {
		standing, err := store.Standing(v.tx, record.Rules, "rules")
		if err != nil || len(standing) < 2 { // what was never changed broke nothing
			loaded = err == nil
			return err
		}
		all, err := v.Registry().RulesEditions()
		if err != nil {
			return err
		}
		for _, e := range all {
			if e.Until <= e.From { // it was taken back, or pushed aside before it was in force
				continue
			}
			rules, err := v.Registry().Rules(e.From, store.Forever)
			if err != nil {
				return err
			}
			editions = append(editions, edition{e.From, rules.Sample.ProtocolsFor})
		}
		loaded = true
		return nil
	}
	of := func(e edition, model string, point scope.PointKind) any {
		for _, p := range e.sample(model) {
			if slices.Contains(p.Points, point) {
				return []any{p.Method, p.Acts}
			}
		}
		return nil
	}
	return func(tag string, point scope.PointKind) (breaks []trend.Break, err error) {
		if !loaded {
			if err := load(); err != nil {
				return nil, err
			}
		}
		if len(editions) < 2 {
			return nil, nil
		}
		m, err := v.modelOf(tag, store.Forever)
		if err != nil {
			return nil, err
		}
		for i := 1; i < len(editions); i++ {
			if !reflect.DeepEqual(of(editions[i-1], m.Name, point), of(editions[i], m.Name, point)) {
				breaks = append(breaks, trend.Break{At: editions[i].at, Reason: trend.ProtocolChange})
			}
		}
		return breaks, nil
	}
}

// watch runs the charts over a series: the adopted ones while no break has ended them, else a
// provisional baseline of the first readings since the last break.
func (c *watching) watch(s *Series) error {
	protocol, err := c.protocols(s.Key.Scope, s.Key.Point)
	if err != nil {
		return err
	}
	s.Breaks = slices.Concat(c.repairs[s.Key.Scope], protocol)
	slices.SortStableFunc(s.Breaks, func(a, b trend.Break) int { return cmp.Compare(a.At, b.At) })
	var last unit.Instant
	for _, b := range s.Breaks {
		if b.At <= c.at {
			last = b.At
		}
	}
	if chart, ok := c.charts[s.Key]; ok && chart.Baseline.Last >= last {
		s.Chart, s.Baseline, s.Design = chart.id, &chart.Baseline, &chart.Design
		s.From = slices.IndexFunc(s.Points, func(p trend.Point) bool { return p.At > chart.Baseline.Last })
		if c.Trial {
			design, err := c.design(*s.Baseline)
			if err != nil {
				return err
			}
			s.Design = &design
		}
		return c.run(s)
	}
	begin := max(0, slices.IndexFunc(s.Points, func(p trend.Point) bool { return p.At >= last }))
	if len(s.Points) > 0 && s.Points[len(s.Points)-1].At < last {
		begin = len(s.Points)
	}
	segment := s.Points[begin:]
	if len(segment) < trend.MinBaseline || c.FalseSignals == 0 {
		s.Missing = max(0, trend.MinBaseline-len(segment))
		s.Why = fmt.Sprintf("a baseline wants %d more readings", s.Missing)
		s.From = len(s.Points)
		return nil
	}
	n := min(provisional, len(segment))
	baseline, err := trend.NewBaseline(s.Key, segment[:n])
	if errors.Is(err, trend.ErrReadings) {
		s.Why, s.From = err.Error(), len(s.Points)
		return nil
	}
	if err != nil {
		return err
	}
	design, err := c.design(baseline)
	if err != nil {
		return err
	}
	s.Provisional, s.Baseline, s.Design, s.From = true, &baseline, &design, begin+n
	return c.run(s)
}

// coarser rounds a size down to one of sixteen in each doubling: limits for a slightly shorter baseline
// are slightly wider, and one design then serves many series.
func coarser(n int) int {
	step := 1
	for n/step >= 2*16 {
		step *= 2
	}
	return n / step * step
}

// design returns the limits for a baseline.
func (c *watching) design(b trend.Baseline) (trend.Design, error) {
	n := coarser(b.Readings())
	size := [2]int{n, n - 1}
	if b.DF != b.N-1 { // pooled over series
		size[1] = max(n-1, coarser(b.DF))
	}
	if d, ok := c.designs[size]; ok {
		return d, nil
	}
	d, err := trend.NewDesign(trend.Promise{
		FalseSignals: c.FalseSignals, Readings: unit.Number(math.Round(c.readings)), Baseline: size[0], DF: size[1],
		Charts: c.Charts, Lambda: c.Lambda, K: c.K, HeadStart: c.HeadStart,
	})
	if err != nil {
		return d, refuse(err)
	}
	c.designs[size] = d
	return d, nil
}

// run runs the charts over the points after the baseline.
func (c *watching) run(s *Series) error {
	if s.From < 0 {
		s.From = len(s.Points)
	}
	m, err := trend.NewMonitor(*s.Baseline, *s.Design)
	if err != nil {
		return refuse(err)
	}
	s.Watched, err = m.Run(s.After())
	return refuse(err)
}

// Signal is a signal of a series with what else is known about it.
type Signal struct {
	trend.Signal
	Kind        scope.Kind `json:"kind"`
	Provisional bool       `json:"provisional,omitempty"`
	// Coincides says with what the change came together: most readings since have it, few had it
	// before.
	Coincides []string `json:"coincides,omitempty"`
	// Others is how many other series changed in the same direction at the same time.
	Others int `json:"others"`
}

// Signals returns the signals of series whose last signal came at or after an instant, the newest first.
func Signals(list []Series, since unit.Instant) []Signal {
	var all []Signal
	for _, s := range list {
		for _, a := range s.Watched.Signals {
			if a.Last >= since {
				all = append(all, Signal{Signal: a, Kind: s.Kind, Provisional: s.Provisional, Coincides: s.coincides(a)})
			}
		}
	}
	for i := range all {
		for j := range all {
			if i != j && all[i].Key != all[j].Key && all[i].Direction == all[j].Direction && overlap(all[i].Since, all[j].Since) {
				all[i].Others++
			}
		}
	}
	slices.SortStableFunc(all, func(a, b Signal) int { return cmp.Or(cmp.Compare(b.First.At, a.First.At), compareKeys(a.Key, b.Key)) })
	return all
}

// overlap says whether two changes can have come at the same time.
func overlap(a, b *trend.Since) bool {
	return a != nil && b != nil && a.After <= b.Until && b.After <= a.Until
}

// The shares of readings between which a circumstance counts as come with a change.
const (
	mostSince   = 0.75
	fewBefore   = 0.25
	leastToSay  = 3
	mostCompare = 40 // readings before the change that count
)

// CleanedBy is how what came together with a change begins when it is a person.
const CleanedBy = "cleaned by"

// Together returns the signals of other series that changed in the same direction at the same time.
func Together(list []Signal, a Signal) []Signal {
	var others []Signal
	for _, b := range list {
		if a.Key != b.Key && a.Direction == b.Direction && overlap(a.Since, b.Since) {
			others = append(others, b)
		}
	}
	return others
}

// coincides compares the circumstances of the readings since a change with those before it.
func (s Series) coincides(a trend.Signal) (found []string) {
	if a.Since == nil {
		return nil
	}
	from := s.From + a.Since.Index
	to := from
	for to < len(s.Points) && s.Points[to].At <= a.Last {
		to++
	}
	before, since := s.facts[max(0, from-mostCompare):from], s.facts[from:to]
	if len(before) < leastToSay || len(since) < leastToSay {
		return nil
	}
	for _, f := range []struct {
		word string
		of   func(circumstance) string
	}{
		{"lot", func(c circumstance) string { return c.lot }},
		{"meter", func(c circumstance) string { return c.meter }},
		{CleanedBy, func(c circumstance) string { return c.cleaner }},
	} {
		count := func(list []circumstance) map[string]int {
			n := map[string]int{}
			for _, c := range list {
				n[f.of(c)]++
			}
			return n
		}
		earlier := count(before)
		for value, n := range count(since) {
			if value != "" && float64(n) >= mostSince*float64(len(since)) && float64(earlier[value]) <= fewBefore*float64(len(before)) {
				found = append(found, f.word+" "+value)
			}
		}
	}
	return found
}

// Rises ranks the series by how surely their latest readings are higher than their baselines, with
// the share of false ones among those found bounded by q (false discovery rate).
func Rises(list []Series, q float64) ([]trend.Ranked, error) {
	var tests []trend.Upward
	for _, s := range list {
		if s.Baseline == nil || len(s.After()) == 0 {
			continue
		}
		u, err := trend.TestUpward(*s.Baseline, s.After(), latest)
		if err != nil {
			return nil, refuse(err)
		}
		tests = append(tests, u)
	}
	ranked, err := trend.Screening(tests, q)
	return ranked, refuse(err)
}

// Freeze is which baselines are adopted.
type Freeze struct {
	// Scopes narrows it to some scopes, Point to one point; empty means all.
	Scopes []string
	Point  scope.PointKind
	// From and To bound the readings of the baselines; zero stands for the last break and for now.
	From, To unit.Instant
	// Anew also replaces charts that hold.
	Anew bool
	// Own keeps each series's own spread even where those of its kind agree.
	Own bool
	Watching
}

// Frozen is what became of one series.
type Frozen struct {
	Key      trend.Key       `json:"key"`
	Chart    ledger.ID       `json:"chart,omitempty"`
	Baseline *trend.Baseline `json:"baseline,omitempty"`
	Design   *trend.Design   `json:"design,omitempty"`
	// Why says why no chart was adopted.
	Why string `json:"why,omitempty"`
}

// AdoptCharts freezes the baselines and limits of series: from then on new readings are held against
// them. Series with too few readings since their last break, those whose chart holds and, unless they
// are named or a begin is given, those with an open signal are left as they are and say so.
func (w SignalWork) AdoptCharts(e Entry, f Freeze) ([]Frozen, error) {
	if err := w.may(ToAdoptCharts, &e); err != nil {
		return nil, err
	}
	if e.By == "" {
		return nil, invalid("who adopts the limits?")
	}
	to := cmp.Or(f.To, w.tx.Now)
	list, err := w.Numbers().AllSeries(to, f.Watching)
	if err != nil {
		return nil, err
	}
	context, err := w.Numbers().watchingContext(to, f.Watching)
	if err != nil {
		return nil, err
	}
	context.readings = perMonth(list, to)
	var out []Frozen
	pools := map[trend.Key][]int{}
	for _, s := range list {
		if len(f.Scopes) > 0 && !slices.Contains(f.Scopes, s.Key.Scope) || f.Point != "" && s.Key.Point != f.Point {
			continue
		}
		x, err := s.frozen(f, len(f.Scopes) > 0)
		if err != nil {
			return nil, err
		}
		if x.Baseline != nil {
			pool := trend.Key{Point: s.Key.Point, System: s.Key.System, Kit: s.Key.Kit}
			pools[pool] = append(pools[pool], len(out))
		}
		out = append(out, x)
	}
	if !f.Own {
		if err := pool(out, pools); err != nil {
			return nil, err
		}
	}
	for i := range out {
		if out[i].Baseline == nil {
			continue
		}
		if err := w.adopt(Entry{By: e.By, Device: e.Device}, context, &out[i], to); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// AdoptChart freezes the baseline and limits of one series as AdoptCharts does, with its own spread. It
// reads that series alone; monthly is how many readings all series have in a month (see Outlook). The
// record has the id of the entry.
func (w SignalWork) AdoptChart(e Entry, key trend.Key, f Freeze, monthly float64) (Frozen, error) {
	if err := w.may(ToAdoptChart, &e); err != nil {
		return Frozen{}, err
	}
	if e.By == "" {
		return Frozen{}, invalid("who adopts the limits?")
	}
	kept, known, err := again(w.Work, e.ID, record.Chart, func(c record.ChartBody) bool { return c.Series == key && c.Adopter == e.By })
	if err != nil {
		return Frozen{}, err
	}
	if known {
		c, err := record.Body[record.ChartBody](kept.Record)
		return Frozen{Key: key, Chart: kept.Record.ID, Baseline: &c.Baseline, Design: &c.Design}, err
	}
	to := cmp.Or(f.To, w.tx.Now)
	s, err := w.Numbers().SeriesIn(key, to, f.Watching, monthly)
	if err != nil {
		return Frozen{}, err
	}
	x, err := s.frozen(f, true)
	if err != nil || x.Baseline == nil {
		return x, err
	}
	context, err := w.Numbers().watchingContext(to, f.Watching)
	if err != nil {
		return x, err
	}
	context.readings = monthly
	return x, w.adopt(e, context, &x, to)
}

// frozen makes the baseline of a series that is to be adopted, or says why there is none. named says that
// somebody asked for this one.
func (s Series) frozen(f Freeze, named bool) (Frozen, error) {
	x := Frozen{Key: s.Key}
	switch {
	case s.Chart != "" && !f.Anew:
		x.Why = "its chart holds"
		return x, nil
	case !named && f.From == 0 && s.alarming():
		x.Why = "a signal is open: its readings would become the measure; find the cause, then name the scope or give a begin"
		return x, nil
	}
	b, err := trend.NewBaseline(s.Key, s.since(f.From))
	if errors.Is(err, stats.ErrTooFew) || errors.Is(err, trend.ErrReadings) {
		x.Why = err.Error()
		return x, nil
	}
	x.Baseline = &b
	return x, refuse(err)
}

// adopt designs the limits for a baseline and records both.
func (w SignalWork) adopt(e Entry, context *watching, x *Frozen, to unit.Instant) error {
	d, err := context.design(*x.Baseline)
	if err != nil {
		return err
	}
	x.Design = &d
	r, err := w.append(e, record.Chart, to, record.ChartBody{
		Series: x.Key, Baseline: *x.Baseline, Design: d, Adopter: e.By, Adopted: to,
	})
	x.Chart = r.Record.ID
	return err
}

// alarming says whether a change of level has an open signal.
func (s Series) alarming() bool {
	return slices.ContainsFunc(s.Watched.Signals, func(a trend.Signal) bool { return a.Open && a.Since != nil })
}

// since returns the points of a series since its last break or a later instant.
func (s Series) since(from unit.Instant) []trend.Point {
	for _, b := range s.Breaks {
		from = max(from, b.At)
	}
	i := slices.IndexFunc(s.Points, func(p trend.Point) bool { return p.At >= from })
	if i < 0 {
		return nil
	}
	return s.Points[i:]
}

// alike is the p-value below which the spreads of series are not taken to be the same.
const alike = 0.05

// pool gives the baselines of one point, meter system and kit their common spread where theirs do not
// differ: it rests on many more readings, so that limits can be much tighter.
func pool(out []Frozen, pools map[trend.Key][]int) error {
	for _, members := range pools {
		var baselines []trend.Baseline
		for _, i := range members {
			baselines = append(baselines, *out[i].Baseline)
		}
		common, err := trend.PoolSigma(baselines)
		if err != nil {
			return refuse(err)
		}
		if common.P < alike || len(members) < 2 {
			continue
		}
		for _, i := range members {
			b, err := out[i].Baseline.WithSigma(common)
			if err != nil {
				return refuse(err)
			}
			out[i].Baseline = &b
		}
	}
	return nil
}
