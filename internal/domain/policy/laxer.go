package policy

import (
	"fmt"
	"maps"
	"reflect"
	"slices"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// An edition of the rules that asks for less than one before it takes two people. What can be shown to ask for as much or
// for more does not; everything else counts as less, also what is only different, and also what nobody has thought of here:
// of each part the fields that are known are compared one by one, and whatever else it holds has to be equal.

// Laxer lists in words what one edition of the rules asks less of than one before it; none where it can be shown to ask
// for as much, or for more.
func Laxer(before, after RuleSet) []string {
	less := LaxerCycle(before, after)
	less = append(less, laxerSampling(before.Sample, after.Sample)...)
	less = append(less, laxerReading(before.Reading, after.Reading)...)
	less = append(less, laxerMeters(before.Meters, after.Meters)...)
	for _, r := range []*RuleSet{&before, &after} {
		r.Name, r.Edition, r.Note, r.Digest = "", "", "", ""
		r.Sample, r.Reading, r.Reprocessing, r.Meters = Sampling{}, reading.Rules{}, reprocessing.Rules{}, nil
	}
	return append(less, other("the rule set", before, after)...)
}

// LaxerCycle lists that of what the release check goes by.
func LaxerCycle(before, after RuleSet) []string {
	b, a := before.Reprocessing, after.Reprocessing
	less := laxerSteps("", b.Steps, a.Steps)
	models := []string{""}
	for _, m := range slices.Sorted(maps.Keys(union(b.Models, a.Models))) {
		models = append(models, m)
		less = append(less, laxerSteps("model "+m+", ", b.For(m), a.For(m))...)
	}
	for _, m := range models {
		less = append(less, laxerRoutes(m, b, a)...)
	}
	if b.Unstored != a.Unstored && (a.Unstored == 0 || a.Unstored > b.Unstored) {
		less = append(less, fmt.Sprintf("outside a cabinet: %s instead of %s", spanOr(a.Unstored), spanOr(b.Unstored)))
	}
	less = append(less, laxerCabinets(b.Cabinets, a.Cabinets)...)
	less = append(less, laxerDisinfectants(b.Disinfectants, a.Disinfectants)...)
	less = append(less, laxerDue(before.Sample.Due, after.Sample.Due)...)
	for _, r := range []*reprocessing.Rules{&b, &a} {
		r.Steps, r.Models, r.Routes, r.Cabinets, r.Disinfectants = nil, nil, nil, nil, nil
		r.Unstored, r.UnstoredSource, r.Due, r.Earlier = 0, sampling.Source{}, nil, nil
	}
	return append(less, other("steps and storage", b, a)...)
}

// other says where two values differ in what has not been compared.
func other[T any](what string, before, after T) []string {
	if reflect.DeepEqual(before, after) {
		return nil
	}
	return []string{what + ": something else is said"}
}

func union[T any](a, b map[string]T) map[string]T {
	all := maps.Clone(a)
	if all == nil {
		all = map[string]T{}
	}
	maps.Copy(all, b)
	return all
}

func spanOr(s unit.Span) string {
	if s == 0 {
		return "nothing"
	}
	return s.String()
}

// most says whether a greatest value, of which zero means none, is not exceeded by another.
func most[T unit.Span | int | unit.Celsius](before, after T) bool {
	return before == 0 || after != 0 && after <= before
}

func laxerSteps(where string, before, after []reprocessing.StepRule) (less []string) {
	last := -1
	for _, b := range before {
		what := where + b.Step.Words()
		i := slices.IndexFunc(after, func(s reprocessing.StepRule) bool { return s.Step == b.Step })
		if i < 0 {
			less = append(less, what+": no step any more")
			continue
		}
		if i < last {
			less = append(less, what+": in another order")
		}
		last = max(last, i)
		less = append(less, laxerStep(what, b, after[i])...)
		if b.Within == 0 && after[i].Within > 0 && slices.ContainsFunc(after, func(s reprocessing.StepRule) bool { return s.From == b.Step && s.Step.Dries() }) {
			less = append(less, what+": once it is in time, the clock of a later step starts with it")
		}
	}
	// Where the rules do not speak of leak tests a leak asks for a repair.
	for _, a := range after {
		if a.Step == reprocessing.LeakTest && a.AfterFail != reprocessing.RepairFirst &&
			!slices.ContainsFunc(before, func(b reprocessing.StepRule) bool { return b.Step == a.Step }) {
			less = append(less, where+a.Step.Words()+": a leak ends without a repair")
		}
	}
	return less
}

func laxerStep(what string, b, a reprocessing.StepRule) (less []string) {
	say := func(lax bool, format string, args ...any) {
		if lax {
			less = append(less, what+": "+fmt.Sprintf(format, args...))
		}
	}
	say(b.Required && !a.Required, "may be left out")
	say(a.AtLeast < b.AtLeast, "lasts at least %s instead of %s", spanOr(a.AtLeast), spanOr(b.AtLeast))
	say(!most(b.AtMost, a.AtMost), "lasts at most %s instead of %s", spanOr(a.AtMost), spanOr(b.AtMost))
	say(!most(b.Within, a.Within), "begins within %s instead of %s", spanOr(a.Within), spanOr(b.Within))
	say(b.Within > 0 && a.Within > 0 && a.From != b.From, "its time is counted from something else")
	say(b.AfterFail != reprocessing.JustRepeat && a.AfterFail != b.AfterFail, "after a failure something else is asked for")
	say(a.Starts > b.Starts, "starts on %s", a.Starts)
	switch {
	case a.KeptIn == "":
	case b.KeptIn == "":
		say(true, "is kept elsewhere")
	default:
		say(a.KeptIn != b.KeptIn || a.KeptBy != b.KeptBy, "is kept somewhere else, or by somebody else's word")
		say(a.KeptReview > b.KeptReview, "is reviewed later, by %s", a.KeptReview)
	}
	for _, s := range []*reprocessing.StepRule{&b, &a} {
		*s = clearedStep(*s)
	}
	return append(less, other(what, b, a)...)
}

// clearedStep returns what has not been compared of a step. What people are told to do when it is late or fails asks for
// nothing.
func clearedStep(s reprocessing.StepRule) reprocessing.StepRule {
	s.Step, s.Required, s.AtLeast, s.AtMost, s.Within, s.From, s.AfterFail = "", false, 0, 0, 0, "", ""
	s.OnLate, s.OnFail, s.Starts, s.KeptIn, s.KeptBy, s.KeptReview, s.Source = "", "", "", "", "", "", sampling.Source{}
	return s
}

func laxerRoutes(model string, before, after reprocessing.Rules) (less []string) {
	where := ""
	if model != "" {
		where = "model " + model + ", "
	}
	for _, o := range reprocessing.Occasions {
		route := after.RouteOf(o, model)
		for _, s := range before.RouteOf(o, model) {
			if !slices.ContainsFunc(route, func(x reprocessing.StepRule) bool { return x.Step == s.Step }) {
				less = append(less, fmt.Sprintf("%s%s: no %s", where, o.Words(), s.Step.Words()))
			}
		}
	}
	return less
}

func laxerCabinets(before, after []reprocessing.Cabinet) (less []string) {
	for _, a := range after {
		i := slices.IndexFunc(before, func(c reprocessing.Cabinet) bool { return c.Name == a.Name })
		if i < 0 {
			less = append(less, "cabinet "+a.Name+": is new")
			continue
		}
		b := before[i]
		if !most(b.Days, a.Days) || !most(b.Hours, a.Hours) {
			less = append(less, "cabinet "+a.Name+": a scope may wait longer in it")
		}
		for _, c := range []*reprocessing.Cabinet{&b, &a} {
			c.Days, c.Hours, c.Source = 0, 0, sampling.Source{}
		}
		less = append(less, other("cabinet "+a.Name, b, a)...)
	}
	return less
}

func laxerDisinfectants(before, after []reprocessing.Disinfectant) (less []string) {
	for _, a := range after {
		i := slices.IndexFunc(before, func(d reprocessing.Disinfectant) bool { return d.Name == a.Name })
		if i < 0 {
			less = append(less, "disinfectant "+a.Name+": is new")
			continue
		}
		b := before[i]
		if a.Contact < b.Contact || a.Coldest < b.Coldest || !most(b.Warmest, a.Warmest) || b.MEC && !a.MEC || !most(b.ReuseDays, a.ReuseDays) {
			less = append(less, "disinfectant "+a.Name+": less is asked for")
		}
		for _, d := range []*reprocessing.Disinfectant{&b, &a} {
			d.Contact, d.Coldest, d.Warmest, d.MEC, d.ReuseDays, d.Source = 0, 0, 0, false, 0, sampling.Source{}
		}
		less = append(less, other("disinfectant "+a.Name, b, a)...)
	}
	return less
}

// laxerDue looks for a rule in the place of each one before that makes at least as much due.
func laxerDue(before, after []sampling.Rule) (less []string) {
	for _, b := range before {
		if !slices.ContainsFunc(after, func(a sampling.Rule) bool { return dueAsMuch(b, a) }) {
			less = append(less, "cleaning verification "+text.Spaced(dueName(b))+": less is due")
		}
	}
	return less
}

func dueAsMuch(b, a sampling.Rule) bool {
	whom := (a.Risk == "" || a.Risk == b.Risk) && (len(a.Kinds) == 0 || len(b.Kinds) > 0 && subset(b.Kinds, a.Kinds))
	much := a.When == b.When && whom && (a.Blocks || !b.Blocks) && most(b.Uses, a.Uses) && most(b.Days, a.Days)
	for _, r := range []*sampling.Rule{&b, &a} {
		r.When, r.Risk, r.Kinds, r.Uses, r.Days, r.Blocks, r.Source = "", "", nil, 0, 0, false, sampling.Source{}
	}
	return much && reflect.DeepEqual(b, a)
}

func subset[T comparable](part, all []T) bool {
	return !slices.ContainsFunc(part, func(x T) bool { return !slices.Contains(all, x) })
}

func laxerSampling(before, after Sampling) (less []string) {
	for _, b := range before.Clocks.Limits {
		if !slices.ContainsFunc(after.Clocks.Limits, func(a sampling.Clock) bool { return clockAsStrict(b, a) }) {
			less = append(less, "clock "+b.Name+": runs longer, or not at all")
		}
	}
	if after.Clocks.Shake < before.Clocks.Shake {
		less = append(less, fmt.Sprintf("shaking for %s instead of %s", spanOr(after.Clocks.Shake), spanOr(before.Clocks.Shake)))
	}
	for _, m := range append([]string{""}, slices.Sorted(maps.Keys(union(before.Models, after.Models)))...) {
		less = append(less, laxerProtocols(m, before, after)...)
	}
	b, a := before.Selection, after.Selection
	if a.PerKind < b.PerKind || a.PerProcess < b.PerProcess || a.Size < b.Size || !most(b.EveryDays, a.EveryDays) {
		less = append(less, "random selection: fewer scopes, or later")
	}
	for _, d := range []*sampling.Selection{&b, &a} {
		d.PerKind, d.PerProcess, d.Size, d.EveryDays, d.Source = 0, 0, 0, 0, sampling.Source{}
	}
	less = append(less, other("random selection", b, a)...)
	for _, s := range []*Sampling{&before, &after} {
		s.Clocks.Limits, s.Clocks.Shake, s.Protocols, s.Models, s.Due, s.Selection = nil, 0, nil, nil, nil, sampling.Selection{}
	}
	return append(less, other("sampling", before, after)...)
}

func clockAsStrict(b, a sampling.Clock) bool {
	strict := a.From == b.From && a.To == b.To && (a.Method == "" || a.Method == b.Method) && a.Within <= b.Within && a.CappedWithin <= b.CappedWithin
	for _, c := range []*sampling.Clock{&b, &a} {
		c.Name, c.Method, c.From, c.To, c.Within, c.CappedWithin, c.Source = "", "", "", "", 0, 0, sampling.Source{}
	}
	return strict && reflect.DeepEqual(b, a)
}

// laxerProtocols takes a point that is sampled in another way for one that may show less.
func laxerProtocols(model string, before, after Sampling) (less []string) {
	where := ""
	if model != "" {
		where = "model " + model + ", "
	}
	for _, kind := range scope.PointKinds {
		b, had := sampling.For(before.ProtocolsFor(model), kind)
		a, has := sampling.For(after.ProtocolsFor(model), kind)
		b.Source, a.Source, b.Points, a.Points = sampling.Source{}, sampling.Source{}, nil, nil
		if had && (!has || !reflect.DeepEqual(b, a)) {
			less = append(less, where+"protocol of "+kind.Words()+": another way of sampling")
		}
	}
	return less
}

func laxerReading(b, a reading.Rules) (less []string) {
	say := func(lax bool, what string) {
		if lax {
			less = append(less, "cleaning verification: "+what)
		}
	}
	say(a.Cleanings > b.Cleanings, "more cleanings before a lead decides")
	say(a.Retest != b.Retest && a.Retest != reading.AllPoints, "fewer points are sampled again")
	say(a.Combine != b.Combine && a.Combine != reading.Worst, "of several readings another counts")
	say(b.Duplicate && !a.Duplicate, "no second reading near a level")
	say(a.Recovery != b.Recovery, "another recovery")
	for _, r := range []*reading.Rules{&b, &a} {
		r.Cleanings, r.Retest, r.Combine, r.Duplicate, r.Recovery = 0, "", "", false, 0
	}
	return append(less, other("cleaning verification", b, a)...)
}

func laxerMeters(before, after *Metering) (less []string) {
	if before == nil || after == nil {
		return other("checks of meters", before, after)
	}
	b, a := *before, *after
	switch {
	case !subset(b.Rules.Use, a.Rules.Use), !subset(b.Rules.Required, a.Rules.Required), a.Rules.WarningFirst && !b.Rules.WarningFirst,
		b.Rules.AcrossLevels && !a.Rules.AcrossLevels, a.Holds.SameDay != b.Holds.SameDay, !most(b.Holds.Every, a.Holds.Every):
		less = append(less, "checks of meters: less is asked for, or a check holds longer")
	}
	for _, m := range []*Metering{&b, &a} {
		m.Rules.Use, m.Rules.Required, m.Rules.WarningFirst, m.Rules.AcrossLevels = nil, nil, false, false
		m.Holds.Every, m.Holds.SameDay, m.Source = 0, false, sampling.Source{}
	}
	return append(less, other("checks of meters", b, a)...)
}
