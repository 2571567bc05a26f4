package reprocessing

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
)

// Every kind of hold ends in ways of its own: over something that lies after the time that the hold speaks of and
// before the lift, and with a signature. [Hold.ways] is the one table of both.

// Signing is whose word it takes to end a hold.
type Signing string

// Who signs. A second person is another who may lift holds.
const (
	ByDoer                Signing = "whoever did it"
	ByLead                Signing = "a lead"
	ByPrevention          Signing = "infection prevention"
	ByLeadAndSecond       Signing = "a lead and a second person"
	ByPreventionAndSecond Signing = "infection prevention and a second person"
	ByEitherAndSecond     Signing = "a lead or infection prevention, and a second person"
)

// Two says whether it takes two people.
func (s Signing) Two() bool {
	return s == ByLeadAndSecond || s == ByPreventionAndSecond || s == ByEitherAndSecond
}

// signed says whether those who lift are the ones whose word it takes.
func (s Signing) signed(l Lift) bool {
	is := func(r access.Role) bool {
		return slices.Contains(l.ByRoles, r) || l.Two() && slices.Contains(l.SecondRoles, r)
	}
	two := l.Two() && access.Allows(l.ByRoles, access.LiftHold) && access.Allows(l.SecondRoles, access.LiftHold)
	switch s {
	case ByDoer:
		return strings.TrimSpace(l.By) != ""
	case ByLead:
		return is(access.Lead)
	case ByPrevention:
		return is(access.InfectionPrevention)
	case ByLeadAndSecond:
		return two && is(access.Lead)
	case ByPreventionAndSecond:
		return two && is(access.InfectionPrevention)
	case ByEitherAndSecond:
		return two
	}
	return false
}

// proof is what has to be on record for a hold to end.
type proof int

const (
	words              proof = iota // what the person who lifts says
	cleanedAndOK                    // a cleaning, then a verification that passed
	cleanedAndSeen                  // that, and an inspection that passed or a repair
	leakTested                      // a repair, then a leak test that passed
	repairedOrPictured              // a repair, or an inspection that passed, with a photograph
	reported                        // a report that was filed after the hold
	routeAndReport                  // every required step, begun after the hold, and a report that was filed after it
	wholeRoute                      // every required step, begun after the hold
	readyBeforeUse                  // the scope was ready when the use began
	decisionRetired                 // the decision that placed the hold was taken back
)

// way is one way in which a hold ends.
type way struct {
	proof proof
	Signing
}

// ways returns the ways in which the hold ends, the usual one first.
func (h Hold) ways() []way {
	switch h.Of() {
	case CleaningHold:
		if h.Escalated {
			return []way{{cleanedAndSeen, ByLeadAndSecond}, {decisionRetired, ByEitherAndSecond}}
		}
		return []way{{cleanedAndOK, ByDoer}, {decisionRetired, ByEitherAndSecond}}
	case CultureHold, WaterHold: // the report shows the result
		return []way{{routeAndReport, ByPrevention}}
	case LeakHold:
		return []way{{leakTested, ByLead}}
	case DamageHold:
		return []way{{repairedOrPictured, ByLead}}
	case DisinfectionHold, MeansHold:
		return []way{{wholeRoute, ByDoer}}
	case RecallHold:
		return []way{{reported, ByLead}}
	case ExposureHold:
		return []way{{wholeRoute, ByPreventionAndSecond}, {readyBeforeUse, ByPreventionAndSecond}}
	case RecordHold:
		return []way{{readyBeforeUse, ByLead}, {wholeRoute, ByLead}}
	case OtherHold:
	}
	return []way{{words, ByLeadAndSecond}}
}

// Grounds are what a hold can end on.
type Grounds struct {
	// Since is what is on record since the beginning of the last use before the hold, as far as somebody knew at the
	// lift.
	Since History
	// Rules are those in force at the lift. Without them counts what no rules can do without, of what the lift names.
	Rules *Rules
	Zone  *time.Location
	// ByRule says that the rules end the hold by themselves, so that nobody signs.
	ByRule bool
	// Before is the release check at the use that the hold speaks of, by all that is known now; nil where it speaks of
	// none, or nobody asked.
	Before *Answer
}

// Lifted returns the lift with the records that it rests on, or says what is missing for it to end the hold.
func (h Hold) Lifted(l Lift, g Grounds) (Lift, error) {
	var missing []string
	var unsigned []Signing
	unsure := false // only the clock is in the way
	for _, way := range h.ways() {
		if g.Rules == nil && (way.proof == readyBeforeUse) != l.Late {
			continue
		}
		lifted, lacking := way.proof.shown(h, l, g)
		if lacking != "" {
			missing = append(missing, lacking)
			continue
		}
		sure := !h.Unsure.Known() && !l.Placed.Known()
		signed := way.signed(l) && (way.Signing != ByDoer || g.Rules == nil || g.ByRule || did(g.Since, h, lifted))
		if signed && (sure || l.Two()) {
			return lifted, nil
		}
		unsure = unsure || signed && len(unsigned) == 0
		unsigned = append(unsigned, way.Signing)
	}
	on := fmt.Sprintf("the hold on %s%s", h.Scope, h.For())
	switch {
	case unsure:
		return l, fmt.Errorf("%s was placed while the computer's clock was in doubt: it takes a second person to lift it", on)
	case len(unsigned) > 0:
		return l, fmt.Errorf("%s ends with the signature of %s", on, unsigned[0])
	case len(missing) == 0:
		return l, fmt.Errorf("%s: nothing on record lets it end", on)
	}
	return l, fmt.Errorf("%s cannot end yet: %s", on, strings.Join(missing, "; or "))
}

// did says whether whoever lifts did what a lift rests on: sampled the verification, or, but for a hold for cleaning, did
// one of the steps. Where nobody is named for it, nobody did. Who cannot be asked any more is stood for by a lead and a
// second person.
func did(h History, x Hold, l Lift) bool {
	if ByLeadAndSecond.signed(l) {
		return true
	}
	is := func(by string) bool {
		by = strings.TrimSpace(by)
		return by != "" && strings.EqualFold(by, strings.TrimSpace(l.By))
	}
	if x.Of() != CleaningHold && slices.ContainsFunc(h.Steps, func(s Step) bool { return slices.Contains(l.Evidence, s.ID) && is(s.By) }) {
		return true
	}
	return slices.ContainsFunc(sampledBy(h, l.Verification), is)
}

// sampledBy returns who took the samples of a verification.
func sampledBy(h History, verification string) (all []string) {
	for _, d := range h.Decisions {
		if verification == "" || d.ID != verification {
			continue
		}
		for _, t := range h.Samples {
			if t.Cleaning == d.Verification.Cleaning && t.Collected >= d.begun() && t.Collected <= d.last() && t.NotApplicable == "" {
				all = append(all, t.By)
			}
		}
	}
	return all
}

// Waits says what is missing for the hold to end now, whoever lifts it, and who then signs; missing is empty when
// nothing is.
func (h Hold) Waits(at unit.Instant, g Grounds) (missing string, signing Signing) {
	l := Lift{Hold: h.ID, Scope: h.Scope, At: at}
	var lacking []string
	for _, way := range h.ways() {
		_, lacks := way.proof.shown(h, l, g)
		if lacks == "" {
			return "", way.Signing
		}
		lacking = append(lacking, lacks)
	}
	return strings.Join(lacking, "; or "), h.ways()[0].Signing
}

// shown looks for a proof after the hold and up to the lift. It returns the lift with the records that show it, or
// what is missing.
func (p proof) shown(h Hold, l Lift, g Grounds) (Lift, string) {
	e := evidence{hold: h, lift: l, Grounds: g}
	switch p {
	case words:
		return l, ""
	case cleanedAndOK:
		return e.cleaned()
	case cleanedAndSeen:
		l, lacks := e.cleaned()
		if lacks != "" {
			return l, lacks
		}
		seen := e.repairedOrSeen()
		if seen == "" {
			return l, "no inspection that passed and no repair is on record after it"
		}
		l.Evidence = append(l.Evidence, seen)
		return l, ""
	case leakTested:
		return e.leakTested()
	case repairedOrPictured:
		return e.repairedOrPictured()
	case reported:
		return e.reported(l, 0)
	case routeAndReport:
		l, lacks := e.route()
		if lacks != "" {
			return l, lacks
		}
		return e.reported(l, e.reprocessed())
	case wholeRoute:
		return e.route()
	case readyBeforeUse:
		return e.readyBeforeUse()
	case decisionRetired:
		return e.retired()
	}
	return l, "nothing on record lets it end"
}

// evidence looks for what ends one hold.
type evidence struct {
	hold Hold
	lift Lift
	Grounds
}

// steps returns the steps of a kind that began after the hold, ended by the lift and show something: they did not
// fail, passed where a result is asked for, and took time where nobody does them in none.
func (e evidence) steps(kind StepKind) []Step {
	return keep(e.Since.Steps, func(s Step) bool { return s.Kind == kind && s.Start > e.hold.At && e.proves(s) && s.End <= e.lift.At })
}

// shows says whether a step is done and not failed.
func (s Step) shows() bool {
	return s.Result != Fail && s.MEC != Fail && s.End.Known() && (!needsResult(s.Kind) || s.Result == Pass) && (!takesTime(s.Kind) || s.End > s.Start)
}

// proves says whether a step is done, not failed, and, as far as that was asked at the lift, on record in time, since
// nobody's word ends a hold, and as long as the rules ask for.
func (e evidence) proves(s Step) bool {
	return s.shows() && (e.Rules == nil || s.Lacks() == nil && e.lasted(s))
}

// lasted says whether a step took no less and no more time than the rules at the lift ask for.
func (e evidence) lasted(s Step) bool {
	took := s.End.Sub(s.Start)
	return !slices.ContainsFunc(e.Rules.For(e.Since.Model.Name), func(r StepRule) bool {
		return r.Step == s.Kind && (took < r.AtLeast.Duration() || r.AtMost > 0 && took > r.AtMost.Duration())
	})
}

// repaired returns the repairs for which the scope was sent after the hold, or with it, and was back by the lift: what
// was under way before mends something else.
func (e evidence) repaired() []Repair {
	return keep(e.Since.Repairs, func(r Repair) bool { return r.Sent >= e.hold.At && r.Returned > e.hold.At && r.Returned <= e.lift.At })
}

// cleaned looks for a verification that passed, of samples that were all taken after a cleaning which ended after the
// hold.
func (e evidence) cleaned() (Lift, string) {
	l := e.lift
	passed := keep(e.Since.Decisions, func(d Decision) bool {
		return e.hold.AnsweredBy(d) && d.Last <= l.At && (l.Verification == "" || l.Verification == d.ID)
	})
	slices.SortStableFunc(passed, func(a, b Decision) int { return cmp.Compare(b.last(), a.last()) })
	attested := false
	for _, d := range passed {
		if e.Rules != nil && !e.Since.Proven(d) {
			attested = true
			continue
		}
		for _, s := range e.Since.Steps {
			if s.Kind == ManualCleaning && e.proves(s) && s.End > e.hold.At && s.End <= d.First {
				l.Verification, l.Evidence = d.ID, []string{s.ID}
				return l, ""
			}
		}
	}
	switch {
	case attested:
		return l, "the cleaning verification that passed since is not proven by its records: nobody's word ends a hold"
	case len(passed) == 0:
		return l, "no cleaning verification that was sampled after it and passed is on record"
	}
	for _, s := range e.Since.Steps {
		if s.Kind == ManualCleaning && s.shows() && s.End > e.hold.At && s.End <= passed[0].First && e.Rules != nil && !e.lasted(s) {
			return l, "the manual cleaning before the cleaning verification that passed took " + unit.SpanOf(s.End.Sub(s.Start)).String() +
				", which is not as long as it should"
		}
	}
	return l, "no manual cleaning is on record between it and the cleaning verification that passed"
}

func (e evidence) leakTested() (Lift, string) {
	l := e.lift
	between := JustRepeat
	if e.Rules != nil {
		between = e.Rules.afterLeak(e.Since.Model.Name)
	}
	tests := keep(e.steps(LeakTest), func(s Step) bool { return strings.TrimSpace(s.By) != "" }) // nobody has tested it
	slices.SortStableFunc(tests, func(a, b Step) int { return cmp.Compare(b.Start, a.Start) })
	for _, test := range tests {
		failed := e.failedBefore(test)
		switch between {
		case JustRepeat:
			l.Evidence = []string{test.ID}
			for _, r := range e.repaired() { // what is named goes with it
				l.Evidence = append(l.Evidence, r.ID)
			}
			return l, ""
		case RepairFirst:
			for _, r := range e.repaired() {
				if r.Sent >= failed && r.Returned <= test.Start {
					l.Evidence = []string{r.ID, test.ID}
					return l, ""
				}
			}
		case CleanAgain:
			for _, s := range e.steps(ManualCleaning) {
				if s.Start >= failed && s.End <= test.Start {
					l.Evidence = []string{s.ID, test.ID}
					return l, ""
				}
			}
		}
	}
	switch {
	case between == JustRepeat:
		return l, "no leak test that passed, with who did it, is on record after it"
	case between == RepairFirst && len(e.repaired()) == 0:
		return l, "no repair to which the scope was sent after it, and from which it came back, is on record"
	}
	return l, "no leak test that passed, with who did it, is on record after " + between.Words()
}

// failedBefore returns when the last leak test failed that came after the hold and before another: what it asks for comes
// after it, whatever was done before.
func (e evidence) failedBefore(test Step) (failed unit.Instant) {
	for _, s := range e.Since.Steps {
		if s.Kind == LeakTest && s.Result == Fail && s.last() > e.hold.At && s.Start <= test.Start && s.ID != test.ID {
			failed = max(failed, s.last())
		}
	}
	return failed
}

// repairedOrSeen returns the record of a repair or of an inspection that passed, empty when there is none.
func (e evidence) repairedOrSeen() string {
	for _, r := range e.repaired() {
		return r.ID
	}
	if seen := e.steps(Inspection); len(seen) > 0 {
		return seen[len(seen)-1].ID
	}
	return ""
}

// repairedOrPictured looks for a repair, or for an inspection that passed and of which a photograph is filed: with it, or
// with the scope since it began.
func (e evidence) repairedOrPictured() (Lift, string) {
	l := e.lift
	for _, r := range e.repaired() {
		l.Evidence = []string{r.ID}
		return l, ""
	}
	seen := e.steps(Inspection)
	slices.Reverse(seen)
	for _, s := range seen {
		for _, f := range e.filed() {
			if f.Photograph && f.Recorded >= s.Start && (f.About == "" || f.About == s.ID) {
				l.Evidence = []string{s.ID, f.ID}
				return l, ""
			}
		}
	}
	if len(seen) > 0 {
		return l, "no photograph is filed with the inspection that passed, and no repair is on record after it"
	}
	return l, "no repair and no inspection that passed is on record after it"
}

// filed returns what was filed with the scope after the hold was placed, by the lift.
func (e evidence) filed() []Filed {
	return keep(e.Since.Filed, func(f Filed) bool { return f.Recorded > max(e.hold.At, e.hold.Recorded) && f.Recorded <= e.lift.At })
}

// reported looks for a report that was filed after the hold was placed, and not before an instant.
func (e evidence) reported(l Lift, from unit.Instant) (Lift, string) {
	for _, f := range e.filed() {
		if f.Report && f.Recorded >= from {
			l.Evidence = append(slices.Clone(l.Evidence), f.ID)
			return l, ""
		}
	}
	switch e.hold.Of() { //nolint:exhaustive // the others end without one
	case CultureHold:
		return l, "no report of the laboratory was filed with the scope after it was reprocessed"
	case WaterHold:
		return l, "no report of the water was filed with the scope after it"
	}
	return l, "no report of what the notice asks for was filed with the scope after it"
}

// reprocessed returns from when on a report may speak of the scope after the hold: a culture, from its first disinfection
// on, since what is sampled before says nothing of the time after it.
func (e evidence) reprocessed() unit.Instant {
	if e.hold.Of() != CultureHold || e.Rules == nil {
		return 0
	}
	for _, s := range e.steps(Disinfection) {
		return s.End
	}
	return 0
}

// route looks whether the scope has gone through every step that the rules require, each begun after the hold.
func (e evidence) route() (Lift, string) {
	l := e.lift
	if e.Rules == nil {
		for _, cleaned := range e.steps(ManualCleaning) {
			for _, disinfected := range e.steps(Disinfection) {
				if disinfected.Start >= cleaned.End {
					return l, ""
				}
			}
		}
		return l, "no manual cleaning and disinfection are on record after it"
	}
	past := e.Since.until(l.At)
	past.Holds, past.Lifts = nil, nil
	for _, rules := range e.Rules.editions() {
		var lacks string
		if l, lacks = e.routeUnder(past, rules.whole()); lacks != "" {
			return l, lacks
		}
	}
	return l, ""
}

// routeUnder looks for the route by one edition of the rules.
func (e evidence) routeUnder(past History, rules Rules) (Lift, string) {
	l := e.lift
	a := answer(past, rules, l.At, e.Zone)
	if len(a.Steps) == 0 {
		return l, a.Reasons[0].Text
	}
	l.Verification, l.Evidence = "", nil
	required := make(map[StepKind]bool)
	for _, rule := range rules.For(e.Since.Model.Name) {
		required[rule.Step] = rule.Required
	}
	for _, p := range a.Steps {
		switch {
		case p.Step == PointOfUse || p.Step == Storage || p.Step == Issue || p.Status == NotDueStep:
			continue
		case p.Status == DoneStep && (p.Start > e.hold.At || !required[p.Step]):
		case p.Status == DoneStep:
			return l, fmt.Sprintf("%s is not on record after it", p.Step.Words())
		case p.Status == MissingStep:
			return l, fmt.Sprintf("%s is not on record after it, or not in order", p.Step.Words())
		default:
			return l, fmt.Sprintf("%s is on record as %s", p.Step.Words(), p.Status)
		}
		if p.Start <= e.hold.At {
			continue
		}
		if p.Step != Verification {
			if slices.ContainsFunc(past.Steps, func(s Step) bool { return s.ID == p.Record && s.Lacks() != nil }) {
				return l, fmt.Sprintf("%s was written down too late to prove anything: nobody's word ends a hold", p.Step.Words())
			}
			l.Evidence = append(l.Evidence, p.Record)
			continue
		}
		l.Verification = p.Record
		if i := slices.IndexFunc(past.Decisions, func(d Decision) bool { return d.ID == p.Record }); i < 0 || !past.Proven(past.Decisions[i]) {
			return l, "the cleaning verification is not proven by its records: nobody's word ends a hold"
		}
	}
	return l, ""
}

// readyBeforeUse looks whether the scope was ready when the use began that the hold speaks of.
func (e evidence) readyBeforeUse() (Lift, string) {
	l := e.lift
	l.Late = true
	switch {
	case e.hold.Cause == "":
		return l, "it speaks of no use"
	case e.Rules == nil:
		before := func(kind StepKind) bool {
			return slices.ContainsFunc(e.Since.Steps, func(s Step) bool { return s.Kind == kind && s.shows() && s.End < e.hold.At })
		}
		if !before(ManualCleaning) || !before(Disinfection) {
			return l, "no manual cleaning and disinfection are on record before the use"
		}
		return l, ""
	case e.Before == nil || e.Before.State != Ready:
		return l, "what was missing when the use began is not on record"
	}
	l.Verification, l.Evidence = "", nil
	for _, p := range e.Before.Steps {
		switch {
		case p.Record == "" || p.Status != DoneStep:
		case p.Step == Verification:
			l.Verification = p.Record
		default:
			l.Evidence = append(l.Evidence, p.Record)
		}
	}
	return l, ""
}

// retired looks whether the decision that placed the hold was decided again since and is not over the action level.
func (e evidence) retired() (Lift, string) {
	l := e.lift
	stands := slices.ContainsFunc(e.Since.Decisions, func(d Decision) bool { return d.ID == e.hold.Cause })
	over := slices.ContainsFunc(e.Since.Decisions, func(d Decision) bool {
		return d.Verification.Outcome == reading.Action && d.begun() <= e.hold.At && d.last() >= e.hold.At
	})
	if e.hold.Cause != "" && !stands && !over {
		for _, d := range e.Since.Decisions {
			if d.Supersedes != "" && d.begun() <= e.hold.At && d.Verification.Outcome != reading.Action && d.Scope == e.hold.Scope {
				l.Verification, l.Evidence = d.ID, nil
				return l, ""
			}
		}
	}
	return l, "the cleaning verification that placed it stands"
}

// Ends says whether the lift, which names this hold, ends it: over the records that it names, all of which stand, and
// signed by those whose word the kind of hold takes. The rules of the time were asked when it was recorded
// ([Hold.Lifted]); here counts what no rules can do without.
func (l Lift) Ends(h Hold, named History) bool {
	if l.Placed.Known() && l.Two() { // a lift names its hold, and so was written after it
		h.At = l.Placed
	}
	if l.Scope != h.Scope || l.At < h.At {
		return false
	}
	over, all := named.named(l)
	if !all {
		return false
	}
	_, err := h.Lifted(l, Grounds{Since: over})
	return err == nil
}

// named returns the part of the history that a lift rests on, and whether all of it is there.
func (h History) named(l Lift) (over History, all bool) {
	missing := slices.Clone(l.Rests())
	is := func(s Stamp) bool {
		i := slices.Index(missing, s.ID)
		if i >= 0 {
			missing = slices.Delete(missing, i, i+1)
		}
		return i >= 0
	}
	over = History{
		Instrument: h.Instrument, Model: h.Model,
		Steps:     keep(h.Steps, func(s Step) bool { return is(s.Stamp) }),
		Decisions: keep(h.Decisions, func(d Decision) bool { return is(d.Stamp) }),
		Repairs:   keep(h.Repairs, func(r Repair) bool { return is(r.Stamp) }),
		Filed:     keep(h.Filed, func(f Filed) bool { return is(f.Stamp) }),
	}
	return over, len(missing) == 0
}

// OpenHolds returns the holds that no lift ends.
func (h History) OpenHolds() []Hold {
	return keep(h.Holds, func(hold Hold) bool {
		return !slices.ContainsFunc(h.Lifts, func(l Lift) bool { return l.Hold == hold.ID && l.Ends(hold, h) })
	})
}
