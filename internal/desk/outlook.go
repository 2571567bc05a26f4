package desk

import (
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Standing is how a series stands.
type Standing string

// The standings.
const (
	Unwatched Standing = "no-baseline" // too few readings to hold others against
	Calm      Standing = "no-signal"
	Moved     Standing = "moved-up"
	Sunk      Standing = "moved-down"
	Varying   Standing = "varying"
	Over      Standing = "over" // there was a signal, and no signal since
)

// Standings lists every standing, those that want somebody first.
var Standings = []Standing{Moved, Sunk, Varying, Over, Unwatched, Calm}

// Standing says how the series stands by its last signal.
func (s Series) Standing() Standing {
	if s.Baseline == nil {
		return Unwatched
	}
	if len(s.Watched.Signals) == 0 {
		return Calm
	}
	last := s.Watched.Signals[len(s.Watched.Signals)-1]
	if !last.Open {
		return Over
	}
	switch last.Direction {
	case trend.Higher:
		return Moved
	case trend.Lower:
		return Sunk
	case trend.Spread:
	}
	return Varying
}

// recent is how many readings of a series an outlook keeps.
const recent = 32

// Summary is a series without its readings.
type Summary struct {
	Key  trend.Key
	Kind scope.Kind
	// Readings counts those of the series, After those that are held against the baseline.
	Readings, After int
	Baseline        *trend.Baseline
	Chart           ledger.ID
	Provisional     bool
	Missing         int
	Why             string
	Last            trend.Point
	// Recent are the last readings in RLU, the earliest first and at most 32.
	Recent   []float64
	Standing Standing
	// Signal is the last signal, nil when there was none.
	Signal *trend.Signal
}

// Outlook is what the charts make of every series at an instant, small enough to be kept.
type Outlook struct {
	At unit.Instant
	// Size is how many records the ledger had.
	Size int64
	// Monthly is how many readings all series have in a month.
	Monthly   float64
	AllSeries []Summary
	// Signals are those of all series, the newest first.
	Signals []Signal
	// Verifications are the first tests of all cycles, in order.
	Verifications []FirstTest
}

// Outlook looks at all series. It reads every reading there is.
func (v NumbersView) Outlook(at unit.Instant, w Watching) (Outlook, error) {
	size, err := v.tx.Size()
	if err != nil {
		return Outlook{}, err
	}
	all, err := v.measuredAfter(0, at+1, reprocessing.ManualCleaning)
	if err != nil {
		return Outlook{}, err
	}
	list, err := v.seriesOf(all, at, w)
	if err != nil {
		return Outlook{}, err
	}
	o := Outlook{At: at, Size: size, Monthly: perMonth(list, at), Signals: Signals(list, 0), Verifications: slices.Clip(firstTests(all))}
	for _, s := range list {
		o.AllSeries = append(o.AllSeries, s.summary())
	}
	return o, nil
}

func (s Series) summary() Summary {
	x := Summary{
		Key: s.Key, Kind: s.Kind, Readings: len(s.Points), After: len(s.After()), Baseline: s.Baseline, Chart: s.Chart,
		Provisional: s.Provisional, Missing: s.Missing, Why: s.Why, Standing: s.Standing(),
	}
	if n := len(s.Points); n > 0 {
		x.Last = s.Points[n-1]
	}
	for _, p := range s.Points[max(0, len(s.Points)-recent):] {
		x.Recent = append(x.Recent, p.Value)
	}
	if n := len(s.Watched.Signals); n > 0 {
		last := s.Watched.Signals[n-1]
		x.Signal = &last
	}
	return x
}

// SeriesIn returns one series with all its readings up to an instant, as it is among all series: monthly
// is how many readings these have in a month (see Outlook), from which limits follow where none are
// adopted. It reads that series alone, so that who cleaned is not known.
func (v NumbersView) SeriesIn(key trend.Key, at unit.Instant, w Watching, monthly float64) (Series, error) {
	s, err := v.collect(key, 0, at)
	if err != nil {
		return Series{}, err
	}
	if s == nil {
		return Series{}, notFound("see the series with: rinsate trend "+key.Scope, "%s has no reading that counts", key)
	}
	context, err := v.watchingContext(at, w)
	if err != nil {
		return Series{}, err
	}
	context.readings = monthly
	return *s, context.watch(s)
}

// Scales returns on which meter systems and kits a point of a scope has readings up to an instant, the one
// with the latest reading first.
func (v NumbersView) Scales(tag string, point scope.PointKind, at unit.Instant) ([]trend.Key, error) {
	var keys []trend.Key
	err := v.tx.Numbers().ScalesAt(tag, point, at, func(s store.Scale) error {
		keys = append(keys, trend.Key{Scope: tag, Point: point, System: s.System, Kit: s.Kit})
		return nil
	})
	return keys, err
}

// Proposed returns the baseline that adopting the limits of the series would freeze, or why there is none.
func (s Series) Proposed(from unit.Instant) (*trend.Baseline, string, error) {
	x, err := s.frozen(Freeze{From: from, Anew: true}, true)
	return x.Baseline, x.Why, err
}

// Registered returns the record of something by its type and key, such as a lot; ok is false when there is
// none.
func (v NumbersView) Registered(typ record.Kind, key string) (id ledger.ID, ok bool, err error) {
	k, ok, err := v.tx.Entity(typ, key, store.Forever, store.Forever)
	return k.ID, ok, err
}

// Numbered is a reading of a series with what the charts made of it.
type Numbered struct {
	trend.Point
	// Counted says that the reading is held against the baseline; the other numbers are 0 when it is not.
	Counted bool
	// Z, EWMA, Up and Down are in standard deviations.
	Z, EWMA, Up, Down float64
	Flags             trend.Flags
}

// Numbered returns the readings of a series with what the charts made of each.
func (s Series) Numbered() []Numbered {
	all := make([]Numbered, len(s.Points))
	for i, p := range s.Points {
		all[i].Point = p
	}
	m := s.Monitor()
	if m == nil {
		return all
	}
	state := m.Start()
	for i, p := range s.After() {
		x := &all[s.From+i]
		var reached trend.State
		x.Counted, x.Z = true, m.Z(p.Value)
		state, reached, x.Flags = m.Step(state, x.Z)
		x.EWMA, x.Up, x.Down = reached.EWMA.Mean, reached.CUSUM.Up, reached.CUSUM.Down
	}
	return all
}
