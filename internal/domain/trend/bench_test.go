package trend_test

import (
	"math/rand/v2"
	"testing"

	"rinsate/internal/domain/trend"
)

// usual is the promise that most tests and benchmarks are about: one false signal a month in 1,200
// readings, with the three charts that a site starts with.
func usual(n int) trend.Promise {
	return trend.Promise{
		FalseSignals: 1, Readings: 1200, Baseline: n,
		Charts: trend.Charts{Individuals: true, MovingRange: true, EWMA: true, CUSUM: true},
	}
}

// BenchmarkScan is the goal of 25 ms for three charts on 10,000 series of 100 readings, which an
// array program needs 16 ms for and a vectorised statistics language 120 ms.
func BenchmarkScan(b *testing.B) {
	const all, readings = 10_000, 100
	random := rand.New(rand.NewPCG(1, 2))
	monitor := must(trend.NewMonitor(newBaseline(random), must(trend.NewDesign(usual(30)))))
	monitors, values := make([]*trend.Monitor, all), make([][]float64, all)
	for i := range values {
		monitors[i], values[i] = monitor, make([]float64, readings)
		for j := range values[i] {
			values[i][j] = lognormal(random, 0)
		}
	}
	out := make([]trend.Scanned, all)
	b.ReportAllocs()
	for b.Loop() {
		if err := trend.Scan(monitors, values, out); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(all*readings), "ns/reading")
}

func BenchmarkStep(b *testing.B) {
	random := rand.New(rand.NewPCG(1, 2))
	monitor := must(trend.NewMonitor(newBaseline(random), must(trend.NewDesign(usual(30)))))
	values := make([]float64, 1024)
	for i := range values {
		values[i] = random.NormFloat64()
	}
	state, i := monitor.Start(), 0
	b.ReportAllocs()
	for b.Loop() {
		state, _, _ = monitor.Step(state, values[i%1024])
		i++
	}
}

func BenchmarkRun(b *testing.B) {
	random := rand.New(rand.NewPCG(1, 2))
	baseline := newBaseline(random)
	monitor := must(trend.NewMonitor(baseline, must(trend.NewDesign(usual(30)))))
	points := append(series(random, 30, 100, 0), series(random, 130, 20, 2)...)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := monitor.Run(points); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkBaseline(b *testing.B) {
	points := series(rand.New(rand.NewPCG(1, 2)), 0, 30, 0)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := trend.NewBaseline(trend.Key{}, points); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkDesign is the goal of 50 ms for a design.
func BenchmarkDesign(b *testing.B) {
	for _, n := range []struct {
		name string
		p    trend.Promise
	}{
		{"n=20", usual(20)},
		{"n=30", usual(30)},
		{"pooled", trend.Promise{FalseSignals: 1, Readings: 1200, Baseline: 30, DF: 1000, Charts: usual(30).Charts}},
	} {
		b.Run(n.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := trend.NewDesign(n.p); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkARL(b *testing.B) {
	b.Run("EWMA", func(b *testing.B) {
		for b.Loop() {
			must(trend.EWMA{Lambda: 0.2, Limit: 3}.ARL(0, 1))
		}
	})
	b.Run("CUSUM", func(b *testing.B) {
		for b.Loop() {
			must(trend.CUSUM{K: 0.5, H: 5}.ARL(0, 1))
		}
	})
	b.Run("rules 1,2,5,6", func(b *testing.B) {
		for b.Loop() {
			must(trend.Rules{On: trend.RulesOf(1, 2, 5, 6)}.ARL(0, 1))
		}
	})
}
