package stats

import "math"

// Hypergeometric is the distribution of the number of marked units among Drawn units taken
// without replacement from Size units of which Marked are marked.
//
// Conditions: 0 ≤ Marked ≤ Size, 0 ≤ Drawn ≤ Size, Size ≤ MaxCount; outside them every method
// returns NaN. The zero value is an empty population from which nothing is drawn: it gives 0 with
// probability 1.
//
// Source of the formulas: N. L. Johnson, A. W. Kemp & S. Kotz, Univariate Discrete Distributions,
// 3rd ed. 2005, section 6.2; of the arithmetic: C. Loader, Fast and accurate computation of
// binomial probabilities, 2000.
type Hypergeometric struct {
	Size, Marked, Drawn int
}

func (h Hypergeometric) valid() bool {
	return h.Size >= 0 && h.Size <= MaxCount &&
		h.Marked >= 0 && h.Marked <= h.Size && h.Drawn >= 0 && h.Drawn <= h.Size
}

// Support returns the smallest and largest possible number of marked units in the draw; 0 and −1
// outside the conditions.
func (h Hypergeometric) Support() (lo, hi int) {
	if !h.valid() {
		return 0, -1
	}
	return max(0, h.Drawn+h.Marked-h.Size), min(h.Drawn, h.Marked)
}

// Mean returns Drawn·Marked/Size; 0 for the empty population.
func (h Hypergeometric) Mean() float64 {
	switch {
	case !h.valid():
		return math.NaN()
	case h.Size == 0:
		return 0
	}
	return float64(h.Drawn) * float64(h.Marked) / float64(h.Size)
}

// Prob returns P(X = k) = C(K, k)·C(N−K, n−k)/C(N, n), and 0 outside the support.
func (h Hypergeometric) Prob(k int) float64 { return math.Exp(h.LogProb(k)) }

// LogProb returns the natural logarithm of [Hypergeometric.Prob], −Inf outside the support. It
// does not underflow.
func (h Hypergeometric) LogProb(k int) float64 {
	if !h.valid() {
		return math.NaN()
	}
	if lo, hi := h.Support(); k < lo || k > hi {
		return math.Inf(-1)
	}
	if h.Drawn == 0 || h.Drawn == h.Size {
		return 0 // one point only
	}
	// The quotient of three binomial probabilities at the same p = n/N, each accurate to the last
	// digits, in place of three large logarithms of factorials that cancel.
	p, q := float64(h.Drawn)/float64(h.Size), float64(h.Size-h.Drawn)/float64(h.Size)
	return logBinomial(float64(k), float64(h.Marked), p, q) +
		logBinomial(float64(h.Drawn-k), float64(h.Size-h.Marked), p, q) -
		logBinomial(float64(h.Drawn), float64(h.Size), p, q)
}

// AtMost returns P(X ≤ k): the sum of the smaller tail, so that small probabilities keep their
// digits.
func (h Hypergeometric) AtMost(k int) float64 {
	lo, hi := h.Support()
	switch {
	case !h.valid():
		return math.NaN()
	case k < lo:
		return 0
	case k >= hi:
		return 1
	case float64(k) < h.Mean():
		return min(1, h.sumDown(k, 1))
	}
	return max(0, 1-h.sumUp(k+1, 1))
}

// MoreThan returns P(X > k), likewise from the smaller tail.
func (h Hypergeometric) MoreThan(k int) float64 {
	lo, hi := h.Support()
	switch {
	case !h.valid():
		return math.NaN()
	case k < lo:
		return 1
	case k >= hi:
		return 0
	case float64(k) < h.Mean():
		return max(0, 1-h.sumDown(k, 1))
	}
	return min(1, h.sumUp(k+1, 1))
}

// missed returns E[s^X], the probability that a draw shows nothing although each marked unit in
// it is recognised with probability 1−s, independently.
func (h Hypergeometric) missed(s float64) float64 {
	lo, hi := h.Support()
	if s == 0 {
		if lo > 0 {
			return 0
		}
		return h.Prob(0)
	}
	// Terms s^k·P(X = k) rise to one peak and fall again; find it and add both sides.
	peak, top := lo, hi
	for peak < top {
		mid := peak + (top-peak)/2
		if h.ratio(mid)*s > 1 {
			peak = mid + 1
		} else {
			top = mid
		}
	}
	sum := h.sumUp(peak, s)
	if peak > lo {
		sum += h.sumDown(peak-1, s)
	}
	return min(1, sum)
}

// ratio returns P(X = k+1)/P(X = k).
func (h Hypergeometric) ratio(k int) float64 {
	return float64(h.Marked-k) * float64(h.Drawn-k) /
		(float64(k+1) * float64(h.Size-h.Marked-h.Drawn+k+1))
}

// sumUp adds s^j·P(X = j) for j = k, k+1, … and stops where the terms, falling by then, no longer
// change the sum. The caller starts at or above the peak.
func (h Hypergeometric) sumUp(k int, s float64) float64 {
	_, hi := h.Support()
	term := math.Exp(h.LogProb(k) + float64(k)*math.Log(s))
	sum := term
	for j := k; j < hi; j++ {
		term *= h.ratio(j) * s
		if sum+term == sum {
			break
		}
		sum += term
	}
	return sum
}

// sumDown adds s^j·P(X = j) for j = k, k−1, … in the same way from at or below the peak.
func (h Hypergeometric) sumDown(k int, s float64) float64 {
	lo, _ := h.Support()
	term := math.Exp(h.LogProb(k) + float64(k)*math.Log(s))
	sum := term
	for j := k; j > lo; j-- {
		term /= h.ratio(j-1) * s
		if sum+term == sum {
			break
		}
		sum += term
	}
	return sum
}
