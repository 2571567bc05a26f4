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

// agreed makes sure that two people sign what asks for less than before; second names the other one, and is what the
// record will say. what begins a sentence: "model D1".
func (w byTwo) agreed(act access.Act, e Entry, second *string, what string, less []string) error {
	if err := w.second(act, e, second); err != nil {
		return err
	}
	if len(less) > 0 && *second == "" {
		*second = e.also
	}
	switch {
	case *second != "":
		_, err := pair(w.View, e.By, *second, 0, act, act)
		return err
	case len(less) == 0:
		return nil
	}
	return &fault.Error{
		Code: fault.Invalid, Message: fmt.Sprintf("%s asks for less than before: %s", what, few(less)),
		Hint:  fmt.Sprintf("if it is meant, somebody else who may %s signs it too: on the page where it is stored, or with --second", act.What),
		Cause: errLess,
	}
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
	return w.agreed(ToRegisterModel, e, &m.Second, "model "+m.Name, less)
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
	return w.agreed(ToRegisterInstrument, e, &i.Second, "scope "+i.Tag, less)
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
	var less []string
	for _, old := range replaced {
		for _, what := range reading.Laxer(old, l) {
			if !slices.Contains(less, what) {
				less = append(less, what)
			}
		}
	}
	return less, nil
}

// keepsAsking refuses to take back an edition of a model, of a scope's entry, of a level or of a target where what would
// count then asks for less: two register that instead.
func keepsAsking(w *Work, old store.Kept) error {
	last, left, err := lastEditions(w.View, old)
	if err != nil || last.ID != old.ID || left.ID == "" {
		return err // another edition counts, or none will, by which nothing is ready
	}
	var less []string
	switch old.Kind() { //nolint:exhaustive // the others ask for nothing, or are rules: see keepsStrict
	case record.Model:
		less, err = lessOfEditions(last, left, func(a, b scope.Model) ([]string, error) { return scope.Laxer(a, b), nil })
	case record.Instrument:
		less, err = lessOfEditions(last, left, byTwoOf(w).lessOf)
	case record.Level:
		less, err = lessOfEditions(last, left, func(a, b reading.Level) ([]string, error) { return reading.Laxer(a, b), nil })
	case record.Target:
		less, err = lessOfEditions(last, left, func(a, b quality.Target) ([]string, error) {
			if len(a.Replaces([]quality.Target{b}, w.tx.Now)) == 0 {
				return nil, nil
			}
			return quality.LaxerTarget(a, b), nil
		})
	default:
		return nil
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

func lessOfEditions[T any](was, is store.Kept, less func(T, T) ([]string, error)) ([]string, error) {
	a, err := record.Body[T](was.Record)
	if err != nil {
		return nil, err
	}
	b, err := record.Body[T](is.Record)
	if err != nil {
		return nil, err
	}
	return less(a, b)
}

// few names the first of many things.
func few(all []string) string {
	const most = 5
	if len(all) <= most {
		return strings.Join(all, "; ")
	}
	return strings.Join(all[:most], "; ") + fmt.Sprintf("; and %d more", len(all)-most)
}
