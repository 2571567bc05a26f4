package reprocessing_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
)

// noon is when the clock is looked at first.
const noon = unit.Instant(1_772_452_800_000_000)

func TestStepped(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		reason        string
		wall, elapsed time.Duration
		noted, large  bool
		words         string
	}{
		{"they agree", 5 * time.Second, 5 * time.Second, false, false, ""},
		{"two seconds ahead", 7 * time.Second, 5 * time.Second, false, false, ""},
		{"three seconds ahead", 8 * time.Second, 5 * time.Second, true, false, "set ahead by 3s"},
		{"stood still", 0, 5 * time.Second, true, false, "set back by 5s"},
		{"a minute back", -55 * time.Second, 5 * time.Second, true, false, "set back by 1min"},
		{"more than a minute back", -56 * time.Second, 5 * time.Second, true, true, "set back by 1min1s"},
		{"ten minutes ahead", 10*time.Minute + 5*time.Second, 5 * time.Second, true, false, "set ahead by 10min"},
		{"more than ten minutes ahead", 10*time.Minute + 6*time.Second, 5 * time.Second, true, true, "set ahead by 10min1s"},
		{"asleep for a night", 8 * time.Hour, 8 * time.Hour, false, false, ""},
	} {
		before := reprocessing.Ticked{Wall: noon, Elapsed: time.Hour}
		n, ok := reprocessing.Stepped(before, reprocessing.Ticked{Wall: noon.Add(test.wall), Elapsed: before.Elapsed + test.elapsed})
		if ok != test.noted || n.Large() != test.large || test.noted && !strings.HasSuffix(n.Words(), test.words) {
			t.Errorf("%s: noted %t, large %t, %q", test.reason, ok, n.Large(), n.Words())
		}
	}
}

func TestBehind(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		now          time.Duration
		noted, large bool
	}{
		{time.Hour, false, false},
		{0, false, false},
		{-2 * time.Second, false, false},
		{-3 * time.Second, true, false},
		{-time.Minute, true, false},
		{-time.Minute - time.Second, true, true},
	} {
		n, ok := reprocessing.Behind(noon, noon.Add(test.now))
		if ok != test.noted || n.Large() != test.large {
			t.Errorf("%s: noted %t, large %t", test.now, ok, n.Large())
		}
	}
}

// back, ahead and compared are notes at a place.
func back(place int64, from unit.Instant, by time.Duration) reprocessing.ClockNote {
	return reprocessing.ClockNote{From: from, To: from.Add(-by), Noticed: reprocessing.ByRecords, Place: place}
}

func ahead(place int64, from unit.Instant, by time.Duration) reprocessing.ClockNote {
	return reprocessing.ClockNote{
		From: from, To: from.Add(by + 5*time.Second), Elapsed: 5 * unit.Second, Noticed: reprocessing.ByElapsed, Place: place,
	}
}

func compared(place int64, at unit.Instant) reprocessing.ClockNote {
	return reprocessing.ClockNote{From: at, To: at, Noticed: reprocessing.ByCompared, Other: reprocessing.Phone, Saw: at, By: "L-01", Place: place}
}

// A comparison says by itself whether the two agree, and a note that says otherwise contradicts itself.
func TestCompared(t *testing.T) {
	t.Parallel()
	for apart, want := range map[time.Duration]reprocessing.Noticed{
		0: reprocessing.ByCompared, reprocessing.MostApart: reprocessing.ByCompared, -reprocessing.MostApart: reprocessing.ByCompared,
		reprocessing.MostApart + time.Second: reprocessing.ByApart, -reprocessing.MostApart - time.Second: reprocessing.ByApart,
	} {
		n := reprocessing.ClockNote{Other: reprocessing.Phone, Saw: noon, By: "L-01"}.Compared(noon.Add(apart))
		if n.Noticed != want || n.Check() != nil || n.Large() != (want == reprocessing.ByApart) {
			t.Errorf("%s: %+v, %v", apart, n, n.Check())
		}
		n.Noticed = map[reprocessing.Noticed]reprocessing.Noticed{
			reprocessing.ByCompared: reprocessing.ByApart, reprocessing.ByApart: reprocessing.ByCompared,
		}[want]
		if n.Check() == nil {
			t.Errorf("%s: taken as %s", apart, n.Noticed)
		}
	}
}

func TestUnsure(t *testing.T) {
	t.Parallel()
	settled := noon.Add(time.Hour)
	c := reprocessing.Clock{Notes: []reprocessing.ClockNote{
		back(3, noon, 10*time.Second), ahead(10, noon, 48*time.Hour), back(20, noon.Add(49*time.Hour), 48*time.Hour), compared(25, settled),
		ahead(40, noon.Add(2*time.Hour), 9*time.Minute), back(50, noon.Add(4*time.Hour), 30*time.Minute),
	}}
	for _, test := range []struct {
		reason   string
		place    int64
		recorded unit.Instant
		want     unit.Instant
	}{
		{"long before", 5, noon.Add(-time.Hour), 0},
		{"just before, as the clock should have shown", 9, noon.Add(5 * time.Second), 0},
		{"just before, by the clock that had jumped already", 9, noon.Add(48 * time.Hour), settled},
		{"while it was ahead", 15, noon.Add(48 * time.Hour), settled},
		{"back and not compared", 24, noon.Add(30 * time.Minute), settled},
		{"compared", 26, settled, 0},
		{"before the next large step, earlier than where that led", 45, noon.Add(3 * time.Hour), 0},
		{"before the next large step, later than where that led", 45, noon.Add(3*time.Hour + 31*time.Minute), reprocessing.Never},
		{"after it", 60, noon.Add(5 * time.Hour), reprocessing.Never},
	} {
		if got := c.Unsure(test.place, test.recorded); got != test.want {
			t.Errorf("%s: %s, want %s", test.reason, got, test.want)
		}
	}
	if steps := c.Unsettled(noon.Add(5 * time.Hour)); len(steps) != 1 || steps[0].Place != 50 {
		t.Errorf("not settled: %+v", steps)
	}
	if _, _, doubted := (reprocessing.Clock{Notes: c.Notes[:5], Newest: noon}).Doubts(noon.Add(-time.Minute), time.UTC); doubted {
		t.Error("in doubt though compared, and a minute behind the newest record")
	}
	if _, _, doubted := (reprocessing.Clock{Notes: c.Notes[:5], Newest: noon}).Doubts(noon.Add(-61*time.Second), time.UTC); !doubted {
		t.Error("not in doubt, and more than a minute behind the newest record")
	}
}

// Asking about now is never milder than asking about that instant as one of the past, whatever claims to lie ahead;
// with a clock in doubt nothing is ready.
func TestReadyNowIsNeverMilder(t *testing.T) {
	rules, zone := preset(t), berlin(t)
	fresh := []reprocessing.History{good(t), recleaned(t)}
	morning := instant(t, "08:00")
	rapid.Check(t, func(rt *rapid.T) {
		h := fresh[rapid.IntRange(0, 1).Draw(rt, "history")]
		h.Steps, h.Samples = slices.Clone(h.Steps), slices.Clone(h.Samples)
		if rapid.Bool().Draw(rt, "disturbed") {
			h = disturb(rt, h, morning)
		}
		at := between(rt, "at", morning+3*hour, morning+24*hour)
		// Facts of the past, and facts that claim to lie ahead.
		from, to := morning, at
		if ahead := rapid.SampledFrom([]unit.Instant{0, 24, 24 * 365 * 70}).Draw(rt, "ahead"); ahead > 0 {
			from, to = at+1, at+ahead*hour
		}
		h, _ = worsen(rt, h, from, to)
		past := reprocessing.Release(h, rules, at, zone)
		now := reprocessing.ReleaseNow(h, rules, reprocessing.Clock{}, at, zone)
		if now.State == reprocessing.Ready && past.State != reprocessing.Ready {
			rt.Fatalf("ready now, and %s as of the past: %+v", past.State, past.Reasons)
		}
		doubted := reprocessing.Clock{Notes: []reprocessing.ClockNote{back(1, at, time.Hour)}}
		if a := reprocessing.ReleaseNow(h, rules, doubted, at, zone); a.State == reprocessing.Ready || a.Until.Known() {
			rt.Fatalf("%s until %s with a clock in doubt", a.State, a.Until)
		}
	})
	// What a history without facts ahead answers, and what one such fact changes.
	h, noon := good(t), instant(t, "12:00")
	if a := reprocessing.ReleaseNow(h, rules, reprocessing.Clock{}, noon, zone); a.State != reprocessing.Ready {
		t.Errorf("a good cycle: %s", told(a))
	}
	h.Holds = []reprocessing.Hold{{Stamp: stamp("hold", noon), Scope: "D-01", At: noon + hour, By: "T. Echnician", Reason: "smells"}}
	if past := reprocessing.Release(h, rules, noon-1, zone); past.State != reprocessing.Ready {
		t.Errorf("a hold that lies ahead, before it was recorded: %s", told(past))
	}
	if now := reprocessing.ReleaseNow(h, rules, reprocessing.Clock{}, noon, zone); now.State != reprocessing.OnHold {
		t.Errorf("a hold that lies ahead, now: %s", told(now))
	}
	h = good(t)
	h.Uses = append(slices.Clone(h.Uses), reprocessing.Use{Stamp: stamp("ahead", noon-1), Scope: "D-01", Start: noon + hour})
	if past := reprocessing.Release(h, rules, noon, zone); past.State != reprocessing.Ready {
		t.Errorf("a use that lies ahead, as of the past: %s", told(past))
	}
	if now := reprocessing.ReleaseNow(h, rules, reprocessing.Clock{}, noon, zone); now.State == reprocessing.Ready {
		t.Errorf("a use that lies ahead, now: %s", told(now))
	}
}

// What was written while the clock was in doubt never makes a scope ready that is not ready without it.
func TestUnsureProvesNothing(t *testing.T) {
	rules, zone := preset(t), berlin(t)
	at := instant(t, "12:00")
	if a := reprocessing.ReleaseNow(good(t), rules, reprocessing.Clock{}, at, zone); a.State != reprocessing.Ready {
		t.Fatalf("as it is: %s %+v", a.State, a.Reasons)
	}
	settled := instant(t, "11:30")
	for i := range good(t).Steps {
		h := good(t)
		h.Steps[i].Unsure = settled
		a := reprocessing.ReleaseNow(h, rules, reprocessing.Clock{}, at, zone)
		required := slices.ContainsFunc(rules.For(h.Model.Name), func(r reprocessing.StepRule) bool { return r.Required && r.Step == h.Steps[i].Kind })
		if required && a.State == reprocessing.Ready {
			t.Errorf("ready without a %s that counts", h.Steps[i].Kind)
		}
	}
	for _, test := range []struct {
		reason string
		change func(*reprocessing.History)
	}{
		{"the decision", func(h *reprocessing.History) { h.Decisions[0].Unsure = settled }},
		{"a sample", func(h *reprocessing.History) { h.Samples[0].Unsure = settled }},
		{"the use", func(h *reprocessing.History) { h.Uses[0].Unsure = settled }},
	} {
		h := good(t)
		test.change(&h)
		if a := reprocessing.ReleaseNow(h, rules, reprocessing.Clock{}, at, zone); a.State == reprocessing.Ready {
			t.Errorf("ready though %s was written while the clock was in doubt", test.reason)
		}
	}
}

// A cleaning that was begun while the clock was in doubt proves nothing, and yet the scope is no longer where it waited.
func TestBegunWhileTheClockWasInDoubt(t *testing.T) {
	now := instant(t, "18:00")
	for _, kind := range []reprocessing.StepKind{
		reprocessing.LeakTest, reprocessing.Soak, reprocessing.ManualCleaning, reprocessing.Disinfection, reprocessing.FinalRinse,
	} {
		for name, change := range map[string]func(*reprocessing.Step){
			"in doubt":   func(s *reprocessing.Step) { s.Unsure = instant(t, "17:00") },
			"lies ahead": func(s *reprocessing.Step) { s.Start, s.End = now+hour, now+2*hour },
		} {
			h := good(t)
			s := again(t, &h, reprocessing.LeakTest, 4*hour)
			s.Kind = kind
			change(&s)
			h.Steps = append(h.Steps, s)
			part := kind.Words()
			if s.Unsure.Known() {
				part += " was recorded while the computer's clock was in doubt"
			}
			wantState(t, reprocessing.ReleaseNow(h, preset(t), reprocessing.Clock{}, now, berlin(t)), reprocessing.InReprocessing, part)
			if t.Failed() {
				t.Fatal(name)
			}
		}
	}
}

// About an instant of the past a storage counts as it was recorded, whatever the clock was worth.
func TestStoredWhileTheClockWasInDoubt(t *testing.T) {
	h := good(t)
	step(t, &h, reprocessing.Storage).Unsure = instant(t, "17:00")
	wantState(t, reprocessing.Release(h, straight(t), instant(t, "12:00"), berlin(t)), reprocessing.Ready, "stored in")
	now := reprocessing.ReleaseNow(h, straight(t), reprocessing.Clock{}, instant(t, "18:00"), berlin(t))
	wantState(t, now, reprocessing.InReprocessing, "outside a cabinet since")
}
