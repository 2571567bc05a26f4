package trend_test

import (
	"errors"
	"math"
	"slices"
	"testing"

	"rinsate/internal/base/stats"
	"rinsate/internal/domain/trend"
)

// out returns the 1-based places of the signals.
func out(c trend.AttributeChart) []int {
	var places []int
	for i, p := range c.Points {
		if p.Signal != 0 {
			places = append(places, i+1)
		}
	}
	return places
}

// counts reads a file of failures and trials.
func counts(t *testing.T, file, failures, trials string) []trend.Count {
	t.Helper()
	var c []trend.Count
	for _, row := range readTable(t, file) {
		c = append(c, trend.Count{Failures: int(atof(t, row[failures])), Trials: atof(t, row[trials])})
	}
	return c
}

// NIST/SEMATECH e-Handbook 6.3.3.2: 30 wafers of 50 chips.
func wafers(t *testing.T) []trend.Count {
	t.Helper()
	var c []trend.Count
	for _, fraction := range column(t, "MONITOR-6_3_3_2.csv", "fraction") {
		c = append(c, trend.Count{Failures: int(math.Round(50 * fraction)), Trials: 50})
	}
	return c
}

func TestPChartHandbook(t *testing.T) {
	c := must(trend.PChart(wafers(t)))
	wantNear(t, "centre", c.Centre, .231333333333, 1e-11)
	wantNear(t, "upper limit", c.Points[0].Upper, .410239118594738, 1e-13)
	wantNear(t, "lower limit", c.Points[0].Lower, .0524275480719282, 1e-12)
	if got := out(c); !slices.Equal(got, []int{15, 23}) {
		t.Errorf("signals at %v, want 15 and 23", got)
	}
	laney := must(trend.LaneyPChart(wafers(t)))
	// σ_z 1.6603086218728 and the limits beside it use d2 = 2/√π.
	wantNear(t, "sigma z", laney.SigmaZ, 1.6603086218728, 1e-12)
	wantNear(t, "upper limit", laney.Points[0].Upper, .52837215110578, 1e-12)
	if laney.Points[0].Lower != 0 {
		t.Errorf("lower limit %v", laney.Points[0].Lower)
	}
}

// NIST/SEMATECH e-Handbook 6.3.3.1: c̄ = 16, limits 4 and 28.
func TestCChartHandbook(t *testing.T) {
	var periods []trend.Count
	for i := range 25 {
		periods = append(periods, trend.Count{Failures: 12 + 8*(i%2), Trials: 1})
	}
	periods[24].Failures = 16
	c := must(trend.UChart(periods))
	wantNear(t, "centre", c.Centre, 16, 1e-14)
	wantNear(t, "upper limit", c.Points[0].Upper, 28, 1e-14)
	wantNear(t, "lower limit", c.Points[0].Lower, 4, 1e-13)
	periods[3].Failures, periods[4].Failures, periods[5].Failures = 28, 4, 12+12-16+12
	// A count on the limit is no signal. (The centre is still 16.)
	if c := must(trend.UChart(periods)); math.Abs(c.Centre-16) > 1e-12 || len(out(c)) != 0 {
		t.Errorf("centre %v, signals at %v", c.Centre, out(c))
	}
}

func TestLaney(t *testing.T) {
	pcc := must(trend.LaneyPChart(counts(t, "PCC.csv", "defective", "total")))
	wantNear(t, "centre", pcc.Centre, .099401453612655, 1e-12)
	wantNear(t, "sigma z", pcc.SigmaZ, 1.3776735387598, 1e-12)
	wantNear(t, "sigma z with d2 = 1.128", pcc.SigmaZ*2/math.Sqrt(math.Pi)/1.128, 1.3781366313788, 1e-12)
	example := counts(t, "laney_example.csv", "x", "n")
	laney, plain := must(trend.LaneyPChart(example)), must(trend.PChart(example))
	wantNear(t, "sigma z", laney.SigmaZ, 3.5730532618583, 1e-12)
	if len(out(plain)) != 8 || len(out(laney)) != 0 {
		t.Errorf("%d signals on p, %d on p′; want 8 and none", len(out(plain)), len(out(laney)))
	}
	// For rare failures the rate and the proportion are nearly the same chart.
	u := must(trend.LaneyUChart(example))
	within(t, "sigma z of u′", u.SigmaZ, laney.SigmaZ*math.Sqrt(1-laney.Centre), 1e-12)
}

func TestAttributesRefuse(t *testing.T) {
	for reason, c := range map[string][]trend.Count{
		"more failures than trials": {{5, 4}, {1, 4}},
		"half a trial":              {{1, 4.5}, {1, 4}},
		"no trial":                  {{0, 0}, {1, 4}},
		"a negative":                {{-1, 4}, {1, 4}},
	} {
		if _, err := trend.PChart(c); !errors.Is(err, trend.ErrReadings) {
			t.Errorf("%s: %v", reason, err)
		}
	}
	if _, err := trend.LaneyUChart([]trend.Count{{1, 2}}); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("one period: %v", err)
	}
	none := must(trend.LaneyPChart([]trend.Count{{0, 5}, {0, 9}}))
	if none.SigmaZ != 1 || none.Points[0].Upper != 0 || none.Points[0].Signal != 0 {
		t.Errorf("no failure at all: %+v", none)
	}
}
