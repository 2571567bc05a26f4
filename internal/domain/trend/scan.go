package trend

import "math"

// Scanned is what the charts made of the readings of one series, in numbers only.
type Scanned struct {
	Crossings int // of all charts
	First     int // index of the first reading with a signal, −1 for none
	Flags     Flags
	State     State
}

// Scan runs each monitor over the values of its series (RLU, in order of time) and writes what
// comes out to out, with the same bits as [Monitor.Step] gives: for many series at once, without
// signals and words. Flags are those of the first signal. The three slices must be of one length,
// else stats.ErrArgument; a value below 0 or not finite gives [ErrReadings] and leaves out as it is
// from there on. It allocates nothing.
func Scan(monitors []*Monitor, values [][]float64, out []Scanned) error {
	if len(monitors) != len(values) || len(out) != len(values) {
		return argument("%d monitors, %d series and room for %d results", len(monitors), len(values), len(out))
	}
	for i, m := range monitors {
		scanned, bad := m.scan(values[i])
		if bad >= 0 {
			return unreadable("value %d of series %s is %v RLU", bad, m.baseline.Key, values[i][bad])
		}
		out[i] = scanned
	}
	return nil
}

// block is how many values are standardised before the charts see them: the logarithm is a call, and
// a call costs the registers in which the states are kept.
const block = 128

// scan returns the index of a bad value, −1 if there is none.
func (m *Monitor) scan(values []float64) (r Scanned, bad int) {
	r.First, r.State = -1, m.Start()
	var z [block]float64
	for from := 0; from < len(values); from += block {
		part := values[from:min(from+block, len(values))]
		for i, v := range part {
			if !(v >= 0 && v <= math.MaxFloat64) {
				return r, from + i
			}
			z[i] = m.Z(v)
		}
		m.scanBlock(&r, from, z[:len(part)])
	}
	return r, -1
}

// scanBlock is [Monitor.Step] for the standardised values from index from on, with the states in local
// variables.
func (m *Monitor) scanBlock(r *Scanned, from int, zs []float64) {
	ewmaChart, cusumChart := m.ewma, m.cusum
	single, wide, bound := m.individuals.Limit, m.moving.Limit, m.ewmaBound
	s := &r.State
	moving, ewma, cusum := s.Moving, s.EWMA, s.CUSUM
	for i, z := range zs {
		var step float64
		moving, step = moving.Step(z)
		ewma = ewmaChart.Step(ewma, z)
		cusum = cusumChart.Step(cusum, z)
		var hit RuleSet
		if m.rules.On != 0 {
			s.Rules, hit = m.rules.Step(s.Rules, z)
		}
		if math.Abs(z) <= single && step <= wide && math.Abs(ewma.Mean) <= bound && cusum.Up <= cusumChart.H && cusum.Down <= cusumChart.H && hit == 0 {
			continue
		}
		s.Moving, s.EWMA, s.CUSUM = moving, ewma, cusum
		f := m.flags(s, z, step, hit)
		if r.First < 0 {
			r.First, r.Flags = from+i, f
		}
		r.Crossings += f.Count()
		m.restart(s, f)
		ewma, cusum = s.EWMA, s.CUSUM
	}
	s.Readings += len(zs)
	s.Moving, s.EWMA, s.CUSUM = moving, ewma, cusum
}
