package desk

import (
	"fmt"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
)

// Named returns the scope that a text means which was scanned or typed. Where it may mean several, nobody can say which one
// lies there, and the answer about any of them could be about another: that is a Conflict that names them.
func (v RegistryView) Named(text string) (scope.Instrument, error) {
	fleet, err := v.Instruments()
	if err != nil {
		return scope.Instrument{}, err
	}
	switch all := scope.Which(fleet, text, v.Now()); len(all) {
	case 0:
		return scope.Instrument{}, notFound("scan it again, or ask the reprocessing department", "no scope has the tag, barcode or serial number %q", text)
	case 1:
		return all[0], nil
	default:
		return scope.Instrument{}, &fault.Error{
			Code:    fault.Conflict,
			Message: fmt.Sprintf("which scope? %q stands for %s", text, tagsOf(all)),
			Hint:    "do not use it on a patient before the serial number on the scope was compared and the entry of one of them set right in the set-up",
		}
	}
}

// tagsOf joins the tags of scopes.
func tagsOf(all []scope.Instrument) string {
	tags := make([]string, len(all))
	for i, x := range all {
		tags[i] = x.Tag
	}
	return strings.Join(tags, " and ")
}

// unshared refuses an entry of a scope by which a text would mean two: a scope that is registered anew under another tag
// would leave its holds behind, and one with another's number would be answered for by it. An entry that changes none of
// these and does not bring the scope back stays possible, so that what is shared already can be set right or retired.
func unshared(v View, i scope.Instrument) error {
	old, there, err := standing[scope.Instrument](v, record.Instrument, i.Tag)
	if err != nil || there && !i.TakesBack(old) && old.Serial == i.Serial && old.Barcode == i.Barcode {
		return err
	}
	fleet, err := v.Registry().Instruments()
	if err != nil {
		return err
	}
	for _, other := range fleet {
		if other.Tag == i.Tag {
			continue
		}
		if code := i.Shares(other, v.Now()); code != "" {
			return taken(i, other, code)
		}
	}
	return nil
}

func taken(i, other scope.Instrument, code string) error {
	e := &fault.Error{
		Code: fault.Conflict, Message: fmt.Sprintf("instrument %s: %q is a code of scope %s already", i.Tag, code, other.Tag),
		Hint: fmt.Sprintf("if it is the same scope, go on with %s; else correct the entry of whichever has the wrong code. Two makers "+
			"with one number: write the model before it", other.Tag),
	}
	if other.Retired.Known() {
		e.Hint = fmt.Sprintf("if it is the same scope, bring %s back on its page in the set-up; else correct the entry of whichever has the wrong code", other.Tag)
	}
	return e
}

// ambiguous returns the codes by which more than one scope is meant, in capitals, with the tags of those.
func ambiguous(fleet []scope.Instrument, at unit.Instant) map[string][]string {
	holders := map[string]int{}
	for _, i := range fleet {
		own := map[string]bool{}
		for _, code := range i.Codes() {
			own[strings.ToUpper(code)] = true
		}
		for code := range own {
			holders[code]++
		}
	}
	all := map[string][]string{}
	for _, i := range fleet {
		for _, code := range i.Codes() {
			if holders[strings.ToUpper(code)] < 2 {
				continue
			}
			if which := scope.Which(fleet, code, at); len(which) > 1 {
				tags := make([]string, len(which))
				for n, x := range which {
					tags[n] = x.Tag
				}
				all[strings.ToUpper(code)] = tags
			}
		}
	}
	return all
}
