package quality

import (
	"fmt"
	"math"

	"rinsate/internal/base/stats"
)

// Power is how often rules reject a run of controls whose readings follow a normal distribution on
// the scale of the target.
type Power struct {
	// First is the probability that a run without history is rejected.
	First float64
	// Settled is the probability that a run is rejected when the readings have been the same for so
	// long that no rule can reach back further: from the tenth run on. It is the false signal rate of
	// a run when nothing is wrong. History goes on over rejected runs, as it does in a [Watch].
	Settled float64
}

// Power returns the probabilities of rejection for runs with one control of each level, 1 or 2
// levels, each z normal with mean shift and standard deviation spread: 0 and 1 when the meter is
// in order. Limits in RLU are not part of it. The probabilities are exact up to rounding: z falls
// into one of eight zones, and the streaks of the levels form a Markov chain that forgets its start
// after ten runs. With two levels it takes a fraction of a second.
//
// Conditions: rules that pass their check, finite shift, finite spread > 0, else
// [stats.ErrArgument].
//
// Source of the method: C. W. Champ & W. H. Woodall, Technometrics 1987;29:393-399, there for one
// chart and other rules.
func (r Rules) Power(levels int, shift, spread float64) (Power, error) {
	if err := r.Check(); err != nil {
		return Power{}, err
	}
	if levels < 1 || levels > 2 || math.IsNaN(shift) || math.IsInf(shift, 0) || !(spread > 0) || math.IsInf(spread, 1) {
		return Power{}, fmt.Errorf("power for %d levels, shift %v, spread %v: want 1 or 2 levels, a finite shift and a spread over 0: %w",
			levels, shift, spread, stats.ErrArgument)
	}
	chain := chain{
		levels: levels, zones: zonesOf(shift, spread), first: r.WarningFirst, across: r.AcrossLevels,
		three: r.uses(OneThree), two: r.uses(TwoTwo), apart: r.uses(RFour), four: r.uses(FourOne), ten: r.uses(TenX),
	}
	now := distribution{}
	now.add(memory{}, 1)
	first := chain.rejection(now)
	for range tenLength - 1 {
		now = chain.after(now)
	}
	return Power{First: first, Settled: chain.rejection(now)}, nil
}

// zone is a range of z within which no rule tells values apart, with a z that stands for it.
type zone struct {
	z, probability float64
}

// zonesOf returns the zones cut at −3 to 3 with their probabilities.
func zonesOf(shift, spread float64) []zone {
	cuts := []float64{math.Inf(-1), -3, -2, -1, 0, 1, 2, 3, math.Inf(1)}
	zones := make([]zone, len(cuts)-1)
	for i := range zones {
		lo, hi := (cuts[i]-shift)/spread, (cuts[i+1]-shift)/spread
		// The difference is taken in the tail where both ends are small.
		p := stats.NormalCDF(hi) - stats.NormalCDF(lo)
		if lo > 0 {
			p = stats.NormalSurvival(lo) - stats.NormalSurvival(hi)
		}
		zones[i] = zone{z: -3.5 + float64(i), probability: p}
	}
	return zones
}

// memory is what the rules remember between runs: the streaks of each level and of all together.
type memory struct {
	level [2]streaks
	all   streaks
}

// chain holds the rules, looked up once, and what a run can show.
type chain struct {
	levels                       int
	zones                        []zone
	first, across                bool
	three, two, apart, four, ten bool
}

// each calls f with every outcome of one run and its probability.
func (c chain) each(f func(run []float64, p float64)) {
	run := make([]float64, c.levels)
	for _, a := range c.zones {
		run[0] = a.z
		if c.levels == 1 {
			f(run, a.probability)
			continue
		}
		for _, b := range c.zones {
			run[1] = b.z
			f(run, a.probability*b.probability)
		}
	}
}

// after returns the distribution of the memory one run later.
func (c chain) after(now distribution) distribution {
	later := distribution{place: make(map[memory]int, len(now.states))}
	for i, m := range now.states {
		c.each(func(run []float64, q float64) { later.add(c.next(m, run, nil), now.p[i]*q) })
	}
	return later
}

// rejection returns the probability that the next run is rejected.
func (c chain) rejection(now distribution) float64 {
	total := 0.0
	for i, m := range now.states {
		c.each(func(run []float64, q float64) {
			if c.rejects(m, run) {
				total += now.p[i] * q
			}
		})
	}
	return total
}

// distribution gives memories their probabilities, in the order in which they were first added, so
// that sums have the same last digit every time.
type distribution struct {
	place  map[memory]int
	states []memory
	p      []float64
}

func (d *distribution) add(m memory, p float64) {
	i, known := d.place[m]
	if !known {
		if d.place == nil {
			d.place = map[memory]int{}
		}
		i = len(d.states)
		d.place[m] = i
		d.states, d.p = append(d.states, m), append(d.p, 0)
	}
	d.p[i] += p
}

// next returns the memory after a run, cut to what can matter later; see is called after each
// control with the uncut streaks of its level, of all levels and of the run.
func (c chain) next(m memory, run []float64, see func(level, all, within streaks)) memory {
	var within streaks
	for i, z := range run {
		m.level[i], m.all, within = m.level[i].next(z), m.all.next(z), within.next(z)
		if see != nil {
			see(m.level[i], m.all, within)
		}
	}
	for i := range run {
		m.level[i] = c.cut(m.level[i])
	}
	if m.all = c.cut(m.all); !c.across {
		m.all = streaks{}
	}
	return m
}

// cut shortens streaks to the length from which one more control breaks the rule, and drops those
// of rules that are not in use.
func (c chain) cut(s streaks) streaks {
	to := func(used bool, s streak, n streak) streak {
		if !used {
			return 0
		}
		return max(min(s, n-1), 1-n)
	}
	return streaks{to(c.two, s.two, twoLength), to(c.four, s.four, fourLength), to(c.ten, s.ten, tenLength)}
}

// rejects says whether a run is rejected, by the same definitions as [Watch.Next].
func (c chain) rejects(m memory, run []float64) bool {
	beyond, far, low, high := false, false, false, false
	for _, z := range run {
		beyond, far = beyond || side(z, 2) != 0, far || side(z, 3) != 0
		low, high = low || z < -2, high || z > 2
	}
	if c.first && !beyond {
		return false
	}
	broken := far && c.three || low && high && c.apart
	slow := func(s streaks) bool { return c.four && s.four.reaches(fourLength) || c.ten && s.ten.reaches(tenLength) }
	c.next(m, run, func(level, all, within streaks) {
		broken = broken || c.two && (level.two.reaches(twoLength) || within.two.reaches(twoLength)) ||
			slow(level) || c.across && slow(all)
	})
	return broken
}
