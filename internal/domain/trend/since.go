package trend

import (
	"math"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// Since says since when a series is not what it was.
type Since struct {
	// Index, ID and At name the first changed reading by maximum likelihood; Index counts the
	// readings since the baseline from 0.
	Index int          `json:"index"`
	ID    ledger.ID    `json:"id"`
	At    unit.Instant `json:"at"`
	// Lo and Hi bound the index of the first changed reading with confidence [SinceConfidence].
	Lo int `json:"lo"`
	Hi int `json:"hi"`
	// After and Until are the same in time: the change came after the reading at After, the last
	// one surely before it, and not later than the reading at Until.
	After unit.Instant `json:"after"`
	Until unit.Instant `json:"until"`
	// Shift is the change of the mean in sigma, Before and Now the centres in RLU.
	Shift  unit.Number `json:"shift"`
	Before unit.Number `json:"before"`
	Now    unit.Number `json:"now"`
}

// SinceConfidence is the confidence of the interval in [Since] and [Change].
const SinceConfidence = 0.95

// sinceDrop is how far below its maximum twice the log-likelihood may lie within the interval.
// The log-likelihood around the true change point is a random walk with negative drift on either
// side, and twice its maximum over either exceeds x with probability at most exp(−x/2), so that
// (1−exp(−x/2))² = 0.95. For large shifts the walk overshoots and the interval is wider than it
// need be.
//
// Source: D. Siegmund, Int Stat Rev 1988;56:31-48, section 2.
var sinceDrop = -2 * math.Log(1-math.Sqrt(SinceConfidence))

// ChangeSince estimates since when the readings that follow a baseline, in order, have another
// mean, given that they have: the readings up to some τ have the mean of the baseline, the later
// ones another, all the same unknown sigma. The likelihood is that of the baseline and the readings
// together, so that the error of the baseline is counted in:
//
//	2·ℓ(τ) = −(DF+1+T)·ln(DF + S₀(τ) + S₁(τ)) + constant
//
// with S₀ the squares about the mean of the baseline and the first τ of T readings, S₁ those about
// the mean of the others, in units of sigma². For direction +1 only later means above the earlier
// count, for −1 only those below, for 0 both. The interval is the hull of all τ within a distance of
// the maximum (see [SinceConfidence]). When the series ends with the signal, simulation shows that it
// covers the truth in 95 to 99 of 100 cases for shifts of one sigma and more, in 80 to 90 for half a
// sigma, which is hardly larger than the error of a baseline of 30.
//
// No reading at all gives a stats.TooFewError, also when none of the later means lies in the direction.
func ChangeSince(b Baseline, points []Point, direction int) (Since, error) {
	if err := b.check(); err != nil {
		return Since{}, err
	}
	if err := checkPoints(points); err != nil {
		return Since{}, err
	}
	return changeSince(b, points, direction)
}

// changeSince is [ChangeSince] on what was checked before.
func changeSince(b Baseline, points []Point, direction int) (Since, error) {
	p := profile{before: float64(b.N), squares: float64(b.DF), count: float64(b.DF + 1)}
	for _, point := range points {
		p.add(b.Z(point.Value))
	}
	best, lo, hi := p.search(0, direction)
	if best < 0 {
		return Since{}, tooFew(0, 1)
	}
	before, after := p.means(best)
	s := Since{
		Index: best, ID: points[best].ID, At: points[best].At, Lo: lo, Hi: hi,
		After: b.Last, Until: points[hi].At, Shift: unit.Number(after - before),
		Before: unit.Number(b.valueAt(before)), Now: unit.Number(b.valueAt(after)),
	}
	if lo > 0 {
		s.After = points[lo-1].At
	}
	return s, nil
}

// valueAt turns a standardised value back into relative light units.
func (b Baseline) valueAt(z float64) float64 {
	return max(0, RLU(float64(b.Mean)+z*float64(b.Sigma)))
}

// profile is the likelihood of one change of the mean in a series, as a function of its place.
// before values of mean 0 with the sum of squares squares, counting as count observations, come in
// front of the series.
type profile struct {
	before, squares, count float64
	sums                   []float64 // of the first i values
	total                  float64   // sum of all squares
}

func (p *profile) add(z float64) {
	if p.sums == nil {
		p.sums = append(p.sums, 0)
	}
	p.sums = append(p.sums, p.sums[len(p.sums)-1]+z)
	p.total += z * z
}

func (p *profile) len() int { return max(0, len(p.sums)-1) }

// means returns the means before and after a change after the first τ values.
func (p *profile) means(tau int) (before, after float64) {
	n := p.len()
	if first := p.before + float64(tau); first > 0 {
		before = p.sums[tau] / first
	}
	return before, (p.sums[n] - p.sums[tau]) / float64(n-tau)
}

// residual returns the sum of squares about the two means.
func (p *profile) residual(tau int) float64 {
	n := p.len()
	before, after := p.means(tau)
	return p.squares + p.total - (p.before+float64(tau))*before*before - float64(n-tau)*after*after
}

// search returns the τ ≥ least of greatest likelihood, the earliest of equals, and the hull of the
// τ within sinceDrop of it; −1 when no τ goes in the direction.
func (p *profile) search(least, direction int) (best, lo, hi int) {
	best = -1
	smallest := math.Inf(1)
	residuals := make([]float64, max(0, p.len()-least)) // infinite where τ does not go in the direction
	for i := range residuals {
		tau := least + i
		residuals[i] = math.Inf(1)
		if before, after := p.means(tau); float64(direction)*(after-before) < 0 {
			continue
		}
		residuals[i] = p.residual(tau)
		if residuals[i] < smallest {
			best, smallest = tau, residuals[i]
		}
	}
	lo, hi = best, best
	most := smallest * math.Exp(sinceDrop/(p.count+float64(p.len())))
	for i, r := range residuals {
		if r <= most && !math.IsInf(r, 1) {
			lo, hi = min(lo, least+i), max(hi, least+i)
		}
	}
	return best, lo, hi
}
