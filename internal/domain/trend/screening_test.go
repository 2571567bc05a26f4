package trend_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/trend"
)

func TestLatestAgainstBaseline(t *testing.T) {
	// Mean 1.2 of five readings against a baseline of 30: t = 1.2/√(1/5+1/30), 29 degrees of freedom;
	// p by an independent implementation, 15 digits. Earlier readings do not count.
	u := must(trend.TestUpward(atFive(30), zPoints(-3, -3, 0.2, 2.2, 1.2, 1.0, 1.4), 5))
	wantNear(t, "shift", float64(u.Shift), 1.2, 1e-12)
	wantNear(t, "p", float64(u.P), 0.009502070472336383, 1e-11)
	if u.DF != 29 || u.Readings != 5 || u.Key != key() {
		t.Errorf("%+v", u)
	}
	if u := must(trend.TestUpward(atFive(30), zPoints(1), 5)); u.Readings != 1 {
		t.Errorf("%+v", u)
	}
	if _, err := trend.TestUpward(atFive(30), nil, 5); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("no reading: %v", err)
	}
	if _, err := trend.TestUpward(atFive(30), zPoints(1), 0); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("the last 0: %v", err)
	}
}

// Benjamini & Hochberg 1995, section 3.2: fifteen p-values, of which four are found at q = 0.05.
func TestScreeningPublished(t *testing.T) {
	p := []unit.Number{
		.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262, .5719, .6528, .7590, 1,
	}
	fleet := make([]trend.Upward, len(p))
	for i := range p { // from the end, so that there is something to sort
		fleet[i] = trend.Upward{Key: trend.Key{Scope: fmt.Sprint(i)}, P: p[len(p)-1-i]}
	}
	ranked := must(trend.Screening(fleet, 0.05))
	for i, r := range ranked {
		if r.P != p[i] || r.Found != (i < 4) {
			t.Errorf("rank %d: %+v", i+1, r)
		}
	}
	wantNear(t, "adjusted p of the fourth", float64(ranked[3].Adjusted), .0095*15/4, 1e-13)
	if fleet[0].P != 1 {
		t.Error("the argument was sorted")
	}
}

// By definition: with i the largest rank with p_(i) ≤ i·q/m, the i smallest are found.
func TestScreeningByDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := rapid.Float64Range(0.01, 0.5).Draw(t, "q")
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 0, 30).Draw(t, "p")
		fleet := make([]trend.Upward, len(p))
		for i := range p {
			fleet[i].P = unit.Number(p[i] * p[i])
		}
		ranked := must(trend.Screening(fleet, q))
		last := 0
		for i, r := range ranked {
			if float64(r.P)*float64(len(p))/float64(i+1) <= q {
				last = i + 1
			}
			if i > 0 && (r.P < ranked[i-1].P || r.Adjusted < ranked[i-1].Adjusted) {
				t.Fatal("not in order")
			}
		}
		for i, r := range ranked {
			if r.Found != (i < last) && math.Abs(float64(r.Adjusted)-q) > 1e-12 {
				t.Fatalf("rank %d of %d: %+v", i+1, last, r)
			}
		}
	})
}

// Of 200 series 20 are worse by 1.5 sigma: the share of false ones among those found is at most q on
// average (here 0.9·q), and most of the 20 are found.
func TestScreeningFleet(t *testing.T) {
	random := rand.New(rand.NewPCG(77, 1))
	var false95, found tally
	for range 60 {
		fleet := make([]trend.Upward, 200)
		for i := range fleet {
			shift := 0.0
			if i < 20 {
				shift = 1.5
			}
			b := newBaseline(random)
			b.Key.Scope = fmt.Sprintf("scope-%03d", i)
			fleet[i] = must(trend.TestUpward(b, series(random, 30, 8, shift), 8))
		}
		hits, wrong := 0.0, 0.0
		for _, r := range must(trend.Screening(fleet, 0.1)) {
			if r.Found {
				hits++
				if r.Key.Scope >= "scope-020" {
					wrong++
				}
			}
		}
		false95.add(wrong / max(1, hits))
		found.add((hits - wrong) / 20)
	}
	if share, se := false95.mean(); share > 0.09+2.58*se {
		t.Errorf("%.3f ± %.3f of those found are false, want 0.09", share, se)
	}
	if power, _ := found.mean(); power < 0.8 {
		t.Errorf("%.2f of the worse series found", power)
	}
}

func TestScreeningRefuses(t *testing.T) {
	for _, q := range []float64{0, 1, -1} {
		if _, err := trend.Screening(nil, q); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("q %v: %v", q, err)
		}
	}
	if _, err := trend.Screening([]trend.Upward{{P: 2}}, 0.1); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("p 2: %v", err)
	}
	if r := must(trend.Screening(nil, 0.1)); len(r) != 0 {
		t.Errorf("no series: %v", r)
	}
}
