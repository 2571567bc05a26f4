package trend_test

import (
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/trend"
)

// With a baseline known as good as exactly, 1/ARL at the limits is the share of the promise.
func TestDesignWithKnownParameters(t *testing.T) {
	for _, signals := range []unit.Number{0.01, 1, 30} {
		p := usual(1_000_000)
		p.FalseSignals = signals
		p.HeadStart = 0.5
		d := must(trend.NewDesign(p))
		share := float64(signals) / 1200 / 4
		for _, s := range d.Shares {
			// The mean of a million readings still moves the CUSUM by parts in 1e4.
			wantNear(t, string(s.Chart)+" run length", float64(s.InControl), 1/share, 5e-4)
			wantNear(t, string(s.Chart)+" rate", float64(s.Rate), share, 1e-12)
		}
		wantNear(t, "per month", float64(d.PerMonth), float64(signals), 1e-12)
		cusum := trend.CUSUM{K: 0.5, H: float64(d.Share(trend.CUSUMChart).Limit), HeadStart: 0.5}
		wantNear(t, "delay of the CUSUM", float64(d.Share(trend.CUSUMChart).Delays[1].Readings), must(cusum.ARL(1, 1)), 1e-12)
	}
}

// Single values and moving ranges, one false signal in 3,600 readings: limits found by integrating the
// screening over Student's density, an independent implementation, 10 digits. The rule of six points
// here is good for five.
func TestDesignOfIndividuals(t *testing.T) {
	for _, want := range []struct {
		n      int
		chart  trend.ChartName
		charts trend.Charts
		limit  float64
	}{
		{30, trend.IndividualsChart, trend.Charts{Individuals: true}, 4.243563957686928},
		{20, trend.IndividualsChart, trend.Charts{Individuals: true}, 4.663629237439011},
		{30, trend.MovingRangeChart, trend.Charts{MovingRange: true}, 5.901192663262946},
		// λ = 1 is the chart of single values; the quadrature must find its limit.
		{30, trend.EWMAChart, trend.Charts{EWMA: true}, 4.243563957686928},
	} {
		p := trend.Promise{FalseSignals: 1, Readings: 3600, Baseline: want.n, Lambda: 1, Charts: want.charts}
		tolerance := 2e-5
		if want.chart == trend.EWMAChart {
			tolerance = 3e-4
		}
		wantNear(t, string(want.chart), float64(must(trend.NewDesign(p)).Share(want.chart).Limit), want.limit, tolerance)
	}
	// With a pooled sigma the limits are those of the t distribution.
	p := trend.Promise{FalseSignals: 1, Readings: 3600, Baseline: 30, DF: 300, Charts: trend.Charts{Individuals: true, MovingRange: true}}
	d, quantile := must(trend.NewDesign(p)), -stats.TQuantile(0.25/3600, 300)
	wantNear(t, "pooled individuals", float64(d.Share(trend.IndividualsChart).Limit), quantile*math.Sqrt(1+1.0/30), 1e-6)
	wantNear(t, "pooled moving range", float64(d.Share(trend.MovingRangeChart).Limit), quantile*math.Sqrt2, 1e-6)
}

// More readings in the baseline, more degrees of freedom and more false signals allowed make
// narrower limits and shorter delays.
func TestDesignMonotone(t *testing.T) {
	looser := func(reason string, a, b trend.Promise) {
		t.Helper()
		da, db := must(trend.NewDesign(a)), must(trend.NewDesign(b))
		for i, s := range da.Shares {
			if !(s.Limit > db.Shares[i].Limit) {
				t.Errorf("%s: %s limit %v, then %v", reason, s.Chart, s.Limit, db.Shares[i].Limit)
			}
			for j, delay := range s.Delays {
				if !(delay.Readings > db.Shares[i].Delays[j].Readings) {
					t.Errorf("%s: %s delay %v, then %v", reason, s.Chart, delay, db.Shares[i].Delays[j])
				}
			}
		}
	}
	pooled, often := usual(30), usual(30)
	pooled.DF, often.FalseSignals = 400, 2
	looser("a longer baseline", usual(20), usual(30))
	looser("a pooled sigma", usual(30), pooled)
	looser("more false signals", usual(30), often)
}

func TestDesignWithRules(t *testing.T) {
	p := usual(30)
	p.FalseSignals = 10
	p.Charts.Rules = trend.Rules{On: trend.RulesOf(2, 3)}
	d := must(trend.NewDesign(p))
	sum := 0.0
	for _, s := range d.Shares {
		sum += float64(s.Rate)
		if s.Rule == trend.Monotone {
			wantNear(t, "rule 3 does not depend on the baseline", float64(s.Rate), 1/421.5986260314776, 1e-11)
		}
		if s.Rule == trend.SameSide {
			wantNear(t, "rule 2 with known parameters", float64(s.InControl), 511, 1e-11)
			if !(s.Rate > 1.0/511) {
				t.Errorf("an estimated centre line does not raise the rate of rule 2: %v", s.Rate)
			}
		}
	}
	wantNear(t, "sum of the rates", sum, 10.0/1200, 1e-12)
	p.FalseSignals = 2
	_, err := trend.NewDesign(p)
	if !errors.Is(err, stats.ErrArgument) || !strings.Contains(err.Error(), "switch rules off") {
		t.Errorf("rules over budget: %v", err)
	}
	// Rules alone have nothing to choose; what they give is said.
	p = trend.Promise{FalseSignals: 10, Readings: 1200, Baseline: 30, Charts: trend.Charts{Rules: trend.Rules{On: trend.RulesOf(2)}}}
	if d := must(trend.NewDesign(p)); d.PerMonth > 10 || d.PerMonth < 1200/511 {
		t.Errorf("%v false signals a month from rule 2", d.PerMonth)
	}
}

func TestDesignJSON(t *testing.T) {
	p := usual(24)
	p.FalseSignals = 10
	p.Charts.Rules = trend.Rules{On: trend.RulesOf(2, 5), Run: 8}
	p.FalseSignals = 40
	d := must(trend.NewDesign(p))
	text := must(json.Marshal(d))
	var again trend.Design
	if err := json.Unmarshal(text, &again); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(d, again) {
		t.Errorf("read back %+v, want %+v", again, d)
	}
	again = must(trend.NewDesign(again.Promise))
	if !reflect.DeepEqual(d, again) {
		t.Error("the promise in a design does not give the same design again")
	}
}

func TestDesignRefuses(t *testing.T) {
	tests := []struct {
		reason string
		change func(p *trend.Promise)
	}{
		{"no false signal at all", func(p *trend.Promise) { p.FalseSignals = 0 }},
		{"no readings", func(p *trend.Promise) { p.Readings = 0 }},
		{"not a number", func(p *trend.Promise) { p.Readings = unit.Number(math.NaN()) }},
		{"one signal in five readings", func(p *trend.Promise) { p.FalseSignals = 240 }},
		{"one signal in 1e9 readings", func(p *trend.Promise) { p.FalseSignals = 1e-6 }},
		{"a baseline of one", func(p *trend.Promise) { p.Baseline = 1 }},
		{"no chart", func(p *trend.Promise) { p.Charts = trend.Charts{} }},
		{"a weight over 1", func(p *trend.Promise) { p.Lambda = 1.1 }},
		{"a negative k", func(p *trend.Promise) { p.K = -1 }},
		{"a head start over ½", func(p *trend.Promise) { p.HeadStart = 0.7 }},
		{"a run of 1000", func(p *trend.Promise) { p.Charts.Rules = trend.Rules{On: trend.RulesOf(2), Run: 1000} }},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			p := usual(30)
			test.change(&p)
			if _, err := trend.NewDesign(p); !errors.Is(err, stats.ErrArgument) {
				t.Errorf("error %v", err)
			}
		})
	}
}
