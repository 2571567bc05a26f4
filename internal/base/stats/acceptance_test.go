package stats

import (
	"math"
	"testing"
)

// NIST/SEMATECH e-Handbook of Statistical Methods, 6.2.2: the probability of accepting a lot of which
// a share p is defective by a sample of 52 with at most 3 defectives, P(X ≤ 3) = I₁₋ₚ(49, 4).
func TestHandbookAcceptance(t *testing.T) {
	t.Parallel()
	want := []float64{.998153, .979765, .929537, .845989, .738317, .619594, .501847, .393763, .300280, .223187, .162066, .115198}
	for i, w := range want {
		p := float64(i+1) / 100
		if got := betaAtMostOf(49, 4, 1-p, p); math.Abs(got-w) > 5.1e-7 { // printed to six places
			t.Errorf("p = %.2f: %.7f, want %.6f", p, got, w)
		}
	}
}
