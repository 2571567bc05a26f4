package plain_test

import (
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// Time alone never makes ready: after the last entry the answer turns from ready to not ready once, at the end that was
// given, and not before.
func (x *trial) timeAlone(at unit.Instant, before verdict) {
	instants := []unit.Instant{at, at + x.between(0, 12*day), at + x.between(0, 200*day)}
	if before.ready && before.until != 0 {
		instants = append(instants, before.until-1, before.until)
		if v := x.fast(x.known, before.until-1); !v.ready || v.until != before.until {
			x.failf("ready until %s, and a moment before that %s", before.until, v)
		}
		if v := x.fast(x.known, before.until); v.ready {
			x.failf("ready until %s, and then %s", before.until, v)
		}
	}
	slices.Sort(instants)
	was, wasNow := 2, 2
	for _, at := range instants {
		v, now := x.fast(x.known, at), x.fastNow(x.known, at)
		x.agree("later", at, x.known, v, x.plainly(x.known, at))
		x.agree("now, later", at, x.known, now, x.plainlyNow(x.known, x.clock, at))
		if v.grade() > was || now.grade() > wasNow {
			x.failf("time alone made it ready at %s: %s, now %s", at, v, now)
		}
		was, wasNow = v.grade(), now.grade()
	}
}

// past compares what the two say about instants of the past, as somebody would have known then.
func (x *trial) past() {
	for _, class := range []string{"voided", "recorded late", "put right later", "done by a stranger", "clock in doubt"} {
		if x.classes[class] {
			return // what was decided then is not made again
		}
	}
	for range min(3, 3*len(x.h.Steps)) {
		s := x.h.Steps[x.someStep()]
		at := []unit.Instant{s.Start, max(s.Start, s.End), x.end}[x.IntN(3)] + x.between(-second, 10*minute)
		h := x.h.AsKnown(at)
		x.agree("in the past", at, h, x.fast(h, at), x.plainly(h, at))
	}
}

// behind compares what the two say now, where the clock was set back and some of what is on record lies ahead.
func (x *trial) behind() {
	s := x.known.Steps
	if len(s) == 0 {
		return
	}
	now := s[x.IntN(len(s))].Start + x.between(-hour, hour)
	x.agree("now, with the clock set back", now, x.known, x.fastNow(x.known, now), x.plainlyNow(x.known, x.clock, now))
}

// Any order of the rows gives the same answer.
func (x *trial) anyOrder(at unit.Instant, before, now verdict) {
	h := shuffled(x.Rand, x.known)
	if v := x.fast(h, at); v.grade() != before.grade() || v.until != before.until {
		x.failf("in another order of its rows %s, before %s", v, before)
	}
	if v := x.fastNow(h, at); v.grade() != now.grade() || v.until != now.until {
		x.failf("now, in another order of its rows %s, before %s", v, now)
	}
}

// What was known at a time never changes by what is recorded later.
func (x *trial) laterRecords(at unit.Instant) {
	if len(x.h.Steps) == 0 {
		return // nothing was decided on
	}
	k := x.h.Steps[x.IntN(len(x.h.Steps))].Recorded + x.between(-hour, hour)
	later := x.clone()
	if later.worsen(at) == "over the action level" {
		return // on which other decisions would follow
	}
	later.classes = x.classes
	when := k + 1
	more := func(s *reprocessing.Stamp, old bool) {
		if !old {
			s.Recorded = when
		}
	}
	ids := map[string]bool{}
	each(&x.h, func(s *reprocessing.Stamp) { ids[s.ID] = true })
	each(&later.h, func(s *reprocessing.Stamp) { more(s, ids[s.ID]) })
	for i := range later.h.Steps { // and something is voided later
		if later.h.Steps[i].Recorded <= k && !later.h.Steps[i].Replaced.Known() {
			later.h.Steps[i].Replaced = when
			break
		}
	}
	later.h.Instrument.Retired = x.h.Instrument.Retired // the instrument is given in the edition of then
	for _, at := range []unit.Instant{k, at} {
		v, before := x.fast(later.h.AsKnown(k), at), x.fast(x.h.AsKnown(k), at)
		if v.grade() != before.grade() || v.until != before.until {
			x.failf("as known at %s, %s; and once more was recorded, %s", k, before, v)
		}
	}
}

// worsen adds one adverse fact at or before an instant and says which, "" where none fits.
func (x *trial) worsen(at unit.Instant) string {
	h := &x.h
	trip := x.trip()
	when := x.between(trip, at)
	var cleaned unit.Instant
	for _, s := range h.Steps {
		if s.Kind == reprocessing.ManualCleaning || s.Kind == reprocessing.PointOfUse {
			cleaned = max(cleaned, s.Start+second)
		}
	}
	// A use or a return that the whole route follows is a cycle of its own, and says nothing against the scope.
	late := x.between(min(at, max(trip, cleaned)), at)
	kinds := reprocessing.StepKinds
	fact := []string{
		"hold", "failed step", "open use", "use", "use beside the last", "earlier use", "repair", "away", "retired", "request", "over the action level",
	}[x.IntN(11)]
	switch fact {
	case "hold":
		h.Holds = append(h.Holds, reprocessing.Hold{Stamp: x.stamp("hold", when), Scope: tag, At: when, By: "L1", Reason: "something bent"})
	case "failed step":
		s := reprocessing.Step{
			Stamp: x.stamp("failed step", when), Scope: tag, Kind: kinds[x.IntN(len(kinds))], Start: when, Result: reprocessing.Fail, Cabinet: "drying-cabinet",
		}
		if x.one(2) {
			s.End = min(at, when+x.between(0, 5*minute))
		}
		if s.Kind == reprocessing.Verification {
			return ""
		}
		fact += " " + string(s.Kind)
		h.Steps = append(h.Steps, s)
	case "open use":
		h.Uses = append(h.Uses, reprocessing.Use{Stamp: x.stamp("use", when), Scope: tag, Start: when})
	case "use":
		h.Uses = append(h.Uses, reprocessing.Use{Stamp: x.stamp("use", late), Scope: tag, Start: min(when, late), End: late})
	case "use beside the last":
		uses := x.h.AsKnown(ever).Uses
		if len(uses) == 0 {
			return ""
		}
		last := slices.MaxFunc(uses, func(a, b reprocessing.Use) int { return int(max(a.Start, a.End) - max(b.Start, b.End)) })
		if last.End-last.Start < 2*second {
			return ""
		}
		h.Uses = append(h.Uses, reprocessing.Use{Stamp: x.stamp("use", last.End), Scope: tag, Start: x.between(last.Start, last.End-second), End: last.End - second})
	case "earlier use":
		first := trip
		for _, u := range h.Uses {
			first = min(first, u.Start)
		}
		h.Uses = append(h.Uses, reprocessing.Use{Stamp: x.stamp("use", first), Scope: tag, Start: first - 2*hour, End: first - hour})
	case "repair":
		h.Repairs = append(h.Repairs, reprocessing.Repair{Stamp: x.stamp("repair", late), Repair: scope.Repair{Scope: tag, Sent: min(when, late), Returned: late}})
	case "away":
		h.Repairs = append(h.Repairs, reprocessing.Repair{Stamp: x.stamp("repair", when), Repair: scope.Repair{Scope: tag, Sent: when}})
	case "retired":
		h.Instrument.Retired = when
	case "request":
		h.Requests = append(h.Requests, reprocessing.Request{
			Stamp: x.stamp("request", when), Request: sampling.Request{Scope: tag, Reason: "look", By: "L1", At: when, Points: x.points[:1]},
		})
	case "over the action level":
		if x.classes["clock in doubt"] || x.classes["voided"] {
			return ""
		}
		for _, s := range h.Steps { // what is sampled while a cleaning goes on belongs to neither
			if s.Kind == reprocessing.ManualCleaning && s.Start <= when && when <= max(s.Start, s.End) {
				when = min(at, max(s.Start, s.End)+second)
			}
		}
		t := reprocessing.Taken{
			Stamp:  x.stamp("sample", when),
			Sample: sampling.Sample{Scope: tag, Point: x.points[x.IntN(len(x.points))], Cleaning: 1, Kit: "kit", Lot: "L7", Collected: when},
		}
		t.AddReading(reading.Judgement{Outcome: reading.Action}, min(at, when+minute), nil)
		h.Samples = append(h.Samples, t)
		x.decideAnew()
	}
	return fact
}

// decideAnew decides on all verifications again.
func (m *maker) decideAnew() {
	m.h.Decisions = nil
	m.h.Holds = slices.DeleteFunc(m.h.Holds, func(x reprocessing.Hold) bool { return x.Cause != "" })
	m.h.Lifts = slices.DeleteFunc(m.h.Lifts, func(l reprocessing.Lift) bool {
		return !slices.ContainsFunc(m.h.Holds, func(x reprocessing.Hold) bool { return x.ID == l.Hold })
	})
	m.decideAll()
}

// An adverse fact never makes ready, and never makes it last longer.
func (x *trial) adverse(at unit.Instant, before, now verdict) {
	for range 2 {
		worse := x.clone()
		worse.classes = x.classes
		fact := worse.worsen(at)
		h := worse.h.AsKnown(ever)
		after, afterNow := x.fast(h, at), x.fastNow(h, at)
		x.agree("with more against it: "+fact, at, h, after, x.plainly(h, at))
		if fact == "over the action level" && x.judging.Retest == reading.FailingPoints {
			continue // then the rules ask for less after the next cleaning
		}
		if milder(before, after) && x.plainly(x.known, at).grade() < after.grade() { // else it was only harsher before
			x.failf("%s made it %s, before %s", fact, after, before)
		}
		if milder(now, afterNow) && x.plainlyNow(x.known, x.clock, at).grade() < afterNow.grade() {
			x.failf("now, %s made it %s, before %s", fact, afterNow, now)
		}
	}
}

// milder says whether the second answer lets a scope be used when the first does not.
func milder(before, after verdict) bool {
	return after.grade() > before.grade() || after.ready && before.ready && before.until != 0 && (after.until == 0 || after.until > before.until)
}

// To take away what only proves something never makes ready.
func (x *trial) lessProof(at unit.Instant, before verdict) {
	less := x.clone()
	less.classes = x.classes
	what := ""
	if n := len(less.h.StockTakes); n > 0 && (len(less.h.Steps) == 0 || x.one(2)) {
		j := x.IntN(n)
		latest := slices.MaxFunc(less.h.StockTakes, func(a, b reprocessing.StockTake) int { return int(a.At - b.At) })
		if latest.ID == less.h.StockTakes[j].ID && n > 1 {
			return // which takes the place of the one before it, and so is more than proof
		}
		less.h.StockTakes = slices.Delete(less.h.StockTakes, j, j+1)
		x.lacking(less, "a stock-take", at, before)
		return
	}
	if len(less.h.Steps) == 0 {
		return
	}
	switch i := x.someStep(); x.IntN(4) {
	case 0:
		if n := len(less.h.Lifts); n > 0 {
			j := x.IntN(n)
			what, less.h.Lifts = "a lift", slices.Delete(less.h.Lifts, j, j+1)
		}
	case 1:
		s := &less.h.Steps[i]
		if s.Result == reprocessing.Pass {
			what, s.Result = "the result of "+string(s.Kind), reprocessing.NotStated
		}
	case 2:
		s := less.ofKind(reprocessing.Disinfection)
		if s == nil {
			return
		}
		what = "what is known of a disinfection"
		switch x.IntN(5) {
		case 0:
			s.DisinfectantLot = ""
		case 1:
			s.DisinfectantExpires = 0
		case 2:
			s.Contact = 0
		case 3:
			s.HasTemperature = false
		case 4:
			if s.MEC == reprocessing.Pass {
				s.MEC = reprocessing.NotStated
			}
		}
	case 3:
		j, ok := less.someSample()
		if !ok || len(less.h.Samples[j].Judgements) == 0 || !less.h.Samples[j].Judgements[0].Outcome.Passed() ||
			x.classes["clock in doubt"] || x.classes["voided"] {
			return
		}
		what = "a reading"
		less.h.Samples[j].Judgements, less.h.Samples[j].Read = nil, 0
		less.decideAnew()
	}
	if what != "" {
		x.lacking(less, what, at, before)
	}
}

// lacking compares what the two say of a history that lacks some proof, which must not be milder than before.
func (x *trial) lacking(less *trial, what string, at unit.Instant, before verdict) {
	h := less.h.AsKnown(ever)
	after := x.fast(h, at)
	x.agree("without "+what, at, h, after, x.plainly(h, at))
	if milder(before, after) && x.plainly(x.known, at).grade() < after.grade() { // else it was only harsher before
		x.failf("without %s it is %s, before %s", what, after, before)
	}
}

// A later occasion adds its duties and discharges none of an earlier one: a return from repair or an arrival in between
// makes nothing ready that was not. What a failed leak test asks for is the repair itself.
func (x *trial) occasions(at unit.Instant, before verdict) {
	if before.ready || slices.ContainsFunc(x.h.Steps, func(s reprocessing.Step) bool {
		return s.Kind == reprocessing.LeakTest && s.Result == reprocessing.Fail
	}) {
		return
	}
	more := x.clone()
	when := x.between(x.trip(), at)
	what := "a repair"
	passed := slices.ContainsFunc(x.known.Decisions, reprocessing.Decision.Passed) // else its days are counted from the arrival
	if x.one(3) && passed {
		what = "an arrival"
		more.h.Instrument.InService = max(when, x.h.Instrument.InService)
	} else {
		more.h.Repairs = append(more.h.Repairs, reprocessing.Repair{
			Stamp: x.stamp("repair", when+second), Repair: scope.Repair{Scope: tag, Sent: when, Returned: when + second},
		})
	}
	h := more.h.AsKnown(ever)
	after := x.fast(h, at)
	x.agree("after "+what, at, h, after, x.plainly(h, at))
	if after.grade() > before.grade() && !unasked(x.plainly(x.known, at)) {
		x.failf("%s at %s made it %s, before %s", what, when, after, before)
	}
}

// unasked says whether nothing but a step that the rules do not ask for is lacking: that is no duty which lasts.
func unasked(v verdict) bool {
	return !slices.ContainsFunc(v.lacks, func(lack string) bool {
		return !strings.Contains(lack, "the transport of") && !strings.Contains(lack, "the soak of") && !strings.Contains(lack, "the final-rinse of")
	})
}

// One person without a physical act never makes ready: neither by a lift, whatever it names, nor by asking. Exempt is
// the hold of a verification over the action level, which the next one ends that passed.
func (x *trial) onePerson(at unit.Instant, before verdict) {
	if before.ready {
		return
	}
	h := copied(x.known)
	for i, hold := range h.Holds {
		if hold.EndsByVerification() && x.one(2) {
			continue
		}
		l := reprocessing.Lift{
			Stamp: x.stamp("lift", at), Hold: hold.ID, Scope: tag, At: max(hold.At, at-minute), By: "L1",
			Second: []string{"", "L1", " l1", "l1 "}[x.IntN(4)], Reason: "it is fine", Placed: []unit.Instant{0, hold.At, at}[x.IntN(3)],
			ByRoles: roles("L1"), SecondRoles: roles("L1"),
		}
		if n := len(h.Decisions); n > 0 && x.one(2) {
			l.Verification = h.Decisions[(i+x.IntN(n))%n].ID
		}
		h.Lifts = append(h.Lifts, l)
	}
	h.Requests = append(h.Requests, reprocessing.Request{
		Stamp: x.stamp("request", at), Request: sampling.Request{Scope: tag, Reason: "look", By: "L1", At: at},
	})
	if x.one(3) { // and one person signs a list, as two
		by, second := reprocessing.StockTake{By: "L1", Second: "L1"}, []access.Role{access.Lead, access.InfectionPrevention}
		by.Second = []string{"", "L1", " l1", "I1"}[x.IntN(4)]
		by.Stamp, by.Scope, by.At, by.Until, by.Cabinet, by.Papers = x.stamp("list", at), tag, at-minute, at+day, "drying-cabinet", []string{"photograph"}
		if by.ByRoles = second; by.Second != "I1" {
			by.SecondRoles = second
		}
		h.StockTakes = append(h.StockTakes, by)
	}
	after, plain := x.fast(h, at), x.plainly(h, at)
	x.agree("after what one person did", at, h, after, plain)
	if after.grade() > before.grade() && !slices.ContainsFunc(x.known.Holds, reprocessing.Hold.EndsByVerification) {
		x.failf("one person made it %s, before %s", after, before)
	}
}
