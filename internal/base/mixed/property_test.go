package mixed_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"rinsate/internal/base/mixed"
	"rinsate/internal/base/stats"
)

// drawDesign draws an unbalanced crossed design with a fixed factor and a covariate.
func drawDesign(t *rapid.T) mixed.Design {
	random := source(t)
	rows := rapid.IntRange(25, 60).Draw(t, "rows")
	d := mixed.Design{Response: make([]float64, rows), Covariates: []mixed.Covariate{{Name: "hours"}}}
	grouping := func(name string, levels int, sd float64) mixed.Factor {
		f := mixed.Factor{Name: name, Levels: levelsOf(levels)}
		effects := make([]float64, levels)
		for i := range effects {
			effects[i] = sd * random.NormFloat64()
		}
		for row := range rows {
			level := random.IntN(levels)
			if row < levels {
				level = row // every level has a row
			}
			f.Index = append(f.Index, int32(level))
			d.Response[row] += effects[level]
		}
		return f
	}
	sds := rapid.SampledFrom([]float64{0, .3, 1, 5})
	d.Random = []mixed.Factor{
		grouping("person", rapid.IntRange(2, 5).Draw(t, "people"), sds.Draw(t, "sd of people")),
		grouping("scope", rapid.IntRange(6, 10).Draw(t, "scopes"), sds.Draw(t, "sd of scopes")),
	}
	d.Fixed = []mixed.Factor{grouping("kind", 3, 1)}
	for row := range rows {
		x := 10 + random.NormFloat64()
		d.Covariates[0].Values = append(d.Covariates[0].Values, x)
		d.Response[row] += .5*x + random.NormFloat64()
	}
	return d
}

// definition returns the deviance from its definition, with the covariance matrix of the rows.
func definition(d mixed.Design, c mixed.Criterion, variances []float64, residual float64) float64 {
	n := d.Rows()
	v := mat.NewSymDense(n, nil)
	x := mat.NewDense(n, 4, nil)
	for i := range n {
		for j := i; j < n; j++ {
			sum := 0.0
			for k, f := range d.Random {
				if f.Index[i] == f.Index[j] {
					sum += variances[k]
				}
			}
			if i == j {
				sum += residual
			}
			v.SetSym(i, j, sum)
		}
		x.Set(i, 0, 1)
		if level := d.Fixed[0].Index[i]; level > 0 {
			x.Set(i, int(level), 1)
		}
		x.Set(i, 3, d.Covariates[0].Values[i])
	}
	var factor mat.Cholesky
	if !factor.Factorize(v) {
		return math.Inf(1)
	}
	y := mat.NewVecDense(n, d.Response)
	var solved, information mat.Dense
	if err := factor.SolveTo(&solved, x); err != nil {
		return math.NaN()
	}
	information.Mul(x.T(), &solved)
	var right, beta, rest, weighted mat.VecDense
	right.MulVec(solved.T(), y)
	if err := beta.SolveVec(&information, &right); err != nil {
		return math.NaN()
	}
	rest.MulVec(x, &beta)
	rest.SubVec(y, &rest)
	if err := factor.SolveVecTo(&weighted, &rest); err != nil {
		return math.NaN()
	}
	deviance := factor.LogDet() + mat.Dot(&rest, &weighted) + float64(n)*math.Log(2*math.Pi)
	if c == mixed.REML {
		logDet, _ := mat.LogDet(&information)
		deviance += logDet - 4*math.Log(2*math.Pi)
	}
	return deviance
}

// The deviance is that of the definition, and no other variances in a wide neighbourhood, zero
// included, have a lower one.
func TestMaximumOfTheDefinition(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawDesign(t)
		c := rapid.SampledFrom([]mixed.Criterion{mixed.REML, mixed.ML}).Draw(t, "criterion")
		fit := must(mixed.FitLinear(d, c))
		variances := []float64{fit.Terms[0].Variance, fit.Terms[1].Variance}
		wantNear(t, "deviance", fit.Deviance, definition(d, c, variances, fit.Residual.Variance), 1e-10)
		random := source(t)
		for range 20 {
			times := func(v float64) float64 {
				return (v + .01*random.Float64()*fit.Residual.Variance) * math.Exp(random.NormFloat64())
			}
			other := []float64{times(variances[0]), times(variances[1])}
			if random.IntN(3) == 0 {
				other[random.IntN(2)] = 0
			}
			residual := fit.Residual.Variance * math.Exp(.3*random.NormFloat64())
			if lower := definition(d, c, other, residual); lower < fit.Deviance-1e-8 {
				t.Errorf("variances %v and %g have deviance %.12g, lower than %.12g of %v and %g",
					other, residual, lower, fit.Deviance, variances, fit.Residual.Variance)
			}
		}
	})
}

// A change of the response's units, of the order of rows and of the order of terms changes nothing
// but the units.
func TestLinearIsEquivariant(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawDesign(t)
		fit := must(mixed.FitLinear(d, mixed.REML))
		random := source(t)
		shift, scale := 1e3*random.NormFloat64(), math.Exp(3*random.NormFloat64())
		rows := make([]int32, d.Rows())
		for i, row := range random.Perm(d.Rows()) {
			rows[i] = int32(row)
		}
		moved := must(d.Subset(rows))
		for i := range moved.Response {
			moved.Response[i] = shift + scale*moved.Response[i]
		}
		moved.Random[0], moved.Random[1] = moved.Random[1], moved.Random[0]
		other := must(mixed.FitLinear(moved, mixed.REML))
		// A response of 1000 with a spread of 1 loses three digits, and small spreads more.
		tolerance := 1e-8 * max(1, 1/scale)
		units := 2 * float64(d.Rows()-4) * math.Log(scale)
		wantNear(t, "deviance", other.Deviance, fit.Deviance+units, tolerance)
		wantNear(t, "residual", other.Residual.Variance, scale*scale*fit.Residual.Variance, tolerance)
		total := fit.Terms[0].Variance + fit.Terms[1].Variance + fit.Residual.Variance
		for i, term := range fit.Terms {
			got := other.Terms[1-i]
			if math.Abs(got.Variance/(scale*scale)-term.Variance) > 10*tolerance*total {
				t.Errorf("variance %g, want %g", got.Variance/(scale*scale), term.Variance)
			}
			for level, e := range term.Effects {
				if math.Abs(got.Effects[level].Mode/scale-e.Mode) > 10*tolerance*math.Sqrt(total) {
					t.Errorf("effect %g, want %g", got.Effects[level].Mode/scale, e.Mode)
				}
			}
		}
		for i, c := range fit.Fixed {
			want := scale * c.Estimate
			if i == 0 {
				want += shift
			}
			if math.Abs(other.Fixed[i].Estimate-want) > 10*tolerance*scale*(c.SE+math.Abs(c.Estimate)) {
				t.Errorf("%v: %g, want %g", c.Column, other.Fixed[i].Estimate, want)
			}
		}
	})
}

// The prediction error is never less than with known fixed effects nor more than without rows, and
// a confidence interval holds its estimate.
func TestEffectsAndIntervalsAreOrdered(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawDesign(t)
		fit := must(mixed.FitLinear(d, mixed.REML))
		for _, term := range fit.Terms {
			for _, e := range term.Effects {
				if e.ConditionalSD > e.SE*(1+1e-9) || e.ConditionalSD > term.SD*(1+1e-9) {
					t.Errorf("%+v at a standard deviation of %g", e, term.SD)
				}
			}
		}
		name := rapid.SampledFrom([]string{"person", "scope", mixed.ResidualName}).Draw(t, "profile of")
		sd := fit.Residual.SD
		for _, term := range fit.Terms {
			if term.Name == name {
				sd = term.SD
			}
		}
		narrow := must(fit.Profile(name, stats.MustConfidence("0.8")))
		wide := must(fit.Profile(name, stats.MustConfidence("0.95")))
		if !(wide.Lo <= narrow.Lo && narrow.Lo <= sd && sd < narrow.Hi && narrow.Hi < wide.Hi) {
			t.Errorf("%s: %g in %v in %v", name, sd, narrow, wide)
		}
	})
}

// A level without rows is predicted by 0 with the standard deviation of its term.
func TestLevelWithoutRows(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"plate", "sample"} {
		d := penicillin(t)
		for i := range d.Random {
			if d.Random[i].Name == name {
				d.Random[i].Levels = append(d.Random[i].Levels, "unseen")
			}
		}
		fit, without := must(mixed.FitLinear(d, mixed.REML)), must(mixed.FitLinear(penicillin(t), mixed.REML))
		wantNear(t, "deviance", fit.Deviance, without.Deviance, 1e-12)
		for i, term := range fit.Terms {
			if term.Name != name {
				continue
			}
			last := term.Effects[len(term.Effects)-1]
			if last.Rows != 0 || last.Mode != 0 || term.Levels != without.Terms[i].Levels {
				t.Errorf("%s of %d levels: %+v", name, term.Levels, last)
			}
			wantNear(t, "its uncertainty", last.SE, term.SD, 1e-12)
			wantNear(t, "its conditional uncertainty", last.ConditionalSD, term.SD, 1e-12)
		}
	}
}

// Many levels in the largest factor, few rows in each: nothing grows with their square.
func TestManyLevels(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(7, 8))
	const rounds, each = 8000, 2
	d := mixed.Design{Random: []mixed.Factor{
		{Name: "scope", Levels: levelsOf(40)}, {Name: "round", Levels: levelsOf(rounds)},
	}}
	scopes := make([]float64, 40)
	for i := range scopes {
		scopes[i] = .5 * random.NormFloat64()
	}
	for round := range rounds {
		scope, effect := random.IntN(40), .7*random.NormFloat64()
		for range each {
			d.Response = append(d.Response, scopes[scope]+effect+.3*random.NormFloat64())
			d.Random[0].Index = append(d.Random[0].Index, int32(scope))
			d.Random[1].Index = append(d.Random[1].Index, int32(round))
		}
	}
	fit := must(mixed.FitLinear(d, mixed.REML))
	// The standard error of each is about sd/√(2·8000).
	wantNear(t, "round", fit.Terms[1].SD, .7, .03)
	wantNear(t, "residual", fit.Residual.SD, .3, .03)
	wantNear(t, "scope", fit.Terms[0].SD, .5, .5)
}
