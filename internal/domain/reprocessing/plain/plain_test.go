// Package plain holds no code of the program: it is a second release check, slow and plain, written from what the
// claim "ready for use" means and not from the check that ships, and random histories on which the two have to
// agree. A difference is a fault of one of them.
package plain_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// house is what a facility goes by.
type house struct {
	// ways are what its rules have that those of others lack; each is a class of its histories.
	ways    []string
	rules   reprocessing.Rules
	judging reading.Rules
	zone    *time.Location
}

// verdict is what the plain check says.
type verdict struct {
	ready bool
	// elsewhere says that nothing speaks against it here, and that somebody else releases it: it is not ready.
	elsewhere bool
	until     unit.Instant
	// lacks is what speaks against it, for whoever looks into a difference.
	lacks []string
}

// ever is later than anything.
const ever = unit.Instant(math.MaxInt64)

// walk goes through a history from its beginning to an instant.
type walk struct {
	house
	h     reprocessing.History
	at    unit.Instant
	lacks []string
	until unit.Instant

	// rounds are all verifications as the times of their samples and cleanings have them.
	rounds []round
	// open are the occasions since the last use.
	open []occasion
}

// plainly answers as of an instant of the past, from what had happened by then.
func (o house) plainly(h reprocessing.History, at unit.Instant) verdict {
	return o.judge(asOf(h, at), at)
}

// plainlyNow answers at the present instant, from everything that is on record.
func (o house) plainlyNow(h reprocessing.History, c reprocessing.Clock, now unit.Instant) verdict {
	v := o.judge(present(h, now), now)
	// After the clock stepped back by more than a minute, or ahead by more than ten, nothing is ready until it was compared.
	if len(c.Unsettled(now)) > 0 {
		v.ready, v.elsewhere, v.until, v.lacks = false, false, 0, append(v.lacks, "the clock is in doubt")
	}
	return v
}

// An edition of the rules that asks for less serves only trips that begin after it: of a trip under way the stricter of
// then and now is asked, and so every edition of the time has its say.
func (o house) judge(h reprocessing.History, at unit.Instant) verdict {
	v := o.byOne(h, at)
	for _, rules := range o.rules.Earlier {
		then := o
		then.rules = rules
		e := then.byOne(h, at)
		v.lacks = append(v.lacks, e.lacks...)
		switch {
		case !v.ready && !v.elsewhere, !e.ready && !e.elsewhere:
			v.ready, v.elsewhere, v.until = false, false, 0
		case v.elsewhere || e.elsewhere:
			v.ready, v.elsewhere, v.until = false, true, 0
		case v.until == 0:
			v.until = e.until
		case e.until != 0:
			v.until = min(v.until, e.until)
		}
	}
	return v
}

func (o house) byOne(h reprocessing.History, at unit.Instant) verdict {
	w := &walk{house: o, h: h, at: at, until: ever}
	w.rounds = w.sampled()
	w.known()
	w.used()
	w.held()
	if t, ok := w.listed(); ok {
		w.asked()
		w.ends(t.Until)
	} else {
		w.cycle()
	}
	// Where storage is kept elsewhere nobody here can say until when.
	if !w.away(reprocessing.Storage) {
		if w.until <= at {
			w.lack("its time is over since %s", w.until)
		}
	} else if r := h.Instrument.Retired; r.Known() && r <= at {
		w.lack("it is retired")
	}
	v := verdict{ready: len(w.lacks) == 0, lacks: w.lacks}
	// Where cleaning, leak test or disinfection is not checked here it is never ready.
	if v.ready && (w.others(reprocessing.LeakTest) || w.others(reprocessing.ManualCleaning) || w.others(reprocessing.Disinfection)) {
		v.ready, v.elsewhere = false, true
	}
	if v.ready && !w.away(reprocessing.Storage) {
		v.until = w.until
	}
	return v
}

// cycle asks for everything that a cycle on record has to show.
func (w *walk) cycle() {
	w.open = w.occasions()
	w.due()
	for _, o := range w.open {
		w.route(o)
		w.out(o)
	}
	w.beyond(w.open)
	w.elsewhere()
	if !w.away(reprocessing.Storage) {
		w.dates()
	}
}

// away says whether a requirement is not checked here for an occasion that is open: it starts later, or is kept elsewhere
// and the day by which that is looked at again is not over.
func (w *walk) away(kind reprocessing.StepKind) bool {
	for _, r := range w.rules.For(w.h.Model.Name) {
		if r.Step != kind {
			continue
		}
		for _, o := range w.open {
			if w.names(o, kind) && !w.counts(r, o.at) {
				return true
			}
		}
	}
	return false
}

// others says whether somebody else releases what is open by a requirement: it is not checked here, or was kept elsewhere
// when that began. That a day passes hands nothing over.
func (w *walk) others(kind reprocessing.StepKind) bool {
	for _, r := range w.rules.For(w.h.Model.Name) {
		for _, o := range w.open {
			if r.Step == kind && r.KeptIn != "" && w.names(o, kind) && o.at < midnightAfter(r.KeptReview, w.zone) {
				return true
			}
		}
	}
	return w.away(kind)
}

// grade orders verdicts: ready, released by somebody else, not ready.
func (v verdict) grade() int {
	switch {
	case v.ready:
		return 2
	case v.elsewhere:
		return 1
	}
	return 0
}

// counts says whether a requirement is in force here for what began at an instant.
func (w *walk) counts(r reprocessing.StepRule, begun unit.Instant) bool {
	if r.KeptIn != "" && w.at < midnightAfter(r.KeptReview, w.zone) {
		return false
	}
	return r.Starts == "" || begun >= midnight(r.Starts, w.zone)
}

// midnight is the beginning of a day, in a zone that changes its clocks at other hours.
func midnight(d unit.Date, zone *time.Location) unit.Instant {
	t, err := time.ParseInLocation("2006-01-02", string(d), zone)
	if err != nil {
		panic(err)
	}
	return unit.At(t)
}

func midnightAfter(d unit.Date, zone *time.Location) unit.Instant {
	return unit.At(midnight(d, zone).Time().In(zone).AddDate(0, 0, 1))
}

func (w *walk) lack(format string, args ...any) {
	w.lacks = append(w.lacks, fmt.Sprintf(format, args...))
}

func (w *walk) ends(at unit.Instant) { w.until = min(w.until, at) }

// Only a scope that is registered, of a known model, in service, not retired and not away can be ready.
func (w *walk) known() {
	i := w.h.Instrument
	switch {
	case i.Tag == "" || !i.InService.Known():
		w.lack("it is not registered")
	case i.InService > w.at:
		w.lack("it is not in service yet")
	case i.Retired.Known():
		w.ends(i.Retired)
	}
	if w.h.Model.Name == "" || w.h.Model.Name != i.Model {
		w.lack("its model is not on record")
	}
	for _, r := range w.h.Repairs {
		if !r.Returned.Known() {
			w.lack("it is away for repair since %s", r.Sent)
		}
	}
}

// No use may be open, and two uses of one scope at a time cannot both have been: that is asked about as long as the
// scope has not been used again.
func (w *walk) used() {
	last := w.lastUse()
	for i, u := range w.h.Uses {
		switch {
		case !u.End.Known() && !u.EndNotKnown:
			w.lack("the use of %s has no end", u.Start)
		case last >= 0 && i != last && u.Start < w.h.Uses[last].End && w.h.Uses[last].Start < u.End:
			w.lack("the uses of %s and %s overlap", u.Start, w.h.Uses[last].Start)
		}
	}
}

// lastUse is the use that ended last, -1 when there is none. The unknown end of a use is, for order, the beginning of
// the next act; whether nobody has said it yet or nobody can, its own beginning serves, from which the delay runs as well.
func (w *walk) lastUse() int {
	last := -1
	for i, u := range w.h.Uses {
		if last < 0 || max(u.Start, u.End) > max(w.h.Uses[last].Start, w.h.Uses[last].End) {
			last = i
		}
	}
	return last
}

// untouched says whether no use, step, sample or repair is on record.
func untouched(h reprocessing.History) bool {
	return len(h.Uses)+len(h.Steps)+len(h.Samples)+len(h.Repairs) == 0
}

// listed returns the stock-take that makes the scope ready: the last one, which a lead and infection prevention have
// signed over photographed paper, of a scope of which nothing is on record, neither an act nor an arrival since. What is
// not the house's own has arrived.
func (w *walk) listed() (t reprocessing.StockTake, ok bool) {
	if !untouched(w.h) || w.h.Instrument.Owner != scope.Own {
		return t, false
	}
	for _, x := range w.h.StockTakes {
		who := map[string]string{} // a role to a person
		for _, s := range []struct {
			code  string
			roles []access.Role
		}{{x.By, x.ByRoles}, {x.Second, x.SecondRoles}} {
			for _, r := range s.roles {
				who[string(r)+" "+strings.ToLower(strings.TrimSpace(s.code))] = string(r)
			}
		}
		two := false
		for a, role := range who {
			for b, other := range who {
				_, first, _ := strings.Cut(a, " ")
				_, second, _ := strings.Cut(b, " ")
				two = two || role == string(access.Lead) && other == string(access.InfectionPrevention) && first != second && first != "" && second != ""
			}
		}
		good := two && len(x.Papers) > 0 && x.Cabinet != "" && x.Until > x.At && x.At > w.h.Instrument.InService
		if good && (!ok || x.At > t.At || x.At == t.At && x.Until < t.Until) {
			t, ok = x, true
		}
	}
	return t, ok && w.at < t.Until
}

// asked asks for the samples that somebody has asked for by name: no list stands for these.
func (w *walk) asked() {
	for _, r := range w.rules.Due {
		if r.When == sampling.OnRequest && r.Blocks && covers(r, w.h.Model) && len(w.h.Requests) > 0 {
			w.lack("samples are asked for")
		}
	}
}

// occasion is what asks for a route.
type occasion struct {
	what reprocessing.Occasion
	at   unit.Instant
	// latest says that no other occasion since asks for all steps anew.
	latest bool
	// use is the end of the use that residue dries since; zero when none is on record.
	use unit.Instant
}

// Every occasion since the last use keeps its route: the use itself, a return from repair, the arrival, a storage that
// ran out. A later one discharges none of an earlier one.
func (w *walk) occasions() []occasion {
	var all []occasion
	var begin, end unit.Instant
	if i := w.lastUse(); i >= 0 {
		end = max(w.h.Uses[i].Start, w.h.Uses[i].End)
		begin = end
		all = append(all, occasion{what: reprocessing.OfUse, at: end, use: end})
	}
	if w.h.Instrument.InService >= begin {
		all = append(all, occasion{what: reprocessing.OfArrival, at: w.h.Instrument.InService, use: end})
	}
	for _, r := range w.h.Repairs {
		if r.Returned.Known() && r.Returned >= begin {
			all = append(all, occasion{what: reprocessing.OfRepair, at: r.Returned, use: end})
		}
	}
	last := 0
	for i, o := range all {
		if o.at >= all[last].at {
			last = i
		}
	}
	all[last].latest = true
	w.open = all
	for _, at := range w.runOut(begin) {
		all = append(all, occasion{what: reprocessing.OfRunOut, at: at, use: end})
	}
	return all
}

// steps returns the steps of a kind since an instant in the order of their beginnings. Of two at one instant the bad
// one counts, and so comes last.
func (w *walk) steps(kind reprocessing.StepKind, since unit.Instant) []reprocessing.Step {
	var all []reprocessing.Step
	for _, s := range w.h.Steps {
		if s.Kind == kind && s.Start >= since {
			all = append(all, s)
		}
	}
	slices.SortStableFunc(all, func(a, b reprocessing.Step) int {
		return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(goodness(b), goodness(a)), cmp.Compare(b.End, a.End),
			cmp.Compare(a.Recorded, b.Recorded), cmp.Compare(a.ID, b.ID))
	})
	return all
}

// goodness orders steps that began at one instant.
func goodness(s reprocessing.Step) int {
	switch s.Result {
	case reprocessing.Pass:
		return 2
	case reprocessing.NotStated:
		return 1
	case reprocessing.Fail:
	}
	return 0
}

// names says whether the route of an occasion has a step. Where the rules say nothing of the occasion it has all of
// them, and once the storage has run out all from the cleaning on; the bedside is the use's alone. What was used and
// delayed is soaked, whatever the route says.
func (w *walk) names(o occasion, kind reprocessing.StepKind) bool {
	if o.what == reprocessing.OfUse && kind == reprocessing.Soak {
		return true
	}
	for _, r := range w.rules.Routes {
		if r.After == o.what {
			return slices.Contains(r.Steps, kind)
		}
	}
	if o.what == reprocessing.OfRunOut {
		cleaned := false
		for _, r := range w.rules.For(w.h.Model.Name) {
			if cleaned = cleaned || r.Step == reprocessing.ManualCleaning; r.Step == kind {
				return cleaned
			}
		}
		return false
	}
	return o.what == reprocessing.OfUse || kind != reprocessing.PointOfUse
}

// asks returns the steps that the model's rules ask for in order. Delayed reprocessing may ask for a soak before the
// manual cleaning, whether or not the rules have one.
func (w *walk) asks() []reprocessing.StepRule {
	rules := w.rules.For(w.h.Model.Name)
	var all []reprocessing.StepRule
	soak := slices.ContainsFunc(rules, func(r reprocessing.StepRule) bool { return r.Step == reprocessing.Soak })
	for _, r := range rules {
		if r.Step == reprocessing.ManualCleaning && !soak {
			all = append(all, reprocessing.StepRule{Step: reprocessing.Soak})
		}
		all = append(all, r)
	}
	return all
}

// route asks of one occasion that each step was done since, in order, within its limits, and passed.
func (w *walk) route(o occasion) {
	rules := w.asks()
	delayed := w.delayed(o, rules)
	var before unit.Instant // the end of the last step in order
	for _, rule := range rules {
		since := o.at
		rule.Required = rule.Required && w.names(o, rule.Step) && w.counts(rule, o.at)
		switch rule.Step {
		case reprocessing.Verification:
			before = max(before, w.verified(o, before))
			continue
		case reprocessing.PointOfUse: // at the bedside, before whatever comes after; a missed or late one is answered by the soak
			since = o.use
			rule.Required = rule.Required && o.use.Known() && (!delayed || len(w.steps(rule.Step, since)) > 0)
		case reprocessing.Soak:
			rule.Required = rule.Required || delayed && w.names(o, rule.Step)
		default:
		}
		done := w.steps(rule.Step, since)
		if len(done) == 0 {
			if rule.Required {
				w.lack("%s: no %s", o.what, rule.Step)
			}
			continue
		}
		s := done[len(done)-1]
		if rule.Required || o.latest { // what nobody had to do binds no longer than until all is asked for anew
			w.sound(o, rule, s)
		}
		if rule.Required {
			w.written(o, s)
		}
		if rule.Required || o.latest {
			w.answered(o, rule, done)
		}
		if rule.Required && max(s.Start, stored(s)) < before {
			w.lack("%s: the %s of %s is out of order", o.what, s.Kind, s.Start)
		}
		if rule.Step == reprocessing.Disinfection && (rule.Required || o.latest) {
			w.disinfected(s)
		}
		// To move a scope is no storing: it had to hang by then for the first time.
		hung := s
		if rule.Step == reprocessing.Storage && rule.Within > 0 {
			from, _ := w.limitedFrom(rule, o, s)
			for _, d := range slices.Backward(done) {
				if d.Result != reprocessing.Fail && d.Start >= from {
					hung = d
				}
			}
		}
		// To dry what is dry already is no drying: it had to be dried by then for the first time since it was wet.
		if rule.Step == reprocessing.Drying && rule.Within > 0 {
			wet, _ := w.limitedFrom(rule, o, s)
			wet = max(wet, before)
			for _, d := range slices.Backward(done) {
				if d.Result != reprocessing.Fail && d.Start >= wet && tookItsTime(rule, d) && !w.late(d) {
					hung = d
				}
			}
		}
		limited := rule.Within > 0 && !dries(rules, rule.Step) && (rule.Required || o.latest)
		if from, ok := w.limitedFrom(rule, o, hung); ok && limited && hung.Start > from.Add(rule.Within.Duration()) {
			w.lack("%s: the %s of %s is too late after %s", o.what, s.Kind, s.Start, from)
		}
		// A step that nobody asked for undoes what came before it only where it wets the scope again.
		if rule.Required || wets(rule.Step) {
			before = max(before, s.Start, s.End)
		}
	}
}

// wets says which steps a scope is wet after.
func wets(kind reprocessing.StepKind) bool {
	return slices.Contains([]reprocessing.StepKind{
		reprocessing.LeakTest, reprocessing.Soak, reprocessing.ManualCleaning, reprocessing.Disinfection, reprocessing.FinalRinse,
	}, kind)
}

// stored is the end of a storage, which may have begun while something before it ended.
func stored(s reprocessing.Step) unit.Instant {
	if s.Kind == reprocessing.Storage {
		return s.End
	}
	return 0
}

// sound asks of a step that it ended, took its time and passed; where it is a check, that the result is on record.
func (w *walk) sound(o occasion, rule reprocessing.StepRule, s reprocessing.Step) {
	check := s.Kind == reprocessing.LeakTest || s.Kind == reprocessing.Inspection || s.Kind == reprocessing.Disinfection
	switch {
	case s.Result == reprocessing.Fail, check && s.Result != reprocessing.Pass:
		w.lack("%s: the %s of %s did not pass", o.what, s.Kind, s.Start)
	case s.Kind == reprocessing.Storage, s.Kind == reprocessing.Issue: // they have no end of their own
	case !s.End.Known():
		w.lack("%s: the %s of %s goes on", o.what, s.Kind, s.Start)
	case !tookItsTime(rule, s):
		w.lack("%s: the %s of %s was too short", o.what, s.Kind, s.Start)
	case rule.AtMost > 0 && s.End > s.Start.Add(rule.AtMost.Duration()):
		w.lack("%s: the %s of %s was too long", o.what, s.Kind, s.Start)
	}
}

// written asks that a step was written down within half a day of its end, or that somebody attests it in time: whoever did
// it within a day, a lead who asked within three, or at any time over a form that its doer signed.
func (w *walk) written(o occasion, s reprocessing.Step) {
	if w.late(s) {
		w.lack("%s: the %s of %s was written down too late", o.what, s.Kind, s.Start)
	}
}

// late says whether a step was written down, or put right, too late to show anything, or by nobody who may do it, and
// nobody attests it in time.
func (w *walk) late(s reprocessing.Step) bool {
	ended := max(s.Start, s.End)
	if s.Recorded <= ended+day/2 && !s.Edited && s.Stranger == "" { // what was put right later was not captured again
		return false
	}
	for _, a := range w.h.Attestations {
		if !slices.Contains(a.Of, s.ID) {
			continue
		}
		if a.From == reprocessing.OwnAct && a.At <= ended+day || a.From == reprocessing.WhoDidIt && a.At <= ended+3*day || a.From == reprocessing.SignedForm {
			return false
		}
	}
	return true
}

// tookItsTime says whether a step took as long as it has to; one that takes time and took none proves nothing.
func tookItsTime(rule reprocessing.StepRule, s reprocessing.Step) bool {
	return s.End.Known() && s.End.Sub(s.Start) >= rule.AtLeast.Duration() && (s.End > s.Start || !takesTime(s.Kind))
}

func takesTime(kind reprocessing.StepKind) bool {
	return slices.Contains([]reprocessing.StepKind{
		reprocessing.Soak, reprocessing.ManualCleaning, reprocessing.Disinfection, reprocessing.Drying,
	}, kind)
}

// A repeat after a failure stands after what the failure asks for: a cleaning, or a repair.
func (w *walk) answered(o occasion, rule reprocessing.StepRule, done []reprocessing.Step) {
	last := done[len(done)-1]
	for _, f := range done {
		if f.Result != reprocessing.Fail {
			continue
		}
		failed := max(f.Start, f.End)
		ok := true
		switch rule.AfterFail {
		case reprocessing.CleanAgain:
			ok = slices.ContainsFunc(w.steps(reprocessing.ManualCleaning, failed), func(c reprocessing.Step) bool {
				return c.Result != reprocessing.Fail && c.End.Known() && c.End <= last.Start
			})
		case reprocessing.RepairFirst:
			ok = slices.ContainsFunc(w.h.Repairs, func(r reprocessing.Repair) bool {
				return r.Sent >= failed && r.Returned.Known() && r.Returned <= last.Start // one that was under way mends something else
			})
		case reprocessing.JustRepeat:
		}
		if !ok {
			w.lack("%s: the failed %s of %s is not answered", o.what, f.Kind, f.Start)
		}
	}
}

// dries says whether the clock of a step is one of residue that dries: up to the manual cleaning.
func dries(rules []reprocessing.StepRule, kind reprocessing.StepKind) bool {
	cleaning := slices.IndexFunc(rules, func(r reprocessing.StepRule) bool { return r.Step == reprocessing.ManualCleaning })
	return slices.IndexFunc(rules, func(r reprocessing.StepRule) bool { return r.Step == kind }) <= cleaning
}

// limitedFrom is the end of the step from which the time to a step is measured. Where that was left out, and may be, it is
// measured from the occasion; where it is lacking, or somebody else keeps it, nobody can measure anything.
func (w *walk) limitedFrom(rule reprocessing.StepRule, o occasion, s reprocessing.Step) (from unit.Instant, ok bool) {
	from, ok = o.at, true
	for _, r := range w.rules.For(w.h.Model.Name) {
		if r.Step == rule.From && (r.Required || !w.names(o, r.Step) || !w.counts(r, o.at)) {
			ok = false
		}
	}
	for _, f := range w.steps(rule.From, o.at) {
		if f.Result != reprocessing.Fail && f.End.Known() && f.End <= s.Start {
			from, ok = max(from, f.End), true
		}
	}
	return from, ok
}

// delayed says whether residue had time to dry: a step up to the manual cleaning that has a limit was left out or
// began too late. The time runs from the end of the use; a step in between begins it anew only when it was in time
// itself, and as late as it had to begin at the most. What proves nothing was not begun.
func (w *walk) delayed(o occasion, rules []reprocessing.StepRule) bool {
	if !o.use.Known() {
		return false
	}
	wet := map[reprocessing.StepKind]unit.Instant{} // since when residue dries after a step that was in time
	for _, rule := range rules {
		if !dries(rules, rule.Step) {
			break
		}
		if rule.Within == 0 && rule.Step == reprocessing.PointOfUse && rule.Required && w.leftWithout(rule, o, rules) {
			return true
		}
		if rule.Within == 0 {
			continue
		}
		from, ok := wet[rule.From]
		if !ok {
			from = o.use
		}
		limit := from.Add(rule.Within.Duration())
		done := w.steps(rule.Step, o.use)
		asked := rule.Required && w.names(occasion{what: reprocessing.OfUse}, rule.Step) && w.counts(rule, o.use)
		begun := slices.IndexFunc(done, func(s reprocessing.Step) bool {
			last := s.ID == done[len(done)-1].ID
			return s.Result != reprocessing.Fail && !w.late(s) && s.Start <= limit && (tookItsTime(rule, s) || last && !s.End.Known())
		})
		switch {
		case begun < 0 && asked && w.at > limit:
			return true
		case begun >= 0 && done[begun].End.Known():
			wet[rule.Step] = min(done[begun].End, limit)
		}
	}
	return false
}

// leftWithout says whether the scope left the bedside without its treatment there: something up to the manual cleaning
// was begun since the use, and no treatment that proves anything is on record.
func (w *walk) leftWithout(rule reprocessing.StepRule, o occasion, rules []reprocessing.StepRule) bool {
	treated := w.steps(reprocessing.PointOfUse, o.use)
	for i, s := range treated {
		goesOn := i == len(treated)-1 && !s.End.Known()
		if s.Result != reprocessing.Fail && !w.late(s) && (tookItsTime(rule, s) || goesOn) {
			return false
		}
	}
	return slices.ContainsFunc(w.h.Steps, func(s reprocessing.Step) bool {
		return s.Start >= o.use && s.Kind != reprocessing.PointOfUse && dries(rules, s.Kind)
	})
}

// disinfected asks whether the disinfection kept to what its product's label says. What is not on record is not good.
func (w *walk) disinfected(s reprocessing.Step) {
	i := slices.IndexFunc(w.rules.Disinfectants, func(d reprocessing.Disinfectant) bool { return d.Name == s.Disinfectant })
	if i < 0 {
		w.lack("the product %q is not in the rules", s.Disinfectant)
		return
	}
	label := w.rules.Disinfectants[i]
	if s.Contact < label.Contact {
		w.lack("the contact time was too short")
	}
	if label.Coldest != 0 || label.Warmest != 0 {
		if !s.HasTemperature || s.Coldest < label.Coldest {
			w.lack("the coldest temperature was not right")
		}
		if label.Warmest != 0 && (s.Warmest == 0 || s.Warmest > label.Warmest || s.Coldest > label.Warmest) {
			w.lack("the warmest temperature was not right")
		}
	}
	if label.MEC && s.MEC != reprocessing.Pass || s.MEC == reprocessing.Fail {
		w.lack("the test of the solution did not pass")
	}
	if s.DisinfectantLot == "" {
		w.lack("the lot of the product is missing")
	}
	if !s.DisinfectantExpires.Known() || s.DisinfectantExpires <= max(s.Start, s.End) {
		w.lack("the solution was past its life")
	}
	w.run(s)
	w.solution(s, label)
}

// with are all disinfections on record but one: those of the scope and those that it shares means with.
func (w *walk) with(s reprocessing.Step) (all []reprocessing.Step) {
	for _, x := range slices.Concat(w.h.Steps, w.h.Shared) {
		if x.Kind == reprocessing.Disinfection && x.ID != s.ID {
			all = append(all, x)
		}
	}
	return all
}

func alike(a, b string) bool {
	return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b))
}

// run asks that nobody recorded the run of the reprocessor as failed: a failed result counts for every scope that was in
// it, whoever wrote which result down.
func (w *walk) run(s reprocessing.Step) {
	if alike(s.Reprocessor, "") {
		return
	}
	begin := s.Start / minute
	end := max(s.Start, s.End) / minute
	for _, x := range w.with(s) {
		if !alike(x.Reprocessor, s.Reprocessor) || x.Result != reprocessing.Fail && x.MEC != reprocessing.Fail {
			continue
		}
		together := x.Start/minute == begin // nobody says which run it was
		if !alike(s.CycleNumber, "") && !alike(x.CycleNumber, "") {
			together = alike(s.CycleNumber, x.CycleNumber) && x.Start/minute <= end && max(x.Start, x.End)/minute >= begin
		}
		if together {
			w.lack("the run was recorded as failed at %s", x.Start)
		}
	}
}

// solution asks that the solution was inside its life. That ends with the first of: the days of its label after it was
// filled, its date, and the date of the lot that it is of, each as the earliest record has it. What is not known of that
// is not good.
func (w *walk) solution(s reprocessing.Step, label reprocessing.Disinfectant) {
	ended := max(s.Start, s.End)
	over := func(begun unit.Instant) unit.Instant { return begun.AddDays(label.ReuseDays, w.zone) }
	reused := label.ReuseDays > 0
	first := s.Start // since when the lot is in use in this reprocessor, or this basin
	for _, x := range w.with(s) {
		if x.Disinfectant != s.Disinfectant || !alike(x.DisinfectantLot, s.DisinfectantLot) || alike(s.DisinfectantLot, "") {
			continue
		}
		here := alike(x.Reprocessor, s.Reprocessor)
		if here {
			first = min(first, x.Start)
			if x.DisinfectantFilled.Known() {
				first = min(first, x.DisinfectantFilled)
			}
		}
		// Two fillings are two where the records name two times, or one of the two was before the other's.
		anew := x.DisinfectantFilled.Known() && s.DisinfectantFilled.Known() && x.DisinfectantFilled != s.DisinfectantFilled ||
			!x.DisinfectantFilled.Known() && s.DisinfectantFilled > x.Start || !s.DisinfectantFilled.Known() && x.DisinfectantFilled > s.Start
		filling := reused && x.DisinfectantExpires <= over(max(x.Start, x.End)) // a date so near may be the solution's own
		if x.DisinfectantExpires.Known() && x.DisinfectantExpires <= ended && (!filling || here && !anew) {
			w.lack("the lot had expired by what was recorded at %s", x.Start)
		}
	}
	switch {
	case !reused:
	case s.DisinfectantFilled.Known():
		if ended >= over(s.DisinfectantFilled) {
			w.lack("the solution was used for too long")
		}
	case s.DisinfectantExpires > over(ended):
		w.lack("nobody knows how old the solution was")
	case ended >= over(first):
		w.lack("the solution is in use for too long")
	}
}

// chain is a disinfection and the drying and storing after it.
type chain struct {
	dried  unit.Instant
	stored bool
	// over is when it may not wait any longer.
	over unit.Instant
	why  string
}

// waits follows a scope from a disinfection to an instant before which no other began: dried, stored, moved, taken out.
// Days run from the first storing after drying; moving begins nothing; drying again without disinfecting again neither.
func (w *walk) waits(disinfected reprocessing.Step, to unit.Instant) (c chain) {
	c.dried = max(disinfected.Start, disinfected.End)
	for _, s := range w.steps(reprocessing.Drying, c.dried) {
		if s.Start < to && s.Result != reprocessing.Fail && !w.late(s) {
			c.dried = max(s.Start, s.End)
			break
		}
	}
	c.over = c.dried.Add(w.rules.Unstored.Duration())
	acts := w.moves(c.dried, to)
	var first unit.Instant
	expiry := ever
	out := c.dried // since when it hangs nowhere, zero while it does
	for i, a := range acts {
		if a.at >= c.over { // whatever was done then came too late, also the first storing
			c.stored = c.stored || slices.ContainsFunc(acts[i:], func(a move) bool { return a.in })
			return c
		}
		if !a.in {
			if out == 0 {
				out = a.at
				c.over = min(expiry, out.Add(w.rules.Unstored.Duration()))
			}
			continue
		}
		if first == 0 {
			first = a.at
		}
		c.stored, out = true, 0
		i := slices.IndexFunc(w.rules.Cabinets, func(x reprocessing.Cabinet) bool { return x.Name == a.cabinet })
		if i < 0 { // nobody knows how long a scope may wait there
			c.over, c.why = a.at, "the cabinet is not in the rules"
			return c
		}
		x := w.rules.Cabinets[i]
		end := first.Add(time.Duration(x.Hours) * time.Hour)
		if x.Days > 0 {
			end = first.AddDays(x.Days, w.zone)
		}
		expiry = min(expiry, end)
		c.over = expiry
	}
	return c
}

// move is an act that hangs the scope somewhere, or takes it from there.
type move struct {
	at      unit.Instant
	in      bool
	cabinet string
	rank    int // the order of acts at one instant
}

// moves returns where the scope was hung and when it was taken out in a time. A place that failed is none. The end of
// a storage that somebody has moved the scope from before then says nothing.
func (w *walk) moves(from, to unit.Instant) []move {
	var all []move
	hung := w.steps(reprocessing.Storage, from)
	hung = slices.DeleteFunc(hung, func(s reprocessing.Step) bool { return s.Start >= to || s.Result != reprocessing.Fail && w.late(s) })
	for i, s := range hung {
		if s.Result == reprocessing.Fail {
			all = append(all, move{at: s.Start, rank: 2})
			continue
		}
		all = append(all, move{at: s.Start, in: true, cabinet: s.Cabinet, rank: 1})
		if !s.End.Known() || s.End >= to || i+1 < len(hung) && hung[i+1].Start < s.End {
			continue
		}
		rank := 0
		if s.End == s.Start {
			rank = 3
		}
		all = append(all, move{at: s.End, rank: rank})
	}
	for _, s := range w.steps(reprocessing.Issue, from) {
		if s.Start < to {
			all = append(all, move{at: s.Start, rank: 2})
		}
	}
	slices.SortStableFunc(all, func(a, b move) int { return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.rank, b.rank)) })
	return all
}

// out asks that a scope which was issued is back: it was used, stored by name, or is no longer ready.
func (w *walk) out(o occasion) {
	issued := w.steps(reprocessing.Issue, o.at)
	if len(issued) == 0 {
		return
	}
	last := issued[len(issued)-1]
	if !slices.ContainsFunc(w.steps(reprocessing.Storage, o.at), func(s reprocessing.Step) bool {
		return s.Result != reprocessing.Fail && !w.late(s) && s.Start > last.Start
	}) {
		w.lack("%s: issued at %s and not back", o.what, last.Start)
	}
}

// elsewhere asks that no act contradicts where the scope was. Of a scope that waits for its next use the last act is its
// storing: what else was done with it then took it from there. What is done at the bedside follows a use, and one that is
// not on record proves nothing; so may a transport of what was stored, unless the scope came back from repair between or
// was tested and cleaned once more.
func (w *walk) elsewhere() {
	var from unit.Instant
	if i := w.lastUse(); i >= 0 {
		from = max(w.h.Uses[i].Start, w.h.Uses[i].End)
	}
	earlier := func(s reprocessing.Step, kind reprocessing.StepKind) (at unit.Instant) {
		for _, x := range w.steps(kind, from) {
			if x.Result != reprocessing.Fail && x.Start < s.Start {
				at = x.Start
			}
		}
		return at
	}
	for _, s := range w.h.Steps {
		hung := earlier(s, reprocessing.Storage)
		switch {
		case s.Start < from, s.Kind == reprocessing.Storage, s.Kind == reprocessing.Issue:
		case s.Kind == reprocessing.PointOfUse:
			if hung.Known() || earlier(s, reprocessing.Disinfection).Known() {
				w.lack("treated at the bedside at %s and no use is on record", s.Start)
			}
		case !hung.Known():
		case s.Kind == reprocessing.Transport:
			anew := true
			for _, r := range w.rules.For(w.h.Model.Name) {
				if (r.Step == reprocessing.LeakTest || r.Step == reprocessing.ManualCleaning) && r.Required && w.counts(r, s.Start) {
					anew = anew && slices.ContainsFunc(w.steps(r.Step, s.Start), func(x reprocessing.Step) bool { return x.Result != reprocessing.Fail })
				}
			}
			home := slices.ContainsFunc(w.h.Repairs, func(r reprocessing.Repair) bool { return r.Returned > hung && r.Returned <= s.Start })
			if !anew && !home {
				w.lack("carried away at %s", s.Start)
			}
		case !slices.ContainsFunc(w.steps(reprocessing.Storage, s.Start), func(x reprocessing.Step) bool { return x.Result != reprocessing.Fail }):
			w.lack("the %s of %s came after the storing", s.Kind, s.Start)
		}
	}
}

// runOut returns when storages since an instant ran out before the scope was cleaned again: from then on its route
// begins with a cleaning.
func (w *walk) runOut(since unit.Instant) []unit.Instant {
	var all []unit.Instant
	if w.away(reprocessing.Storage) {
		return nil
	}
	done := w.steps(reprocessing.Disinfection, since)
	for i, s := range done {
		to := ever // when it was disinfected once more
		for _, next := range done[i+1:] {
			if next.Result != reprocessing.Fail {
				to = min(to, next.Start)
			}
		}
		if to == ever {
			continue
		}
		for _, c := range w.steps(reprocessing.ManualCleaning, max(s.Start, s.End)) {
			if c.Result != reprocessing.Fail {
				to = min(to, c.Start)
			}
		}
		if c := w.waits(s, to); c.stored && c.over <= to {
			all = append(all, c.over)
		}
	}
	return all
}

// dates looks at what ends by itself: the place where the scope waits, and a verification that is due after days.
func (w *walk) dates() {
	var begin unit.Instant
	if i := w.lastUse(); i >= 0 {
		begin = max(w.h.Uses[i].Start, w.h.Uses[i].End)
	}
	done := w.steps(reprocessing.Disinfection, begin)
	if len(done) == 0 {
		if !w.away(reprocessing.Disinfection) {
			return // which is lacking anyway
		}
		// Nothing here says when it was disinfected: whatever was done with it last before it was stored.
		begin = w.latest().at
		last := reprocessing.Step{Start: begin}
		for _, s := range w.h.Steps {
			if s.Start >= begin && (wets(s.Kind) || s.Kind == reprocessing.Drying) && max(s.Start, s.End) > max(last.Start, last.End) {
				last = s
			}
		}
		done = append(done, last)
	}
	c := w.waits(done[len(done)-1], w.at+1)
	if c.why != "" {
		w.lack("%s", c.why)
	}
	w.ends(c.over)
	for _, o := range w.open {
		w.toStore(o)
	}
	for _, r := range w.rules.For(w.h.Model.Name) { // kept elsewhere until somebody should have looked at that
		if r.KeptIn == "" || !w.away(r.Step) {
			continue
		}
		if end := midnightAfter(r.KeptReview, w.zone); end > w.at && len(w.lacks) == 0 && w.byOne(w.h, end).grade() == 0 {
			w.ends(end)
		}
	}
	if w.away(reprocessing.Verification) {
		return
	}
	passed := w.counted()
	for _, r := range w.rules.Due {
		if r.When == sampling.Periodic && r.Days > 0 && r.Blocks && covers(r, w.h.Model) {
			w.ends(passed.AddDays(r.Days, w.zone))
		}
	}
}

// latest is the occasion that began the present cycle.
func (w *walk) latest() occasion {
	return w.open[slices.IndexFunc(w.open, func(o occasion) bool { return o.latest })]
}

// toStore ends the wait of a scope that has to be stored within a time and was not yet.
func (w *walk) toStore(o occasion) {
	for _, rule := range w.rules.For(w.h.Model.Name) {
		if rule.Step != reprocessing.Storage || rule.Within == 0 || !w.names(o, rule.Step) {
			continue
		}
		from, ok := w.limitedFrom(rule, o, reprocessing.Step{Start: w.at})
		if !ok {
			continue
		}
		stored := slices.ContainsFunc(w.steps(reprocessing.Storage, from), func(s reprocessing.Step) bool {
			return s.Result != reprocessing.Fail && !w.late(s)
		})
		if !stored {
			w.ends(from.Add(rule.Within.Duration()))
		}
	}
}

// counted is when the time of a periodic verification begins: with the last that passed, or else with the service.
func (w *walk) counted() unit.Instant {
	if passed := w.passed(); passed.Known() {
		return passed
	}
	return w.h.Instrument.InService
}

func covers(r sampling.Rule, m scope.Model) bool {
	return (r.Risk == "" || r.Risk == m.Risk) && (len(r.Kinds) == 0 || slices.Contains(r.Kinds, m.Kind))
}
