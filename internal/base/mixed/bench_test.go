package mixed_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"rinsate/internal/base/mixed"
	"rinsate/internal/base/stats"
)

// crossed returns rows in 200 + 60 + 5 crossed random levels with eight fixed columns, from a seed.
func crossed(rows int) mixed.Design {
	random := rand.New(rand.NewPCG(1, 2))
	d := mixed.Design{Response: make([]float64, rows)}
	grouping := func(name string, levels int, sd float64) mixed.Factor {
		f := mixed.Factor{Name: name, Index: make([]int32, rows)}
		effects := make([]float64, levels)
		for i := range levels {
			f.Levels = append(f.Levels, fmt.Sprintf("%s %d", name, i))
			effects[i] = sd * random.NormFloat64()
		}
		for row := range rows {
			f.Index[row] = random.Int32N(int32(levels))
			d.Response[row] += effects[f.Index[row]]
		}
		return f
	}
	d.Random = []mixed.Factor{grouping("scope", 200, .5), grouping("person", 60, .3), grouping("meter", 5, .4)}
	d.Fixed = []mixed.Factor{grouping("kind", 5, .2), grouping("site", 3, .1)}
	hours := mixed.Covariate{Name: "hours", Values: make([]float64, rows)}
	for row := range rows {
		hours.Values[row] = random.ExpFloat64()
		d.Response[row] += 1 + .2*hours.Values[row] + random.NormFloat64()
	}
	d.Covariates = []mixed.Covariate{hours}
	return d
}

// BenchmarkLinear is the goal of 180 ms for REML with 100,000 rows, 200 + 60 + 5 crossed levels and
// eight fixed columns, accumulation included.
func BenchmarkLinear(b *testing.B) {
	const rows = 100_000
	d := crossed(rows)
	b.ReportAllocs()
	var fit *mixed.Linear
	for b.Loop() {
		fit = must(mixed.FitLinear(d, mixed.REML))
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/rows, "ns/row")
	b.ReportMetric(float64(fit.Convergence.Evaluations), "evaluations")
}

// BenchmarkProfile is the interval of one standard deviation of the same fit.
func BenchmarkProfile(b *testing.B) {
	fit := must(mixed.FitLinear(crossed(100_000), mixed.REML))
	for b.Loop() {
		must(fit.Profile("scope", stats.MustConfidence("0.95")))
	}
}

// BenchmarkLogistic is a logistic fit to as many rows, in 200 + 60 + 5 crossed levels with eight
// fixed columns.
func BenchmarkLogistic(b *testing.B) {
	const rows = 100_000
	d := crossed(rows)
	random := rand.New(rand.NewPCG(3, 4))
	for row, y := range d.Response {
		d.Response[row] = 0
		if random.Float64() < 1/(1+math.Exp(3-y)) {
			d.Response[row] = 1
		}
	}
	b.ReportAllocs()
	var fit *mixed.Logistic
	for b.Loop() {
		fit = must(mixed.FitLogistic(d))
	}
	b.ReportMetric(float64(fit.Convergence.Evaluations), "evaluations")
}
