package desk

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// What says by which models, entries, levels and targets the release check asks is no matter of one person where it asks
// for less than what stands, or for less than what stood last where that was taken back.

// byTwo looks after what takes a second person.
type byTwo struct{ *Work }

func byTwoOf(w *Work) byTwo { return byTwo{w} }

// errLess is the cause of a refusal for want of a second person.
var errLess = errors.New("it takes a second person")

// agreed makes sure that two people sign where one alone is refused, nil where one is enough; second names the other one,
// and is what the record will say.
func (w byTwo) agreed(act access.Act, e Entry, second *string, alone *fault.Error) error {
	if err := w.second(act, e, second); err != nil {
		return err
	}
	if alone != nil && *second == "" {
		*second = e.also
	}
	switch {
	case *second != "":
		_, err := pair(w.View, e.By, *second, 0, act, act)
		return err
	case alone != nil:
		return alone
	}
	return nil
}

// lessThanBefore refuses one person what asks for less than before; nil where nothing is less. what begins a sentence:
// "model D1".
func lessThanBefore(act access.Act, what string, less []string) *fault.Error {
	if len(less) == 0 {
		return nil
	}
	return &fault.Error{
		Code: fault.Invalid, Message: fmt.Sprintf("%s asks for less than before: %s", what, few(less)),
		Hint:  fmt.Sprintf("if it is meant, somebody else who may %s signs it too: on the page where it is stored, or with --second", act.What),
		Cause: errLess,
	}
}

// lessOfAny lists once what something asks less of than any of those before it.
func lessOfAny[T any](before []T, laxer func(T) []string) (less []string) {
	for _, old := range before {
		for _, what := range laxer(old) {
			if !slices.Contains(less, what) {
				less = append(less, what)
			}
		}
	}
	return less
}

// before returns what a thing says that another edition of it takes the place of: what stands, or what stood last.
func before[T any](v View, typ record.Kind, key string) (body T, ok bool, err error) {
	var last store.Kept
	stands := false
	err = v.tx.Editions(typ, key, func(k store.Kept) error {
		if gone := k.Replaced.Known(); !gone || !stands {
			last, stands, ok = k, !gone, true
		}
		return nil
	})
	if err == nil && ok {
		body, err = record.Body[T](last.Record)
	}
	return body, ok && err == nil, err
}

// mayBeModel refuses a model that asks for less than before, and that nobody else has signed. One that no scope has ever
// been of asks for nothing yet.
func (w byTwo) mayBeModel(e Entry, m *scope.Model) error {
	var less []string
	old, there, err := before[scope.Model](w.View, record.Model, m.Name)
	if err != nil {
		return err
	}
	if there && !w.sentBefore(e) {
		had, err := w.everHad(m.Name)
		if err != nil {
			return err
		}
		if had {
			less = scope.Laxer(old, *m)
		}
	}
	return w.agreed(ToRegisterModel, e, &m.Second, lessThanBefore(ToRegisterModel, "model "+m.Name, less))
}

// everHad says whether a scope has ever been said to be of a model.
func (w byTwo) everHad(model string) (bool, error) {
	all, err := w.tx.Entities(record.Instrument)
	if err != nil {
		return false, err
	}
	for _, k := range all {
		i, err := record.Body[scope.Instrument](k.Record)
		if err != nil || i.Model == model {
			return i.Model == model, err
		}
	}
	return false, nil
}

// mayBeInstrument refuses an entry of a scope that asks for less than before, also by its model, and that nobody else has
// signed.
func (w byTwo) mayBeInstrument(e Entry, i *scope.Instrument) error {
	old, there, err := before[scope.Instrument](w.View, record.Instrument, i.Tag)
	if err != nil {
		return err
	}
	var less []string
	if there && !w.sentBefore(e) {
		if less, err = w.lessOf(old, *i); err != nil {
			return err
		}
	}
	return w.agreed(ToRegisterInstrument, e, &i.Second, lessThanBefore(ToRegisterInstrument, "scope "+i.Tag, less))
}

// lessOf lists what one entry of a scope asks less of than one before it.
func (w byTwo) lessOf(old, i scope.Instrument) ([]string, error) {
	less := scope.LaxerInstrument(old, i)
	if old.Model == i.Model {
		return less, nil
	}
	was, known, err := before[scope.Model](w.View, record.Model, old.Model)
	if err != nil || !known {
		return less, err
	}
	is, _, err := standing[scope.Model](w.View, record.Model, i.Model)
	if err != nil {
		return nil, err
	}
	name := "by its model " + i.Model + ": "
	for _, what := range scope.Laxer(was, is) {
		less = append(less, name+what)
	}
	rules, err := w.Registry().Rules(w.tx.Now, store.Forever)
	if fault.CodeOf(err) == fault.NotFound {
		return less, nil
	}
	if err != nil {
		return nil, err
	}
	for _, what := range policy.LaxerModel(rules, old.Model, i.Model) {
		less = append(less, name+what)
	}
	return less, nil
}

// lessThanLevels lists what a level asks less of than those whose place it takes.
func (w byTwo) lessThanLevels(l reading.Level) ([]string, error) {
	standing, err := w.Registry().Levels()
	if err != nil {
		return nil, err
	}
	replaced := l.Replaces(standing, w.tx.Now)
	if len(replaced) == 0 {
		last, ok, err := before[reading.Level](w.View, record.Level, l.Key())
		if err != nil {
			return nil, err
		}
		if ok {
			replaced = append(replaced, last)
		}
	}
	return lessOfAny(replaced, func(old reading.Level) []string { return reading.Laxer(old, l) }), nil
}

// keepsAsking refuses to take back an edition of a model, of a scope's entry, of a level or of a target where what would
// count then asks for less: two register that instead.
func keepsAsking(w *Work, old store.Kept) (err error) {
	var less []string
	switch old.Kind() { //nolint:exhaustive // the others ask for nothing, or are rules: see keepsStrict
	case record.Model:
		less, err = lessWithout(w.View, old, func(was, is scope.Model) ([]string, error) { return scope.Laxer(was, is), nil })
	case record.Instrument:
		less, err = lessWithout(w.View, old, byTwoOf(w).lessOf)
	case record.Level:
		less, err = byTwoOf(w).lessWithoutLevel(old)
	case record.Target:
		less, err = byTwoOf(w).lessWithoutTarget(old)
	}
	if err != nil || len(less) == 0 {
		return err
	}
	return &fault.Error{
		Code:    fault.Conflict,
		Message: "without this edition the one before it would count, which asks for less: " + few(less),
		Hint:    "register what is meant: two people sign that",
	}
}

// lessWithout lists what the edition before the one that counts asks less of; nothing where another edition counts, or none
// is left, by which nothing is ready.
func lessWithout[T any](v View, old store.Kept, less func(was, is T) ([]string, error)) ([]string, error) {
	last, left, err := lastEditions(v, old)
	if err != nil || last.ID != old.ID || left.ID == "" {
		return nil, err
	}
	was, err := record.Body[T](last.Record)
	if err != nil {
		return nil, err
	}
	is, err := record.Body[T](left.Record)
	if err != nil {
		return nil, err
	}
	return less(was, is)
}

// lessWithoutLevel lists what would judge less strictly without a level: the one before it, or the one for every kind of
// scope.
func (w byTwo) lessWithoutLevel(old store.Kept) ([]string, error) {
	l, left, err := without[reading.Level](w.View, old)
	if err != nil {
		return nil, err
	}
	left = l.Replaces(left, w.tx.Now)
	if slices.ContainsFunc(left, func(x reading.Level) bool { return x.Key() == l.Key() && x.Judges() <= w.tx.Now && x.Since(l) >= 0 }) {
		return nil, nil // it judges no more
	}
	left = slices.DeleteFunc(left, func(x reading.Level) bool { return x.Judges() > w.tx.Now }) // they come anyhow
	return lessOfAny(left, func(x reading.Level) []string { return reading.Laxer(l, x) }), nil
}

// lessWithoutTarget lists what would judge a control less strictly without a target: the one before it, or the one of the
// meter system.
func (w byTwo) lessWithoutTarget(old store.Kept) ([]string, error) {
	t, left, err := without[quality.Target](w.View, old)
	if err != nil {
		return nil, err
	}
	left = t.Replaces(left, w.tx.Now)
	if slices.ContainsFunc(left, func(x quality.Target) bool {
		return x.Meter == t.Meter && x.Adopted <= w.tx.Now && x.Adopted >= t.Adopted
	}) {
		return nil, nil // it judges no more
	}
	left = slices.DeleteFunc(left, func(x quality.Target) bool { return x.Adopted > w.tx.Now }) // they come anyhow
	return lessOfAny(left, func(x quality.Target) []string { return quality.LaxerTarget(t, x) }), nil
}

// without returns what a record says, and what all others of its kind say that stand.
func without[T any](v View, old store.Kept) (body T, left []T, err error) {
	if body, err = record.Body[T](old.Record); err != nil {
		return body, nil, err
	}
	all, err := v.tx.Entities(old.Kind())
	if err != nil {
		return body, nil, err
	}
	for _, k := range all {
		if k.ID == old.ID || k.Replaced.Known() {
			continue
		}
		x, err := record.Body[T](k.Record)
		if err != nil {
			return body, nil, err
		}
		left = append(left, x)
	}
	return body, left, nil
}

// few names the first of many things.
func few(all []string) string {
	const most = 5
	if len(all) <= most {
		return strings.Join(all, "; ")
	}
	return strings.Join(all[:most], "; ") + fmt.Sprintf("; and %d more", len(all)-most)
}
