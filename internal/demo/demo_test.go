package demo_test

import (
	"context"
	"testing"
	"time"

	"rinsate/internal/demo"
)

var today = time.Date(2026, 9, 17, 12, 40, 0, 0, time.UTC)

func BenchmarkFullBuild(b *testing.B) {
	for b.Loop() {
		s, err := demo.Build(context.Background(), b.TempDir(), demo.Options{Today: today})
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(s.Records), "records")
		s.Stories = nil
		b.Logf("%+v", s)
	}
}

func TestSmall(t *testing.T) {
	s, err := demo.Build(context.Background(), t.TempDir(), demo.Options{Today: today, Turnarounds: 300})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%+v", s)
}
