package desk

import (
	"errors"
	"slices"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/history"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
)

// FirstTest is the verification after the first cleaning of one cycle.
type FirstTest struct {
	Scope string       `json:"scope"`
	Kind  scope.Kind   `json:"kind"`
	At    unit.Instant `json:"at"` // of its first reading
	// Over says that a point was over the action level, Reading which reading was so first.
	Over    bool      `json:"over"`
	Reading ledger.ID `json:"reading,omitempty"`
}

// FirstTests returns the first tests of a time, of one scope and one kind of scope or of all, in order: those
// whose first reading lies in it, from <= at < to, each as a whole. Readings that are void, in doubt or without a
// level are left out.
func (v NumbersView) FirstTests(from, to unit.Instant, tag string, kind scope.Kind) ([]FirstTest, error) {
	// A test goes on for as long as its cycle on record speaks for it, at most, on both sides of the time.
	all, err := v.tested(back(from, history.Covers), forth(to, history.Covers), nil)
	return slices.DeleteFunc(firstTests(all), func(r FirstTest) bool {
		return r.At < from || r.At >= to || tag != "" && r.Scope != tag || kind != "" && r.Kind != kind
	}), err
}

// firstTests brings readings together into the first tests of cycles.
func firstTests(all []Measured) []FirstTest {
	var tests []FirstTest
	index := map[int]int{} // by verification
	for _, m := range all {
		if !m.First || m.Outcome == reading.None {
			continue
		}
		i, seen := index[m.Test.Number]
		if !seen {
			i = len(tests)
			index[m.Test.Number] = i
			tests = append(tests, FirstTest{Scope: m.Scope, Kind: m.Kind, At: m.At})
		}
		if r := &tests[i]; !r.Over && m.Outcome == reading.Action {
			r.Over, r.Reading = true, m.ID
		}
	}
	return tests
}

// Cadence is how long a period is.
type Cadence string

// The cadences: calendar days, weeks that begin on Monday, and months, in the facility's zone.
const (
	Daily   Cadence = "day"
	Weekly  Cadence = "week"
	Monthly Cadence = "month"
)

// Cadences lists every cadence.
var Cadences = []Cadence{Daily, Weekly, Monthly}

// Period is what happened in one day, week or month.
type Period struct {
	From unit.Instant `json:"from"`
	To   unit.Instant `json:"to"`
	trend.Count
}

// Periods counts first tests and those over the action level by periods; periods without one are left out. The
// tests are in order.
func Periods(tests []FirstTest, c Cadence, zone *time.Location) []Period {
	var periods []Period
	for _, r := range tests {
		if n := len(periods); n == 0 || r.At >= periods[n-1].To {
			from, to := c.around(r.At, zone)
			periods = append(periods, Period{From: from, To: to})
		}
		p := &periods[len(periods)-1]
		p.Trials++
		if r.Over {
			p.Failures++
		}
	}
	return periods
}

// around returns the period that holds an instant.
func (c Cadence) around(at unit.Instant, zone *time.Location) (from, to unit.Instant) {
	t := at.Time().In(zone)
	year, month, day := t.Date()
	days, months := 1, 0
	switch c {
	case Weekly:
		day -= (int(t.Weekday()) + 6) % 7
		days = 7
	case Monthly:
		day, days, months = 1, 0, 1
	case Daily:
	}
	begin := func(year int, month time.Month, day int) unit.Instant {
		return unit.At(time.Date(year, month, day, 0, 0, 0, 0, zone))
	}
	return begin(year, month, day), begin(year, month+time.Month(months), day+days)
}

// Between is how first tests over the action level follow on each other.
type Between struct {
	// Failures is how many there are. Gaps counts the tests between one and the next that were not
	// over, Days the days; both have one fewer entry than there are failures.
	Failures []FirstTest
	Gaps     []float64
	Days     []float64
	// Since counts the tests after the last failure.
	Since int
}

// BetweenFailures looks at the first tests between those over the action level.
func BetweenFailures(tests []FirstTest) Between {
	var b Between
	gap := 0
	for _, r := range tests {
		if !r.Over {
			gap++
			continue
		}
		if n := len(b.Failures); n > 0 {
			b.Gaps = append(b.Gaps, float64(gap))
			b.Days = append(b.Days, r.At.Sub(b.Failures[n-1].At).Hours()/24)
		}
		b.Failures = append(b.Failures, r)
		gap = 0
	}
	b.Since = gap
	return b
}

// Burst returns the last r gaps added up; ok is false when there are fewer.
func (b Between) Burst(r int) (uses, days float64, ok bool) {
	if len(b.Gaps) < r {
		return 0, 0, false
	}
	for _, g := range b.Gaps[len(b.Gaps)-r:] {
		uses += g
	}
	for _, d := range b.Days[len(b.Days)-r:] {
		days += d
	}
	return uses, days, true
}

// Shares is the chart of the share of first tests over the action level, with limits that are widened where
// shares vary more than chance explains. A period that lies in part outside the time is counted with
// what it has.
func Shares(periods []Period) (trend.AttributeChart, error) {
	counts := make([]trend.Count, len(periods))
	for i, p := range periods {
		counts[i] = p.Count
	}
	c, err := trend.LaneyPChart(counts)
	if errors.Is(err, stats.ErrTooFew) {
		return c, notFound(
			"choose an earlier begin with --from, or shorter periods with --by",
			"%d periods with first tests in that time: at least 2 are needed to compare",
			len(periods),
		)
	}
	return c, refuse(err)
}
