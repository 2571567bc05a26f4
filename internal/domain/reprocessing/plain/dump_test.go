package plain_test

import (
	"cmp"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
)

// told lists a history in the order of time, for whoever looks into a difference.
func told(h reprocessing.History) string {
	type line struct {
		at   unit.Instant
		text string
	}
	var all []line
	add := func(at unit.Instant, s reprocessing.Stamp, format string, args ...any) {
		text := fmt.Sprintf("%s %-24s ", at, s.ID) + fmt.Sprintf(format, args...)
		if s.Unsure.Known() {
			text += fmt.Sprintf(" (unsure until %s)", s.Unsure)
		}
		if s.Replaced.Known() {
			text += fmt.Sprintf(" (replaced at %s)", s.Replaced)
		}
		all = append(all, line{at, text})
	}
	i := h.Instrument
	add(i.InService, reprocessing.Stamp{}, "in service, %s, of model %q, retired %s", i.Owner, h.Model.Name, i.Retired)
	for _, u := range h.Uses {
		add(u.Start, u.Stamp, "use to %s%s", u.End, map[bool]string{true: ", end not known"}[u.EndNotKnown])
	}
	for _, s := range h.Steps {
		add(s.Start, s.Stamp, "%s to %s %s %s%s%s", s.Kind, s.End, s.Result, s.Disinfectant, s.Cabinet, ofMeans(s))
	}
	for _, t := range h.Samples {
		var outcomes []string
		for _, j := range t.Judgements {
			outcomes = append(outcomes, string(j.Outcome)+map[bool]string{true: " near"}[j.Near])
		}
		add(t.Collected, t.Stamp, "sample of %s, cleaning %d, read %s: %s %s", t.Point, t.Cleaning, t.Read, strings.Join(outcomes, ", "), t.NotApplicable)
	}
	for _, d := range h.Decisions {
		add(d.Last, d.Stamp, "verification %d from %s: %s, complete %t: %s", d.Verification.Cleaning, d.First, d.Verification.Outcome,
			d.Verification.Complete, d.Verification.Why)
	}
	for _, x := range h.Holds {
		add(x.At, x.Stamp, "hold, cause %q, escalated %t", x.Cause, x.Escalated)
	}
	for _, l := range h.Lifts {
		add(l.At, l.Stamp, "lift of %s by %q and %q over %q", l.Hold, l.By, l.Second, l.Verification)
	}
	for _, r := range h.Repairs {
		add(r.Sent, r.Stamp, "repair to %s", r.Returned)
	}
	for _, q := range h.Requests {
		add(q.At, q.Stamp, "request %v", q.Points)
	}
	for _, s := range h.Shared {
		add(s.Start, s.Stamp, "of %s: %s to %s %s, MEC %s, %s lot %q until %s, filled %s, in %q %q", s.Scope, s.Kind, s.End, s.Result, s.MEC,
			s.Disinfectant, s.DisinfectantLot, s.DisinfectantExpires, s.DisinfectantFilled, s.Reprocessor, s.CycleNumber)
	}
	for _, t := range h.StockTakes {
		add(t.At, t.Stamp, "stock-take by %q and %q until %s", t.By, t.Second, t.Until)
	}
	slices.SortStableFunc(all, func(a, b line) int { return cmp.Compare(a.at, b.at) })
	lines := make([]string, len(all))
	for i, l := range all {
		lines[i] = l.text
	}
	return strings.Join(lines, "\n")
}

// With one seed the history is told as well.
func TestTold(t *testing.T) {
	if os.Getenv(seedVariable) == "" {
		t.Skip("no history is asked for")
	}
	all, err := houses()
	if err != nil {
		t.Fatal(err)
	}
	x := newTrial(all, number(t, seedVariable, 0))
	t.Logf("judged by %+v\n%s", x.judging, told(x.h))
	if x.run(); x.worst.Instrument.Tag != "" {
		t.Logf("they differ on\n%s", told(x.worst))
	}
}

// ofMeans says what a disinfection was done with.
func ofMeans(s reprocessing.Step) string {
	if s.Kind != reprocessing.Disinfection {
		return ""
	}
	return fmt.Sprintf(", lot %q until %s, filled %s, in %q %q, %s to %s °C", s.DisinfectantLot, s.DisinfectantExpires, s.DisinfectantFilled,
		s.Reprocessor, s.CycleNumber, s.Coldest, s.Warmest)
}
