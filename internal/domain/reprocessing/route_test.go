package reprocessing_test

import (
	"slices"
	"strings"
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// ruleOf returns the rule of a step, to be changed.
func ruleOf(r *reprocessing.Rules, kind reprocessing.StepKind) *reprocessing.StepRule {
	return &r.Steps[slices.IndexFunc(r.Steps, func(s reprocessing.StepRule) bool { return s.Step == kind })]
}

// own returns the preset's rules with steps of their own to change.
func own(tb testing.TB) reprocessing.Rules {
	tb.Helper()
	r := preset(tb)
	r.Steps, r.Routes = slices.Clone(r.Steps), slices.Clone(r.Routes)
	return r
}

// setRoute gives an occasion a route.
func setRoute(r *reprocessing.Rules, after reprocessing.Occasion, steps ...reprocessing.StepKind) {
	r.Routes = slices.DeleteFunc(r.Routes, func(x reprocessing.Route) bool { return x.After == after })
	r.Routes = append(r.Routes, reprocessing.Route{After: after, Steps: steps, Source: sampling.Source{Citation: "common practice"}})
}

// repaired returns a history after a repair that ended at an instant, with steps of the morning done again four hours later.
func repaired(tb testing.TB, h reprocessing.History, back unit.Instant, kinds ...reprocessing.StepKind) reprocessing.History {
	tb.Helper()
	const by = 4 * hour
	h.Repairs = append(slices.Clone(h.Repairs), reprocessing.Repair{
		Stamp: stamp("repair", back), Repair: scope.Repair{Scope: "D-01", Sent: back - hour, Returned: back},
	})
	h.Steps = slices.Clone(h.Steps)
	for _, kind := range kinds {
		h.Steps = append(h.Steps, again(tb, &h, kind, by))
	}
	at := instant(tb, "09:22") + by
	h.Samples = append(h.Samples, samples(1, at)...)
	h.Decisions = append(h.Decisions, decision("round 2", 1, back, at, at+8*mins, h.Decisions[0].Verification.Outcome))
	return h
}

// What a use asks for stays open through a repair whose own route does not ask for it, and a step between the two serves
// the use; the repair's route is done after it.
func TestLaterOccasionDischargesNothing(t *testing.T) {
	t.Parallel()
	rules := own(t)
	setRoute(&rules, reprocessing.OfRepair, reprocessing.ManualCleaning, reprocessing.Inspection, reprocessing.Verification, reprocessing.Disinfection,
		reprocessing.Drying)
	after := []reprocessing.StepKind{
		reprocessing.ManualCleaning, reprocessing.Inspection, reprocessing.Disinfection, reprocessing.Drying, reprocessing.Storage,
	}
	back := instant(t, "12:00")
	at := instant(t, "15:00")
	wantState(t, reprocessing.Release(repaired(t, good(t), back, after...), rules, at, berlin(t)), reprocessing.Ready, "stored in drying-cabinet")
	a := reprocessing.Release(repaired(t, without(good(t), reprocessing.LeakTest), back, after...), rules, at, berlin(t))
	wantState(t, a, reprocessing.InReprocessing, "leak test is not on record since the last use ended at 2026-03-02 09:30 +01:00")
	if status(t, a, reprocessing.LeakTest) != reprocessing.MissingStep || !slices.Contains(a.Next, "do and record: leak test") {
		t.Errorf("leak test %s, next %q", status(t, a, reprocessing.LeakTest), a.Next)
	}
	a = reprocessing.Release(repaired(t, good(t), back, slices.DeleteFunc(slices.Clone(after), func(k reprocessing.StepKind) bool {
		return k == reprocessing.Drying
	})...), rules, at, berlin(t))
	wantState(t, a, reprocessing.InReprocessing, "drying is not on record since it came back from repair at 2026-03-02 13:00 +01:00")
	if n := slices.DeleteFunc(slices.Clone(a.Reasons), func(r reprocessing.Reason) bool { return !r.Blocks }); len(n) != 1 {
		t.Errorf("said more than once: %s", told(a))
	}
	want := []reprocessing.Occasion{reprocessing.OfUse, reprocessing.OfRepair}
	var open []reprocessing.Occasion
	for _, o := range a.Asked {
		open = append(open, o.After)
	}
	if !slices.Equal(open, want) || a.Asked[1].Words() != "after repair: manual cleaning, inspection, cleaning verification, disinfection, drying" {
		t.Errorf("asked: %+v", a.Asked)
	}
}

// The steps of the last occasion have to be in order in each route: whoever cleans again undoes the inspection that the
// use asked for, also where the repair asks for none.
func TestEveryRouteIsInOrder(t *testing.T) {
	t.Parallel()
	rules := own(t)
	short := []reprocessing.StepKind{
		reprocessing.LeakTest, reprocessing.ManualCleaning, reprocessing.Verification, reprocessing.Disinfection, reprocessing.Drying,
	}
	setRoute(&rules, reprocessing.OfRepair, short...)
	done := []reprocessing.StepKind{
		reprocessing.LeakTest, reprocessing.ManualCleaning, reprocessing.Disinfection, reprocessing.Drying, reprocessing.Storage,
	}
	a := reprocessing.Release(repaired(t, good(t), instant(t, "12:00"), done...), rules, instant(t, "15:00"), berlin(t))
	wantState(t, a, reprocessing.InReprocessing, "inspection at 2026-03-02 10:18 +01:00 came before manual cleaning ended")
}

// A failure of before a repair is answered by that, for the use as well.
func TestFailureAnsweredByARepair(t *testing.T) {
	t.Parallel()
	rules := preset(t)
	h := good(t)
	step(t, &h, reprocessing.LeakTest).Result = reprocessing.Fail
	all := []reprocessing.StepKind{
		reprocessing.LeakTest, reprocessing.ManualCleaning, reprocessing.Inspection, reprocessing.Disinfection, reprocessing.Drying, reprocessing.Storage,
	}
	h = repaired(t, h, instant(t, "12:00"), all...)
	h.Steps[slices.IndexFunc(h.Steps, func(s reprocessing.Step) bool { return s.ID == "leak-test again" })].Result = reprocessing.Pass
	wantState(t, reprocessing.Release(h, rules, instant(t, "15:00"), berlin(t)), reprocessing.Ready, "")
	h.Repairs[0].Sent = instant(t, "08:52") - us // while the test was made
	wantState(t, reprocessing.Release(h, rules, instant(t, "15:00"), berlin(t)), reprocessing.InReprocessing, "without a repair between them")
}

// Rules that say nothing of an occasion ask for every step, as they did before routes could be said.
func TestRouteOf(t *testing.T) {
	t.Parallel()
	rules := preset(t)
	rules.Routes = nil
	for o, want := range map[reprocessing.Occasion]string{
		reprocessing.OfUse:     "point-of-use, transport, leak-test, soak, manual-cleaning, inspection, verification, disinfection, final-rinse, drying, storage",
		reprocessing.OfArrival: "transport, leak-test, soak, manual-cleaning, inspection, verification, disinfection, final-rinse, drying, storage",
		reprocessing.OfRepair:  "transport, leak-test, soak, manual-cleaning, inspection, verification, disinfection, final-rinse, drying, storage",
		reprocessing.OfRunOut:  "manual-cleaning, inspection, verification, disinfection, final-rinse, drying, storage",
	} {
		var kinds []reprocessing.StepKind
		for _, s := range rules.RouteOf(o, "duodenoscope A") {
			kinds = append(kinds, s.Step)
		}
		if got := scope.Words(kinds); got != want {
			t.Errorf("%s: %s, want %s", o, got, want)
		}
	}
}

// A step can take too long, and a scope can be stored too late: then from the step before again.
func TestLongestTimes(t *testing.T) {
	t.Parallel()
	rules := own(t)
	ruleOf(&rules, reprocessing.ManualCleaning).AtMost = 17 * unit.Minute
	storage := ruleOf(&rules, reprocessing.Storage)
	storage.Within, storage.From, storage.OnLate = 5*unit.Minute, reprocessing.Drying, "dry again, then store"
	at, zone := instant(t, "12:00"), berlin(t)
	wantState(t, reprocessing.Release(good(t), rules, at, zone), reprocessing.Ready, "stored in drying-cabinet")
	ruleOf(&rules, reprocessing.ManualCleaning).AtMost--
	wantState(t, reprocessing.Release(good(t), rules, at, zone), reprocessing.InReprocessing, "manual cleaning took 17min; at most")
	ruleOf(&rules, reprocessing.ManualCleaning).AtMost = 0
	h := good(t)
	h.Steps = append(h.Steps, again(t, &h, reprocessing.Storage, hour))
	wantState(t, reprocessing.Release(h, rules, at, zone), reprocessing.Ready, "stored in drying-cabinet since 2026-03-02 11:30 +01:00") // moved
	h = good(t)
	step(t, &h, reprocessing.Storage).Start++
	a := reprocessing.Release(h, rules, at, zone)
	wantState(t, a, reprocessing.InReprocessing, "storage began at 2026-03-02 11:30 +01:00, later than 2026-03-02 11:30 +01:00")
	if !slices.Contains(a.Next, "dry again, then store") {
		t.Errorf("next %q", a.Next)
	}
	dried := again(t, &h, reprocessing.Drying, hour)
	stored := again(t, &h, reprocessing.Storage, hour)
	stored.Start--
	h.Steps = append(h.Steps, dried, stored)
	wantState(t, reprocessing.Release(h, rules, at, zone), reprocessing.Ready, "stored in drying-cabinet")
	h = without(good(t), reprocessing.Storage)
	by := instant(t, "10:30")
	storage.Required = false
	if a := reprocessing.Release(h, rules, by-1, zone); a.State != reprocessing.Ready || a.Until != by {
		t.Errorf("not stored yet: %s until %s", a.State, a.Until)
	}
	wantState(t, reprocessing.Release(h, rules, by, zone), reprocessing.InReprocessing, "to be stored within 5min, since 2026-03-02 11:25 +01:00")
}

func kept(r *reprocessing.StepRule, until unit.Date) {
	r.KeptIn, r.KeptBy, r.KeptReview = "the log of the other house", "L-01", until
}

// A requirement that is kept elsewhere, or starts later, is named with the answer. Where cleaning, leak test or disinfection
// is one of them the answer is never ready.
func TestNotCheckedHere(t *testing.T) {
	t.Parallel()
	at, zone := instant(t, "12:00"), berlin(t)
	const line = "inspection (kept elsewhere: the log of the other house; to be reviewed by 2026-03-31)"
	for _, tt := range []struct {
		name   string
		change func(r *reprocessing.Rules, h *reprocessing.History)
		state  reprocessing.State
		part   string
		line   string
		at     unit.Instant
	}{
		{"everything is checked here", func(*reprocessing.Rules, *reprocessing.History) {}, reprocessing.Ready, "", "", at},
		{"an inspection elsewhere", func(r *reprocessing.Rules, h *reprocessing.History) {
			kept(ruleOf(r, reprocessing.Inspection), "2026-03-31")
			*h = without(*h, reprocessing.Inspection)
		}, reprocessing.Ready, "not checked here: inspection", line, at},
		{"to the end of the day", func(r *reprocessing.Rules, h *reprocessing.History) {
			kept(ruleOf(r, reprocessing.Inspection), "2026-03-02")
			*h = without(*h, reprocessing.Inspection)
		}, reprocessing.Ready, "not checked here: inspection", strings.Replace(line, "03-31", "03-02", 1), instant(t, "2026-03-02T23:00:00Z") - 1},
		{"nobody has looked at it again", func(r *reprocessing.Rules, h *reprocessing.History) {
			kept(ruleOf(r, reprocessing.Inspection), "2026-03-02")
			*h = without(*h, reprocessing.Inspection)
		}, reprocessing.InReprocessing, "inspection is not on record", "", instant(t, "2026-03-02T23:00:00Z")},
		{
			"a leak test elsewhere", func(r *reprocessing.Rules, h *reprocessing.History) {
				kept(ruleOf(r, reprocessing.LeakTest), "2026-03-31")
				*h = without(*h, reprocessing.LeakTest)
			}, reprocessing.NothingAgainst, "leak test is not checked here: the log of the other house releases",
			strings.Replace(line, "inspection", "leak test", 1), at,
		},
		{"a leak test elsewhere that failed here", func(r *reprocessing.Rules, h *reprocessing.History) {
			kept(ruleOf(r, reprocessing.LeakTest), "2026-03-31")
			h.Steps[2].Result = reprocessing.Fail
		}, reprocessing.InReprocessing, "leak test at 2026-03-02 09:50 +01:00 failed", strings.Replace(line, "inspection", "leak test", 1), at},
		{"a cleaning elsewhere, on record here as well", func(r *reprocessing.Rules, _ *reprocessing.History) {
			kept(ruleOf(r, reprocessing.ManualCleaning), "2026-03-31")
		}, reprocessing.NothingAgainst, "manual cleaning is not checked here", strings.Replace(line, "inspection", "manual cleaning", 1), at},
		{"a disinfection elsewhere", func(r *reprocessing.Rules, h *reprocessing.History) {
			kept(ruleOf(r, reprocessing.Disinfection), "2026-03-31")
			*h = without(*h, reprocessing.Disinfection)
		}, reprocessing.NothingAgainst, "disinfection is not checked here", strings.Replace(line, "inspection", "disinfection", 1), at},
		{
			"a disinfection that was elsewhere when the trip began", func(r *reprocessing.Rules, _ *reprocessing.History) {
				kept(ruleOf(r, reprocessing.Disinfection), "2026-03-02")
			}, reprocessing.NothingAgainst, "disinfection is not checked here", strings.Replace(strings.Replace(line, "inspection", "disinfection", 1), "31", "02", 1),
			instant(t, "2026-03-05T12:00:00Z"),
		},
		{
			"storage elsewhere, and nothing here says where", func(r *reprocessing.Rules, h *reprocessing.History) {
				kept(ruleOf(r, reprocessing.Storage), "2026-12-31")
				*h = without(*h, reprocessing.Storage)
			}, reprocessing.Ready, "not checked here: storage", strings.Replace(strings.Replace(line, "inspection", "storage", 1), "03-31", "12-31", 1),
			instant(t, "2026-06-01T00:00:00Z"),
		},
		{"a verification elsewhere", func(r *reprocessing.Rules, h *reprocessing.History) {
			kept(ruleOf(r, reprocessing.Verification), "2026-03-31")
			h.Samples, h.Decisions = nil, nil
		}, reprocessing.Ready, "not checked here: cleaning verification", strings.Replace(line, "inspection", "cleaning verification", 1), at},
		{"a drying that starts tomorrow", func(r *reprocessing.Rules, h *reprocessing.History) {
			ruleOf(r, reprocessing.Drying).Starts = "2026-03-03"
			*h = without(*h, reprocessing.Drying)
		}, reprocessing.Ready, "not checked here: drying", "drying (starts on 2026-03-03)", at},
		{"a drying that starts today", func(r *reprocessing.Rules, h *reprocessing.History) {
			ruleOf(r, reprocessing.Drying).Starts = "2026-03-02"
			*h = without(*h, reprocessing.Drying)
		}, reprocessing.InReprocessing, "drying has not begun", "", at},
		{"a leak test that starts tomorrow", func(r *reprocessing.Rules, h *reprocessing.History) {
			ruleOf(r, reprocessing.LeakTest).Starts = "2026-03-03"
			*h = without(*h, reprocessing.LeakTest)
		}, reprocessing.NothingAgainst, "whoever has checked it releases", "leak test (starts on 2026-03-03)", at},
		{"all of it elsewhere, and a hold", func(r *reprocessing.Rules, h *reprocessing.History) {
			for i := range r.Steps {
				kept(&r.Steps[i], "2026-03-31")
			}
			h.Holds = []reprocessing.Hold{{Stamp: stamp("hold", at), Scope: "D-01", Kind: reprocessing.OtherHold, At: at - hour, By: "L-01", Reason: "bent"}}
		}, reprocessing.OnHold, "bent", "", at},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			rules, h := own(t), good(t)
			tt.change(&rules, &h)
			if err := rules.Check(); err != nil {
				t.Fatal(err)
			}
			a := reprocessing.Release(h, rules, tt.at, zone)
			if a.State != tt.state || !strings.Contains(told(a), tt.part) {
				t.Errorf("%s, want %s with %q: %s", a.State, tt.state, tt.part, told(a))
			}
			if tt.line != "" && a.NotChecked() != "not checked here: "+tt.line || tt.line == "" && tt.state != reprocessing.OnHold && a.NotChecked() != "" {
				t.Errorf("%q, want %q", a.NotChecked(), tt.line)
			}
			if ends := a.State == reprocessing.Ready && !strings.Contains(tt.name, "storage"); a.Until.Known() != ends {
				t.Errorf("%s until %s", a.State, a.Until)
			}
			if a.State == reprocessing.NothingAgainst && (a.State == reprocessing.Ready || len(a.Next) == 0) {
				t.Errorf("nothing to do: %+v", a)
			}
		})
	}
}

// Where somebody has to look at it again, and the step is not on record here, that is an end of the answer.
func TestReadyUntilTheReview(t *testing.T) {
	t.Parallel()
	rules, zone := own(t), berlin(t)
	kept(ruleOf(&rules, reprocessing.Inspection), "2026-03-10")
	h := without(good(t), reprocessing.Inspection)
	end := instant(t, "2026-03-10T23:00:00Z")
	if a := reprocessing.Release(h, rules, instant(t, "12:00"), zone); a.Until != end {
		t.Errorf("until %s, want %s", a.Until, end)
	}
	if a := reprocessing.Release(good(t), rules, instant(t, "12:00"), zone); a.Until != instant(t, "2026-04-01T11:30:00+02:00") {
		t.Errorf("on record here: until %s", a.Until)
	}
}

// A use of a scope that nothing speaks against here is not one of a scope that was not ready; a hold does not end over what
// is kept elsewhere.
func TestReleasedElsewhereAndUsed(t *testing.T) {
	t.Parallel()
	rules, zone := own(t), berlin(t)
	kept(ruleOf(&rules, reprocessing.Disinfection), "2026-03-31")
	h := without(good(t), reprocessing.Disinfection)
	if u, unready := h.Unready(rules, instant(t, "12:00"), 0, reprocessing.Opening{}, zone); unready {
		t.Errorf("not ready: %+v", u)
	}
	at := instant(t, "08:31")
	hold := reprocessing.Hold{Stamp: stamp("hold", at), Scope: "D-01", Kind: reprocessing.DisinfectionHold, At: at, By: "T-01", Reason: "x"}
	missing, _ := hold.Waits(instant(t, "12:00"), reprocessing.Grounds{Since: h, Rules: &rules, Zone: zone})
	if missing != "disinfection is not on record after it, or not in order" {
		t.Errorf("missing: %q", missing)
	}
}

// Of a trip under way the stricter edition of then and now is asked, step by step.
func TestEarlierEditionCounts(t *testing.T) {
	t.Parallel()
	at, zone := instant(t, "12:00"), berlin(t)
	now, then := own(t), own(t)
	ruleOf(&now, reprocessing.Inspection).Required = false
	h := without(good(t), reprocessing.Inspection)
	wantState(t, reprocessing.Release(h, now, at, zone), reprocessing.Ready, "stored")
	now.Earlier = []reprocessing.Rules{then}
	a := reprocessing.Release(h, now, at, zone)
	wantState(t, a, reprocessing.InReprocessing, "inspection is not on record; so the rules asked that were in force in this cycle")
	if status(t, a, reprocessing.Inspection) != reprocessing.MissingStep || a.Until.Known() {
		t.Errorf("%+v", a)
	}
	wantState(t, reprocessing.Release(good(t), now, at, zone), reprocessing.Ready, "stored")
	now.Earlier[0].Cabinets = slices.Clone(now.Earlier[0].Cabinets)
	now.Earlier[0].Cabinets[0].Days = 3
	if a := reprocessing.Release(good(t), now, at, zone); a.Until != instant(t, "2026-03-05T11:30:00+01:00") {
		t.Errorf("until %s", a.Until)
	}
	strict := own(t)
	ruleOf(&strict, reprocessing.Transport).Required = true
	now.Earlier = append(now.Earlier, strict)
	h = without(good(t), reprocessing.Transport)
	wantState(t, reprocessing.Release(h, now, at, zone), reprocessing.InReprocessing, "transport is not on record; so the rules asked")
}

// Begun is when the trip began to which everything belongs that is asked for.
func TestBegun(t *testing.T) {
	t.Parallel()
	h := repaired(t, good(t), instant(t, "12:00"))
	if got := reprocessing.Begun(h, instant(t, "15:00")); got != instant(t, "08:30") {
		t.Errorf("after a use and a repair: %s", got)
	}
	h.Uses = nil
	if got := reprocessing.Begun(h, instant(t, "15:00")); got != h.Instrument.InService {
		t.Errorf("never used: %s", got)
	}
}

// What a leak asks for is the most that an edition asks for which counts, and a repair where one does not speak of it.
func TestLeakUnderTwoEditions(t *testing.T) {
	t.Parallel()
	zone := berlin(t)
	now, then := own(t), own(t)
	ruleOf(&now, reprocessing.LeakTest).AfterFail = reprocessing.JustRepeat
	ruleOf(&then, reprocessing.LeakTest).AfterFail = reprocessing.RepairFirst
	silent := own(t)
	silent.Steps = slices.DeleteFunc(silent.Steps, func(r reprocessing.StepRule) bool { return r.Step == reprocessing.LeakTest })
	h := good(t)
	at := h.Uses[len(h.Uses)-1].End
	hold := reprocessing.Hold{Stamp: stamp("hold", at), Scope: "D-01", Kind: reprocessing.LeakHold, At: at, By: "T-01", Reason: "bubbles"}
	for name, test := range map[string]struct {
		earlier []reprocessing.Rules
		ends    bool
	}{"one": {nil, true}, "a stricter one before": {[]reprocessing.Rules{then}, false}, "one that says nothing": {[]reprocessing.Rules{silent}, false}} {
		rules := now
		rules.Earlier = test.earlier
		missing, _ := hold.Waits(instant(t, "12:00"), reprocessing.Grounds{Since: h, Rules: &rules, Zone: zone})
		if (missing == "") != test.ends {
			t.Errorf("%s: missing %q", name, missing)
		}
	}
}
