package trend

import (
	"math"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
)

// Charts are the charts that are switched on.
type Charts struct {
	Individuals bool  `json:"individuals,omitempty"`
	MovingRange bool  `json:"moving_range,omitempty"`
	EWMA        bool  `json:"ewma,omitempty"`
	CUSUM       bool  `json:"cusum,omitempty"`
	Rules       Rules `json:"rules,omitzero"`
}

// Switch switches a chart on by its name and says whether there is such a chart; run rules are chosen one
// by one, in Rules.
func (c *Charts) Switch(name ChartName) bool {
	switch name {
	case IndividualsChart:
		c.Individuals = true
	case MovingRangeChart:
		c.MovingRange = true
	case EWMAChart:
		c.EWMA = true
	case CUSUMChart:
		c.CUSUM = true
	case RuleChart:
		return false
	default:
		return false
	}
	return true
}

// limited counts the charts whose limits are chosen.
func (c Charts) limited() int {
	n := 0
	for _, on := range []bool{c.Individuals, c.MovingRange, c.EWMA, c.CUSUM} {
		if on {
			n++
		}
	}
	return n
}

// Promise is what a user states: how many false signals are acceptable, and on what.
type Promise struct {
	// FalseSignals are expected in a month over all series together, Readings are made in it.
	// FalseSignals/Readings must lie between 1e-8 and 0.1.
	FalseSignals unit.Number `json:"false_signals"`
	Readings     unit.Number `json:"readings"`
	// Baseline is how many readings the baseline of a series was made from, those included that its
	// screening left out ([Baseline.Readings]): [MinBaseline] or more.
	Baseline int `json:"baseline"`
	// DF are the degrees of freedom of a sigma that was pooled over series ([PoolSigma]); 0
	// stands for Baseline−1, the series's own.
	DF     int    `json:"df,omitempty"`
	Charts Charts `json:"charts"`
	// Lambda is the weight of the EWMA chart, K and HeadStart those of the CUSUM chart; 0 stands
	// for 0.2, 0.5 and no head start (common practice).
	Lambda    unit.Number `json:"lambda,omitempty"`
	K         unit.Number `json:"k,omitempty"`
	HeadStart unit.Number `json:"head_start,omitempty"`
}

// ChartName names a chart.
type ChartName string

// The charts.
const (
	IndividualsChart ChartName = "individuals"
	MovingRangeChart ChartName = "moving-range"
	EWMAChart        ChartName = "ewma"
	CUSUMChart       ChartName = "cusum"
	RuleChart        ChartName = "rule"
)

// Share is what one chart adds to the whole.
type Share struct {
	Chart ChartName `json:"chart"`
	Rule  Rule      `json:"rule,omitempty"`
	// Limit is the limit of the chart: multiples of sigma for single values and the moving range,
	// L for the EWMA, h for the CUSUM. A run rule has none.
	Limit unit.Number `json:"limit,omitempty"`
	// Rate is the expected number of false signals in a reading, averaged over the errors of a
	// baseline of the stated size.
	Rate unit.Number `json:"rate"`
	// InControl is the average run length that the same limits have when the baseline is known
	// without error (1e14 stands for that and more).
	InControl unit.Number `json:"in_control"`
	// Delays are the average run lengths after a shift that is there from the start of the chart,
	// likewise with known parameters. Charts that a shift of the mean does not move have none.
	Delays []Delay `json:"delays,omitempty"`
}

// Delay is how many readings a chart takes on average to find a shift of so many sigma.
type Delay struct {
	Shift    unit.Number `json:"shift"`
	Readings unit.Number `json:"readings"`
}

// Design is the limits that keep a [Promise], and what they mean. It is a value to be stored beside
// the baseline that it was made for.
type Design struct {
	Promise Promise `json:"promise"`
	// Rate is the expected number of false signals in a reading, PerMonth that in the readings of
	// a month.
	Rate     unit.Number `json:"rate"`
	PerMonth unit.Number `json:"per_month"`
	Shares   []Share     `json:"shares"`
}

// Share returns the share of a chart, the zero Share when it is off. For RuleChart that is the
// first rule.
func (d Design) Share(chart ChartName) Share {
	for _, s := range d.Shares {
		if s.Chart == chart {
			return s
		}
	}
	return Share{}
}

// NewDesign chooses the limits.
//
// Every chart is restarted after its signal, so that in the long run it signals once in ARL
// readings (renewal), and the expected numbers of signals of several charts add, whatever their
// dependence. A run rule has no limit to choose: its rate is taken off the promise first, and what
// remains is split evenly among the charts with limits. Signals that come together are one signal
// for a person ([Monitor.Run]); the number of signals is therefore at most what is promised, that of
// signals equal to it.
//
// The limits are frozen from an estimated baseline, which by itself would multiply the false
// signals. They are therefore chosen so that the rate, averaged over the law of the mean (normal,
// variance σ²/n), of sigma (χ²_df/df) and of the screening, equals the promise: in closed form for
// single values, about |t_df|·√(1+1/n), and for moving ranges, about |t_df|·√2; for EWMA and CUSUM
// by quadrature of 1/ARL(shift, scale). Over 12,000 simulated fleets of 40 series with baselines
// of 30 the rate was 1.03 of the promise. An average is not a guarantee for one series: a baseline
// that happened to be narrow gives more signals than one that happened to be wide. Readings must be
// independent and normal on the log scale; the notes of a [Baseline] say when they are not. Limits
// for 20 readings are wide, those of the CUSUM chart above all, since a mean that errs by K makes
// it creep for ever: more readings, or a pooled sigma, pay off at once.
//
// Errors are stats.ErrArgument, also when the run rules alone exceed the promise.
func NewDesign(p Promise) (Design, error) {
	p = p.filled()
	if err := p.check(); err != nil {
		return Design{}, err
	}
	d := designing{
		Promise: p, equations: map[int]*equation{}, budget: float64(p.FalseSignals / p.Readings),
		usual: newEstimated(p.Baseline, p.DF, usual), rough: newEstimated(p.Baseline, p.DF, rough),
	}
	design := Design{Promise: p}
	rules, spent := d.rules()
	left := d.budget - spent
	// What is left may be 0 up to rounding only when nothing is wanted of it.
	if p.Charts.limited() > 0 && left < minRate*float64(p.Charts.limited()) || spent > d.budget*(1+1e-9) {
		return Design{}, argument("run rules %s alone give %.3g false signals in %v readings, %v are allowed: switch rules off or allow more",
			p.Charts.Rules.On, spent*float64(p.Readings), p.Readings, p.FalseSignals)
	}
	design.Shares = append(d.limited(left/float64(max(1, p.Charts.limited()))), rules...)
	for _, s := range design.Shares {
		design.Rate += s.Rate
	}
	design.PerMonth = design.Rate * p.Readings
	return design, nil
}

const minRate, maxRate = 1e-8, 0.1

// filled puts the usual values where none were given.
func (p Promise) filled() Promise {
	if p.DF == 0 {
		p.DF = p.Baseline - 1
	}
	if p.Lambda == 0 {
		p.Lambda = 0.2
	}
	if p.K == 0 {
		p.K = 0.5
	}
	return p
}

// check says what is wrong with the promise.
func (p Promise) check() error {
	switch {
	case !(p.FalseSignals > 0) || !(p.Readings > 0) || !finite(float64(p.FalseSignals)) || !finite(float64(p.Readings)):
		return argument("%v false signals in %v readings: want more than 0 of both", p.FalseSignals, p.Readings)
	case p.FalseSignals/p.Readings < minRate || p.FalseSignals/p.Readings > maxRate:
		return argument("%v false signals in %v readings: want one in ten readings at most and one in a hundred million at least", p.FalseSignals, p.Readings)
	case p.Baseline < MinBaseline || p.Baseline > stats.MaxCount:
		return argument("a baseline of %d readings: want %d or more", p.Baseline, MinBaseline)
	case p.DF < p.Baseline-1 || p.DF > stats.MaxCount:
		return argument("sigma with %d degrees of freedom from a baseline of %d: want %d or more", p.DF, p.Baseline, p.Baseline-1)
	case p.Charts.limited() == 0 && p.Charts.Rules.On == 0:
		return argument("no chart is switched on")
	case !(0 < p.Lambda && p.Lambda <= 1):
		return argument("an EWMA weight of %v: want more than 0, at most 1", p.Lambda)
	case !(0 < p.K && p.K <= 10) || !(0 <= p.HeadStart && p.HeadStart <= 0.5):
		return argument("a CUSUM with k %v and head start %v: want k over 0 up to 10 and a head start from 0 to 0.5", p.K, p.HeadStart)
	}
	return p.Charts.Rules.check()
}

// designing is the work on one design.
type designing struct {
	Promise
	usual, rough estimated // the average that counts, and one to begin with
	budget       float64
	equations    map[int]*equation
}

// equation returns a work space of at least so many nodes.
func (d *designing) equation(nodes int) *equation {
	nodes = (nodes + 3) / 4 * 4
	if d.equations[nodes] == nil {
		d.equations[nodes] = newEquation(nodes)
	}
	return d.equations[nodes]
}

// average averages a rate over the baselines, leaving out what cannot matter.
func (d *designing) average(rate func(shift, scale float64) float64) float64 {
	return d.usual.mean(1e-8*d.budget, rate)
}

// rules returns the shares of the run rules, one for each, and the sum of their rates.
func (d *designing) rules() (shares []Share, spent float64) {
	for _, rule := range AllRules {
		if !d.Charts.Rules.On.Has(rule) {
			continue
		}
		alone := Rules{On: RulesOf(rule), Run: d.Charts.Rules.Run}
		share := Share{Chart: RuleChart, Rule: rule}
		if rule == Monotone || rule == Alternating {
			inControl, _ := alone.ARL(0, 1)
			share.InControl, share.Rate = unit.Number(inControl), unit.Number(1/inControl)
		} else {
			chain := newRuleChain(alone)
			share.Rate = unit.Number(d.average(func(shift, scale float64) float64 { return 1 / chain.arl(-shift/scale, 1/scale) }))
			share.describe(func(shift float64) float64 { return chain.arl(shift, 1) })
		}
		shares = append(shares, share)
		spent += float64(share.Rate)
	}
	return shares, spent
}

// limited returns the shares of the charts with limits, each at the rate given.
func (d *designing) limited(rate float64) (shares []Share) {
	t := -stats.TQuantile(rate/2, float64(d.DF))
	if d.Charts.Individuals {
		limit, _ := falling(t, -t, math.Log(rate), func(limit float64) float64 { return math.Log(d.beyond(limit, 1+1/float64(d.Baseline), 1)) })
		s := Share{Chart: IndividualsChart, Limit: unit.Number(limit), Rate: unit.Number(rate)}
		s.describe(func(shift float64) float64 { return orNever(Individuals{Limit: limit}.ARL(shift, 1)) })
		shares = append(shares, s)
	}
	if d.Charts.MovingRange {
		limit, _ := falling(t*math.Sqrt2, -t, math.Log(rate), func(limit float64) float64 { return math.Log(d.beyond(limit, 2, 0)) })
		between := orNever(MovingRange{Limit: limit}.Between(1))
		shares = append(shares, Share{
			Chart: MovingRangeChart, Limit: unit.Number(limit), Rate: unit.Number(rate), InControl: unit.Number(min(between, never)),
		})
	}
	if d.Charts.EWMA {
		lambda := float64(d.Lambda)
		shares = append(shares, d.search(EWMAChart, rate, t, -t, func(limit, shift, scale float64) float64 {
			return d.equation(ewmaNodes(lambda, limit*scale, coarse)).ewma(lambda, limit*scale, shift)
		}))
	}
	if d.Charts.CUSUM {
		k := float64(d.K)
		// Siegmund's approximation of the run length with known parameters is near enough to start
		// from: ln(1/rate) ≈ 2k·(h+1.166) + …
		start := max(0.5, -math.Log(rate*2*k*k)/(2*k)-1.166)
		shares = append(shares, d.search(CUSUMChart, rate, start, -2*k, func(limit, shift, scale float64) float64 {
			return d.equation(cusumNodes(limit*scale, coarse)).cusumBoth(k*scale, limit*scale, float64(d.HeadStart), shift)
		}))
	}
	return shares
}

// beyond returns the probability that a normal variable whose error has the variance given, in sigma²,
// is more than limit estimated sigmas away: a t probability, and another one for baselines that lost
// their most extreme reading, in which mean errs by the share moves of what that does to the mean.
func (d *designing) beyond(limit, variance, mean float64) float64 {
	df, width := float64(d.DF), math.Sqrt(variance)
	outside := 2 * stats.TSurvival(limit/width, df)
	p, weight := 0.0, 1.0
	for _, r := range screenedExtremes(d.Baseline, d.DF, 6) {
		moved := mean * r.moves
		p += r.weight * (stats.TSurvival((limit*r.shrinks-moved)/width, df) + stats.TSurvival((limit*r.shrinks+moved)/width, df))
		weight -= r.weight
	}
	return p + weight*outside
}

// search returns the share of a chart at the limit where its average rate is the one wanted; arl
// is the run length of a process N(shift, 1) with limits widened by scale; slope is a guess of
// d ln rate/d limit.
func (d *designing) search(chart ChartName, rate, start, slope float64, arl func(limit, shift, scale float64) float64) Share {
	over := func(e estimated) func(limit float64) float64 {
		return func(limit float64) float64 {
			return math.Log(e.mean(1e-7*rate, func(shift, scale float64) float64 { return 1 / arl(limit, shift, scale) }))
		}
	}
	// A rough average finds the neighbourhood; the usual one then needs three looks or so.
	limit, slope := falling(start, slope, math.Log(rate), over(d.rough))
	limit, _ = falling(limit, slope, math.Log(rate), over(d.usual))
	s := Share{Chart: chart, Limit: unit.Number(limit), Rate: unit.Number(rate)}
	s.describe(func(shift float64) float64 {
		if chart == EWMAChart {
			return orNever(EWMA{Lambda: float64(d.Lambda), Limit: limit}.ARL(shift, 1))
		}
		return orNever(CUSUM{K: float64(d.K), H: limit, HeadStart: float64(d.HeadStart)}.ARL(shift, 1))
	})
	return s
}

// describe fills in the run lengths with known parameters.
func (s *Share) describe(arl func(shift float64) float64) {
	s.InControl = unit.Number(min(arl(0), never))
	for _, shift := range []float64{0.5, 1, 2} {
		s.Delays = append(s.Delays, Delay{Shift: unit.Number(shift), Readings: unit.Number(min(arl(shift), never))})
	}
}

// orNever returns the length; the arguments of these calls are known to be good.
func orNever(length float64, err error) float64 {
	if err != nil {
		return never
	}
	return length
}

// falling returns x > 0 with f(x) = target for a falling, nearly straight f, to 1e-6 in f, and the
// last slope: the secant method from start, with slope to begin with, kept within what is known of
// where the solution lies.
func falling(start, slope, target float64, f func(float64) float64) (x, lastSlope float64) {
	lo, hi := 0.0, math.Inf(1)
	x, y := start, f(start)-target
	for range 60 {
		if math.Abs(y) < 1e-6 {
			break
		}
		if y > 0 {
			lo = x
		} else {
			hi = x
		}
		least, most := max(lo, x/1.6), min(hi, x*1.6)
		next := x - y/slope
		if !(least < next && next < most) {
			next = (least + most) / 2
		}
		value := f(next) - target
		slope = (value - y) / (next - x)
		x, y = next, value
	}
	return x, slope
}
