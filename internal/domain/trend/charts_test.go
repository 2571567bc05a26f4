package trend_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/domain/trend"
)

// NIST/SEMATECH e-Handbook 6.3.2.2. The page takes d2 as 1.128 and prints 55.8041 and 45.8159; with
// d2 = 2/√π the limits differ in the third decimal.
func TestIndividualsHandbook(t *testing.T) {
	flow := []float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	ranges := []float64{2.0, 2.3, 1.4, 3.5, 3.4, 1.4, .2, 1.2, 1.5}
	state, sum := trend.MovingRangeState{}, 0.0
	for i, x := range flow {
		var moving float64
		if state, moving = state.Step(x); i > 0 {
			within(t, "moving range", moving, ranges[i-1], 1e-9)
		}
		sum += moving
	}
	mean, mr := 50.81, sum/9
	within(t, "mean moving range", mr, 1.8778, 5e-5)
	e2 := 3 * math.Sqrt(math.Pi) / 2 // 3/d2
	wantNear(t, "upper limit", mean+e2*mr, 55.8024116800505, 1e-13)
	wantNear(t, "lower limit", mean-e2*mr, 45.8175883199495, 1e-13)
	wantNear(t, "upper limit with d2 = 1.128", mean+3*mr/1.128, 55.8040898345154, 1e-13)
	chart := trend.Individuals{Limit: e2 * mr}
	for _, x := range flow {
		if chart.Crossing(x-mean) != 0 {
			t.Errorf("%v signals", x)
		}
	}
	if chart.Crossing(chart.Limit) != 0 || chart.Crossing(-chart.Limit) != 0 {
		t.Error("a value at the limit signals")
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.3, in the unit of the data: target 325, k 0.3175, h 4.1959.
func TestCUSUMHandbook(t *testing.T) {
	chart := trend.CUSUM{K: 0.3175, H: 4.1959}
	state, first := chart.Start(), 0
	for i, row := range readTable(t, "nist_6323_cusum.csv") {
		state = chart.Step(state, atof(t, row["x"])-325)
		within(t, "upper sum "+row["group"], state.Up, atof(t, row["Shi"]), 1e-9)
		within(t, "lower sum "+row["group"], state.Down, atof(t, row["Slo"]), 1e-9)
		crossing := chart.Crossing(state)
		if (crossing != 0) != (row["signal"] == "1") || crossing < 0 {
			t.Errorf("group %s signals %d, want %s", row["group"], crossing, row["signal"])
		}
		if first == 0 && crossing != 0 {
			first = i + 1
			if state.UpRun != 2 {
				t.Errorf("the change is put %d groups back, want 2: groups 13 and 14", state.UpRun)
			}
		}
	}
	if first != 14 {
		t.Errorf("first signal at group %d, want 14", first)
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.4: λ 0.3, EWMA from 50, s 2.0539. The page prints 2 decimals of
// the EWMA, and limits whose lower one comes from a rounded factor.
func TestEWMAHandbook(t *testing.T) {
	printed := []float64{
		50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23,
		51.94, 51.99,
	}
	const s = 2.0539
	fixed, varying := trend.EWMA{Lambda: 0.3, Limit: 3}, trend.EWMA{Lambda: 0.3, Limit: 3, TimeVarying: true}
	var state trend.EWMAState
	for i, row := range readTable(t, "nist_6324_ewma.csv") {
		state = fixed.Step(state, (atof(t, row["x"])-50)/s)
		value := 50 + s*state.Mean
		within(t, "printed EWMA "+row["t"], value, printed[i], 0.0051)
		wantNear(t, "EWMA "+row["t"], value, atof(t, row["ewma"]), 1e-13)
		wantNear(t, "upper limit "+row["t"], 50+s*varying.Bound(state), atof(t, row["ucl_t"]), 1e-12)
		wantNear(t, "lower limit "+row["t"], 50-s*varying.Bound(state), atof(t, row["lcl_t"]), 1e-12)
	}
	wantNear(t, "z20", 50+s*state.Mean, 51.9882432586, 1e-11)
	wantNear(t, "upper limit", 50+s*fixed.Bound(state), 52.5884317381266, 1e-13)
	wantNear(t, "lower limit", 50-s*fixed.Bound(state), 47.4115682618734, 1e-13)
	within(t, "printed lower limit", 50-s*fixed.Bound(state), 47.4115, 1e-4)
}

func TestCUSUMMirrored(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		chart := trend.CUSUM{K: rapid.Float64Range(0.1, 1.5).Draw(t, "k"), H: rapid.Float64Range(1, 8).Draw(t, "h"), HeadStart: 0.5}
		a, b := chart.Start(), chart.Start()
		for _, z := range values(1, 40).Draw(t, "z") {
			a, b = chart.Step(a, z), chart.Step(b, -z)
			if a.Up != b.Down || a.Down != b.Up || a.UpRun != b.DownRun || chart.Crossing(a) != -chart.Crossing(b) {
				t.Fatalf("%+v and %+v are not mirror images", a, b)
			}
			if chart.Crossing(a) != 0 {
				a, b = chart.Start(), chart.Start()
			}
		}
	})
}

// The tabular sums are the distance of the plain cumulative sum from its extreme, by definition.
func TestCUSUMIsDistanceFromTheLowest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		chart := trend.CUSUM{K: 0.5, H: 5}
		state, sum, lowest := chart.Start(), 0.0, 0.0
		for _, z := range values(1, 60).Draw(t, "z") {
			state = chart.Step(state, z)
			sum += z - chart.K
			lowest = min(lowest, sum)
			if math.Abs(state.Up-(sum-lowest)) > 1e-12 {
				t.Fatalf("sum %v, want %v", state.Up, sum-lowest)
			}
		}
	})
}

// The EWMA of a constant c is c·(1−(1−λ)^t), and its weights are those of the geometric law.
func TestEWMAOfConstant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		chart := trend.EWMA{Lambda: rapid.Float64Range(0.02, 1).Draw(t, "lambda"), Limit: 3}
		c := rapid.Float64Range(-5, 5).Draw(t, "c")
		var state trend.EWMAState
		for i := range rapid.IntRange(1, 100).Draw(t, "n") {
			state = chart.Step(state, c)
			left := math.Pow(1-chart.Lambda, float64(i+1))
			if math.Abs(state.Mean-c*(1-left)) > 1e-12 || math.Abs(state.Gone-(1-left*left)) > 1e-12 {
				t.Fatalf("%+v after %d", state, i+1)
			}
		}
	})
}
