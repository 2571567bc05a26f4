package quality_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
)

func TestTargetCheck(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason string
		from   quality.Target
		change func(*quality.Target)
		want   string
	}{
		{"own runs alone", levelTarget("A"), func(*quality.Target) {}, ""},
		{"stated limits alone", levelTarget("A"), func(g *quality.Target) { g.Mean, g.SD, g.Runs, g.Low, g.High = 0, 0, 0, 100, 200 }, ""},
		{"both", levelTarget("A"), func(g *quality.Target) { g.Low, g.High = 100, 200_000 }, ""},
		{"a blank has an upper limit", blankTarget(), func(*quality.Target) {}, ""},
		{"an upper limit of 0 lets only 0 pass", blankTarget(), func(g *quality.Target) { g.High = 0 }, ""},
		{"neither limits nor runs judge nothing", levelTarget("A"), func(g *quality.Target) { g.Mean, g.SD, g.Runs = 0, 0, 0 }, "give limits, or the mean"},
		{"19 runs are too few", levelTarget("A"), func(g *quality.Target) { g.Runs = 19 }, "at least 20 runs, not 19"},
		{"a mean without a spread", levelTarget("A"), func(g *quality.Target) { g.SD, g.High = 0, 10 }, "standard deviation over 0"},
		{"NaN is no spread", levelTarget("A"), func(g *quality.Target) { g.SD = unit.Number(math.NaN()) }, "not a number"},
		{"limits the wrong way round", levelTarget("A"), func(g *quality.Target) { g.Low, g.High = 200, 100 }, "must be over the lower"},
		{"a lower limit without an upper one", levelTarget("A"), func(g *quality.Target) { g.Low = 200 }, "must be over the lower"},
		{"a blank has no mean", blankTarget(), func(g *quality.Target) { g.Mean = 1 }, "an upper limit only"},
		{"a blank has no lower limit", blankTarget(), func(g *quality.Target) { g.Low = 1 }, "an upper limit only"},
		{"unknown kind", blankTarget(), func(g *quality.Target) { g.Kind = "" }, "is not known"},
		{"whose target is it", blankTarget(), func(g *quality.Target) { g.System = "" }, "one meter system"},
		{"who adopted it", blankTarget(), func(g *quality.Target) { g.Adopter = "" }, "who adopted it"},
	}
	for _, test := range tests {
		target := test.from
		test.change(&target)
		if err := target.Check(); !mentions(err, test.want) {
			t.Errorf("%s: got %v, want %q", test.reason, err, test.want)
		}
	}
}

func TestFindTarget(t *testing.T) {
	t.Parallel()
	system, mine, later := levelTarget("A"), levelTarget("A"), levelTarget("A")
	mine.Meter, mine.Edition = "M-1", "mine"
	later.Adopted, later.Edition = 5_000, "later"
	twin := later
	twin.Edition = "twin"
	other := levelTarget("A")
	other.System, other.Edition = "system B", "other system"
	control := quality.Control{Meter: "M-1", Kind: quality.Positive, Material: "light source", Lot: "A", At: 6_000}
	tests := []struct {
		reason  string
		targets []quality.Target
		at      unit.Instant
		want    string
	}{
		{"the only one", []quality.Target{system}, 6_000, "1"},
		{"none for another system", []quality.Target{other}, 6_000, ""},
		{"none before it was adopted", []quality.Target{later}, 4_999, ""},
		{"in force from the instant of adoption", []quality.Target{later}, 5_000, "later"},
		{"the latest adopted", []quality.Target{later, system}, 6_000, "later"},
		{"an old control keeps its old target", []quality.Target{later, system}, 4_999, "1"},
		{"this meter's before the system's, although adopted earlier", []quality.Target{later, mine, later}, 6_000, "mine"},
		{"of two adopted at one instant the later in the list", []quality.Target{later, twin}, 6_000, "twin"},
	}
	for _, test := range tests {
		c := control
		c.At = test.at
		if got, ok := quality.FindTarget(test.targets, meter, c); ok != (test.want != "") || got.Edition != test.want {
			t.Errorf("%s: got %q, %v", test.reason, got.Edition, ok)
		}
	}
}

// twenty returns controls of level A whose z, under levelTarget, are ±1 in turn.
func twenty() []quality.Control {
	var controls []quality.Control
	for i := range 20 {
		value := unit.Number(99) // z = −1
		if i%2 == 0 {
			value = 9_999 // z = 1
		}
		controls = append(controls, quality.Control{
			ID: ledger.ID(fmt.Sprintf("%02d", i)), Meter: "M-1", Kind: quality.Positive, Material: "light source", Lot: "A",
			Value: value, At: since + unit.Instant(i), Person: "lead",
		})
	}
	return controls
}

func TestOwnTarget(t *testing.T) {
	t.Parallel()
	got := must[quality.Target](t)(quality.OwnTarget(levelTarget("A"), twenty()))
	// Ten times 4 and ten times 2: mean 3, sum of squares 20, √(20/19).
	wantNear(t, "mean", float64(got.Mean), 3, close12)
	wantNear(t, "sd", float64(got.SD), math.Sqrt(20.0/19), close12)
	if got.Runs != 20 {
		t.Errorf("runs: %d", got.Runs)
	}
	tests := []struct {
		reason string
		change func([]quality.Control) []quality.Control
		want   string
	}{
		{"19 are too few", func(c []quality.Control) []quality.Control { return c[:19] }, "take 1 more"},
		{"another lot is another level", func(c []quality.Control) []quality.Control { c[3].Lot = "B"; return c }, "does not belong"},
		{"a blank has no mean", func(c []quality.Control) []quality.Control { c[3].Kind = quality.Blank; return c }, "does not belong"},
		{"each must be a control", func(c []quality.Control) []quality.Control { c[3].Person = ""; return c }, "who read it"},
		{"equal readings have no spread", func(c []quality.Control) []quality.Control {
			for i := range c {
				c[i].Value = 500
			}
			return c
		}, "read the same"},
	}
	for _, test := range tests {
		if _, err := quality.OwnTarget(levelTarget("A"), test.change(twenty())); !mentions(err, test.want) {
			t.Errorf("%s: got %v, want %q", test.reason, err, test.want)
		}
	}
}

// The order of controls changes no digit of their target.
func TestOwnTargetOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		controls := twenty()
		for i := range controls {
			controls[i].Value = unit.Number(rapid.IntRange(0, 100_000).Draw(t, "RLU"))
		}
		controls[0].Value = 200_000 // so that they are never all equal
		a := must[quality.Target](t)(quality.OwnTarget(levelTarget("A"), controls))
		b := must[quality.Target](t)(quality.OwnTarget(levelTarget("A"), rapid.Permutation(slices.Clone(controls)).Draw(t, "order")))
		if a != b {
			t.Fatalf("%+v and %+v", a, b)
		}
	})
}
