package quality_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
)

// Tails of the standard normal distribution: P(Z > 1), P(Z > 2), P(Z > 3), reference values of 15
// digits.
const (
	above1 = 0.158655253931457
	above2 = 0.0227501319481792
	above3 = 0.00134989803163009
)

// Closed forms for a meter in order.
func TestPowerClosedForms(t *testing.T) {
	t.Parallel()
	// The probability that the streaks of two controls in a run of two levels, without rules that
	// reach back, reject.
	out3 := 1 - (1-2*above3)*(1-2*above3)
	between := above2 - above3
	tests := []struct {
		reason         string
		rules          []quality.Rule
		levels         int
		first, settled float64
	}{
		{"1-3s, one control: 0.27 % of runs", []quality.Rule{quality.OneThree}, 1, 2 * above3, 2 * above3},
		{"1-3s, two controls", []quality.Rule{quality.OneThree}, 2, out3, out3},
		{"2-2s, one control: this one and the one before", []quality.Rule{quality.TwoTwo}, 1, 0, 2 * above2 * above2},
		{"4-1s, one control", []quality.Rule{quality.FourOne}, 1, 0, 2 * math.Pow(above1, 4)},
		{"10-x, one control: 2⁻⁹", []quality.Rule{quality.TenX}, 1, 0, 1.0 / 512},
		{"R-4s, two controls", []quality.Rule{quality.RFour}, 2, 2 * above2 * above2, 2 * above2 * above2},
		// Either one is beyond 3, or both are between 2 and 3, on the same side or not.
		{"1-3s, 2-2s and R-4s within a run of two", []quality.Rule{quality.OneThree, quality.TwoTwo, quality.RFour}, 2, out3 + 4*between*between, 0.009083007159393},
		{"the warning rejects nothing", []quality.Rule{quality.OneTwo}, 2, 0, 0},
		{"no rule rejects nothing", nil, 1, 0, 0},
	}
	for _, test := range tests {
		got := must[quality.Power](t)(quality.Rules{Use: test.rules}.Power(test.levels, 0, 1))
		wantNear(t, test.reason+": first run", got.First, test.first, close12)
		wantNear(t, test.reason+": settled", got.Settled, test.settled, close12)
	}
}

// The published rate of false rejections of the multi-rules with two controls a run is about one to
// two in a hundred (Westgard et al. 1981 and the power function graphs after it: near 0.01 within
// the run, more with the rules that reach back; from memory).
func TestPublishedFalseRejections(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	within := []quality.Rule{quality.OneThree, quality.TwoTwo, quality.RFour}
	tests := []struct {
		reason  string
		rules   quality.Rules
		lo, hi  float64
		settled float64 // by this program, so that a change is noticed
	}{
		{"1-3s/2-2s/R-4s", quality.Rules{Use: within}, 0.005, 0.015, 0.00908300715939},
		{"all rules, across levels", quality.Rules{Use: quality.MultiRules, AcrossLevels: true}, 0.01, 0.025, 0.0201294960870},
		{"all rules, the warning first", classic(), 0.005, 0.02, 0.0103359175011},
	}
	for _, test := range tests {
		got := must[quality.Power](t)(test.rules.Power(2, 0, 1))
		if got.Settled < test.lo || got.Settled > test.hi {
			t.Errorf("%s: %v is not near the published rate", test.reason, got.Settled)
		}
		wantNear(t, test.reason, got.Settled, test.settled, 1e-10)
	}
}

// The chain and the watch itself agree: 30,000 simulated runs each, a fixed seed, four standard
// errors.
func TestPowerAgainstSimulation(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	const runs = 30_000
	tests := []struct {
		rules         quality.Rules
		levels        int
		shift, spread float64
	}{
		{quality.Rules{Use: quality.MultiRules, AcrossLevels: true}, 2, 0, 1},
		{classic(), 2, 0.8, 1},
		{quality.Rules{Use: quality.MultiRules}, 2, 0, 1.7},
		{quality.Rules{Use: quality.MultiRules}, 1, -0.5, 1},
	}
	// A narrow target keeps whole RLU fine enough: one RLU at 100,000 is 0.0001 of z.
	fine := make([]quality.Target, 2)
	for i, level := range []string{"A", "B"} {
		fine[i] = levelTarget(level)
		fine[i].Mean, fine[i].SD = 5, 0.05
	}
	for i, test := range tests {
		random := rand.New(rand.NewPCG(1, uint64(i)))
		w := must[*quality.Watch](t)(quality.NewWatch(meter, fine, test.rules))
		rejected := 0
		for run := range runs {
			var controls []quality.Control
			for j, level := range []string{"A", "B"}[:test.levels] {
				z := test.shift + test.spread*random.NormFloat64()
				controls = append(controls, quality.Control{
					ID: ledger.ID(level), Meter: meter.Code, Kind: quality.Positive, Material: "light source", Lot: level,
					Value: unit.Number(math.Round(math.Pow(10, 5+0.05*z) - 1)), At: since + unit.Instant(10*run+j), Person: "lead",
				})
			}
			if must[quality.Verdict](t)(w.Next(controls)).Outcome == quality.Rejected {
				rejected++
			}
		}
		p := must[quality.Power](t)(test.rules.Power(test.levels, test.shift, test.spread)).Settled
		// Rejections of neighbouring runs hang together, as they share controls: with streaks of up
		// to ten runs the standard error is at most √10 times that of independent runs.
		allowed := 4 * math.Sqrt(10*p*(1-p)/runs)
		if got := float64(rejected) / runs; math.Abs(got-p) > allowed {
			t.Errorf("case %d: simulated %.5f, computed %.5f, allowed difference %.5f", i, got, p, allowed)
		}
	}
}

func TestPowerProperties(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	rules := quality.Rules{Use: quality.MultiRules}
	last := 0.0
	for shift := 0.0; shift < 6; shift += 0.5 {
		up := must[quality.Power](t)(rules.Power(1, shift, 1))
		down := must[quality.Power](t)(rules.Power(1, -shift, 1))
		wantNear(t, "a shift down is a shift up", down.Settled, up.Settled, 1e-9)
		if up.Settled < last || up.Settled > 1+1e-12 {
			t.Errorf("shift %v: power %v after %v", shift, up.Settled, last)
		}
		last = up.Settled
	}
	if again := must[quality.Power](t)(rules.Power(2, 0.3, 1)); again != must[quality.Power](t)(rules.Power(2, 0.3, 1)) {
		t.Error("the same question has two answers")
	}
	for _, bad := range []struct {
		levels        int
		shift, spread float64
	}{{0, 0, 1}, {3, 0, 1}, {1, math.NaN(), 1}, {1, math.Inf(1), 1}, {1, 0, 0}, {1, 0, math.NaN()}, {1, 0, math.Inf(1)}} {
		if _, err := rules.Power(bad.levels, bad.shift, bad.spread); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}

// BenchmarkPower is the largest case: two levels, every rule, across levels.
func BenchmarkPower(b *testing.B) {
	rules := quality.Rules{Use: quality.MultiRules, AcrossLevels: true}
	for b.Loop() {
		if _, err := rules.Power(2, 0, 1); err != nil {
			b.Fatal(err)
		}
	}
}
