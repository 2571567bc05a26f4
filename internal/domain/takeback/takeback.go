// Package takeback answers what it takes to take a record back, or to put another in its place.
//
// What is adverse (a failure, a hold, what opened duties) is taken back by two: a lead or infection prevention, and a
// second person who took no part in it. Until both have signed, nothing is taken back, and so the worse of two versions
// counts. A slip, which its author corrects a moment after, is exempt; a failed result only with what was seen pictured.
// What makes it worse is anybody's, at any time.
//
// Read [Weight] first, then [Case.Takes]. Everything here is a function of its arguments.
package takeback

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// Sort is what a record is to the release of a scope.
type Sort string

// The sorts. A duty is what has to be answered before the scope is ready again; evidence is what answers it; aside is what
// bears on neither.
const (
	Aside    Sort = "aside"
	Evidence Sort = "evidence"
	Duty     Sort = "duty"
	Held     Sort = "hold"
	Failure  Sort = "failure"
)

// Weight is what a record says for or against a scope.
type Weight struct {
	Sort Sort
	// What says it in a few words: "a failed leak test".
	What string
}

// Adverse says whether the record speaks against a scope, or asks for something.
func (w Weight) Adverse() bool { return w.Sort == Failure || w.Sort == Held || w.Sort == Duty }

// Worse returns the one of two weights that takes more to take back.
func (w Weight) Worse(than Weight) Weight {
	order := []Sort{Aside, Evidence, Duty, Held, Failure}
	if slices.Index(order, than.Sort) > slices.Index(order, w.Sort) {
		return than
	}
	return w
}

func evidence(what string) Weight { return Weight{Evidence, what} }

// OfUse weighs a use: after it everything is due.
func OfUse(reprocessing.Use) Weight { return Weight{Duty, "a use"} }

// OfStep weighs a step. One that failed is a failure. Any other proves something and speaks against the scope as well: what
// comes after it in order has to follow it anew, while it goes on the scope is not ready, days run from a storing and the
// time without a place from a drying, and a scope that was taken out has to be used or put back.
func OfStep(s reprocessing.Step) Weight {
	switch {
	case s.Result == reprocessing.Fail, s.MEC == reprocessing.Fail:
		return Weight{Failure, "a failed " + s.Kind.Words()}
	case s.Kind == reprocessing.Issue:
		return Weight{Duty, "that the scope was taken out"}
	}
	return Weight{Duty, "a " + s.Kind.Words() + ", after which what follows is due"}
}

// OfRepair weighs a repair: while the scope is away and after it is back everything is due.
func OfRepair(scope.Repair) Weight { return Weight{Duty, "a repair"} }

// OfRequest weighs a request for samples.
func OfRequest(sampling.Request) Weight { return Weight{Duty, "a request for samples"} }

// OfHold weighs a hold.
func OfHold(reprocessing.Hold) Weight { return Weight{Held, "a hold"} }

// OfReading weighs a reading. One that does not count is no evidence, and nothing against the scope.
func OfReading(r reading.Reading) Weight {
	switch r.Judgement.Outcome {
	case reading.Action:
		return Weight{Failure, "a reading over the action level"}
	case reading.Void, reading.None:
		return evidence("a reading that is not judged")
	case reading.OK, reading.Alert:
	}
	return evidence("a reading")
}

// OfSample weighs a sample by what was read from it, since its readings go with it.
func OfSample(read ...reading.Reading) Weight {
	w := evidence("a sample")
	for _, r := range read {
		if x := OfReading(r); x.Adverse() {
			w = Weight{x.Sort, "a sample with " + x.What}
		}
	}
	return w
}

// InDoubt weighs a reading that nobody trusts, because of its meter or its lot, or the sample of it: without it another could
// be said of the same sample, and the doubt were gone.
func InDoubt(w Weight) Weight { return Weight{Failure, w.What + " in doubt"} }

// OfLostLot weighs a sample that would be said to be of another lot, after its own turned out not to be good.
func OfLostLot(w Weight) Weight {
	if w.Adverse() {
		return w
	}
	return Weight{Failure, "a sample of a lot that must not be used"}
}

// OfMoment weighs a mark in the life of a sample: a clock runs from it, which another mark would begin anew.
func OfMoment(m sampling.Moment) Weight { return Weight{Duty, "that a sample was " + string(m.Mark)} }

// OfCheck weighs a check of a meter.
func OfCheck(v quality.Verdict) Weight {
	if v.Outcome == quality.Rejected {
		return Weight{Failure, "a failed check of a meter"}
	}
	return evidence("a check of a meter")
}

// OfMeter weighs an edition of a meter against the one that would count without it.
func OfMeter(m, without quality.Meter) Weight {
	if m.Retired.Known() && (!without.Retired.Known() || without.Retired > m.Retired) {
		return Weight{Failure, "that a meter is out of service"}
	}
	return Weight{Sort: Aside}
}

// OfLot weighs an edition of a lot against the one that would count without it, which is empty for the first.
func OfLot(l, without quality.Lot) Weight {
	if without.TakesBack(l) || !without.Expires.Known() || without.Expires > l.Expires {
		return Weight{Failure, "since when a lot must not be used"}
	}
	return Weight{Sort: Aside}
}

// OfInstrument weighs an edition of a scope against the one that would count without it, which is empty for the first: an
// arrival asks for the route.
func OfInstrument(i, without scope.Instrument) Weight {
	if without.Tag != "" && i.InService > without.InService {
		return Weight{Duty, "the arrival of a scope"}
	}
	return Weight{Sort: Aside}
}

// KeepsUse says whether another version of a use says all that the first does against the scope: of the same scope and
// times, which the delay and the order of everything else are counted from.
func KeepsUse(old, x reprocessing.Use) bool {
	return x.Scope == old.Scope && x.Start == old.Start && (x.End == old.End || !old.End.Known())
}

// KeepsStep says whether another version of a step says all that the first does against the scope. What a step shows lies
// in its values as much as in its result (how long it took, with what, in which cabinet), and which of them would make
// the answer milder depends on the rules and on all else: so nothing of that may differ, but that it failed after all, or
// the end of what was open, which is how it is finished.
func KeepsStep(old, x reprocessing.Step) bool {
	if x.Result == reprocessing.Fail {
		old.Result = x.Result
	}
	if x.MEC == reprocessing.Fail {
		old.MEC = x.MEC
	}
	if !old.End.Known() {
		old.End = x.End
	}
	return judged(old) == judged(x)
}

// FillsStep says whether another version of a step only says what the first left out.
func FillsStep(old, x reprocessing.Step) bool {
	if OfStep(old).Sort == Failure {
		return false
	}
	fill(&old.End, x.End)
	fill(&old.By, x.By)
	fill(&old.Result, x.Result)
	fill(&old.Disinfectant, x.Disinfectant)
	fill(&old.DisinfectantLot, x.DisinfectantLot)
	fill(&old.DisinfectantExpires, x.DisinfectantExpires)
	fill(&old.DisinfectantFilled, x.DisinfectantFilled)
	fill(&old.Warmest, x.Warmest)
	fill(&old.MEC, x.MEC)
	fill(&old.Contact, x.Contact)
	fill(&old.Reprocessor, x.Reprocessor)
	fill(&old.CycleNumber, x.CycleNumber)
	fill(&old.Cabinet, x.Cabinet)
	if !old.HasTemperature {
		old.Coldest, old.HasTemperature = x.Coldest, x.HasTemperature
	}
	return judged(old) == judged(x)
}

// fill sets what was left out.
func fill[T comparable](old *T, x T) {
	var nothing T
	if *old == nothing {
		*old = x
	}
}

// judged returns a step without what the release check does not look at.
func judged(s reprocessing.Step) reprocessing.Step {
	s.Stamp, s.Finishes, s.Note, s.Procedure = reprocessing.Stamp{}, "", "", ""
	s.By = access.Key(s.By)
	return s
}

// KeepsRepair says whether another version of a repair says all that the first does against the scope.
func KeepsRepair(old, x scope.Repair) bool {
	return x.Scope == old.Scope && x.Sent == old.Sent && (x.Returned == old.Returned || !old.Returned.Known())
}

// KeepsRequest says whether another version of a request asks for all that the first does.
func KeepsRequest(old, x sampling.Request) bool {
	return x.Scope == old.Scope && x.At == old.At && slices.Equal(x.Points, old.Points)
}

// KeepsHold says whether another version of a hold holds at least as strictly.
func KeepsHold(old, x reprocessing.Hold) bool {
	return x.Scope == old.Scope && x.At <= old.At && !old.Of().Stricter(x.Of()) && (x.Escalated || !old.Escalated)
}

// KeepsReading says whether another version of a reading is as bad as the first.
func KeepsReading(old, x reading.Reading) bool {
	if OfReading(old).Adverse() {
		return x.Sample == old.Sample && OfReading(x).Adverse()
	}
	return OfReading(x).Adverse() || x.Sample == old.Sample && x.Meter == old.Meter && x.Lot == old.Lot && x.With.At == old.With.At &&
		access.Key(x.By) == access.Key(old.By) &&
		(x.Judgement.Outcome == old.Judgement.Outcome || !x.Judgement.Outcome.Passed() || old.Judgement.Outcome == reading.OK)
}

// KeepsSample says whether another version of a sample that was read is of the same point at the same time, by which it
// belongs to a cleaning. What its readings say by it, [KeepsReading] weighs.
func KeepsSample(old, x sampling.Sample) bool {
	return x.Scope == old.Scope && x.Point == old.Point && x.Collected == old.Collected && x.NotApplicable == old.NotApplicable
}

// KeepsCheck says whether another version of a check puts as much in doubt as the first.
func KeepsCheck(old, x quality.Verdict) bool {
	switch {
	case OfCheck(x).Adverse():
		return !OfCheck(old).Adverse() || x.Meter == old.Meter && x.At == old.At
	case OfCheck(old).Adverse():
		return false
	}
	return x.Meter == old.Meter && x.At == old.At && (x.Outcome == old.Outcome || old.Outcome == quality.Accepted || x.Outcome == quality.Unjudged)
}

// Case is one record that somebody would take back, or put another version in the place of.
type Case struct {
	Weight
	// Author says that whoever does it wrote the record.
	Author bool
	// Since is how long ago it was captured, Followed that something else of the scope was recorded since, Pictured that a
	// photograph of what was seen is filed with it.
	Since    time.Duration
	Followed bool
	Pictured bool
	// Value says that a value which was read is corrected: that of a reading.
	Value bool
	// Keeps says that the other version says all that the first does against the scope, Worse that it says more, or that
	// without it the scope is not ready where it was: the record is not taken back then. Milder says of evidence that the
	// other version shows more than the first.
	Keeps, Worse, Milder bool
	// Fills says that whoever did it only says what was left out.
	Fills bool
}

// Need is what it takes.
type Need string

// The needs. Usual is what holds for any record: its author or a lead (access.Actor.CheckTakeBack).
const (
	Anybody Need = "anybody" // who may record such a thing
	Usual   Need = "usual"
	Two     Need = "two"
)

// Takes returns what it takes.
func (c Case) Takes() Need {
	switch {
	case c.Worse:
		return Anybody
	case c.Slip(), c.Fills:
	case c.Adverse() && !c.Keeps, c.Milder:
		return Two
	case c.Sort == Evidence && !c.Keeps: // what only proves is missing then
		return Anybody
	}
	return Usual
}

// Slip says whether it is a slip that its author puts right: within ten minutes of its capture and before the scope's next
// act. What failed is none, but for a value over its level, with a picture of the display.
func (c Case) Slip() bool {
	return c.Author && c.Since >= 0 && c.Since < access.Slip && !c.Followed && (c.Sort != Failure || c.Value && c.Pictured)
}

// People are those who would take something adverse back, and who had to do with it.
type People struct {
	By, Second           string
	ByRoles, SecondRoles []access.Role
	Involved             []string
}

// What keeps two people from taking something back.
var (
	ErrNotTheirs  = errors.New("it takes a lead or infection prevention")
	ErrAlone      = errors.New("it takes a second person who took no part in it")
	ErrSamePerson = errors.New("the second person must be somebody else")
)

// Check refuses people who may not take back together what is adverse. Whether they are who they say, and known here, is
// for the caller to ask.
func (p People) Check() error {
	switch second := access.Key(p.Second); {
	case !slices.ContainsFunc(p.ByRoles, First):
		return ErrNotTheirs
	case strings.TrimSpace(p.Second) == "":
		return ErrAlone
	case second == access.Key(p.By):
		return ErrSamePerson
	case slices.ContainsFunc(p.Involved, func(code string) bool { return access.Key(code) == second }):
		return fmt.Errorf("%w, and %s did", ErrAlone, p.Second)
	case !access.Allows(p.SecondRoles, access.LiftHold):
		return fmt.Errorf("%w, and %s is neither a lead nor infection prevention", ErrAlone, p.Second)
	}
	return nil
}

// First says whether somebody of a role may be the first of the two.
func First(r access.Role) bool { return r == access.Lead || r == access.InfectionPrevention }

// Needs says beforehand what it takes to take back what is adverse.
const Needs = "a lead or infection prevention, and a second person who took no part in it and is one of these too"

// SlipWords says what is exempt.
const SlipWords = "A slip its author puts right alone within ten minutes, before the next act on the scope. What failed is no slip, but for a " +
	"value over its level that is corrected, with a photograph of the display filed with the reading"
