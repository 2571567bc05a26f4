package plain_test

import (
	"slices"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/takeback"
)

// attempt is somebody's attempt to take an entry back, alone.
type attempt struct {
	// failed says that the entry, which speaks against the scope or asks for something, is a failure.
	failed         bool
	author         bool
	after          unit.Instant
	next, pictured bool
}

// alone says whether one person takes the entry back: what is adverse takes two, but for a slip of its author within ten
// minutes and before the next act. A failed step is none, whatever is pictured.
func (a attempt) alone() bool {
	return a.author && a.after >= 0 && a.after < 10*minute && !a.next && !a.failed
}

// One person takes nothing back that speaks against a scope or opened duties, but for a slip: it stands until two have
// signed, and so does the answer. After a slip, and after two have signed, the two checks agree about what is left.
func (x *trial) takesBack(at unit.Instant) {
	h := copied(x.known)
	a := attempt{author: x.one(2), after: x.between(-minute, 20*minute), next: x.one(2), pictured: x.one(2)}
	c := takeback.Case{Author: a.author, Since: time.Duration(a.after) * time.Microsecond, Followed: a.next, Pictured: a.pictured}
	var gone func()
	var what string
	switch x.IntN(4) {
	case 0:
		if len(h.Uses) == 0 {
			return
		}
		i := x.IntN(len(h.Uses))
		c.Weight, what = takeback.OfUse(h.Uses[i]), "a use"
		gone = func() { h.Uses = slices.Delete(h.Uses, i, i+1) }
	case 1:
		if len(h.Repairs) == 0 {
			return
		}
		i := x.IntN(len(h.Repairs))
		c.Weight, what = takeback.OfRepair(h.Repairs[i].Repair), "a repair"
		gone = func() { h.Repairs = slices.Delete(h.Repairs, i, i+1) }
	default:
		if len(h.Steps) == 0 {
			return
		}
		i := x.IntN(len(h.Steps))
		s := h.Steps[i]
		a.failed = s.Result == reprocessing.Fail || s.MEC == reprocessing.Fail
		c.Weight, what = takeback.OfStep(s), string(s.Kind)
		gone = func() { h.Steps = slices.Delete(h.Steps, i, i+1) }
	}
	alone := c.Takes() != takeback.Two
	if alone != a.alone() {
		x.failf("%s taken back by one: the check says %v, the plain one %v: %+v", what, alone, a.alone(), c)
	}
	if !alone && !x.one(4) {
		return // it stands, and so does the answer; else two sign
	}
	gone()
	after, plain := x.fast(h, at), x.plainly(h, at)
	if plain.grade() > after.grade() && after.grade() == 0 && slices.ContainsFunc(h.Samples, func(t reprocessing.Taken) bool { return undecided(h, t) }) {
		x.harsh = true // the desk decides again about samples that now belong to another cleaning; here nobody does
		return
	}
	x.agree("after "+what+" was taken back", at, h, after, plain)
}

// undecided says whether no decision of its cleaning took a sample into account.
func undecided(h reprocessing.History, t reprocessing.Taken) bool {
	return !slices.ContainsFunc(h.Decisions, func(d reprocessing.Decision) bool {
		return d.Verification.Cleaning == t.Cleaning && d.First <= t.Collected && t.Collected <= d.Last
	})
}
