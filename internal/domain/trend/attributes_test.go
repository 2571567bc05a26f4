package trend_test

import (
	"errors"
	"math"
	"testing"

	"rinsate/internal/base/stats"
	"rinsate/internal/domain/trend"
)

// out returns the 1-based places of the signals.
func out(c trend.AttributeChart) []int {
	var places []int
	for i, p := range c.Points {
		if p.Crossing != 0 {
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

func TestLaneyPChartHandbook(t *testing.T) {
	laney := must(trend.LaneyPChart(wafers(t)))
	wantNear(t, "centre", laney.Centre, .231333333333, 1e-11)
	// σ_z 1.6603086218728 and the limits beside it use d2 = 2/√π.
	wantNear(t, "sigma z", laney.SigmaZ, 1.6603086218728, 1e-12)
	wantNear(t, "upper limit", laney.Points[0].Upper, .52837215110578, 1e-12)
	if laney.Points[0].Lower != 0 {
		t.Errorf("lower limit %v", laney.Points[0].Lower)
	}
	// The handbook's own chart is that without σ_z: it prints 0.4102 and 0.0524 and signals at 15 and 23.
	half := (laney.Points[0].Upper - laney.Centre) / laney.SigmaZ
	wantNear(t, "upper limit without σ_z", laney.Centre+half, .410239118594738, 1e-13)
	wantNear(t, "lower limit without σ_z", laney.Centre-half, .0524275480719282, 1e-12)
}

func TestLaney(t *testing.T) {
	pcc := must(trend.LaneyPChart(counts(t, "PCC.csv", "defective", "total")))
	wantNear(t, "centre", pcc.Centre, .099401453612655, 1e-12)
	wantNear(t, "sigma z", pcc.SigmaZ, 1.3776735387598, 1e-12)
	wantNear(t, "sigma z with d2 = 1.128", pcc.SigmaZ*2/math.Sqrt(math.Pi)/1.128, 1.3781366313788, 1e-12)
	example := counts(t, "laney_example.csv", "x", "n")
	laney := must(trend.LaneyPChart(example))
	wantNear(t, "sigma z", laney.SigmaZ, 3.5730532618583, 1e-12)
	if got := out(laney); len(got) != 0 {
		t.Errorf("signals at %v, want none", got)
	}
	// A plain chart signals in 8 periods; so does this one for whoever takes σ_z out of its limits.
	beyond := 0
	for _, p := range laney.Points {
		if math.Abs(p.Value-laney.Centre) > (p.Upper-laney.Centre)/laney.SigmaZ {
			beyond++
		}
	}
	if beyond != 8 {
		t.Errorf("%d periods beyond the limits without σ_z, want 8", beyond)
	}
}

func TestAttributesRefuse(t *testing.T) {
	for reason, c := range map[string][]trend.Count{
		"more failures than trials": {{5, 4}, {1, 4}},
		"half a trial":              {{1, 4.5}, {1, 4}},
		"no trial":                  {{0, 0}, {1, 4}},
		"a negative":                {{-1, 4}, {1, 4}},
	} {
		if _, err := trend.LaneyPChart(c); !errors.Is(err, trend.ErrReadings) {
			t.Errorf("%s: %v", reason, err)
		}
	}
	if _, err := trend.LaneyPChart([]trend.Count{{1, 2}}); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("one period: %v", err)
	}
	none := must(trend.LaneyPChart([]trend.Count{{0, 5}, {0, 9}}))
	if none.SigmaZ != 1 || none.Points[0].Upper != 0 || none.Points[0].Crossing != 0 {
		t.Errorf("no failure at all: %+v", none)
	}
}
