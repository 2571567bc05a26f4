package trend

import "math"

// Monitor runs the charts of a design over the readings that follow a baseline. Make it with
// [NewMonitor]; it never changes, and holds no state ([State] does).
type Monitor struct {
	baseline    Baseline
	design      Design
	mean, sigma float64

	// Charts that are off have infinite limits, so that they never signal.
	individuals Individuals
	moving      MovingRange
	ewma        EWMA
	ewmaBound   float64
	cusum       CUSUM
	rules       Rules
}

// NewMonitor puts a baseline and a design together. A design made for a longer baseline, or for
// more degrees of freedom, than this one has would give more false signals than promised and is
// refused with stats.ErrArgument.
func NewMonitor(b Baseline, d Design) (*Monitor, error) {
	if err := b.check(); err != nil {
		return nil, err
	}
	if err := d.Promise.check(); err != nil {
		return nil, err
	}
	pooled := d.Promise.DF > d.Promise.Baseline-1
	if d.Promise.Baseline > b.Readings() || pooled && d.Promise.DF > b.DF {
		return nil, argument("limits for a baseline of %d readings and %d degrees of freedom do not fit %s, which has %d and %d: design anew",
			d.Promise.Baseline, d.Promise.DF, b.Key, b.Readings(), b.DF)
	}
	m := &Monitor{baseline: b, design: d, mean: float64(b.Mean), sigma: float64(b.Sigma)}
	limits := make(map[ChartName]float64, 4)
	for _, chart := range []ChartName{IndividualsChart, MovingRangeChart, EWMAChart, CUSUMChart} {
		limits[chart] = math.Inf(1)
		if s := d.Share(chart); s.Chart == chart {
			if !(s.Limit > 0) {
				return nil, argument("a design with limit %v for the %s chart", s.Limit, chart)
			}
			limits[chart] = float64(s.Limit)
		}
	}
	m.individuals.Limit = limits[IndividualsChart]
	m.moving.Limit = limits[MovingRangeChart]
	m.ewma = EWMA{Lambda: float64(d.Promise.Lambda), Limit: limits[EWMAChart]}
	m.ewmaBound = m.ewma.Bound(EWMAState{})
	m.cusum = CUSUM{K: float64(d.Promise.K), H: limits[CUSUMChart], HeadStart: float64(d.Promise.HeadStart)}
	if math.IsInf(m.cusum.H, 1) {
		m.cusum.HeadStart = 0
	}
	m.rules = d.Promise.Charts.Rules
	return m, nil
}

// Baseline returns the baseline of the monitor.
func (m *Monitor) Baseline() Baseline { return m.baseline }

// Design returns the design of the monitor.
func (m *Monitor) Design() Design { return m.design }

// State is the memory of all charts of a monitor between two readings. It is comparable, and the
// same readings give the same bits, one at a time or from scratch. It is a cache, not a record.
type State struct {
	Readings int              `json:"readings"` // how many were taken in
	Moving   MovingRangeState `json:"moving"`
	EWMA     EWMAState        `json:"ewma"`
	CUSUM    CUSUMState       `json:"cusum"`
	Rules    RuleState        `json:"rules"`
}

// Start returns the state before the first reading.
func (m *Monitor) Start() State { return State{CUSUM: m.cusum.Start()} }

// Flags say which charts signal at a reading: +1 above, −1 below, 0 not.
type Flags struct {
	Individuals, EWMA, CUSUM int8
	MovingRange              bool
	Rules                    RuleSet
}

// Any says whether any chart signals.
func (f Flags) Any() bool { return f != Flags{} }

// Count returns the number of signals.
func (f Flags) Count() int {
	n := f.Rules.Len()
	for _, on := range []bool{f.Individuals != 0, f.MovingRange, f.EWMA != 0, f.CUSUM != 0} {
		if on {
			n++
		}
	}
	return n
}

// Z standardises a reading by the baseline: (log10(RLU+1) − mean)/sigma.
func (m *Monitor) Z(value float64) float64 { return (LogRLU(value) - m.mean) / m.sigma }

// Step takes the next reading in, standardised by [Monitor.Z]. It returns the state to go on with, in
// which every chart that signalled has been restarted, the state that it signalled in, and the
// signals. It takes some 40 ns and allocates nothing.
func (m *Monitor) Step(s State, z float64) (next, reached State, f Flags) {
	f = m.step(&s, z)
	reached = s
	if f.Any() {
		m.restart(&s, f)
	}
	return s, reached, f
}

// step takes z in and returns the signals.
func (m *Monitor) step(s *State, z float64) Flags {
	s.Readings++
	var moving float64
	s.Moving, moving = s.Moving.Step(z)
	s.EWMA = m.ewma.Step(s.EWMA, z)
	s.CUSUM = m.cusum.Step(s.CUSUM, z)
	var hit RuleSet
	if m.rules.On != 0 {
		s.Rules, hit = m.rules.Step(s.Rules, z)
	}
	return m.flags(s, z, moving, hit)
}

// flags says which charts are over their limits.
func (m *Monitor) flags(s *State, z, moving float64, hit RuleSet) Flags {
	return Flags{
		Individuals: int8(m.individuals.Crossing(z)),
		MovingRange: moving > m.moving.Limit,
		EWMA:        int8(beyond(s.EWMA.Mean, m.ewmaBound)),
		CUSUM:       int8(m.cusum.Crossing(s.CUSUM)),
		Rules:       hit,
	}
}

// restart begins the charts anew that signalled; the individuals and moving range charts have
// nothing to forget.
func (m *Monitor) restart(s *State, f Flags) {
	if f.EWMA != 0 {
		s.EWMA = EWMAState{}
	}
	if f.CUSUM != 0 {
		s.CUSUM = m.cusum.Start()
	}
	s.Rules = s.Rules.Restart(f.Rules)
}
