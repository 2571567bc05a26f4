package reprocessing

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// Release answers whether the scope may be used on a patient at an instant. Every reason that blocks
// is listed, not only the first. The state is the gravest of them: out of service before on hold
// before in reprocessing. What another record voided or corrected must be gone from the history: give it
// through History.AsKnown. What claims to lie later than the instant is left out; about the present instant ask
// [ReleaseNow].
func Release(h History, rules Rules, at unit.Instant, zone *time.Location) Answer {
	return h.until(at).judged(rules, h.Restores, at, zone)
}

// answer is Release for a history that holds nothing later than the instant. Of editions of the rules that ask for more
// each is asked as well: the gravest answer counts.
func answer(h History, rules Rules, at unit.Instant, zone *time.Location) Answer {
	return asked(h, rules, false, at, zone)
}

// asked answers for what all open occasions ask for or, alone, for the one that began the cycle.
func asked(h History, rules Rules, alone bool, at unit.Instant, zone *time.Location) Answer {
	a := underEdition(h, rules, alone, at, zone)
	for _, earlier := range rules.Earlier {
		a = a.and(underEdition(h, earlier, alone, at, zone))
	}
	return a
}

// underEdition answers by one edition of the rules.
func underEdition(h History, rules Rules, alone bool, at unit.Instant, zone *time.Location) Answer {
	g := release{trip: trip{h: h, rules: rules, at: at, zone: zone}}
	g.answer = Answer{Scope: h.Instrument.Tag, At: at, State: Ready}
	if h.Instrument.Tag == "" || !h.Instrument.InService.Known() || h.Instrument.InService > at {
		g.block(NotKnown, Reason{Text: "the scope was not in service at that time"}, "register the scope, reprocess and sample it before any use")
		return g.answer
	}
	if h.Model.Name == "" || h.Model.Name != h.Instrument.Model {
		// Without its model nobody can say which steps and samples the scope needs.
		g.block(NotKnown, Reason{Text: fmt.Sprintf("its model %q is not on record", h.Instrument.Model)}, "register the model")
	}
	g.service()
	g.holds()
	if g.inUse() {
		return g.ordered()
	}
	g.start()
	if alone {
		g.all = g.all[:1]
	}
	g.overlaps()
	before := len(g.answer.Next)
	if t, ok := h.listed(at); ok {
		g.byList(t)
	} else {
		g.byCycle()
	}
	if r := h.Instrument.Retired; r.Known() && r < g.answer.Until { // it is known already when it leaves
		g.answer.Until = r
		g.note(Reason{Text: "retired from " + r.In(zone) + " on"})
	}
	if whole := g.wholeRoutes(); len(whole) > 0 { // which does again whatever lacks
		g.answer.Next = append(g.answer.Next[:before], whole...)
	}
	g.elsewhere()
	if g.answer.State != Ready {
		g.answer.Until = 0
	}
	return g.ordered()
}

// byCycle answers from the cycle on record.
func (g *release) byCycle() {
	if !slices.ContainsFunc(g.h.Steps, func(s Step) bool { return s.Start >= g.answer.Cycle }) {
		why := "no reprocessing step is on record since " + g.startedBy
		state := InReprocessing
		if len(g.h.Uses) == 0 && len(g.h.Steps) == 0 {
			state = NotKnown
		}
		g.block(state, Reason{Text: why, Record: g.startRecord}, "")
		if g.h.Listable() == "" {
			g.decisions = append(g.decisions, "or a lead and infection prevention sign a stock-take over its photographed paper")
		}
	}
	g.steps()
	g.contradicted()
	g.storage()
}

// contradicted says which acts contradict where the scope was by the record.
func (g *release) contradicted() {
	for _, x := range g.strays() {
		text := fmt.Sprintf("%s at %s came after %s at %s", x.step.Kind.Words(), x.step.Start.In(g.zone), x.after.Kind.Words(), x.after.Start.In(g.zone))
		r := Reason{Text: text, Record: x.step.ID}
		switch {
		case x.used:
			r.Text += ": a use is not on record"
			g.block(InReprocessing, r, "a use is not on record: record it, then reprocess the scope by the whole route after use; "+
				"or take the treatment back if there was none")
		case x.step.Kind == Transport:
			r.Text += ": a use is not on record, or the scope was carried away"
			g.block(InReprocessing, r, "record the use that is not on record; without one too reprocess the scope from the leak test to storage")
		case g.answer.State == Ready: // else what it undoes is said
			r.Text += ", so that the scope does not hang there any more"
			g.block(InReprocessing, r, "dry the scope and store it again")
		}
	}
}

// ordered returns the answer with what is to be done in order: the acts on the scope as they follow each other,
// then what other people decide.
func (g *verdict) ordered() Answer {
	var lifts []string
	for _, hold := range g.open {
		if hold.Of() == CleaningHold && !hold.Escalated && g.cleanAgain { // the verification asks for the same
			continue
		}
		lifts = append(lifts, hold.Next())
	}
	for _, d := range slices.Concat(lifts, g.decisions) {
		if !slices.Contains(g.answer.Next, d) {
			g.answer.Next = append(g.answer.Next, d)
		}
	}
	return g.answer
}

// service looks at retirement and repairs.
func (g *release) service() {
	if r := g.h.Instrument.Retired; r.Known() && r <= g.at {
		g.block(OutOfService, Reason{Text: "retired since " + r.In(g.zone)}, "take another scope")
	}
	for _, r := range g.h.Repairs {
		if !r.Returned.Known() {
			g.block(OutOfService, Reason{Text: "away for repair since " + r.Sent.In(g.zone), Said: r.Fault, Record: r.ID}, "take another scope")
		}
	}
}

// holds looks for holds that nobody has lifted.
func (g *release) holds() {
	g.open = g.h.OpenHolds()
	told := make(map[HoldKind]int) // where uses of a scope that was not ready are told of, by the kind of their holds
	for _, hold := range g.open {
		if at, ok := told[hold.Of()]; ok && hold.ofUse() { // the same thing once more: only the patient is another
			g.answer.Reasons[at].Text += "; so did the use that began at " + hold.At.In(g.zone)
			continue
		}
		if hold.ofUse() {
			told[hold.Of()] = len(g.answer.Reasons)
		}
		r := Reason{Text: hold.since(g.zone), Said: hold.Reason, By: hold.By, Record: hold.ID, Since: hold.At}
		if hold.Cause != "" { // the rules placed it, in their words
			r.Text, r.Said = r.Whole(), ""
		}
		g.block(OnHold, r, g.repairFirst(hold))
	}
}

// wholeRoutes says of the open holds that end over a whole route what that takes, as long as none was begun since they were
// placed: single steps before it would be for nothing.
func (g *release) wholeRoutes() (next []string) {
	for _, hold := range g.open {
		begun := func(s Step) bool { return s.Kind == ManualCleaning && s.Start > hold.At && s.Start <= g.at }
		if hold.overWholeRoute() && !slices.ContainsFunc(g.h.Steps, begun) && !slices.Contains(next, hold.Next()) {
			next = append(next, hold.Next())
		}
	}
	return next
}

// repairFirst is what comes before everything else where a hold for a leak waits for a repair: nothing that is done
// before it counts. Empty where it does not, or has the repair.
func (g *release) repairFirst(hold Hold) string {
	mended := func(r Repair) bool { return r.Sent >= hold.At && r.Returned.Known() }
	if hold.Of() != LeakHold || slices.ContainsFunc(g.h.Repairs, mended) {
		return ""
	}
	if g.rules.afterLeak(g.h.Model.Name) != RepairFirst {
		return ""
	}
	return "send the scope to repair"
}

// fail keeps the scope from patients for a step that failed. Where a hold says so already it is not said twice.
func (g *verdict) fail(r Reason, next string) {
	if slices.ContainsFunc(g.open, func(h Hold) bool { return h.Cause != "" && h.Cause == r.Record }) {
		g.next(next)
		return
	}
	g.block(InReprocessing, r, next)
}

// start finds what asks for a route: the last use, and what came after it. The last of that began the cycle.
func (g *release) start() {
	g.all = g.h.occasions()
	slices.Reverse(g.all)
	g.on = &g.all[0]
	g.answer.Cycle, g.startRecord = g.on.at, g.on.record
	for i := range g.all {
		g.all[i].previous = g.all[i].at
	}
	for _, u := range g.h.Uses {
		g.bedside = max(g.bedside, u.last())
	}
	g.startedBy = fmt.Sprintf("%s at %s", g.on.by, g.on.at.In(g.zone))
}

// steps walks the steps of the cycle in the order of the rules.
func (g *release) steps() {
	due := sampling.DueAt(g.rules.Due, g.h.record(), g.at, g.zone)
	g.answer.Due = due
	steps := g.rules.withSoak(g.h.Model.Name)
	g.requirements(steps)
	g.runOuts()
	g.answer.Asked = g.asked(steps)
	g.each(steps, func(rule StepRule) (Progress, bool) {
		if rule.Step == Verification {
			return g.verification(rule, due), true
		}
		return g.step(rule)
	})
	g.afterwards()
}

// failedSince says whether a step, or one after it, failed and is to be done again, so that no clock runs from it.
func (g *verdict) failedSince(kind StepKind) bool {
	if g.cleanAgain && !g.recleaning && kind != "" && slices.Index(StepKinds, kind) >= slices.Index(StepKinds, ManualCleaning) {
		return true
	}
	return kind != "" && slices.ContainsFunc(g.answer.Steps, func(p Progress) bool {
		return p.Status == FailedStep && slices.Index(StepKinds, p.Step) >= slices.Index(StepKinds, kind)
	})
}

// step looks at one step of the present occasion's route; looked is false where it is no part of it.
func (g *release) step(rule StepRule) (p Progress, looked bool) {
	var delayed *StepRule
	if rule.Step == Soak && g.soaks() {
		if delayed = g.missed(); delayed != nil {
			rule.Required = true
		}
	}
	done := g.of(rule.Step)
	p = Progress{Step: rule.Step, Status: MissingStep, Deadline: g.deadline(rule, g.at)}
	if len(done) == 0 && rule.Step.Dries() && rule.Step != PointOfUse && !g.main() {
		p.Deadline = 0 // an earlier one stopped the drying, or the soak answers it
	}
	if len(done) == 0 && !rule.Step.Dries() && g.failedSince(rule.From) {
		p.Deadline = 0 // it runs from what has to be done again
	}
	if rule.Step == Soak && !rule.Required && len(done) == 0 {
		return p, false // no part of a cycle that went as it should
	}
	if !rule.Required && !g.main() {
		g.passed(rule, done)
		return p, false // it binds no longer than until all was asked for anew
	}
	if len(done) == 0 {
		switch {
		case !rule.Required:
			p.Status = NotDueStep
		case rule.Step == PointOfUse && rule.Within == 0 && g.leftBedside():
			p.Status = NotDueStep // the soak answers it
			g.note(cite(Reason{Text: rule.Step.Words() + " is not on record, and the scope has left the bedside"}, rule.Source))
		case p.Deadline.Known() && g.at > p.Deadline && rule.Step == PointOfUse: // the soak answers it
			p.Status = NotDueStep
			g.note(cite(Reason{Text: fmt.Sprintf("%s is not on record and should have begun by %s", rule.Step.Words(), p.Deadline.In(g.zone))}, rule.Source))
		case p.Deadline.Known() && g.at > p.Deadline:
			next := rule.OnLate
			if rule.Step.Dries() { // the soak was asked for before
				next = "do and record: " + rule.Step.Words()
			}
			g.block(
				InReprocessing,
				cite(Reason{Text: fmt.Sprintf("%s has not begun and should have by %s", rule.Step.Words(), p.Deadline.In(g.zone))}, rule.Source),
				next,
			)
		case delayed != nil:
			g.block(
				InReprocessing,
				cite(
					Reason{Text: fmt.Sprintf("%s is not on record in time, and no soak for delayed reprocessing either", delayed.Step.Words())},
					delayed.Source,
				),
				delayed.OnLate,
			)
		default:
			next := "do and record: " + rule.Step.Words()
			if p.Deadline.Known() {
				next += ", to begin by " + p.Deadline.In(g.zone)
			}
			g.block(InReprocessing, cite(Reason{Text: rule.Step.Words() + " is not on record" + g.sinceWhen()}, rule.Source), next)
		}
		return p, true
	}
	last := done[len(done)-1]
	p.Status, p.Record, p.Start, p.End = DoneStep, last.ID, last.Start, last.End
	for _, s := range done[:len(done)-1] {
		if s.Result == Fail {
			g.note(cite(Reason{Text: fmt.Sprintf("%s at %s failed and was repeated", rule.Step.Words(), s.Start.In(g.zone)), Record: s.ID}, rule.Source))
		}
	}
	before := len(g.answer.Reasons)
	late := g.late(rule, done)
	unanswered := g.unanswered(rule, done)
	switch {
	case last.Result == Fail:
		p.Status = FailedStep
		g.fail(cite(Reason{Text: last.FailedReason(g.zone), Record: last.ID}, rule.Source),
			orElse(rule.OnFail, "repeat: "+rule.Step.Words()))
	case !last.End.Known() && last.Unsure.Known() && rule.Step.wets():
		p.Status = FailedStep
		g.block(
			InReprocessing,
			cite(Reason{Text: rule.Step.Words() + " was recorded while the computer's clock was in doubt, which proves nothing", Record: last.ID}, rule.Source),
			"repeat: "+rule.Step.Words(),
		)
	case !last.End.Known() && rule.Step != Storage && rule.Step != Issue:
		p.Status = RunningStep
		g.block(
			InReprocessing,
			cite(Reason{Text: fmt.Sprintf("%s goes on since %s", rule.Step.Words(), last.Start.In(g.zone)), Record: last.ID}, rule.Source),
			"finish and record: "+rule.Step.Words(),
		)
	case unanswered != nil:
		p.Status = FailedStep
		g.fail(cite(Reason{
			Text: fmt.Sprintf(
				"%s at %s failed, and %s passed at %s without %s between them",
				rule.Step.Words(),
				unanswered.Start.In(g.zone),
				rule.Step.Words(),
				last.Start.In(g.zone),
				rule.AfterFail.Words(),
			),
			Record: unanswered.ID,
		}, rule.Source), orElse(rule.OnFail, rule.AfterFail.Words()+", then repeat: "+rule.Step.Words()))
	case takesTime(rule.Step) && last.End == last.Start:
		p.Status = FailedStep
		g.block(InReprocessing, cite(Reason{
			Text:   fmt.Sprintf("%s at %s began and ended at the same time, which proves nothing", rule.Step.Words(), last.Start.In(g.zone)),
			Record: last.ID,
		}, rule.Source), "repeat: "+rule.Step.Words())
	case rule.AtLeast > 0 && last.End.Sub(last.Start) < rule.AtLeast.Duration():
		p.Status = FailedStep
		g.block(InReprocessing, cite(Reason{
			Text:   fmt.Sprintf("%s took %s; at least %s is needed", rule.Step.Words(), unit.SpanOf(last.End.Sub(last.Start)), rule.AtLeast),
			Record: last.ID,
		}, rule.Source), orElse(rule.OnFail, "repeat: "+rule.Step.Words()))
	case rule.AtMost > 0 && last.End.Sub(last.Start) > rule.AtMost.Duration():
		p.Status = FailedStep
		g.block(InReprocessing, cite(Reason{
			Text:   fmt.Sprintf("%s took %s; at most %s is allowed", rule.Step.Words(), unit.SpanOf(last.End.Sub(last.Start)), rule.AtMost),
			Record: last.ID,
		}, rule.Source), orElse(rule.OnFail, "repeat: "+rule.Step.Words()))
	case needsResult(rule.Step) && last.Result == NotStated:
		p.Status = MissingStep
		g.block(InReprocessing, cite(Reason{Text: fmt.Sprintf("%s at %s has no result on record", rule.Step.Words(), last.Start.In(g.zone)), Record: last.ID},
			rule.Source),
			"correct its record and state the result: "+rule.Step.Words())
	}
	if late && p.Status == DoneStep {
		p.Status = StaleStep
	}
	if rule.Required && p.Status == DoneStep && !g.shown(last) {
		p.Status = MissingStep
		g.unwritten = append(g.unwritten, last)
	}
	if rule.Step == Disinfection && last.Result != Fail && last.End.Known() {
		g.disinfection(last, rule)
		said := len(g.answer.Reasons) > before && g.answer.Reasons[len(g.answer.Reasons)-1].Blocks
		if p.Status == DoneStep && (said || last.MEC == Fail) { // which a hold may say instead
			p.Status = FailedStep
		}
	}
	if rule.Required {
		start := last.Start
		if rule.Step == Storage || rule.Step == Issue {
			start = last.last()
		}
		if g.on.previousStep != "" && start < g.on.previous {
			p.Status = StaleStep
			g.block(InReprocessing, cite(Reason{
				Text: fmt.Sprintf(
					"%s at %s came before %s ended at %s",
					rule.Step.Words(),
					last.Start.In(g.zone),
					g.on.previousStep.Words(),
					g.on.previous.In(g.zone),
				),
				Record: last.ID,
			}, rule.Source), "repeat: "+rule.Step.Words())
		}
	}
	g.passed(rule, done)
	return p, true
}

// passed goes on behind a step that is required, or that wets the scope again and so undoes what came before.
func (g *release) passed(rule StepRule, done []Step) {
	if len(done) == 0 || !rule.Required && !rule.Step.wets() {
		return
	}
	if last := done[len(done)-1]; last.last() > g.on.previous {
		g.on.previous, g.on.previousStep = last.last(), rule.Step
	}
}

// unanswered returns a failed step before the last of its kind that the last does not answer, nil when there is
// none: what the failure asks for did not come between them.
func (g *trip) unanswered(rule StepRule, done []Step) *Step {
	last := done[len(done)-1]
	for i, failed := range done[:len(done)-1] {
		if failed.Result != Fail {
			continue
		}
		switch rule.AfterFail {
		case JustRepeat:
		case RepairFirst:
			if !slices.ContainsFunc(g.h.Repairs, func(r Repair) bool { return r.Sent >= failed.last() && r.Returned.Known() && r.Returned <= last.Start }) {
				return &done[i]
			}
		case CleanAgain:
			if !slices.ContainsFunc(g.of(ManualCleaning), func(s Step) bool {
				return s.Result != Fail && s.Start >= failed.last() && s.End.Known() && s.End <= last.Start
			}) {
				return &done[i]
			}
		}
	}
	return nil
}

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// disinfection compares the facts of a disinfection with what its disinfectant needs. A fact that is not
// on record is not taken for good.
func (g *release) disinfection(s Step, rule StepRule) {
	fail := func(source sampling.Source, format string, args ...any) {
		g.block(InReprocessing, cite(Reason{Text: "disinfection: " + fmt.Sprintf(format, args...), Record: s.ID}, source), orElse(rule.OnFail,
			"repeat: disinfection"))
	}
	disinfectant, known := g.rules.disinfectant(s.Disinfectant)
	if !known {
		fail(rule.Source, "disinfectant %q is not in the rule set, so nobody can say what it needs", s.Disinfectant)
		return
	}
	switch {
	case s.Contact == 0:
		fail(disinfectant.Source, "the contact time is not on record; %s needs %s", disinfectant.Name, disinfectant.Contact)
	case s.Contact < disinfectant.Contact:
		fail(disinfectant.Source, "contact %s; %s needs %s", s.Contact, disinfectant.Name, disinfectant.Contact)
	}
	if why := disinfectant.temperatures(s); why != "" {
		fail(disinfectant.Source, "%s", why)
	}
	switch {
	case s.MEC == Fail:
		g.fail(cite(Reason{Text: "disinfection: the concentration was below the minimum effective one", Record: s.ID}, disinfectant.Source),
			orElse(rule.OnFail, "repeat: disinfection"))
	case s.MEC == NotStated && disinfectant.MEC:
		fail(disinfectant.Source, "the check of the minimum effective concentration is not on record")
	}
	if s.DisinfectantLot == "" {
		fail(disinfectant.Source, "the lot is not on record")
	}
	switch {
	case !s.DisinfectantExpires.Known():
		fail(disinfectant.Source, "the expiry of lot %q is not on record", s.DisinfectantLot)
	case s.DisinfectantExpires <= s.last(): // it has to last to the end of the contact
		fail(disinfectant.Source, "lot %q expired at %s", s.DisinfectantLot, s.DisinfectantExpires.In(g.zone))
	}
	g.means(s, disinfectant, fail)
}

// sampledFrom is since when verifications count for the present occasion: since it, or since a later one after which
// somebody sampled the scope.
func (g *trip) sampledFrom() unit.Instant {
	from := g.on.at
	for i := range g.all {
		at := g.all[i].at
		if at > from && g.all[i].kind != OfRunOut && (slices.ContainsFunc(g.h.Decisions, func(d Decision) bool { return d.In(at) }) ||
			slices.ContainsFunc(g.h.Samples, func(t Taken) bool { return t.Collected >= at && t.NotApplicable == "" })) {
			from = at
		}
	}
	return from
}

// verification looks at the verifications since the present occasion. What is due is asked for by the one that began the
// cycle.
func (g *release) verification(rule StepRule, due []sampling.Due) (p Progress) {
	p = Progress{Step: Verification, Status: NotDueStep}
	from := g.sampledFrom()
	verifications := keep(g.h.Decisions, func(d Decision) bool { return d.In(from) })
	slices.SortStableFunc(verifications, func(a, b Decision) int {
		return cmp.Or(cmp.Compare(a.last(), b.last()), cmp.Compare(a.Recorded, b.Recorded))
	})
	open := g.h.undecided(from)
	if !g.main() {
		due = nil
	}
	blocked := false
	failed := len(verifications) > 0 && !verifications[len(verifications)-1].Passed()
	for _, d := range due {
		if d.Blocks && g.inForce(rule, g.on.at) {
			blocked = true
			next := "sample and read: " + scope.Named(d.Points)
			if failed {
				next = "" // what comes after the failed one says it, and what comes before that
			}
			g.block(InReprocessing, cite(Reason{Text: "sampling is due: " + d.Why, Said: d.Said, By: d.By}, d.Source), next)
		} else {
			g.note(cite(Reason{Text: "sampling is due: " + d.Why, Said: d.Said, By: d.By}, d.Source))
		}
	}
	if blocked {
		p.Status = MissingStep
	}
	if len(open) > 0 {
		p.Status = RunningStep
		g.block(InReprocessing, cite(Reason{
			Text:   fmt.Sprintf("%s was sampled at %s and its cleaning verification has no result", open[0].Point.Words(), open[0].Collected.In(g.zone)),
			Record: open[0].ID,
		}, rule.Source), "finish the cleaning verification: sample and read every point")
		g.doubts(open[0].Cleaning, from)
	}
	if len(verifications) == 0 {
		return p
	}
	last := verifications[len(verifications)-1]
	p.Record, p.Start, p.End = last.ID, last.First, last.Last
	switch {
	case len(open) > 0:
	case !last.Passed():
		p.Status = FailedStep
		if !last.Verification.Complete {
			p.Status = RunningStep
		}
		next := last.Verification.Next
		g.cleanAgain = next.Act == reading.CleanAgain
		begun := func(s Step) bool { return s.Start >= last.last() }
		if g.recleaning = g.cleanAgain && slices.ContainsFunc(g.of(ManualCleaning), begun); g.recleaning { // that step says how it goes
			next.Words = "sample again: " + scope.Named(next.Points)
		}
		if said := last.Verification.Words() + ": " + last.Verification.Why; g.heldBy(last, said) {
			g.next(next.Words)
		} else {
			g.fail(cite(Reason{Text: said, Record: last.ID}, rule.Source), next.Words)
		}
		g.doubts(last.Verification.Cleaning, from)
	case last.First < g.on.previous:
		p.Status = StaleStep
		g.block(InReprocessing, cite(Reason{
			Text: fmt.Sprintf(
				"the cleaning verification began at %s, before %s ended at %s",
				last.First.In(g.zone),
				g.on.previousStep.Words(),
				g.on.previous.In(g.zone),
			),
			Record: last.ID,
		}, rule.Source), "sample again")
	default:
		p.Status = DoneStep
		for _, d := range verifications[:len(verifications)-1] {
			text := d.Verification.Words()
			switch {
			case d.Verification.Outcome == reading.Action && !g.recleaned(d):
				p.Status = StaleStep
				g.block(
					InReprocessing,
					cite(Reason{Text: text + " and the scope was not cleaned again before it was sampled again", Record: d.ID}, rule.Source),
					"clean the scope again, then sample it again",
				)
			case !d.Passed():
				g.note(Reason{Text: text, Record: d.ID})
			}
		}
		g.note(cite(Reason{Text: last.Verification.Words(), Record: last.ID}, rule.Source))
		if g.unproven(last, rule, from) {
			p.Status = MissingStep
		}
	}
	if last.last() > g.on.previous {
		g.on.previous, g.on.previousStep = last.last(), Verification
	}
	return p
}

// heldBy says whether an open hold was placed by an earlier decision on the verification that now says something else. It was
// placed for what was so then: the answer tells in its place what is so now, once.
func (g *release) heldBy(d Decision, said string) bool {
	if d.Verification.Outcome != reading.Action {
		return false
	}
	found := false
	for _, h := range g.open {
		if h.Cause == "" || h.Cause == d.ID || h.Of() != CleaningHold || h.At < d.First || h.At > d.last() {
			continue
		}
		for i := range g.answer.Reasons {
			if r := &g.answer.Reasons[i]; r.Record == h.ID {
				r.Text, found = h.since(g.zone)+": "+said, true
			}
		}
	}
	return found
}

// doubts says why readings of a cleaning that were taken since an instant do not count any more.
func (g *release) doubts(cleaning int, from unit.Instant) {
	told := map[string]bool{}
	for _, t := range g.h.Samples {
		if t.Doubt != "" && t.Cleaning == cleaning && t.Collected >= from && !told[t.DoubtRecord] {
			told[t.DoubtRecord] = true
			g.block(InReprocessing, Reason{Text: "readings of the cleaning verification do not count: " + t.Doubt, Record: t.DoubtRecord},
				"sample again, with a meter that passed its check and a lot that may be used")
		}
	}
}

// recleaned says whether a cleaning began after the samples of the verification were begun and ended after
// the last of them was read. A passed verification does not undo one over the action level by itself.
func (g *trip) recleaned(d Decision) bool {
	return slices.ContainsFunc(g.of(ManualCleaning), func(s Step) bool {
		return s.Result != Fail && s.Start >= d.First && s.End >= d.last()
	})
}

// undecided returns the samples of the cycle that begins at start whose verification has no decision
// yet: a verification that was begun must be finished, whether or not it was due.
func (h History) undecided(start unit.Instant) []Taken {
	verifications := keep(h.Decisions, func(d Decision) bool { return d.In(start) })
	return keep(h.Samples, func(t Taken) bool {
		return t.Collected >= start && t.NotApplicable == "" &&
			!slices.ContainsFunc(verifications, func(d Decision) bool { return d.covers(t, verifications) })
	})
}

// record sums the history up for the rules that make verifications due.
func (h History) record() sampling.Record {
	r := sampling.Record{
		Model: h.Model, Instrument: h.Instrument,
		Passed: h.Earlier.Passed, Failed: h.Earlier.Failed, UsesSincePassed: h.Earlier.Uses,
	}
	r.CycleStart, _, _ = Start(h)
	for _, d := range h.Decisions {
		switch {
		case d.Passed():
			// What is not proven in the present cycle is said apart; what never was in an earlier one stands for no duty.
			if !h.disturbed(d) && d.In(r.CycleStart) || h.Stands(d) {
				r.Passed = max(r.Passed, d.begun()) // what was done to it before it was read is not shown
			}
		case d.Verification.Outcome == reading.Action:
			r.Failed = max(r.Failed, d.last())
		}
	}
	if r.Passed > h.Earlier.Passed {
		r.UsesSincePassed = 0
	}
	for _, u := range h.Uses {
		if u.last() > r.Passed {
			r.UsesSincePassed++
		}
	}
	for _, x := range h.Repairs {
		r.Returned = max(r.Returned, x.Returned)
	}
	for _, s := range h.Steps {
		if s.Kind == ManualCleaning && s.Start >= r.CycleStart {
			r.Cleaned = max(r.Cleaned, s.End)
		}
	}
	for _, q := range h.Requests {
		r.Requests = append(r.Requests, q.Request)
	}
	return r
}

// Stands says whether a verification that passed stands for the duties of later cycles: its samples show it, or
// somebody's word does, and it shows one state of the scope.
func (h History) Stands(d Decision) bool {
	missing, _ := h.weigh(d, h.sampledFrom(d))
	return len(missing) == 0 && !h.disturbed(d)
}

// disturbed says whether somebody cleaned the scope or used it between the first sample of a verification and its last
// reading: then it shows no one state of the scope, and stands for no duty.
func (h History) disturbed(d Decision) bool {
	during := func(start, end unit.Instant) bool { return start <= d.last() && end > d.First }
	return slices.ContainsFunc(h.Steps, func(s Step) bool { return s.Kind == ManualCleaning && during(s.Start, s.last()) }) ||
		slices.ContainsFunc(h.Uses, func(u Use) bool { return during(u.Start, u.last()) })
}

// Due returns the verifications that are due for the scope at an instant.
func Due(h History, rules Rules, at unit.Instant, zone *time.Location) []sampling.Due {
	past := h.until(at)
	return sampling.DueAt(rules.Due, past.record(), at, zone)
}

// storage works out until when a reprocessed scope may wait. Its time runs from the first storage
// after it was first dried: taking a scope out and hanging it back, or drying it again without
// disinfecting it again, does not renew it. A failed storage is none.
func (g *release) storage() {
	g.back()
	if g.answer.State != Ready || g.unchecked(Storage) {
		return
	}
	limits, _ := g.limits(g.wetUntil(), g.at+1)
	for _, l := range limits {
		g.expire(l)
	}
	for i := range g.all { // a later occasion whose route ends before the storage excuses none
		g.on = &g.all[i]
		if l, ok := g.storeBy(); ok {
			g.expire(l)
		}
	}
	g.on = &g.all[0]
	for _, u := range g.answer.Unchecked { // once somebody should have looked at that again it is asked for here
		end := u.Review.End(g.zone)
		if end > g.at && end < g.answer.Until && !underEdition(g.h, g.rules, false, end, g.zone).State.Clear() {
			g.answer.Until = end
		}
	}
	if next := sampling.NextDue(g.rules.Due, g.h.record(), g.zone); next.Known() && next < g.answer.Until && !g.unchecked(Verification) {
		g.answer.Until = next
		g.note(Reason{Text: "periodic sampling falls due at " + next.In(g.zone)})
	}
}

// back asks that a scope which was issued since the last use is back: used, or stored by name.
func (g *release) back() {
	g.on = &g.all[0]
	for i := range g.all {
		if g.all[i].at < g.on.at {
			g.on = &g.all[i]
		}
	}
	issued := g.of(Issue)
	stored := keep(g.of(Storage), func(s Step) bool { return s.Result != Fail && g.shown(s) })
	g.on = &g.all[0]
	if len(issued) > 0 && (len(stored) == 0 || stored[len(stored)-1].Start <= issued[len(issued)-1].Start) {
		last := issued[len(issued)-1]
		g.block(
			InReprocessing,
			Reason{Text: "issued at " + last.Start.In(g.zone) + " and not back", Record: last.ID},
			"record the use, or store the scope again",
		)
	}
}

// wetUntil returns when the scope was wet for the last time: when its last disinfection ended or, where that is not
// checked here and none is on record, whatever was last done with it before it was stored.
func (g *trip) wetUntil() unit.Instant {
	if done := g.of(Disinfection); len(done) > 0 {
		return done[len(done)-1].last()
	}
	last := g.on.at
	for _, s := range g.h.Steps {
		if s.Start >= g.on.at && (s.Kind.wets() || s.Kind == Drying) {
			last = max(last, s.last())
		}
	}
	return last
}

// storeBy returns when a scope that nobody has stored since the step before has to be, by a rule that limits that.
func (g *release) storeBy() (l limit, ok bool) {
	steps := g.rules.For(g.h.Model.Name)
	i := slices.IndexFunc(steps, func(r StepRule) bool { return r.Step == Storage && r.Within > 0 })
	if i < 0 || !g.rules.asks(g.on.kind, steps, i) {
		return l, false
	}
	rule := steps[i]
	by := g.deadline(rule, g.at)
	if !by.Known() {
		return l, false
	}
	from := by.Add(-rule.Within.Duration())
	if slices.ContainsFunc(g.of(Storage), func(s Step) bool { return s.Result != Fail && s.Start >= from && g.shown(s) }) {
		return l, false
	}
	return limit{at: by, next: rule.OnLate, why: cite(Reason{
		Text: fmt.Sprintf("to be stored within %s, since %s", rule.Within, from.In(g.zone)),
	}, rule.Source)}, true
}

// limit is an end of the time that a scope may wait.
type limit struct {
	at unit.Instant
	// why is what ends it, whole when it needs no word about when that was; next is what to do once it has.
	why   Reason
	whole bool
	next  string
}

const waitedTooLong = "reprocess before use: the storage time is over"

// limits returns what ends the wait of a scope that was disinfected at an instant, by what was done before another,
// and whether it hung anywhere.
func (g *release) limits(disinfected, to unit.Instant) (limits []limit, hung bool) {
	dried := g.dried(disinfected, to)
	in := func(s Step) bool { return s.Start >= dried && s.Start < to }
	stored := keep(g.of(Storage), func(s Step) bool { return in(s) && s.Result != Fail && g.shown(s) })
	taken := append(keep(g.of(Issue), in), keep(g.of(Storage), func(s Step) bool { return in(s) && s.Result == Fail })...)
	outside := dried // since when the scope is outside a cabinet, zero while it is in one
	for i, s := range stored {
		switch {
		case !outside.Known():
		case g.rules.Unstored > 0:
			if until := outside.Add(g.rules.Unstored.Duration()); s.Start >= until {
				limits = append(limits, limit{at: until, whole: true, next: waitedTooLong, why: cite(Reason{
					Text:   fmt.Sprintf("it hung outside a cabinet from %s to %s; at most %s", outside.In(g.zone), s.Start.In(g.zone), g.rules.Unstored),
					Record: s.ID,
				}, g.rules.UnstoredSource)})
			}
		case i > 0 && s.Start > outside: // between the drying and the first storing the rule of the storage has its own limit
			limits = append(limits, limit{at: outside, whole: true, next: waitedTooLong, why: Reason{
				Text:   fmt.Sprintf("it hung outside a cabinet from %s to %s, and the rule set does not say how long it may", outside.In(g.zone), s.Start.In(g.zone)),
				Record: s.ID,
			}})
		}
		outside = s.End
		for _, out := range taken {
			if out.Start >= s.Start && (i+1 == len(stored) || out.Start < stored[i+1].Start) && (!outside.Known() || out.Start < outside) {
				outside = out.Start
			}
		}
	}
	switch {
	case outside.Known() && g.rules.Unstored == 0:
		limits = append(limits, limit{at: outside, whole: true, next: "use at once after reprocessing again, or store", why: Reason{
			Text: "not in a cabinet, and the rule set does not say how long a scope may wait outside one",
		}})
	case outside.Known():
		limits = append(limits, limit{at: outside.Add(g.rules.Unstored.Duration()), next: waitedTooLong, why: cite(Reason{
			Text: fmt.Sprintf("outside a cabinet since %s; at most %s", outside.In(g.zone), g.rules.Unstored),
		}, g.rules.UnstoredSource)})
	}
	for _, s := range stored {
		cabinet, ok := g.rules.cabinet(s.Cabinet)
		if !ok {
			limits = append(limits, limit{at: s.Start, whole: true, next: "name a cabinet of the rule set, or reprocess", why: Reason{
				Text: fmt.Sprintf("cabinet %q is not in the rule set, so nobody can say how long it keeps a scope", s.Cabinet), Record: s.ID,
			}})
			continue
		}
		until, most := stored[0].Start.Add(time.Duration(cabinet.Hours)*time.Hour), fmt.Sprintf("%d h", cabinet.Hours)
		if cabinet.Days > 0 {
			until, most = stored[0].Start.AddDays(cabinet.Days, g.zone), fmt.Sprintf("%d days", cabinet.Days)
		}
		limits = append(limits, limit{at: until, next: waitedTooLong, why: cite(Reason{
			Text:   fmt.Sprintf("stored in %s since %s; at most %s", cabinet.Name, stored[0].Start.In(g.zone), most),
			Record: s.ID,
		}, cabinet.Source)})
	}
	return limits, len(stored) > 0
}

// dried returns when the scope was dried for the first time after a disinfection ended and before an instant, or when
// that ended where no drying is on record.
func (g *release) dried(disinfected, to unit.Instant) unit.Instant {
	for _, s := range g.of(Drying) {
		if s.Start >= disinfected && s.Start < to && s.Result != Fail && g.shown(s) {
			return s.last()
		}
	}
	return disinfected
}

// expire ends Ready at an instant. At that instant the time is over.
func (g *release) expire(l limit) {
	if g.at < l.at {
		g.note(l.why)
		if !g.answer.Until.Known() || l.at < g.answer.Until {
			g.answer.Until = l.at
		}
		return
	}
	if !l.whole {
		l.why.Text += "; that time ended at " + l.at.In(g.zone)
	}
	g.block(InReprocessing, l.why, l.next)
}

// byList answers from a stock-take. What is asked of every cycle and from time to time is not asked, since there was no
// cycle here; what somebody asked for by name is, and what a repair or a failure has left to be done.
func (g *release) byList(t StockTake) {
	g.answer.StockTake = t.ID
	g.note(Reason{
		Text: fmt.Sprintf("by the stock-take of %s over photographed paper, not by a cycle on record: in %s until %s",
			t.At.In(g.zone), t.Cabinet, t.Until.In(g.zone)),
		Record: t.ID,
	})
	for _, d := range sampling.DueAt(g.rules.Due, g.h.record(), g.at, g.zone) {
		if d.When == sampling.EveryCycle || d.When == sampling.Periodic {
			continue
		}
		g.answer.Due = append(g.answer.Due, d)
		if r := cite(Reason{Text: "sampling is due: " + d.Why, Said: d.Said, By: d.By}, d.Source); d.Blocks {
			g.block(InReprocessing, r, "reprocess the scope, then sample and read: "+scope.Named(d.Points))
		} else {
			g.note(r)
		}
	}
	g.answer.Until = t.Until
}
