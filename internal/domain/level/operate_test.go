package level_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

func trial(change ...func(*level.Trial)) level.Trial {
	t := level.Trial{
		Level: facility(scope.InstrumentLumen, 100, 200), Median: 120, Spread: 0.6,
		Points: 3, Cleanings: 3, Retest: reading.AllPoints, SampleMinutes: 8, CleaningMinutes: 16,
	}
	for _, c := range change {
		c(&t)
	}
	return t
}

func wantClose(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.15g, want %.15g, off by %.3g", what, got, want, got-want)
	}
}

// The definition integrated in decimal arithmetic of 30 digits.
func TestOperateReference(t *testing.T) {
	shared := func(t *level.Trial) { t.Shared = 0.4 }
	failing := func(t *level.Trial) { t.Retest = reading.FailingPoints }
	wide := func(t *level.Trial) { t.Median, t.Spread, t.Shared, t.Points, t.Cleanings = 60, 0.3, 1.2, 4, 2 }
	tests := []struct {
		name                                 string
		trial                                level.Trial
		over, alert, hold, cleanings, sample float64
	}{
		{"independent points", trial(), 0.480527442126508, 0.465704088085585, 0.1109569687456576, 1.711434064763152, 5.134302194289457},
		{"points that share a cleaning", trial(shared), 0.4903870373917899, 0.3873902650457686, 0.1179280032942594, 1.730866483833687, 5.19259945150106},
		{"only failing points again", trial(shared, failing), 0.4903870373917899, 0.3873902650457686, 0.03855855895675415, 1.638817414075854, 3.885166586507048},
		{
			"cleanings that differ more than samples", trial(wide, failing), 0.2305837404637927, 0.2050987968394324, 0.04813000710520577,
			1.230583740463793, 4.658750612614573,
		},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			got, err := level.Operate(test.trial)
			if err != nil {
				t.Fatal(err)
			}
			wantClose(t, "over", got.Over, test.over, 1e-11)
			wantClose(t, "alert", got.Alert, test.alert, 1e-11)
			wantClose(t, "hold", got.Hold, test.hold, 1e-11)
			wantClose(t, "cleanings", got.Cleanings, test.cleanings, 1e-10)
			wantClose(t, "samples", got.Samples, test.sample, 1e-10)
			wantClose(t, "minutes", got.Minutes, 8*test.sample+16*(test.cleanings-1), 1e-9)
		})
	}
}

// Two cases with a closed form for any numbers: independent points, all of them sampled again, and
// a single point whose two spreads add.
func TestOperateClosedForms(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x := trial(func(x *level.Trial) {
			x.Level.Action = unit.Number(rapid.IntRange(1, 500).Draw(rt, "action"))
			x.Level.Alert = 0
			x.Level.Comparison = rapid.SampledFrom([]reading.Comparison{reading.Over, reading.AtOrOver}).Draw(rt, "comparison")
			x.Median = math.Exp(rapid.Float64Range(0, 8).Draw(rt, "ln median"))
			x.Spread = rapid.Float64Range(0.05, 2).Draw(rt, "spread")
			x.Points = rapid.IntRange(1, 9).Draw(rt, "points")
			x.Cleanings = rapid.IntRange(1, 5).Draw(rt, "cleanings")
		})
		limit := float64(x.Level.Action) + 0.5
		if x.Level.Comparison == reading.AtOrOver {
			limit--
		}
		exceeds := func(spread float64) float64 { return 0.5 * math.Erfc(math.Log(limit/x.Median)/spread/math.Sqrt2) }
		got, err := level.Operate(x)
		if err != nil {
			rt.Fatal(err)
		}
		q := 1 - math.Pow(1-exceeds(x.Spread), float64(x.Points))
		n := float64(x.Cleanings)
		cleanings := 0.0
		for a := range x.Cleanings {
			cleanings += math.Pow(q, float64(a))
		}
		for name, pair := range map[string][2]float64{
			"over": {got.Over, q}, "hold": {got.Hold, math.Pow(q, n)}, "cleanings": {got.Cleanings, cleanings},
			"samples": {got.Samples, cleanings * float64(x.Points)}, "alert": {got.Alert, 0},
		} {
			if math.Abs(pair[0]-pair[1]) > 1e-10*max(1, pair[1]) {
				rt.Fatalf("%s: got %v, closed form %v", name, pair[0], pair[1])
			}
		}
		x.Points, x.Shared = 1, rapid.Float64Range(0, 5).Draw(rt, "shared/spread")*x.Spread
		got, err = level.Operate(x)
		if err != nil {
			rt.Fatal(err)
		}
		if want := exceeds(math.Hypot(x.Spread, x.Shared)); math.Abs(got.Over-want) > 1e-11 {
			rt.Fatalf("one point: got %v, closed form %v", got.Over, want)
		}
	})
}

// A higher level, a lower median, fewer points: never more over the action level. More cleanings:
// never more holds.
func TestOperateIsMonotone(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x := trial(func(x *level.Trial) {
			x.Level.Alert = 0
			x.Level.Action = unit.Number(rapid.IntRange(1, 500).Draw(rt, "action"))
			x.Median = math.Exp(rapid.Float64Range(0, 8).Draw(rt, "ln median"))
			x.Shared = rapid.Float64Range(0, 1).Draw(rt, "shared")
			x.Points = rapid.IntRange(1, 5).Draw(rt, "points")
			x.Retest = rapid.SampledFrom([]reading.Retest{reading.AllPoints, reading.FailingPoints}).Draw(rt, "retest")
		})
		operate := func(x level.Trial) level.Operation {
			o, err := level.Operate(x)
			if err != nil {
				rt.Fatal(err)
			}
			return o
		}
		first := operate(x)
		higher, cleaner, more, patient := x, x, x, x
		higher.Level.Action += 10
		cleaner.Median *= 0.9
		more.Points++
		patient.Cleanings++
		const slack = 1e-12
		if o := operate(higher); o.Over > first.Over+slack || o.Hold > first.Hold+slack || o.Samples > first.Samples+slack {
			rt.Fatalf("a higher level: %+v after %+v", o, first)
		}
		if o := operate(cleaner); o.Over > first.Over+slack || o.Hold > first.Hold+slack {
			rt.Fatalf("a cleaner scope: %+v after %+v", o, first)
		}
		if o := operate(more); o.Over < first.Over-slack || o.Hold < first.Hold-slack {
			rt.Fatalf("one point more: %+v after %+v", o, first)
		}
		if o := operate(patient); o.Hold > first.Hold+slack || o.Over != first.Over || o.Cleanings < first.Cleanings-slack {
			rt.Fatalf("one cleaning more: %+v after %+v", o, first)
		}
		if o := first; o.Hold > o.Over+slack || o.Over+o.Alert > 1+slack || o.Cleanings < 1-slack || o.Samples < float64(x.Points)-slack {
			rt.Fatalf("impossible: %+v", o)
		}
	})
}

// simulate draws whole cycles and has every reading and verification judged by package reading.
func simulate(t *testing.T, x level.Trial, runs int, rng *rand.Rand) level.Operation {
	t.Helper()
	rules := reading.Rules{Cleanings: x.Cleanings, Retest: x.Retest, Combine: reading.Worst}
	kinds := scope.PointKinds[:x.Points]
	var o level.Operation
	for range runs {
		wanted := kinds
		var carried []reading.PointResult
		for cleaning := 1; ; cleaning++ {
			shift := x.Shared * rng.NormFloat64()
			results := append([]reading.PointResult(nil), carried...)
			for _, k := range wanted {
				count := math.Round(x.Median * math.Exp(shift+x.Spread*rng.NormFloat64()))
				j := x.Level.Judge(reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: unit.Number(count)}, reading.Circumstances{})
				results = append(results, reading.PointResult{Point: k, Readings: []reading.Judgement{j}})
			}
			verification := rules.Judge(cleaning, kinds, results)
			o.Cleanings++
			o.Samples += float64(len(wanted))
			if cleaning == 1 && verification.Outcome == reading.Action {
				o.Over++
			}
			if cleaning == 1 && verification.Outcome == reading.Alert {
				o.Alert++
			}
			if verification.Next.Act == reading.HoldScope {
				o.Hold++
			}
			if verification.Next.Act != reading.CleanAgain {
				break
			}
			wanted, carried = verification.Next.Points, nil
			for _, p := range verification.Points {
				if x.Retest == reading.FailingPoints && p.Outcome.Passed() {
					carried = append(carried, reading.PointResult{Point: p.Point, Outcome: p.Outcome, Carried: true})
				}
			}
		}
	}
	for _, v := range []*float64{&o.Over, &o.Alert, &o.Hold, &o.Cleanings, &o.Samples} {
		*v /= float64(runs)
	}
	return o
}

// The characteristic against 20,000 simulated cycles: four standard errors of a proportion
// are at most 4·√(¼/20000) = 0.0141; cleanings and samples vary more.
func TestOperateAgainstSimulation(t *testing.T) {
	t.Parallel()
	for name, x := range map[string]level.Trial{
		"all points": trial(func(x *level.Trial) { x.Shared = 0.5 }),
		"failing points": trial(func(x *level.Trial) {
			x.Shared, x.Retest, x.Level.Comparison = 0.5, reading.FailingPoints, reading.AtOrOver
		}),
		"few counts": trial(func(x *level.Trial) { x.Median, x.Level.Alert, x.Level.Action, x.Points = 3, 2, 5, 2 }),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, err := level.Operate(x)
			if err != nil {
				t.Fatal(err)
			}
			drawn := simulate(t, x, 20_000, rand.New(rand.NewPCG(11, 13)))
			wantClose(t, "over", got.Over, drawn.Over, 0.0141)
			wantClose(t, "alert", got.Alert, drawn.Alert, 0.0141)
			wantClose(t, "hold", got.Hold, drawn.Hold, 0.0141)
			wantClose(t, "cleanings", got.Cleanings, drawn.Cleanings, 0.03)
			wantClose(t, "samples", got.Samples, drawn.Samples, 0.08)
		})
	}
}

func TestOperateRefuses(t *testing.T) {
	tests := []struct {
		reason string
		change func(*level.Trial)
	}{
		{"median 0", func(x *level.Trial) { x.Median = 0 }},
		{"a median that is no number", func(x *level.Trial) { x.Median = math.NaN() }},
		{"an infinite median", func(x *level.Trial) { x.Median = math.Inf(1) }},
		{"no spread", func(x *level.Trial) { x.Spread = 0 }},
		{"a negative shared spread", func(x *level.Trial) { x.Shared = -0.1 }},
		{"a shared spread beyond the quadrature", func(x *level.Trial) { x.Shared = 3.1 }},
		{"no point", func(x *level.Trial) { x.Points = 0 }},
		{"too many points", func(x *level.Trial) { x.Points = 101 }},
		{"no cleaning", func(x *level.Trial) { x.Cleanings = 0 }},
		{"no rule for the re-test", func(x *level.Trial) { x.Retest = "" }},
		{"minutes below 0", func(x *level.Trial) { x.SampleMinutes = -1 }},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			if got, err := level.Operate(trial(test.change)); !errors.Is(err, stats.ErrArgument) {
				t.Errorf("got %+v, %v; want ErrArgument", got, err)
			}
		})
	}
	if got, err := level.Operate(trial(func(x *level.Trial) { x.Level.Action = 0 })); err == nil {
		t.Errorf("a level without action level: %+v", got)
	}
}

func BenchmarkOperate(b *testing.B) {
	x := trial(func(x *level.Trial) { x.Shared, x.Retest = 1, reading.FailingPoints })
	for b.Loop() {
		if _, err := level.Operate(x); err != nil {
			b.Fatal(err)
		}
	}
}
