package quality

import (
	"fmt"
	"reflect"

	"rinsate/internal/base/unit"
)

// LaxerTarget lists in words what one target asks less of a control than one whose place it takes; none where whatever the
// one before fails it fails as well. A mean and a standard deviation are a chart of their own: another mean is less,
// since it lets pass what lies on its side.
func LaxerTarget(before, after Target) (less []string) {
	say := func(lax bool, format string, args ...any) {
		if lax {
			less = append(less, fmt.Sprintf(format, args...))
		}
	}
	switch {
	case before.limited() && !after.limited():
		say(true, "no limits instead of %s to %s RLU", before.Low, before.High)
	case before.limited():
		say(after.Low < before.Low, "from %s RLU instead of %s", after.Low, before.Low)
		say(after.High > before.High, "up to %s RLU instead of %s", after.High, before.High)
	}
	switch {
	case before.Charted() && !after.Charted():
		say(true, "no mean and standard deviation of own runs")
	case before.Charted():
		say(after.Mean != before.Mean, "another mean of own runs")
		say(after.SD > before.SD, "a larger standard deviation of own runs")
	}
	for _, t := range []*Target{&before, &after} {
		t.System, t.Meter, t.Material, t.Lot, t.Low, t.High, t.Mean, t.SD, t.Runs = "", "", "", "", 0, 0, 0, 0, 0
		t.Source, t.Edition, t.Adopter, t.Adopted, t.Second = "", "", "", 0, ""
	}
	say(!reflect.DeepEqual(before, after), "something else is said")
	return less
}

// Replaces returns those of the targets that stand whose place one takes from an instant on: what judges the same control
// then, or will. One for a meter takes the place of the one for its system where the meter has none.
func (t Target) Replaces(targets []Target, at unit.Instant) (replaced []Target) {
	of := func(meter string) (inForce bool) {
		var now *Target
		for i := range targets {
			x := &targets[i]
			switch {
			case x.System != t.System || x.Kind != t.Kind || x.Material != t.Material || x.Lot != t.Lot || x.Meter != meter:
			case x.Adopted > at:
				replaced = append(replaced, *x)
			case now == nil || x.Adopted >= now.Adopted: // as FindTarget chooses
				now = x
			}
		}
		if now != nil {
			replaced = append(replaced, *now)
		}
		return now != nil
	}
	if !of(t.Meter) && t.Meter != "" {
		of("")
	}
	return replaced
}
