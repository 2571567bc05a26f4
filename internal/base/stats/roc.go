package stats

import (
	"fmt"
	"iter"
	"math"
	"math/big"
	"math/bits"
	"slices"
)

// In this file a case is one unit of which a marker was measured (its value) and of which the
// truth is known (positive or not). m is the number of positive cases, n of negative ones. High
// values speak for positive; a marker for which low values do is negated first. The area under the
// curve is P(X > Y) + ½·P(X = Y), X being the value of a positive and Y of a negative case taken
// at random, so that ties count one half.

// ROC is the receiver operating characteristic of one marker: how many positive and negative cases
// lie at each distinct value. [NewROC] makes one; the zero value has no cases and an area of 0.
type ROC struct {
	ties                []tie // by rising value
	positives           int
	negatives           int
	wins                uint64 // 2mn·area: pairs that the positive case wins count 2, ties 1
	varOfPos, varOfNegs float64
}

// tie is all cases of one value.
type tie struct {
	value              float64
	positive, negative uint32
}

// NewROC sorts the cases, in O(N) for N values of few digits and O(N·64/11) at most. values and
// positive have the same length and are not changed. Values are finite; both classes must occur;
// anything else gives [ErrArgument].
func NewROC(values []float64, positive []bool) (ROC, error) {
	cases, m, err := rankCases(values, positive)
	if err != nil {
		return ROC{}, err
	}
	n := len(cases) - m
	distinct := 0
	for range runs(cases) {
		distinct++
	}
	r := ROC{ties: make([]tie, 0, distinct), positives: m, negatives: n}
	var ofPos, ofNeg moment
	abovePos, belowNeg := m, 0
	for run := range runs(cases) {
		p := 0
		for _, c := range run {
			p += int(c.tag & 1)
		}
		q := len(run) - p
		abovePos -= p
		win, loss := uint64(2*belowNeg+q), uint64(2*abovePos+p)
		ofPos.add(uint64(p), win, win)
		ofNeg.add(uint64(q), loss, loss)
		belowNeg += q
		r.ties = append(r.ties, tie{valueOf(run[0].key), uint32(p), uint32(q)})
	}
	r.wins = ofPos.a
	r.varOfPos = ofPos.covariance(m, n)
	r.varOfNegs = ofNeg.covariance(n, m)
	return r, nil
}

// Area returns the area under the curve, the Mann–Whitney statistic divided by mn: exact but for
// one rounding.
//
// Source: J. A. Hanley & B. J. McNeil, Radiology 1982;143:29-36.
func (r ROC) Area() float64 {
	if r.positives == 0 || r.negatives == 0 {
		return 0
	}
	return float64(r.wins) / (2 * float64(r.positives) * float64(r.negatives))
}

// Cut is one rule "a case is called positive if its value is at or over At" with what it does to
// the cases.
type Cut struct {
	// At is a value of the data, or +Inf for the rule that calls nobody positive.
	At float64
	Crossing
}

// Cuts yields the corners of the curve, from the rule that calls nobody positive to the one that
// calls everybody, one for each distinct value.
func (r ROC) Cuts() iter.Seq[Cut] {
	return func(yield func(Cut) bool) {
		c := Cut{At: math.Inf(1), Crossing: Crossing{FalseNegative: r.positives, TrueNegative: r.negatives}}
		if !yield(c) {
			return
		}
		for _, t := range slices.Backward(r.ties) {
			c.At = t.value
			c.TruePositive += int(t.positive)
			c.FalseNegative -= int(t.positive)
			c.FalsePositive += int(t.negative)
			c.TrueNegative -= int(t.negative)
			if !yield(c) {
				return
			}
		}
	}
}

// DeLong returns the standard error of the area by the variances of the placement values,
// √(S₁₀/m + S₀₁/n). It is 0 when the classes do not overlap, which says nothing about how sure the
// area is: [ROC.Newcombe] serves there. At least two cases of each class are needed, else
// [ErrArgument].
//
// Source: E. R. DeLong, D. M. DeLong & D. L. Clarke-Pearson, Biometrics 1988;44:837-845, with the
// mid-rank algorithm of X. Sun & W. Xu, IEEE Signal Process Lett 2014;21:1389-1393.
func (r ROC) DeLong() (se float64, err error) {
	if r.positives < 2 || r.negatives < 2 {
		return 0, fmt.Errorf("%d positive and %d negative cases: DeLong's variance needs two of each: %w",
			r.positives, r.negatives, ErrArgument)
	}
	return math.Sqrt(r.varOfPos/float64(r.positives) + r.varOfNegs/float64(r.negatives)), nil
}

// LogitInterval returns the interval on the scale of ln(A/(1−A)), with DeLong's standard error
// carried over by the delta method, SE/(A(1−A)). It stays within 0 to 1 and covers better than the
// plain interval where the area is near 1. Conditions as [ROC.DeLong]; at an area of exactly 0 or 1
// the scale has no such point, and it returns [ErrArgument].
//
// Source: M. S. Pepe, The Statistical Evaluation of Medical Tests for Classification and
// Prediction, 2003, section 5.2.4.
func (r ROC) LogitInterval(c Confidence) (Interval, error) {
	se, err := r.deLong(c)
	if err != nil {
		return Interval{}, err
	}
	a := r.Area()
	if r.separated() {
		return Interval{}, fmt.Errorf("the area is exactly %g, where the logit has no value: use Newcombe's interval: %w", a, ErrArgument)
	}
	half, centre := normalZ(c)*se/(a*(1-a)), math.Log(a/(1-a))
	return Interval{Lo: logistic(centre - half), Hi: logistic(centre + half)}, nil
}

func (r ROC) deLong(c Confidence) (float64, error) {
	if !c.Known() {
		return 0, fmt.Errorf("no confidence given: %w", ErrArgument)
	}
	return r.DeLong()
}

// separated says whether every positive case lies on the same side of every negative one.
func (r ROC) separated() bool {
	return r.wins == 0 || r.wins == 2*uint64(r.positives)*uint64(r.negatives)
}

// exponentialVariance is Hanley and McNeil's variance with given weights in place of m−1 and n−1.
// Q₁−A² = A(1−A)²/(2−A) and Q₂−A² = A²(1−A)/(1+A), written so that nothing cancels.
func exponentialVariance(a, m, n, wm, wn float64) float64 {
	return a * (1 - a) * (1 + wm*(1-a)/(2-a) + wn*a/(1+a)) / (m * n)
}

// Newcombe returns the score interval: all A with |Â − A| ≤ z·√V(A), V being Hanley and McNeil's
// variance at the hypothetical A with (m+n)/2 − 1 in place of m−1 and of n−1. It has a width even
// when the classes do not overlap, and asks for one case of each class only. A confidence that was
// not given or a ROC without cases gives [ErrArgument].
//
// Source: R. G. Newcombe, Stat Med 2006;25:559-573, method 5.
func (r ROC) Newcombe(c Confidence) (Interval, error) {
	if !c.Known() || r.positives == 0 || r.negatives == 0 {
		return Interval{}, fmt.Errorf("a confidence and cases of both classes are needed: %w", ErrArgument)
	}
	m, n, z, area := float64(r.positives), float64(r.negatives), normalZ(c), r.Area()
	w := (m+n)/2 - 1
	// outside says whether the area is refused; the limits lie where it changes.
	outside := func(a float64) bool {
		return math.Abs(area-a) > z*math.Sqrt(exponentialVariance(a, m, n, w, w))
	}
	i := Interval{Lo: 0, Hi: 1}
	if area > 0 {
		i.Lo = boundary(0, area, outside)
	}
	if area < 1 {
		i.Hi = boundary(1, area, outside)
	}
	return i, nil
}

// boundary returns where a condition that holds at out and fails at in changes, to the last bit.
func boundary(out, in float64, holds func(x float64) bool) float64 {
	for {
		x := out + (in-out)/2
		switch {
		case x == out || x == in:
			return in
		case holds(x):
			out = x
		default:
			in = x
		}
	}
}

// AreaMethod names how an interval for an area was computed.
type AreaMethod string

// The methods that [ROC.Interval] chooses from.
const (
	AreaLogit    AreaMethod = "delong-logit"
	AreaNewcombe AreaMethod = "newcombe"
)

// Interval returns the interval to show: DeLong's on the logit scale wherever it has a width, and
// otherwise (classes that do not overlap, a class of one case, placement values that happen not to
// vary) Newcombe's. Errors as [ROC.Newcombe].
func (r ROC) Interval(c Confidence) (Interval, AreaMethod, error) {
	if i, err := r.LogitInterval(c); err == nil && i.Width() > 0 {
		return i, AreaLogit, nil
	}
	i, err := r.Newcombe(c)
	return i, AreaNewcombe, err
}

// AreaDifference compares the areas of two markers.
type AreaDifference struct {
	A, B float64 // the areas
	// Difference is A − B, SE its standard error.
	Difference, SE float64
	// Z is Difference/SE and P the two-sided probability of a larger |Z| when the areas are equal,
	// by the normal distribution.
	Z, P     float64
	Interval Interval // of the difference, within −1 to 1
}

// ComparePaired tests whether two markers measured on the same cases have the same area, with the
// covariance of their placement values. The three slices have the same length; conditions as
// [NewROC] and [ROC.DeLong]. Markers that order the cases alike differ by 0 with P = 1; another
// difference with a standard error of 0 cannot be judged and gives [ErrArgument].
//
// Source: DeLong, DeLong & Clarke-Pearson 1988.
func ComparePaired(a, b []float64, positive []bool, c Confidence) (AreaDifference, error) {
	placedA, m, err := placements(a, positive)
	if err != nil {
		return AreaDifference{}, fmt.Errorf("first marker: %w", err)
	}
	placedB, _, err := placements(b, positive)
	if err != nil {
		return AreaDifference{}, fmt.Errorf("second marker: %w", err)
	}
	n := len(a) - m
	if m < 2 || n < 2 || !c.Known() {
		return AreaDifference{}, fmt.Errorf("%d positive and %d negative cases at confidence %q: two of each and a confidence are needed: %w",
			m, n, c, ErrArgument)
	}
	var pos, neg [3]moment // a·a, b·b, a·b
	for i, yes := range positive {
		x, y := placedA[i], placedB[i]
		to := &neg
		if yes {
			to = &pos
		}
		to[0].add(1, x, x)
		to[1].add(1, y, y)
		to[2].add(1, x, y)
	}
	var variance float64
	for k, weight := range []float64{1, 1, -2} {
		variance += weight * (pos[k].covariance(m, n)/float64(m) + neg[k].covariance(n, m)/float64(n))
	}
	pairs := 2 * float64(m) * float64(n)
	return difference(float64(pos[0].a)/pairs, float64(pos[1].a)/pairs, variance, c)
}

func difference(a, b, variance float64, c Confidence) (AreaDifference, error) {
	d := AreaDifference{A: a, B: b, Difference: a - b, P: 1}
	// What rounding leaves of three terms that cancel is not a variance.
	if variance > 1e-15 {
		d.SE = math.Sqrt(variance)
	}
	switch {
	case d.SE > 0:
		d.Z = d.Difference / d.SE
		d.P = math.Erfc(math.Abs(d.Z) / math.Sqrt2)
	case math.Abs(d.Difference) > 1e-12:
		return AreaDifference{}, fmt.Errorf("areas %g and %g without any variation cannot be compared: give more cases: %w", a, b, ErrArgument)
	}
	half := normalZ(c) * d.SE
	d.Interval = Interval{Lo: max(-1, d.Difference-half), Hi: min(1, d.Difference+half)}
	return d, nil
}

// placements returns for each case how many cases of the other class it beats in the right
// direction, counted twice, ties once: at most 2n for a positive case and 2m for a negative one.
func placements(values []float64, positive []bool) ([]uint64, int, error) {
	cases, m, err := rankCases(values, positive)
	if err != nil {
		return nil, 0, err
	}
	placed := make([]uint64, len(cases))
	abovePos, belowNeg := m, 0
	for run := range runs(cases) {
		p := 0
		for _, c := range run {
			p += int(c.tag & 1)
		}
		q := len(run) - p
		abovePos -= p
		for _, c := range run {
			if c.tag&1 == 1 {
				placed[c.tag>>1] = uint64(2*belowNeg + q)
			} else {
				placed[c.tag>>1] = uint64(2*abovePos + p)
			}
		}
		belowNeg += q
	}
	return placed, m, nil
}

// moment sums whole numbers and their products without rounding.
type moment struct {
	a, b   uint64 // Σ a, Σ b
	hi, lo uint64 // Σ a·b in 128 bits
}

// add takes the pair (a, b) times times. With at most MaxCount cases a and b are at most 2·10⁹, so
// that times·a does not overflow.
func (s *moment) add(times, a, b uint64) {
	s.a += times * a
	s.b += times * b
	hi, lo := bits.Mul64(times*a, b)
	var carry uint64
	s.lo, carry = bits.Add64(s.lo, lo, 0)
	s.hi += hi + carry
}

// covariance returns the sample covariance of count pairs of placement values, each a share of
// 2·others. It is 0 for fewer than two.
func (s *moment) covariance(count, others int) float64 {
	if count < 2 {
		return 0
	}
	product := new(big.Int).SetUint64(s.hi)
	product.Lsh(product, 64).Add(product, new(big.Int).SetUint64(s.lo))
	k := big.NewInt(int64(count))
	product.Mul(product, k)
	product.Sub(product, new(big.Int).Mul(new(big.Int).SetUint64(s.a), new(big.Int).SetUint64(s.b)))
	top, _ := new(big.Float).SetInt(product).Float64()
	scale := 2 * float64(others)
	return top / (float64(count) * float64(count-1)) / (scale * scale)
}

func logistic(x float64) float64 {
	if x < 0 {
		e := math.Exp(x)
		return e / (1 + e)
	}
	return 1 / (1 + math.Exp(-x))
}
