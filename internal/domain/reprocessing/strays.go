package reprocessing

import (
	"cmp"
	"slices"

	"rinsate/internal/base/unit"
)

// stray is an act that contradicts where the scope was by the record: it says that the scope was used, or was carried
// somewhere, and nothing on record says so.
type stray struct {
	step Step
	// after is what it came after.
	after Step
	// used says that it means a use that is not on record, and so ends only with that.
	used bool
}

// strays returns the acts since the last use that contradict where the scope was. A treatment at the bedside of a scope
// that was disinfected or stored before, since its last use, means another use. A transport of a scope that was stored is
// that of one that may have been used, until it was done again from the first step of the sink on. Whatever else came
// after the storing took the scope from where it hung.
func (g *trip) strays() (all []stray) {
	from := g.bedside // an arrival discharges nothing
	acts := slices.DeleteFunc(slices.Clone(g.h.Steps), func(s Step) bool { return s.Start < from })
	before := func(s Step, kinds ...StepKind) (last Step, ok bool) {
		for _, x := range acts {
			if slices.Contains(kinds, x.Kind) && x.Result != Fail && x.Start < s.Start && (!ok || x.Start > last.Start) {
				last, ok = x, true
			}
		}
		return last, ok
	}
	for _, s := range acts {
		switch s.Kind { //nolint:exhaustive // the others are all alike
		case PointOfUse:
			if after, ok := before(s, Disinfection, Storage); ok {
				all = append(all, stray{step: s, after: after, used: true})
			}
		case Storage, Issue:
		case Transport:
			after, ok := before(s, Storage)
			if ok && !g.mended(after.Start, s.Start) && !g.doneSince(s.Start) {
				all = append(all, stray{step: s, after: after})
			}
		default:
			after, ok := before(s, Storage)
			again := slices.ContainsFunc(acts, func(x Step) bool { return x.Kind == Storage && x.Result != Fail && x.Start >= s.Start })
			if ok && !again {
				all = append(all, stray{step: s, after: after})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b stray) int { return cmp.Compare(a.step.Start, b.step.Start) })
	return all
}

// mended says whether the scope came back from repair in a time.
func (g *trip) mended(from, to unit.Instant) bool {
	return slices.ContainsFunc(g.h.Repairs, func(r Repair) bool { return r.Returned > from && r.Returned <= to })
}

// doneSince says whether what the rules ask for at the sink, up to the cleaning, was done since an instant: what follows
// that has to follow it anyway.
func (g *trip) doneSince(from unit.Instant) bool {
	for _, rule := range g.rules.For(g.h.Model.Name) {
		if (rule.Step != LeakTest && rule.Step != ManualCleaning) || !g.inForce(rule, from) || !rule.Required {
			continue
		}
		if !slices.ContainsFunc(g.since(rule.Step, from), func(s Step) bool { return s.Result != Fail }) {
			return false
		}
	}
	return true
}
