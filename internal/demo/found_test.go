package demo_test

import (
	"slices"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/demo"
	"rinsate/internal/desk"
	"rinsate/internal/domain/attribution"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
)

// TestStoriesAreFound asks the statistics for the truths that are planted in a whole year.
func TestStoriesAreFound(t *testing.T) {
	t.Parallel()
	b := build(t, demo.Options{})
	t.Run("worn channel", func(t *testing.T) { findWornChannel(t, b) })
	t.Run("bad lot", func(t *testing.T) { findBadLot(t, b) })
	t.Run("drifting meter", func(t *testing.T) { findDriftingMeter(t, b) })
	t.Run("after leave", func(t *testing.T) { findAfterLeave(t, b) })
	t.Run("failed check", func(t *testing.T) { findFailedCheck(t, b) })
	t.Run("quiet before", func(t *testing.T) { quietBefore(t, b) })
}

func (b built) allSeries(t *testing.T, at unit.Instant) (list []desk.Series) {
	t.Helper()
	b.view(t, func(v desk.View) (err error) {
		list, err = v.Numbers().AllSeries(at, desk.UsualWatching())
		return err
	})
	return list
}

func (b built) explain(t *testing.T, from, to unit.Instant, system string) (a attribution.Answer) {
	t.Helper()
	b.view(t, func(v desk.View) error {
		rows, scales, err := v.Numbers().Explained(from, to)
		if err != nil {
			return err
		}
		for _, s := range scales {
			if s.System == system {
				a, err = attribution.Explain(rows[[2]string{s.System, s.Kit}], attribution.Usual())
			}
		}
		return err
	})
	return a
}

// The deteriorating channel is found within 15 readings of its begin, with adopted limits that allow
// one false signal a month over the fleet, and the begin lies in the interval that the signal gives.
func findWornChannel(t *testing.T, b built) {
	t.Helper()
	story := b.stories(demo.WornChannel)[0]
	list := b.allSeries(t, unit.At(today)-1)
	s := list[slices.IndexFunc(list, func(s desk.Series) bool { return s.Key.Scope == story.Scope && s.Key.Point == story.Point })]
	if s.Provisional || s.Chart == "" {
		t.Fatalf("the chart of %s is not adopted", s.Key)
	}
	begin := slices.IndexFunc(s.After(), func(p trend.Point) bool { return p.At >= story.From })
	for _, a := range s.Watched.Signals {
		if a.First.At < story.From || a.Direction != trend.Higher {
			continue
		}
		t.Logf("found after %d readings, since %s to %s; true begin %s", a.First.Index-begin+1, a.Since.After, a.Since.Until, story.From)
		if a.First.Index-begin+1 > 15 || a.Since.After > story.Full || a.Since.Until < story.From {
			t.Errorf("found at reading %d of the story, since %+v", a.First.Index-begin+1, a.Since)
		}
		if !a.Open {
			t.Error("the signal is over although the channel is as bad as before")
		}
		return
	}
	t.Errorf("not found: %+v", s.Watched.Signals)
}

// The bad lot stands out among the lots, in the signals of the fleet, and in a comparison with the lot
// before.
func findBadLot(t *testing.T, b built) {
	t.Helper()
	story := b.stories(demo.BadLot)[0]
	a := b.explain(t, story.From.Add(-90*24*time.Hour), story.To.Add(60*24*time.Hour), "Palewick")
	if e := a.Of(attribution.Lot)[0]; e.Name != story.Lot || !e.Distinct {
		t.Errorf("first of the lots: %+v", e)
	}
	together, all := 0, 0
	for _, signal := range desk.Signals(b.allSeries(t, story.To), story.From) {
		if signal.Direction != trend.Higher || signal.First.At < story.From || signal.Key.System != "Palewick" {
			continue
		}
		all++
		if slices.Contains(signal.Coincides, "lot "+story.Lot) {
			together++
		}
	}
	t.Logf("%d of %d signals came with the lot", together, all)
	if all < 10 || together < all*6/10 {
		t.Errorf("%d of %d signals came with the lot", together, all)
	}
	b.view(t, func(v desk.View) error {
		// A day in the middle of the lot before and after, to be sure that both were in use.
		before := ""
		rows, _, err := v.Numbers().Explained(story.From.Add(-10*24*time.Hour), story.From)
		if err != nil {
			return err
		}
		for _, r := range rows[[2]string{"Palewick", story.Kit}] {
			before = r.Lot
		}
		old, bad, err := v.Measuring().LotSetups(story.Kit, before, story.Lot)
		if err != nil {
			return err
		}
		pairs, err := v.Measuring().FieldPairs(old, bad, story.From.Add(-60*24*time.Hour), story.To)
		if err != nil {
			return err
		}
		found, err := quality.DefaultPlan().Paired(old, bad, pairs)
		if found.Answer != quality.NewLevel || found.Ratio < 1.5 {
			t.Errorf("%s against %s: %s, ratio %.2f", story.Lot, before, found.Answer, found.Ratio)
		}
		return err
	})
}

// The drifting meter reads lowest, and its own checks would have shown it within six weeks although
// they all kept the manufacturer's limits.
func findDriftingMeter(t *testing.T, b built) {
	t.Helper()
	story := b.stories(demo.DriftingMeter)[0]
	a := b.explain(t, unit.At(today).Add(-60*24*time.Hour), unit.At(today), "Palewick")
	meters := a.Of(attribution.Meter)
	if last := meters[len(meters)-1]; last.Name != story.Meter || last.Ratio > 0.85 {
		t.Errorf("last of the meters: %+v", last)
	}
	b.view(t, func(v desk.View) error {
		for _, m := range []string{"M-1", story.Meter} {
			checks, err := v.Measuring().Checks(m, 0, unit.At(today))
			if err != nil {
				return err
			}
			for _, c := range checks {
				if c.Verdict.Outcome != quality.Accepted {
					t.Errorf("check of %s at %s: %s", m, c.Verdict.At, c.Verdict.Why)
				}
			}
			_, later, err := v.Measuring().OwnTarget(quality.Target{Kind: quality.Positive, Material: "light cell"}, m, 0, story.From)
			if err != nil {
				return err
			}
			rejected := slices.DeleteFunc(later, func(v quality.Verdict) bool { return v.Outcome != quality.Rejected })
			switch {
			case m != story.Meter && len(rejected) > len(checks)/20:
				t.Errorf("%d checks of %s, which does not drift, would be rejected", len(rejected), m)
			case m == story.Meter && (len(rejected) == 0 || rejected[0].At.Sub(story.From) > 42*24*time.Hour):
				t.Errorf("the drift of %s would be seen at %+v", m, rejected[:min(1, len(rejected))])
			}
		}
		return nil
	})
}

// The technician who cleans too fast ranks first after shrinkage, and by the funnel of failures.
func findAfterLeave(t *testing.T, b built) {
	t.Helper()
	story := b.stories(demo.AfterLeave)[0]
	for _, system := range []string{"Palewick", "Dimmerel"} {
		a := b.explain(t, story.From, story.To, system)
		if e := a.Of(attribution.Person)[0]; e.Name != story.Person || !e.Distinct {
			t.Errorf("%s: first of the people: %+v", system, e)
		}
	}
	b.view(t, func(v desk.View) error {
		units, err := v.Numbers().Failures(desk.ByPerson, story.From, story.To)
		if err != nil {
			return err
		}
		f, err := desk.Compared(units)
		for _, u := range f.Units {
			if (u.Name == story.Person) != (u.Beyond > 0) {
				t.Errorf("%s: %d of %d, beyond %d", u.Name, u.Failures, u.Trials, u.Beyond)
			}
		}
		return err
	})
}

// The failed check is on record with what it took the trust from, and every scope that it concerned
// was sampled again before it was used.
func findFailedCheck(t *testing.T, b built) {
	t.Helper()
	story := b.stories(demo.FailedCheck)[0]
	if len(story.Scopes) == 0 {
		t.Fatal("the failed check concerned no scope")
	}
	for tag, lines := range b.lines(t) {
		marked := slices.ContainsFunc(lines, func(l desk.Line) bool { return l.Type == record.Suspect })
		if concerned := slices.Contains(story.Scopes, tag); concerned && !marked {
			t.Errorf("%s was sampled again and has no reading in doubt", tag)
		}
	}
	for _, tag := range story.Scopes {
		if a := b.release(t, tag, story.From.Add(5*time.Minute)); a.State == reprocessing.Ready {
			t.Errorf("%s is ready right after the failed check", tag)
		}
	}
	b.view(t, func(v desk.View) error {
		s, err := v.Measuring().MeterState(story.Meter, story.From.Add(5*time.Minute))
		if s.Condition != quality.Failed {
			t.Errorf("the meter is %s right after the failed check", s.Condition)
		}
		return err
	})
}

// Between the revision of the limits and the first story after it nothing is planted on the
// bronchoscopes' scale: at one false signal a month over the fleet there are few.
func quietBefore(t *testing.T, b built) {
	t.Helper()
	leave := b.stories(demo.AfterLeave)[0]
	from := leave.From.Add(-70 * 24 * time.Hour)
	signals := 0
	for _, a := range desk.Signals(b.allSeries(t, leave.From), from) {
		if a.Key.System == "Dimmerel" && a.First.At >= from && a.Key.Scope != "B-03" && !a.Provisional {
			signals++
			t.Log(a.Key, a.First.At, a.Words)
		}
	}
	if signals > 5 { // 2.3 months of one a month over all series, of which these are a third
		t.Errorf("%d signals without a cause", signals)
	}
}
