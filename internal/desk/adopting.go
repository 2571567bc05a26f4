package desk

import (
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
)

// mayBeLevel refuses a level that could not be defended, and one far over what is published that nobody else has looked
// at: it is far more often a slip of the keyboard, and it would pass nearly everything.
func mayBeLevel(w *Work, act access.Act, e Entry, l *reading.Level) error {
	if err := w.inName(&l.Adopter); err != nil {
		return err
	}
	if err := w.second(act, e, &l.Second); err != nil {
		return err
	}
	if err := l.Check(); err != nil {
		return refuse(err)
	}
	switch most, published, ok := policy.Usual(l.Analyte, l.Unit); {
	case l.Second != "":
		_, err := pair(w.View, l.Adopter, l.Second, 0, act, act)
		return err
	case ok && l.Action > most:
		return &fault.Error{
			Code: fault.Invalid,
			Message: fmt.Sprintf("level for %s: the action level %s lies far over the largest published one, %s %s (%s); allowed for one person: at most %s %s",
				l.Scale(), l.Action, published.Action, l.Unit, published.Citation, most, l.Unit),
			Hint: "if it is meant, somebody else who may adopt levels signs it too: on the page of the level, or with --second",
		}
	}
	return nil
}

// levelWarnings lists what a person should look at before a level is adopted.
func levelWarnings(l reading.Level) []string {
	if _, _, ok := policy.Usual(l.Analyte, l.Unit); ok || l.Analyte == reading.Strip {
		return nil
	}
	const why = "no limit is published for %s in %s, so that nobody can say whether %s is a usual one: look at it twice"
	return []string{fmt.Sprintf(why, l.Analyte, l.Unit, l.Action)}
}
