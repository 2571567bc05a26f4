package plain_test

import (
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
)

// asOf returns what had happened by an instant: what had begun by then, without the ends that lay ahead, samples
// without the readings that lay ahead.
func asOf(h reprocessing.History, at unit.Instant) reprocessing.History {
	past := reprocessing.History{Instrument: h.Instrument, Model: h.Model, Earlier: h.Earlier, Shared: h.Shared}
	for _, u := range h.Uses {
		if u.Start > at {
			continue
		}
		if u.End > at {
			u.End = 0
		}
		past.Uses = append(past.Uses, u)
	}
	for _, s := range h.Steps {
		if s.Start > at {
			continue
		}
		if s.End > at { // how it ended lies ahead
			s.End, s.Result = 0, reprocessing.NotStated
		}
		past.Steps = append(past.Steps, s)
	}
	for _, t := range h.Samples {
		if t.Collected <= at {
			past.Samples = append(past.Samples, unread(t, at))
		}
	}
	for _, d := range h.Decisions {
		if max(d.Cycle, d.First, d.Last) <= at {
			past.Decisions = append(past.Decisions, d)
		}
	}
	for _, x := range h.Holds {
		if min(x.At, x.Recorded) <= at { // whichever is earlier
			past.Holds = append(past.Holds, x)
		}
	}
	for _, l := range h.Lifts {
		if l.At <= at {
			past.Lifts = append(past.Lifts, l)
		}
	}
	for _, r := range h.Repairs {
		if r.Sent > at {
			continue
		}
		if r.Returned > at {
			r.Returned = 0
		}
		past.Repairs = append(past.Repairs, r)
	}
	for _, q := range h.Requests {
		if q.At <= at {
			past.Requests = append(past.Requests, q)
		}
	}
	for _, a := range h.Attestations {
		if a.At <= at {
			past.Attestations = append(past.Attestations, a)
		}
	}
	for _, t := range h.StockTakes {
		if t.At <= at {
			past.StockTakes = append(past.StockTakes, t)
		}
	}
	return past
}

// unread returns a sample as it stood at an instant.
func unread(t reprocessing.Taken, at unit.Instant) reprocessing.Taken {
	if t.Read > at {
		t.Read, t.Judgements = 0, nil
	}
	return t
}

// present returns what stands at the present instant. What is adverse, or opens a duty, counts whatever time it names:
// where that lies ahead, or a clock in doubt gave it, it counts as late as it can have happened. What proves something
// counts from its own time on, and never when the clock was in doubt.
func present(h reprocessing.History, now unit.Instant) reprocessing.History {
	past := reprocessing.History{Instrument: h.Instrument, Model: h.Model, Earlier: h.Earlier, Shared: h.Shared}
	for _, u := range h.Uses {
		late := latest(u.Stamp, u.Start, now)
		switch {
		case u.Unsure.Known() || u.Start > now:
			if u.End.Known() {
				u.End = late
			}
			u.Start = late
		case u.End > now:
			u.End = 0
		}
		past.Uses = append(past.Uses, u)
	}
	for _, s := range h.Steps {
		adverse := s.Result == reprocessing.Fail || s.MEC == reprocessing.Fail || s.Kind == reprocessing.Issue
		if s.Unsure.Known() || s.Start > now {
			if !adverse && !wets(s.Kind) {
				continue
			}
			if !adverse { // who began it took the scope from where it waited, and nothing shows how that ended
				s.Start, s.End, s.Result = latest(s.Stamp, s.Start, now), 0, reprocessing.NotStated
				past.Steps = append(past.Steps, s)
				continue
			}
			s.Start, s.End = latest(s.Stamp, s.Start, now), latest(s.Stamp, s.End, now)
			if s.Kind != reprocessing.Issue {
				s.Result = reprocessing.Fail
			}
		} else if s.End > now {
			if s.Result == reprocessing.Fail {
				s.End = now
			} else {
				s.End, s.Result = 0, reprocessing.NotStated
			}
		}
		past.Steps = append(past.Steps, s)
	}
	for _, t := range h.Samples {
		t = unread(t, now)
		if !t.Unsure.Known() && t.Collected <= now {
			past.Samples = append(past.Samples, t)
			continue
		}
		// It proves nothing; but a reading beyond the action level counts.
		bad := false
		for _, j := range t.Judgements {
			bad = bad || j.Outcome == reading.Action
		}
		if bad {
			t.Collected, t.Read = latest(t.Stamp, t.Collected, now), latest(t.Stamp, t.Read, now)
			past.Samples = append(past.Samples, t)
		}
	}
	for _, d := range h.Decisions {
		if !d.Unsure.Known() && max(d.Cycle, d.First, d.Last) <= now {
			past.Decisions = append(past.Decisions, d)
		}
	}
	for _, x := range h.Holds {
		x.At = latest(x.Stamp, x.At, now)
		past.Holds = append(past.Holds, x)
	}
	for _, l := range h.Lifts { // that two people agree is no reading of a clock
		if l.Two() || !l.Unsure.Known() && l.At <= now {
			past.Lifts = append(past.Lifts, l)
		}
	}
	for _, r := range h.Repairs {
		back := r.Returned.Known() && (r.Unsure.Known() || r.Returned <= now)
		r.Sent, r.Returned = latest(r.Stamp, r.Sent, now), latest(r.Stamp, r.Returned, now)
		if !back {
			r.Returned = 0
		}
		past.Repairs = append(past.Repairs, r)
	}
	for _, q := range h.Requests {
		q.At = latest(q.Stamp, q.At, now)
		past.Requests = append(past.Requests, q)
	}
	for _, a := range h.Attestations {
		if !a.Unsure.Known() && a.At <= now {
			past.Attestations = append(past.Attestations, a)
		}
	}
	for _, t := range h.StockTakes {
		if !t.Unsure.Known() && t.At <= now && untouched(h) { // also by what proves nothing and is left out here
			past.StockTakes = append(past.StockTakes, t)
		}
	}
	return past
}

// latest is when something had happened at the latest.
func latest(s reprocessing.Stamp, at, now unit.Instant) unit.Instant {
	switch {
	case !at.Known():
		return 0
	case s.Unsure.Known():
		return min(s.Unsure, now)
	}
	return min(at, now)
}
