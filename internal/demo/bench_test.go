package demo_test

import (
	"context"
	"testing"

	"rinsate/internal/demo"
)

// BenchmarkBuild measures how long somebody waits for the invented year, and for its smallest part.
func BenchmarkBuild(b *testing.B) {
	for name, cycles := range map[string]int{"smallest": 300, "year": 0} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				s, err := demo.Build(context.Background(), b.TempDir(), demo.Options{Today: today, Cycles: cycles})
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(s.Records), "records")
			}
		})
	}
}
