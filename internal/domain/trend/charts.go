package trend

import "math"

// The charts of this file read standardised values z = (y−mean)/sigma of the baseline, one after
// the other. A chart is its limits; its memory is a small state that goes in and comes out of
// Step, so that it can be kept anywhere and compared with ==. The zero state is the chart before
// its first value, except for [CUSUM.Start] with a head start. Values must be finite.
//
// Products are rounded before they are added (float64(a*b)), because a compiler may otherwise fuse
// the two differently in two places, and a chart that is computed again from scratch must give the
// same bits.

// Individuals is the chart of single values: a signal when |z| > Limit.
//
// Source: W. A. Shewhart 1931; Limit 3 in most handbooks.
type Individuals struct {
	Limit float64
}

// Crossing returns +1 for a value above the limit, −1 for one below, else 0. A value at the limit is
// none.
func (c Individuals) Crossing(z float64) int { return beyond(z, c.Limit) }

// MovingRange is the chart of the distance between neighbours: a signal when |z−previous| > Limit.
// It watches the spread. It has no other memory than the previous value and is not restarted after
// a signal, so that one outlier can signal twice, when it comes and when it has gone.
type MovingRange struct {
	Limit float64
}

// MovingRangeState is the memory of a [MovingRange] chart.
type MovingRangeState struct {
	Previous float64 `json:"previous"`
	Begun    bool    `json:"begun"`
}

// Step takes the next value in and returns the moving range, 0 for the first value.
func (s MovingRangeState) Step(z float64) (next MovingRangeState, moving float64) {
	if s.Begun {
		moving = math.Abs(z - s.Previous)
	}
	return MovingRangeState{Previous: z, Begun: true}, moving
}

// EWMA is the chart of the exponentially weighted moving average E ← λ·z + (1−λ)·E from E = 0: a
// signal when |E| > Limit·√(λ/(2−λ)), the standard deviation that E has in the long run. With
// TimeVarying the standard deviation of E after t values, √(λ/(2−λ)·(1−(1−λ)^2t)), takes its
// place, which signals sooner after a start.
//
// Source: S. W. Roberts, Technometrics 1959;1:239-250; J. M. Lucas & M. S. Saccucci, Technometrics
// 1990;32:1-12.
type EWMA struct {
	Lambda, Limit float64
	TimeVarying   bool
}

// EWMAState is the memory of an [EWMA] chart.
type EWMAState struct {
	Mean float64 `json:"mean"`
	// Gone is 1−(1−λ)^2t: how much of the long-run variance Mean has after t values.
	Gone float64 `json:"gone"`
}

// Step takes the next value in.
func (c EWMA) Step(s EWMAState, z float64) EWMAState {
	keep := 1 - c.Lambda
	square := float64(keep * keep)
	return EWMAState{
		Mean: float64(c.Lambda*z) + float64(keep*s.Mean),
		Gone: float64(square*s.Gone) + (1 - square),
	}
}

// Bound returns the limit on |Mean| in state s.
func (c EWMA) Bound(s EWMAState) float64 {
	variance := c.Lambda / (2 - c.Lambda)
	if c.TimeVarying {
		variance *= s.Gone
	}
	return c.Limit * math.Sqrt(variance)
}

// Crossing returns +1 when the state is above the upper limit, −1 when it is below the lower, else 0.
func (c EWMA) Crossing(s EWMAState) int { return beyond(s.Mean, c.Bound(s)) }

// check says what is wrong with the parameters.
func (c EWMA) check() error {
	if !(0 < c.Lambda && c.Lambda <= 1) || !(c.Limit > 0) || !finite(c.Limit) {
		return argument("an EWMA chart with weight %v and limit %v: want a weight over 0 up to 1 and a limit over 0", c.Lambda, c.Limit)
	}
	return nil
}

// CUSUM is the two-sided tabular cumulative sum chart: Up ← max(0, Up + z − K), Down ← max(0,
// Down − z − K), a signal when one of them is > H. K is half the shift, in sigma, for which the
// chart is quickest. HeadStart is the share of H from which both sums start (fast initial
// response, usually ½), 0 for a plain chart.
//
// Source: E. S. Page, Biometrika 1954;41:100-115; J. M. Lucas & R. B. Crosier, Technometrics
// 1982;24:199-205 for the head start.
type CUSUM struct {
	K, H, HeadStart float64
}

// CUSUMState is the memory of a [CUSUM] chart.
type CUSUMState struct {
	Up   float64 `json:"up"`
	Down float64 `json:"down"`
	// UpRun and DownRun count the values since the sum was last 0: Page's estimate of how many
	// values ago a change began, once the sum has signalled.
	UpRun   int `json:"up_run"`
	DownRun int `json:"down_run"`
}

// Start returns the state before the first value.
func (c CUSUM) Start() CUSUMState {
	return CUSUMState{Up: c.HeadStart * c.H, Down: c.HeadStart * c.H}
}

// Step takes the next value in.
func (c CUSUM) Step(s CUSUMState, z float64) CUSUMState {
	// Written without branches on the data, which no processor can predict here.
	up, down := s.Up+(z-c.K), s.Down-(z+c.K)
	s.UpRun++
	if !(up > 0) {
		s.UpRun = 0
	}
	s.DownRun++
	if !(down > 0) {
		s.DownRun = 0
	}
	s.Up, s.Down = max(up, 0), max(down, 0)
	return s
}

// Crossing returns +1 when Up is over the limit, −1 when Down is, else 0. Both at once cannot be for
// K ≥ 0 and a head start up to ½.
func (c CUSUM) Crossing(s CUSUMState) int {
	switch {
	case s.Up > c.H:
		return 1
	case s.Down > c.H:
		return -1
	}
	return 0
}

// check says what is wrong with the parameters.
func (c CUSUM) check() error {
	if !(c.K > 0) || !(c.H > 0) || !finite(c.K) || !finite(c.H) || !(0 <= c.HeadStart && c.HeadStart <= 0.5) {
		return argument("a CUSUM chart with k %v, h %v and head start %v: want k and h over 0 and a head start from 0 to 0.5", c.K, c.H, c.HeadStart)
	}
	return nil
}

// beyond returns the side on which x lies outside ±limit.
func beyond(x, limit float64) int {
	switch {
	case x > limit:
		return 1
	case x < -limit:
		return -1
	}
	return 0
}
