package stats

import (
	"fmt"
	"math"
	"math/big"
	"sort"
)

// MaxPopulation is the largest population for which a detection sample size is computed.
const MaxPopulation = 1_000_000

// AssuranceSize returns how many independent trials are needed so that, if no more than failures
// of them fail, one may say with confidence c that the proportion of good units is above good:
// the smallest n with P(X ≤ failures) ≤ 1−c, X binomial with n trials and failure probability
// 1−good. With failures = 0 it is the smallest n with goodⁿ ≤ 1−c, ⌈ln(1−c)/ln good⌉.
//
// Unit: trials. Ties count as reached and are decided exactly: good 0.1 at c 0.9 gives 1, where
// floating point gives 2. Conditions: 0 ≤ good < 1, failures ≥ 0, a given confidence, else
// [ErrArgument]; [ErrUnreachable] if more than MaxCount trials would be needed.
//
// Source: the success-run theorem and its extension, e.g. W. Q. Meeker, G. J. Hahn & L. A.
// Escobar, Statistical Intervals, 2nd ed. 2017, section 9.6 (S. S. Wilks 1941 for the
// order-statistic form).
func AssuranceSize(good Probability, failures int, c Confidence) (int, error) {
	switch {
	case !good.Known() || good.text == "1":
		return 0, fmt.Errorf("proportion of good units %q: want at least 0 and less than 1: %w", good, ErrArgument)
	case failures < 0 || failures >= MaxCount:
		return 0, fmt.Errorf("%d failures allowed: want 0 to %d: %w", failures, MaxCount-1, ErrArgument)
	case !c.Known():
		return 0, fmt.Errorf("no confidence given: %w", ErrArgument)
	case good.text == "0":
		return failures + 1, nil // every trial fails
	}
	p, q, risk := good.Rat(), good.complement(), c.risk()
	n, err := estimateAssurance(toFloat(p), toFloat(q), failures, toFloat(risk))
	if err != nil {
		return 0, fmt.Errorf("good %s with %d failures at confidence %s: %w", good, failures, c, err)
	}
	// The estimate is right or next to right; the exact comparison settles it.
	for !binomialAtMost(n, failures, p, q, risk) {
		n++
	}
	for n > failures+1 && binomialAtMost(n-1, failures, p, q, risk) {
		n--
	}
	if n > MaxCount {
		return 0, fmt.Errorf("good %s with %d failures at confidence %s: more than %d trials: %w",
			good, failures, c, MaxCount, ErrUnreachable)
	}
	return n, nil
}

// estimateAssurance solves P(X ≤ failures | n) = risk in floating point.
func estimateAssurance(p, q float64, failures int, risk float64) (int, error) {
	if failures == 0 {
		n := math.Ceil(math.Log(risk) / logOf(p, q))
		if n > MaxCount {
			return 0, fmt.Errorf("more than %d trials: %w", MaxCount, ErrUnreachable)
		}
		return max(1, int(n)), nil
	}
	spare := sort.Search(MaxCount-failures, func(i int) bool {
		return betaAtMost(float64(i+1), float64(failures+1), p) <= risk
	})
	if spare == MaxCount-failures {
		return 0, fmt.Errorf("more than %d trials: %w", MaxCount, ErrUnreachable)
	}
	return failures + 1 + spare, nil
}

// binomialAtMost says exactly whether P(X ≤ f) ≤ risk for X ~ Binomial(n, q), p = 1−q, 0 < p < 1,
// 0 ≤ f < n. It first computes with 512 bits; only if that leaves the two within 2⁻²⁰⁰ of each
// other does it compute with integers. A true tie needs a power of p's numerator to divide the
// numerator of risk, so that n is small whenever the integers are needed.
func binomialAtMost(n, f int, p, q, risk *big.Rat) bool {
	const bits = 512
	float := func(r *big.Rat) *big.Float { return new(big.Float).SetPrec(bits).SetRat(r) }
	number := func(i int) *big.Float { return new(big.Float).SetPrec(bits).SetInt64(int64(i)) }
	odds := float(new(big.Rat).Quo(q, p))
	term := floatPower(float(p), n)
	sum := new(big.Float).Copy(term)
	for k := 1; k <= f; k++ { // C(n, k)·q^k·p^(n−k) from its predecessor
		term.Mul(term, odds)
		term.Mul(term, number(n-k+1))
		term.Quo(term, number(k))
		sum.Add(sum, term)
	}
	limit := float(risk)
	gap := new(big.Float).Sub(sum, limit)
	if gap.Sign() != 0 && gap.MantExp(nil) > limit.MantExp(nil)-200 {
		return gap.Sign() < 0
	}
	// P(X ≤ f) = Σ C(n, k)·(b−a)^k·a^(n−k) / bⁿ with p = a/b.
	a, b := p.Num(), p.Denom()
	bad := new(big.Int).Sub(b, a)
	total := new(big.Int)
	for k := 0; k <= f; k++ {
		t := new(big.Int).Binomial(int64(n), int64(k))
		t.Mul(t, power(bad, k))
		total.Add(total, t.Mul(t, power(a, n-k)))
	}
	return new(big.Rat).SetFrac(total, power(b, n)).Cmp(risk) <= 0
}

// floatPower returns xⁿ at the precision of x by repeated squaring.
func floatPower(x *big.Float, n int) *big.Float {
	result := new(big.Float).SetPrec(x.Prec()).SetInt64(1)
	square := new(big.Float).Copy(x)
	for ; n > 0; n >>= 1 {
		if n&1 == 1 {
			result.Mul(result, square)
		}
		square.Mul(square, square)
	}
	return result
}

func power(x *big.Int, n int) *big.Int { return new(big.Int).Exp(x, big.NewInt(int64(n)), nil) }

// DetectionSize returns the smallest number of units to draw without replacement from size units
// so that, if at least positive of them are positive, at least one is found with confidence c: the
// smallest n with 1 − Σ P(X = k)·(1−sensitivity)^k ≥ c, X hypergeometric. Each positive unit among those
// drawn is recognised with probability sensitivity, independently. Specificity is taken as perfect.
//
// Unit: units. Ties count as reached and are decided exactly: 1 positive among 10 at c 0.9 needs
// 9. Conditions: 1 ≤ positive ≤ size ≤ MaxPopulation, sensitivity above 0, a given confidence,
// else [ErrArgument]; [ErrUnreachable] if even drawing all does not reach c, as happens with an
// imperfect sensitivity.
//
// Source: A. R. Cannon & R. T. Roe, Livestock Disease Surveys, 1982 (perfect test); R. M. Cameron &
// F. C. Baldock, Prev Vet Med 1998;34:1-17 (imperfect test). The usual closed form (1−(1−c)^(1/D))·(N−(D−1)/2) of Cannon & Roe is an
// approximation and now and then differs by one.
func DetectionSize(size, positive int, sensitivity Probability, c Confidence) (int, error) {
	if err := checkPopulation(size, positive, sensitivity); err != nil {
		return 0, err
	}
	switch {
	case positive == 0:
		return 0, fmt.Errorf("no positive unit to detect: %w", ErrArgument)
	case sensitivity.text == "0":
		return 0, fmt.Errorf("sensitivity 0 detects nothing: %w", ErrArgument)
	case !c.Known():
		return 0, fmt.Errorf("no confidence given: %w", ErrArgument)
	}
	s, risk := sensitivity.complement(), c.risk()
	n := sort.Search(size+1, func(n int) bool {
		return missedAtMost(Hypergeometric{Size: size, Marked: positive, Drawn: n}, s, risk)
	})
	if n > size {
		return 0, fmt.Errorf("%d of %d at sensitivity %s and confidence %s: %w",
			positive, size, sensitivity, c, ErrUnreachable)
	}
	return n, nil
}

func checkPopulation(size, positive int, sensitivity Probability) error {
	switch {
	case size < 0 || size > MaxPopulation:
		return fmt.Errorf("population of %d: want 0 to %d: %w", size, MaxPopulation, ErrArgument)
	case positive < 0 || positive > size:
		return fmt.Errorf("%d positive among %d: %w", positive, size, ErrArgument)
	case !sensitivity.Known():
		return fmt.Errorf("no sensitivity given: %w", ErrArgument)
	}
	return nil
}

// missedAtMost says exactly whether E[s^X] ≤ risk. The floating point sum, good to about eleven
// digits, decides unless it lies within 1e-8 of the limit, relatively; then integers do.
func missedAtMost(h Hypergeometric, s, risk *big.Rat) bool {
	limit := toFloat(risk)
	if m := h.missed(toFloat(s)); math.Abs(m-limit) > 1e-8*limit {
		return m < limit
	}
	// E[s^X]·C(N, n)·b^hi = Σ C(K, k)·C(N−K, n−k)·a^k·b^(hi−k) with s = a/b.
	lo, hi := h.Support()
	a, b := s.Num(), s.Denom()
	total := new(big.Int)
	for k := lo; k <= hi; k++ {
		if k > 0 && a.Sign() == 0 {
			break
		}
		t := new(big.Int).Binomial(int64(h.Marked), int64(k))
		t.Mul(t, new(big.Int).Binomial(int64(h.Size-h.Marked), int64(h.Drawn-k)))
		t.Mul(t, power(a, k))
		total.Add(total, t.Mul(t, power(b, hi-k)))
	}
	all := new(big.Int).Binomial(int64(h.Size), int64(h.Drawn))
	return new(big.Rat).SetFrac(total, all.Mul(all, power(b, hi))).Cmp(risk) <= 0
}
