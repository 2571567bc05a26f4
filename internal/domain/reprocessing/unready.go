package reprocessing

import (
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/unit"
)

// Unready says what a scope was lacking when a use began, and which hold that takes.
type Unready struct {
	Kind HoldKind
	// Lacking says it in the program's words.
	Lacking []string
}

// UsedUnready begins the reason of a hold that a use places.
const UsedUnready = "a use began while "

// Reason is the reason of the hold.
func (u Unready) Reason() string {
	const most = 4
	lacking := u.Lacking
	more := ""
	if len(lacking) > most {
		lacking, more = lacking[:most], "; and more"
	}
	return UsedUnready + "the scope was not ready: " + strings.Join(lacking, "; ") + more
}

// Before answers whether a scope was ready when a use began: one second before it, by all that the history has now of
// the time up to then.
func Before(h History, rules Rules, start unit.Instant, zone *time.Location) Answer {
	at := BeforeUse(start)
	return h.before(at).judged(rules, h.Restores, at, zone)
}

// BeforeUse is the instant at which it is asked whether a scope was ready for a use that began at start.
func BeforeUse(start unit.Instant) unit.Instant { return start.Add(-time.Second) }

// before returns the history as it stood at an instant, by all that the history has now. What was stamped while the
// clock was in doubt had happened when that was settled, whatever time it names.
func (h History) before(at unit.Instant) History {
	past := h.until(at)
	ahead := func(s Stamp, of unit.Instant) bool { return of > at && s.Unsure.Known() && s.Unsure <= at }
	past.Uses = append(past.Uses, keep(h.Uses, func(u Use) bool { return ahead(u.Stamp, u.Start) })...)
	past.Steps = append(past.Steps, keep(h.Steps, func(s Step) bool { return ahead(s.Stamp, s.Start) })...)
	past.Decisions = append(past.Decisions, keep(h.Decisions, func(d Decision) bool { return ahead(d.Stamp, d.last()) })...)
	past.Holds = append(past.Holds, keep(h.Holds, func(x Hold) bool { return ahead(x.Stamp, x.From()) })...)
	past.Lifts = append(past.Lifts, keep(h.Lifts, func(l Lift) bool { return ahead(l.Stamp, l.At) })...)
	past.Repairs = append(past.Repairs, keep(h.Repairs, func(r Repair) bool { return ahead(r.Stamp, r.Sent) })...)
	past = past.present(at)
	// Of what is said afterwards only the form that its doer signed speaks of the time of the act.
	past.Attestations = keep(h.Attestations, func(a Attestation) bool { return !a.Unsure.Known() && (a.At <= at || a.From == SignedForm) })
	return past
}

// Unready says what the scope was lacking when a use began; ok = false when it was ready, or when nothing at all is on
// record before the use and the site was on trial, where paper decides. begun is when the site's records begin.
func (h History) Unready(rules Rules, start, begun unit.Instant, site Opening, zone *time.Location) (u Unready, ok bool) {
	at := BeforeUse(start)
	past := h.before(at)
	a := past.judged(rules, h.Restores, at, zone)
	if a.State.Clear() {
		return u, false
	}
	// What was before the site began is on paper, whatever of it was brought in.
	nothing := !slices.ContainsFunc(past.Uses, func(u Use) bool { return u.Start >= begun }) &&
		!slices.ContainsFunc(past.Steps, func(s Step) bool { return s.Start >= begun }) &&
		!slices.ContainsFunc(past.Samples, func(s Taken) bool { return s.Collected >= begun }) &&
		!slices.ContainsFunc(past.Repairs, func(r Repair) bool { return r.Sent >= begun })
	if nothing && len(past.OpenHolds()) == 0 && site.OnTrial(start) {
		return u, false
	}
	u.Kind = RecordHold
	if exposes(past, a) {
		u.Kind = ExposureHold
	}
	told := make(map[HoldKind]bool)
	for _, hold := range past.OpenHolds() { // without its reason, which may tell of a hold in turn
		if !told[hold.Of()] {
			told[hold.Of()] = true
			u.Lacking = append(u.Lacking, hold.since(zone))
		}
	}
	for _, r := range a.Reasons {
		if r.Blocks && !r.Since.Known() && !slices.Contains(u.Lacking, r.Text) {
			u.Lacking = append(u.Lacking, r.Text)
		}
	}
	return u, true
}

// exposes says whether a use after the answer may have carried something to a patient: manual cleaning, leak test or
// disinfection was lacking, or a hold was open that says so. What is not on record is lacking, also where nothing at all
// is.
func exposes(h History, a Answer) bool {
	if slices.ContainsFunc(h.OpenHolds(), func(x Hold) bool { return x.Of().passesOn() }) {
		return true
	}
	if len(h.Unfinished()) > 0 {
		return true
	}
	if a.StockTake != "" { // paper has shown it
		return false
	}
	if len(a.Steps) == 0 { // the scope was not in service, and no step was looked at
		return true
	}
	return slices.ContainsFunc(a.Steps, func(p Progress) bool {
		switch p.Step { //nolint:exhaustive // the others carry nothing on by themselves
		case LeakTest, Soak, ManualCleaning, Disinfection:
			return p.Status != DoneStep && p.Status != NotDueStep
		}
		return false
	})
}

// FailedHold returns the kind of hold that a step places which failed; ok = false when it places none.
func (s Step) FailedHold() (kind HoldKind, ok bool) {
	if s.Result != Fail && (s.Kind != Disinfection || s.MEC != Fail) {
		return "", false
	}
	switch s.Kind {
	case LeakTest:
		return LeakHold, true
	case Inspection:
		return DamageHold, true
	case Disinfection:
		return DisinfectionHold, true
	case PointOfUse, Transport, Soak, ManualCleaning, Verification, FinalRinse, Drying, Storage, Issue:
	}
	return "", false
}

// FailedAt is the time that such a hold speaks of.
func (s Step) FailedAt() unit.Instant { return s.last() }
