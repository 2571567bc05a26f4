package quality

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// observation is a control that was held against its target.
type observation struct {
	id     ledger.ID
	value  unit.Number
	target *Target
	z      float64 // NaN when the target is not charted
}

// sequence is a series of consecutive charted controls, with the last of them that a rule can
// still reach back to.
type sequence struct {
	streaks
	last []observation
}

func (s *sequence) add(o observation) {
	s.streaks = s.next(o.z)
	if len(s.last) == tenLength {
		s.last = append(s.last[:0], s.last[1:]...)
	}
	s.last = append(s.last, o)
}

// tail returns a copy of the last n observations.
func (s *sequence) tail(n int) []observation { return slices.Clone(s.last[len(s.last)-n:]) }

// Watch judges the runs of one meter as they come, remembering what the rules of consecutive
// controls need. History goes on over rejected runs: what was out of order stays in the count until
// [Watch.Restart] says that the cause was removed, so that a drift is reported until then or until
// a control breaks the streak. A Watch must not be used from several goroutines at once.
type Watch struct {
	meter   Meter
	targets []Target
	rules   Rules
	levels  map[Target]*sequence
	all     sequence
	last    unit.Instant
}

// NewWatch starts a watch without history. It refuses a meter, rules or targets that do not pass
// their own checks; targets of other meters are allowed and never used.
func NewWatch(m Meter, targets []Target, rules Rules) (*Watch, error) {
	if err := m.Check(); err != nil {
		return nil, err
	}
	if err := rules.Check(); err != nil {
		return nil, err
	}
	for _, t := range targets {
		if err := t.Check(); err != nil {
			return nil, err
		}
	}
	rules.Use, rules.Required = slices.Clone(rules.Use), slices.Clone(rules.Required)
	return &Watch{meter: m, targets: slices.Clone(targets), rules: rules, levels: map[Target]*sequence{}}, nil
}

// Restart forgets the history, because something was done that makes later controls a new series:
// a repair, a calibration, a new light source.
func (w *Watch) Restart() {
	w.levels, w.all = map[Target]*sequence{}, sequence{}
}

// Next judges the controls of one run, in the order of their instants and, where those are equal,
// of their ids. It refuses an empty run, a control that does not pass its check or belongs to
// another meter or run, a run of more than a day, and a run that ended before the one judged last. A target of a new edition
// starts a series of its own.
func (w *Watch) Next(run []Control) (Verdict, error) {
	if len(run) == 0 {
		return Verdict{}, fmt.Errorf("a check of meter %q needs at least one control", w.meter.Code)
	}
	run = slices.Clone(run)
	slices.SortFunc(run, byTime)
	for i, c := range run {
		if err := c.Check(); err != nil {
			return Verdict{}, err
		}
		if c.Meter != w.meter.Code || c.Run != run[0].Run {
			return Verdict{}, fmt.Errorf("the control at %s belongs to meter %q, run %q, not to meter %q, run %q: judge each by itself",
				c.At, c.Meter, c.Run, w.meter.Code, run[0].Run)
		}
		if i > 0 && c.ID == run[i-1].ID {
			return Verdict{}, fmt.Errorf("control %q of meter %q is given twice", c.ID, c.Meter)
		}
	}
	v := Verdict{Meter: w.meter.Code, Run: run[0].Run, From: run[0].At, At: run[len(run)-1].At}
	if v.At-v.From > unit.Instant(longestRun) {
		return Verdict{}, fmt.Errorf("run %q lasts from %s to %s: give every run a name of its own", v.Run, v.From, v.At)
	}
	if v.At < w.last {
		return Verdict{}, fmt.Errorf("the run at %s is older than the one judged last, at %s: judge in the order of time", v.At, w.last)
	}
	w.last = v.At
	observed, missing := w.observe(run, &v)
	v.Hits = w.hits(observed)
	v.judge(missing)
	return v, nil
}

// longestRun is how long one run can last; a longer one is two runs under one name.
const longestRun = unit.Day

// byTime orders controls by their instant, ties by id.
func byTime(a, b Control) int { return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.ID, b.ID)) }

// observe holds each control against its target and says what the run lacks.
func (w *Watch) observe(run []Control, v *Verdict) (observed []observation, missing []string) {
	for _, c := range run {
		v.Controls = append(v.Controls, c.ID)
		t, ok := FindTarget(w.targets, w.meter, c)
		if !ok {
			missing = append(missing, fmt.Sprintf("no target is adopted for the %s control %q lot %q", c.Kind, c.Material, c.Lot))
			continue
		}
		observed = append(observed, observation{id: c.ID, value: c.Value, target: &t, z: t.Z(c.Value)})
	}
	for _, kind := range w.rules.Required {
		if !slices.ContainsFunc(run, func(c Control) bool { return c.Kind == kind }) {
			missing = append(missing, fmt.Sprintf("the run has no %s control", kind))
		}
	}
	return observed, missing
}

// hits adds a run to the history and returns the rules it broke, in the order of the constants.
func (w *Watch) hits(run []observation) []Hit {
	var found []Hit
	report := func(rule Rule, what string, broke []observation) {
		if len(broke) == 0 || rule != OutsideLimits && !w.rules.uses(rule) {
			return
		}
		h := hit(rule, what, broke)
		if !slices.ContainsFunc(found, func(f Hit) bool { return f.Rule == rule && slices.Equal(f.Controls, h.Controls) }) {
			found = append(found, h)
		}
	}
	report(OutsideLimits, "a control is outside its limits", where(run, func(o observation) bool { return !o.target.within(o.value) }))
	// From here on only charted controls count: for the others z is NaN, which is beyond nothing.
	run = where(run, func(o observation) bool { return o.target.Charted() })
	beyond := func(limit float64) []observation {
		return where(run, func(o observation) bool { return side(o.z, limit) != 0 })
	}
	report(OneTwo, "a control is beyond 2 standard deviations", beyond(2))
	look := !w.rules.WarningFirst || len(beyond(2)) > 0
	if look {
		report(OneThree, "a control is beyond 3 standard deviations", beyond(3))
		if apart(run) {
			report(RFour, "controls of one run are more than 4 standard deviations apart", beyond(2))
		}
	}
	var within sequence
	for _, o := range run {
		level := w.levels[*o.target]
		if level == nil {
			level = &sequence{}
			w.levels[*o.target] = level
		}
		level.add(o)
		within.add(o)
		w.all.add(o)
		if !look {
			continue
		}
		if within.two.reaches(twoLength) {
			report(TwoTwo, "2 consecutive controls of the run are beyond 2 standard deviations on the same side", within.tail(twoLength))
		}
		if level.two.reaches(twoLength) {
			report(TwoTwo, "2 consecutive controls of "+o.target.name()+" are beyond 2 standard deviations on the same side", level.tail(twoLength))
		}
		w.slow(level, "of "+o.target.name(), report)
		if w.rules.AcrossLevels {
			w.slow(&w.all, "of all levels", report)
		}
	}
	slices.SortStableFunc(found, func(a, b Hit) int { return cmp.Compare(rank(a.Rule), rank(b.Rule)) })
	return found
}

// slow reports the rules that see slow drifts.
func (w *Watch) slow(s *sequence, whose string, report func(Rule, string, []observation)) {
	if s.four.reaches(fourLength) {
		report(FourOne, "4 consecutive controls "+whose+" are beyond 1 standard deviation on the same side", s.tail(fourLength))
	}
	if s.ten.reaches(tenLength) {
		report(TenX, "10 consecutive controls "+whose+" are on the same side of the mean", s.tail(tenLength))
	}
}

// rank orders rules as the constants do, the limits first.
func rank(r Rule) int { return slices.Index(MultiRules, r) }

// apart says whether one control is above 2 and another below −2.
func apart(run []observation) bool {
	low, high := math.Inf(1), math.Inf(-1)
	for _, o := range run {
		low, high = min(low, o.z), max(high, o.z)
	}
	return high > 2 && low < -2
}

func (t Target) name() string {
	if t.Lot == "" {
		return t.Material
	}
	return t.Material + " lot " + t.Lot
}

func where(run []observation, is func(observation) bool) []observation {
	var kept []observation
	for _, o := range run {
		if is(o) {
			kept = append(kept, o)
		}
	}
	return kept
}

// Verdicts judges all controls of one meter, run by run, as a [Watch] does from its start. Runs are
// put in the order of their last controls, ties in the order of the run's name and then of the last
// control's id; a control without a run is a run by itself. A restart forgets the history before
// the first run that ends at or after its instant. Ids must be unique. The order of the arguments
// does not matter. No controls give no verdicts.
func Verdicts(m Meter, targets []Target, rules Rules, controls []Control, restarts []unit.Instant) ([]Verdict, error) {
	w, err := NewWatch(m, targets, rules)
	if err != nil {
		return nil, err
	}
	runs, err := runsOf(controls)
	if err != nil {
		return nil, err
	}
	restarts = slices.Sorted(slices.Values(restarts))
	verdicts := make([]Verdict, 0, len(runs))
	for _, run := range runs {
		for len(restarts) > 0 && restarts[0] <= run[len(run)-1].At {
			w.Restart()
			restarts = restarts[1:]
		}
		v, err := w.Next(run)
		if err != nil {
			return nil, err
		}
		verdicts = append(verdicts, v)
	}
	return verdicts, nil
}

// runsOf groups controls into runs.
func runsOf(controls []Control) ([][]Control, error) {
	controls = slices.Clone(controls)
	slices.SortFunc(controls, byTime)
	seen := make(map[ledger.ID]bool, len(controls))
	place := map[string]int{}
	var runs [][]Control
	for _, c := range controls {
		if seen[c.ID] {
			return nil, fmt.Errorf("control %q of meter %q is given twice", c.ID, c.Meter)
		}
		seen[c.ID] = true
		i, known := place[c.Run]
		if !known || c.Run == "" {
			i = len(runs)
			runs = append(runs, nil)
			place[c.Run] = i
		}
		runs[i] = append(runs[i], c)
	}
	slices.SortFunc(runs, func(a, b []Control) int {
		x, y := a[len(a)-1], b[len(b)-1]
		return cmp.Or(cmp.Compare(x.At, y.At), cmp.Compare(x.Run, y.Run), cmp.Compare(x.ID, y.ID))
	})
	return runs, nil
}
