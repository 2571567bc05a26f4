package chart

import "math"

// Scale says how values lie on an axis and what its labels show.
type Scale uint8

// The scales.
const (
	Linear    Scale = iota // values as they are
	Log                    // positive values on a logarithmic axis; others cannot be shown
	LogValues              // values are log10 of what the labels show: 2 is labelled 100
	Percent                // fractions, labelled in percent
)

// Axis is a value axis. Min and Max fix the range, in values; both zero leave it to the data.
type Axis struct {
	Label    string
	Unit     string
	Scale    Scale
	Min, Max float64
}

// title returns label and unit.
func (a Axis) title() string {
	unit := a.Unit
	if unit == "" && a.Scale == Percent {
		unit = "%"
	}
	if unit != "" && a.Label != "" {
		return clean(a.Label) + " (" + clean(unit) + ")"
	}
	return clean(a.Label + unit)
}

// place returns where a value lies on the axis before it is stretched to pixels; false if nowhere.
func (a Axis) place(v float64) (float64, bool) {
	if !finite(v) {
		return 0, false
	}
	switch a.Scale {
	case Log:
		if v <= 0 {
			return 0, false
		}
		return math.Log10(v), true
	case LogValues:
		return v, math.Abs(v) <= 300 // 10^v must be a number
	case Linear, Percent:
	}
	return v, true
}

// shown returns the number that the labels show for a value.
func (a Axis) shown(v float64) float64 {
	switch a.Scale {
	case LogValues:
		return math.Pow(10, v)
	case Percent:
		return 100 * v
	case Linear, Log:
	}
	return v
}

// short writes a value as labels do, without its unit.
func (a Axis) short(v float64) string {
	if a.Scale == Percent && finite(v) {
		return number(100*v) + " %"
	}
	if a.Scale == LogValues && v >= 1 && finite(v) {
		// Digits that a logarithm of two or three decimals does not carry are not shown.
		digits := math.Pow(10, max(0, 2-math.Floor(v)))
		return number(math.Round(a.shown(v)*digits) / digits)
	}
	return number(a.shown(v))
}

// text writes a value with its unit.
func (a Axis) text(v float64) string {
	if a.Unit == "" || !finite(v) {
		return a.short(v)
	}
	return a.short(v) + " " + clean(a.Unit)
}

// span is a range on an axis, before it is stretched to pixels; empty while lo > hi.
type span struct{ lo, hi float64 }

func noSpan() span { return span{math.Inf(1), math.Inf(-1)} }

func (s span) empty() bool { return s.lo > s.hi }

func (s *span) add(u float64) { s.lo, s.hi = min(s.lo, u), max(s.hi, u) }

// domain is the range of an axis that shows all values that can be placed.
func (a Axis) domain(values ...float64) span {
	s := noSpan()
	for _, v := range values {
		if u, ok := a.place(v); ok {
			s.add(u)
		}
	}
	return s
}

// padded returns the domain with room about it, or what the axis fixes. The least range keeps
// labels of two decimals apart; fractions stay within 0 to 1 and what is never negative stays so.
func (a Axis) padded(s span) span {
	lo, okLo := a.place(a.Min)
	hi, okHi := a.place(a.Max)
	if okLo && okHi && a.Min < a.Max {
		return span{lo, hi}
	}
	room := max(0.05*(s.hi-s.lo), a.least()/2, 1e-9*math.Abs(s.hi))
	p := span{s.lo - room, s.hi + room}
	if (a.Scale == Linear || a.Scale == Percent) && s.lo >= 0 && p.lo < 0.2*p.hi {
		p.lo = 0
	}
	return p
}

// least returns the smallest range that is worth an axis.
func (a Axis) least() float64 {
	switch a.Scale {
	case Log, LogValues:
		return 0.2
	case Percent:
		return 0.001
	case Linear:
	}
	return 0.1
}

// ruler stretches a domain to pixels; from may lie right of or below to.
type ruler struct {
	axis     Axis
	domain   span
	from, to float64
}

// at returns the pixel of a value, false if it cannot be placed or lies outside the domain.
func (r ruler) at(v float64) (float64, bool) {
	u, ok := r.axis.place(v)
	// A hair of rounding does not put a value outside.
	hair := 1e-9 * (r.domain.hi - r.domain.lo)
	if !ok || u < r.domain.lo-hair || u > r.domain.hi+hair {
		return 0, false
	}
	return r.pixel(min(max(u, r.domain.lo), r.domain.hi)), true
}

// clamped returns the pixel of a value, at the nearer end if it lies outside the domain.
func (r ruler) clamped(v float64) (pixel float64, ok bool) {
	u, ok := r.axis.place(v)
	return r.pixel(min(max(u, r.domain.lo), r.domain.hi)), ok
}

// pixel stretches a place on the axis.
func (r ruler) pixel(u float64) float64 {
	if r.domain.hi <= r.domain.lo {
		return (r.from + r.to) / 2
	}
	return r.from + (r.to-r.from)*(u-r.domain.lo)/(r.domain.hi-r.domain.lo)
}

// tick is a labelled place on an axis, in pixels.
type tick struct {
	at    float64
	label string
	below string // second line, for the year
}

// ticks returns at most most ticks of the axis, at numbers that are easy to read.
func (r ruler) ticks(most int) []tick {
	var values []float64
	switch r.axis.Scale {
	case Log, LogValues:
		values = logTicks(r.domain.lo, r.domain.hi, most)
	case Percent:
		for _, v := range niceTicks(100*r.domain.lo, 100*r.domain.hi, most) {
			values = append(values, v/100)
		}
	case Linear:
		values = niceTicks(r.domain.lo, r.domain.hi, most)
	}
	ticks := make([]tick, 0, len(values))
	for _, v := range values {
		// Logarithmic ticks come as the numbers on the labels.
		axis := r.axis
		if axis.Scale == LogValues {
			axis.Scale = Log
		}
		u, ok := axis.place(v)
		if !ok {
			continue
		}
		label := brief(v)
		if axis.Scale == Percent {
			label = brief(100 * v)
		}
		ticks = append(ticks, tick{at: r.pixel(min(max(u, r.domain.lo), r.domain.hi)), label: label})
	}
	return ticks
}

// niceStep returns the smallest of 1, 2, 5 times a power of ten that divides the range into no more
// than most steps, at least 0.01.
//
// Source: after P. S. Heckbert, Nice numbers for graph labels, Graphics Gems, 1990, 61-63.
func niceStep(length float64, most int) float64 {
	raw := max(length/float64(max(most, 1)), 0.01)
	power := math.Pow(10, math.Floor(math.Log10(raw)+1e-9))
	for _, m := range []float64{1, 2, 5} {
		if m*power >= raw*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// niceTicks returns the multiples of a nice step from lo to hi.
func niceTicks(lo, hi float64, most int) []float64 {
	if !(lo <= hi) || !finite(lo) || !finite(hi) {
		return nil
	}
	if most < 1 {
		return nil
	}
	step := niceStep(hi-lo, most+1)
	first, last := math.Ceil(lo/step-1e-9), math.Floor(hi/step+1e-9)
	for last-first >= float64(most) {
		step = niceStep(1.5*step, 1)
		first, last = math.Ceil(lo/step-1e-9), math.Floor(hi/step+1e-9)
	}
	var ticks []float64
	for i := 0; i < most && first+float64(i) <= last; i++ {
		v := (first + float64(i)) * step
		if step < 1 { // 3·0.1 is not 0.3
			v = math.Round(v*100) / 100
		}
		ticks = append(ticks, v)
	}
	return ticks
}

// logTicks returns the numbers to label between the exponents lo and hi: 1, 2 and 5 in each decade
// if they fit, else 1 alone, else every second, third … decade; nice linear steps where the range is
// too short for two of them. Labels have two decimals, so nothing below 0.01.
func logTicks(lo, hi float64, most int) []float64 {
	if !(lo <= hi) || lo < -300 || hi > 300 {
		return nil
	}
	hair := 1e-9
	within := func(multiples []float64, every int) []float64 {
		var ticks []float64
		for d := max(math.Floor(lo), -2); d <= math.Ceil(hi); d++ {
			if int(d)%every != 0 {
				continue
			}
			for _, m := range multiples {
				if e := d + math.Log10(m); e >= lo-hair && e <= hi+hair {
					ticks = append(ticks, m*math.Pow(10, d))
				}
			}
		}
		return ticks
	}
	if t := within([]float64{1, 2, 5}, 1); len(t) <= most {
		if len(t) >= 2 {
			return t
		}
		if nice := niceTicks(math.Pow(10, lo), math.Pow(10, hi), min(most, 5)); len(nice) > len(t) {
			return nice
		}
		return t
	}
	for every := 1; every <= 600; every++ {
		if t := within([]float64{1}, every); len(t) <= most {
			return t
		}
	}
	return nil
}
