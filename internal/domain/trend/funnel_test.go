package trend_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
	"rinsate/internal/domain/trend"
)

// Limits at θ = 0.05 by Spiegelhalter 2005, appendix A.1.1: 14 digits and more.
func TestFunnelLimits(t *testing.T) {
	for _, row := range readTable(t, "funnel_limits_p05.csv") {
		n := int(atof(t, row["n"]))
		for name, p := range map[string]float64{"ex_lo998": .001, "ex_lo95": .025, "ex_hi95": .975, "ex_hi998": .999} {
			wantNear(t, name+" n "+row["n"], trend.FunnelLimit(n, 0.05, p), atof(t, row[name]), 1e-11)
		}
	}
	for reason, got := range map[string]float64{
		"no trial": trend.FunnelLimit(0, .1, .5), "θ over 1": trend.FunnelLimit(5, 1.1, .5), "p 0": trend.FunnelLimit(5, .1, 0),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s: %v", reason, got)
		}
	}
}

func units(t *testing.T) []trend.Unit {
	t.Helper()
	var u []trend.Unit
	for _, row := range readTable(t, "funnel_units.csv") {
		u = append(u, trend.Unit{Name: row["unit"], Failures: int(atof(t, row["r"])), Trials: int(atof(t, row["n"]))})
	}
	return u
}

// Reference values of 12 digits, quantile type 7 for winsorising.
func TestFunnel(t *testing.T) {
	f := must(trend.NewFunnel(units(t)))
	wantNear(t, "target", f.Target, .062111801242236, 1e-12)
	wantNear(t, "raw φ", f.RawPhi, 1.9135983637669, 1e-12)
	wantNear(t, "winsorised φ", f.Phi, 1.4702472632004, 1e-12)
	// P(χ²_12 > 12·1.47) = 0.127: no more than chance, so that the exact limits hold.
	if f.OverDispersed || f.TauSquared != 0 {
		t.Errorf("over-dispersed: %+v", f)
	}
	for _, u := range f.Units {
		lo, hi := max(0, trend.FunnelLimit(u.Trials, f.Target, .025)), trend.FunnelLimit(u.Trials, f.Target, .975)
		wantNear(t, "inner limit of "+u.Name, u.Inner.Lo, lo, 1e-15)
		wantNear(t, "inner limit of "+u.Name, u.Inner.Hi, hi, 1e-15)
		if (u.Beyond != 0) != (u.Proportion > hi || u.Proportion < lo) {
			t.Errorf("%+v", u)
		}
	}
}

// Ten times the numbers make the same proportions over-dispersed: φ is ten times as large, and τ²
// follows from it by the method of moments.
func TestFunnelOverDispersed(t *testing.T) {
	small := must(trend.NewFunnel(units(t)))
	large := units(t)
	for i := range large {
		large[i].Failures *= 10
		large[i].Trials *= 10
	}
	f := must(trend.NewFunnel(large))
	wantNear(t, "φ", f.Phi, 10*small.Phi, 1e-12)
	var w1, w2 float64
	for _, u := range large {
		w := float64(u.Trials) / (f.Target * (1 - f.Target))
		w1, w2 = w1+w, w2+w*w
	}
	if !f.OverDispersed {
		t.Fatal("not over-dispersed")
	}
	wantNear(t, "τ²", f.TauSquared, (12*f.Phi-11)/(w1-w2/w1), 1e-12)
	// τ² for the small numbers, were they over-dispersed: reference value .00027049126283904.
	w1, w2 = w1/10, w2/100
	wantNear(t, "τ² of the small", (12*small.Phi-11)/(w1-w2/w1), .00027049126283904, 1e-11)
	u := f.Units[0]
	half := 1.959963984540054 * math.Sqrt(f.Target*(1-f.Target)/float64(u.Trials)+f.TauSquared)
	wantNear(t, "upper limit with τ²", u.Inner.Hi, f.Target+half, 1e-12)
}

// About 5 % of units that differ by chance alone lie outside the inner limits, fewer for the
// discreteness, and the order of the units does not matter.
func TestFunnelByChance(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 6))
	beyond, over := 0, 0
	for range 100 {
		u := make([]trend.Unit, 40)
		for i := range u {
			u[i].Trials = 50 + random.IntN(400)
			for range u[i].Trials {
				if random.Float64() < 0.1 {
					u[i].Failures++
				}
			}
		}
		f := must(trend.NewFunnel(u))
		for _, unit := range f.Units {
			if unit.Beyond != 0 {
				beyond++
			}
		}
		if f.OverDispersed {
			over++
		}
	}
	if beyond < 120 || beyond > 240 || over > 8 {
		t.Errorf("%d of 4000 units outside, %d of 100 funnels over-dispersed", beyond, over)
	}
}

func TestFunnelNested(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 12).Draw(t, "n")
		u := make([]trend.Unit, n)
		for i := range u {
			u[i].Trials = rapid.IntRange(1, 300).Draw(t, "trials")
			u[i].Failures = rapid.IntRange(0, u[i].Trials).Draw(t, "failures")
		}
		f := must(trend.NewFunnel(u))
		for _, p := range f.Units {
			// With very few trials both limits may lie on one side of the target.
			if !(0 <= p.Outer.Lo && p.Outer.Lo <= p.Inner.Lo && p.Inner.Lo <= p.Inner.Hi &&
				p.Inner.Hi <= p.Outer.Hi && p.Outer.Hi <= 1) {
				t.Fatalf("limits %+v around %v", p, f.Target)
			}
		}
	})
}

func TestFunnelRefuses(t *testing.T) {
	if _, err := trend.NewFunnel([]trend.Unit{{"a", 1, 2}}); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("one unit: %v", err)
	}
	for _, u := range []trend.Unit{{"b", 3, 2}, {"b", 0, 0}, {"b", -1, 2}} {
		if _, err := trend.NewFunnel([]trend.Unit{{"a", 1, 2}, u}); !errors.Is(err, trend.ErrReadings) {
			t.Errorf("%+v: %v", u, err)
		}
	}
	none := must(trend.NewFunnel([]trend.Unit{{"a", 0, 20}, {"b", 0, 30}}))
	if none.Target != 0 || none.Units[0].Beyond != 0 || none.OverDispersed {
		t.Errorf("nobody failed: %+v", none)
	}
}
