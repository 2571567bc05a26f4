package trend_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"rinsate/internal/domain/trend"
)

// A thousand clean fleets of 40 series, each with a baseline of 30 of its own that was screened
// for outliers, charts that have run for 100 readings, and then a month of 30 readings: 1,200 in
// all, for which one false signal was promised. The mean number of signals must be within 2.58
// standard errors (99 %), from the variance between fleets: a series whose baseline came out narrow
// signals again and again, so that the count is not a Poisson count.
func TestFleetsKeepThePromise(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates a million readings several times over")
	}
	t.Parallel()
	const fleets, all, before, month = 1000, 40, 100, 30
	design := must(trend.NewDesign(usual(30)))
	random := rand.New(rand.NewPCG(1000, 40))
	// One tally for all charts, and one for each.
	totals := make([]tally, 5)
	signals := tally{}
	for fleet := range fleets {
		counts, grouped := [5]float64{}, 0.0
		for range all {
			monitor := must(trend.NewMonitor(newBaseline(random), design))
			if fleet < 100 {
				grouped += monthSignals(t, monitor, random, before, month)
				continue
			}
			state := monitor.Start()
			for i := range before + month {
				var f trend.Flags
				state, _, f = monitor.Step(state, monitor.Z(lognormal(random, 0)))
				if i >= before && f.Any() {
					for j, on := range []bool{f.Individuals != 0, f.MovingRange, f.EWMA != 0, f.CUSUM != 0} {
						if on {
							counts[j]++
							counts[4]++
						}
					}
				}
			}
		}
		if fleet < 100 {
			signals.add(grouped)
			continue
		}
		for j := range totals {
			totals[j].add(counts[j])
		}
	}
	for j, name := range []string{"individuals", "moving range", "EWMA", "CUSUM", "all charts"} {
		want := 0.25
		if j == 4 {
			want = 1
		}
		mean, se := totals[j].mean()
		t.Logf("%s: %.3f ± %.3f false signals a month, promised %.2f", name, mean, se, want)
		if math.Abs(mean-want) > 2.58*se {
			t.Errorf("%s: %.3f ± %.3f false signals a month, promised %.2f", name, mean, se, want)
		}
	}
	// What a person sees are signals, into which signals are grouped: at most as many.
	if mean, se := signals.mean(); mean > 1+2.58*se {
		t.Errorf("%.3f ± %.3f signals a month", mean, se)
	}
}

// monthSignals counts the signals that began in the month.
func monthSignals(t *testing.T, monitor *trend.Monitor, random *rand.Rand, before, month int) (n float64) {
	t.Helper()
	run, err := monitor.Run(series(random, 30, before+month, 0))
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range run.Signals {
		if a.First.Index >= before {
			n++
		}
	}
	return n
}

// tally is a running mean with its standard error.
type tally struct{ n, sum, squares float64 }

func (s *tally) add(x float64) { s.n, s.sum, s.squares = s.n+1, s.sum+x, s.squares+x*x }

func (s *tally) mean() (mean, se float64) {
	mean = s.sum / s.n
	return mean, math.Sqrt((s.squares/s.n - mean*mean) / (s.n - 1))
}
