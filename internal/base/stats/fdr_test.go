package stats_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// R 4.2.2, p.adjust().
func TestBenjaminiHochbergReference(t *testing.T) {
	t.Parallel()
	p := []float64{.01, .04, .03, .005, .55, .9, .2, .04, 1, .0001, .041}
	before := slices.Clone(p)
	want := []float64{
		0.03666666666666667, 0.06442857142857143, 0.06442857142857143, 0.02750000000000000, 0.67222222222222228,
		0.99000000000000010, 0.27500000000000002, 0.06442857142857143, 1, 0.00110000000000000, 0.06442857142857143,
	}
	got := must[[]float64](t)(stats.BenjaminiHochberg(p))
	for i := range p {
		wantNear(t, fmt.Sprintf("Benjamini–Hochberg %d", i), got[i], want[i], 1e-14)
	}
	if !slices.Equal(p, before) {
		t.Error("the p values were changed")
	}
}

// discoveries are the indices of the p values whose false discovery rate is at most q.
func discoveries(t interface {
	Helper()
	Fatal(args ...any)
}, p []float64, q float64,
) (found []int) {
	t.Helper()
	for i, rate := range must[[]float64](t)(stats.BenjaminiHochberg(p)) {
		if rate <= q {
			found = append(found, i)
		}
	}
	return found
}

// The fifteen p values of Benjamini & Hochberg 1995, section 4.1 (from memory): four discoveries at 0.05.
func TestDiscoveriesPublished(t *testing.T) {
	t.Parallel()
	p := []float64{
		.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262, .5719, .6528, .7590, 1,
	}
	found := discoveries(t, p, 0.05)
	if !slices.Equal(found, []int{0, 1, 2, 3}) {
		t.Errorf("discoveries %v, want the first four", found)
	}
	slices.Reverse(p)
	found = discoveries(t, p, 0.05)
	if !slices.Equal(found, []int{11, 12, 13, 14}) {
		t.Errorf("reversed: %v, want the last four", found)
	}
}

// The step-up rule by its definition: the largest k with p₍ₖ₎ ≤ q·k/m.
func TestDiscoveriesFollowTheDefinition(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		hundredths := rapid.SliceOfN(rapid.IntRange(0, 1000), 1, 30).Draw(t, "p × 1000")
		q := rapid.IntRange(1, 99).Draw(t, "q %")
		p := make([]float64, len(hundredths))
		sorted := slices.Clone(hundredths)
		slices.Sort(sorted)
		for i, v := range hundredths {
			p[i] = float64(v) / 1000
		}
		m, cut, tie := len(p), -1, false
		for i, v := range sorted { // v/1000 ≤ q/100·(i+1)/m in whole numbers
			switch {
			case v*m < 10*q*(i+1):
				cut = v
			case v*m == 10*q*(i+1):
				cut, tie = v, true // floating point may decide either way
			}
		}
		if tie {
			t.Skip()
		}
		found := discoveries(t, p, float64(q)/100)
		var want []int
		for i, v := range hundredths {
			if v <= cut {
				want = append(want, i)
			}
		}
		if !slices.Equal(found, want) {
			t.Fatalf("p %v at %d %%: %v, want %v", p, q, found, want)
		}
	})
}

func TestFalseDiscoveryArguments(t *testing.T) {
	t.Parallel()
	for _, bad := range []float64{-0.1, 1.1, math.NaN(), math.Inf(1)} {
		if _, err := stats.BenjaminiHochberg([]float64{0.5, bad}); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("p %v: %v, want ErrArgument", bad, err)
		}
	}
	if got, err := stats.BenjaminiHochberg(nil); len(got) != 0 || err != nil {
		t.Errorf("none: %v, %v", got, err)
	}
}
