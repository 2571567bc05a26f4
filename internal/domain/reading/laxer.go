package reading

import (
	"fmt"
	"reflect"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// Laxer lists in words what one level asks less of than one that judges the same before it; none where whatever the one
// before calls alert or action is called so, or worse, by it as well.
func Laxer(before, after Level) (less []string) {
	say := func(lax bool, format string, args ...any) {
		if lax {
			less = append(less, fmt.Sprintf(format, args...))
		}
	}
	if after.Analyte != before.Analyte || after.Unit != before.Unit {
		return []string{fmt.Sprintf("it judges %s in %s instead of %s in %s", after.Analyte, after.Unit, before.Analyte, before.Unit)}
	}
	say(after.Action > before.Action, "action level %s instead of %s %s", after.Action, before.Action, before.Unit)
	say(after.Action == before.Action && after.Comparison != before.Comparison && after.Comparison != AtOrOver,
		"a value at the action level does not exceed it any more")
	say(before.Alert > 0 && (after.Alert == 0 || after.Alert > before.Alert), "alert level %s instead of %s %s", orNone(after), before.Alert, before.Unit)
	say(after.CV < before.CV, "fewer values near a level are read a second time")
	for _, w := range before.Dirty {
		say(!holds(after.Dirty, w), "%q does not count as dirty any more", w)
	}
	for _, w := range after.Clean {
		say(!holds(before.Clean, w), "%q counts as clean", w)
	}
	for _, l := range []*Level{&before, &after} {
		*l = cleared(*l)
	}
	say(!reflect.DeepEqual(before, after), "something else is said")
	return less
}

func orNone(l Level) string {
	if l.Alert == 0 {
		return "none"
	}
	return l.Alert.String()
}

// cleared returns what has not been compared of a level. Where it comes from and who signed it asks for nothing, and for
// whom it is, whoever compares two of them has seen to.
func cleared(l Level) Level {
	l.System, l.Kit, l.Point, l.Kind, l.Analyte, l.Unit, l.Alert, l.Action, l.Comparison, l.CV = "", "", "", "", "", "", 0, 0, "", 0
	l.Dirty, l.Clean, l.Source, l.Edition, l.Adopter, l.Adopted, l.Second, l.From, l.Until = nil, nil, "", "", "", 0, "", 0, 0
	return l
}

// Replaces returns those of the levels that stand whose place one takes from an instant on: what judges the same then, or
// will. One for a kind of scope takes the place of the one for all where the kind has none.
func (l Level) Replaces(levels []Level, at unit.Instant) (replaced []Level) {
	of := func(kind scope.Kind) (inForce bool) {
		var now *Level
		for i := range levels {
			x := &levels[i]
			switch {
			case x.Key() != l.keyFor(kind) || x.Until.Known():
			case x.Judges() > at:
				replaced = append(replaced, *x)
			case now == nil || x.Since(*now) >= 0: // as Find chooses
				now = x
			}
		}
		if now != nil {
			replaced = append(replaced, *now)
		}
		return now != nil
	}
	if !of(l.Kind) && l.Kind != "" {
		of("")
	}
	return replaced
}

// keyFor is the key of a level for another kind of scope.
func (l Level) keyFor(kind scope.Kind) string {
	l.Kind = kind
	return l.Key()
}
