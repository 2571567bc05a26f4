package mixed

import (
	"math"
	"math/rand/v2"
	"testing"
)

// small returns rows with three crossed random factors, a fixed factor and a covariate. The response
// is a count of yes in trials, which also serves as a number.
func small(random *rand.Rand, rows int) Design {
	grouping := func(name string, levels ...string) Factor {
		f := Factor{Name: name, Levels: levels}
		for range rows {
			f.Index = append(f.Index, random.Int32N(int32(len(levels))))
		}
		return f
	}
	d := Design{
		Random:     []Factor{grouping("person", "a", "b", "c"), grouping("scope", "1", "2", "3", "4", "5"), grouping("lot", "x", "y", "z")},
		Fixed:      []Factor{grouping("kind", "flat", "wide")},
		Covariates: []Covariate{{Name: "hours"}},
	}
	for row := range rows {
		trials := 1 + random.Int32N(4)
		d.Trials = append(d.Trials, trials)
		d.Response = append(d.Response, float64(random.Int32N(trials+1)))
		d.Covariates[0].Values = append(d.Covariates[0].Values, random.NormFloat64()+float64(d.Random[1].Index[row]))
	}
	return d
}

// wantSlopes compares a gradient with differences of the value. A central difference of step 1e-4
// is good to about 1e-8 of the curvature's change and of the value's rounding.
func wantSlopes(t *testing.T, f objective, x []float64) {
	t.Helper()
	const step, tolerance = 1e-4, 3e-6
	gradient, spare := make([]float64, len(x)), make([]float64, len(x))
	f(x, gradient)
	for i := range x {
		at := append([]float64(nil), x...)
		at[i] = x[i] + step
		up := f(at, spare)
		at[i] = x[i] - step
		down := f(at, spare)
		if want := (up - down) / (2 * step); !(math.Abs(gradient[i]-want) <= tolerance*(1+math.Abs(want))) {
			t.Errorf("at %.3g the slope by parameter %d is %.9g, by differences %.9g", x, i, gradient[i], want)
		}
	}
}

func TestSlopesOfLaplaceDeviance(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(3, 4))
	for range 20 {
		b, err := newBinomial(small(random, 60))
		if err != nil {
			t.Fatal(err)
		}
		for f := range b.terms {
			b.terms[f].perLevel = 5
		}
		x := make([]float64, len(b.terms)+b.p())
		for i := range x {
			x[i] = random.NormFloat64()
		}
		l := newLaplace(b)
		wantSlopes(t, l.deviance, x)
		x[random.IntN(3)] = 0
		wantSlopes(t, l.deviance, x)
	}
}

func TestSlopesOfLinearDeviance(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(5, 6))
	for range 20 {
		d := small(random, 40)
		f, err := newFrame(d, d.Rows())
		if err != nil {
			t.Fatal(err)
		}
		for _, restricted := range []bool{true, false} {
			response := standardised(d.Response)
			l := linear{solver: newSolver(newSums(f, response), restricted), response: response}
			x := []float64{2 * random.NormFloat64(), random.NormFloat64(), random.NormFloat64()}
			wantSlopes(t, l.deviance, x)
			x[random.IntN(3)] = 1e-3 // where the other form of the derivatives is used
			wantSlopes(t, l.deviance, x)
			p := profile{linear: l, sigma2: .7, ratio: []float64{.3, .2, .4}}
			for which := residualOnly; which < 3; which++ {
				c := p.curve(which, .5)
				wantSlopes(t, func(x, gradient []float64) float64 {
					value, _ := c.constrained(.4, x, gradient)
					return value
				}, c.warm)
				wantSlopes(t, func(sd, gradient []float64) float64 {
					value, slope := c.constrained(sd[0], c.warm, make([]float64, len(c.warm)))
					gradient[0] = slope
					return value
				}, []float64{.4})
			}
			for i := range l.terms {
				at := append([]float64(nil), x...)
				at[i] = 0
				atZero, spare := l.slopeAtZero(at, i), make([]float64, 3)
				value := l.deviance(at, spare)
				at[i] = 1e-3
				ratio, _ := ratioOf(at[i], l.terms[i].perLevel)
				if want := (l.deviance(at, spare) - value) / ratio; math.Abs(atZero-want) > 1e-3*(1+math.Abs(want)) {
					t.Errorf("slope at zero %g, by differences %g", atZero, want)
				}
			}
		}
	}
}
