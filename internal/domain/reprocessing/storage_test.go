package reprocessing_test

import (
	"slices"
	"strings"
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
)

// moved returns the history with every instant shifted, so that the cycle falls on another day.
func moved(h reprocessing.History, by unit.Instant) reprocessing.History {
	for i := range h.Uses {
		h.Uses[i].Start += by
		h.Uses[i].End += by
	}
	for i := range h.Steps {
		h.Steps[i].Start += by
		if h.Steps[i].End.Known() {
			h.Steps[i].End += by
		}
		if h.Steps[i].DisinfectantExpires.Known() {
			h.Steps[i].DisinfectantExpires += by
			h.Steps[i].DisinfectantFilled += by
		}
	}
	for i := range h.Samples {
		h.Samples[i].Collected += by
	}
	for i := range h.Decisions {
		h.Decisions[i].Cycle += by
		h.Decisions[i].First += by
		h.Decisions[i].Last += by
	}
	return h
}

// Calendar days in Europe/Berlin, also over the nights in which the clock moves (Directive
// 2000/84/EC). 30 days in a drying cabinet and 7 in a ventilated one are values of the preset, to be
// verified; hours in a cabinet are exact.
func TestStorageEndsAtTheSameTimeOfDay(t *testing.T) {
	tests := []struct{ name, cabinet, stored, until string }{
		{"30 days over the spring night", "drying-cabinet", "2026-03-02T11:30:00+01:00", "2026-04-01T11:30:00+02:00"},
		{"30 days over the autumn night", "drying-cabinet", "2026-10-05T11:30:00+02:00", "2026-11-04T11:30:00+01:00"},
		{"7 days over the spring night", "ventilated-cabinet", "2026-03-27T16:00:00+01:00", "2026-04-03T16:00:00+02:00"},
		{"7 days over the autumn night", "ventilated-cabinet", "2026-10-20T16:00:00+02:00", "2026-10-27T16:00:00+01:00"},
		{"7 days into the missing hour", "ventilated-cabinet", "2026-03-22T02:30:00+01:00", "2026-03-29T00:30:00Z"},
		{"7 days into the doubled hour", "ventilated-cabinet", "2026-10-18T02:30:00+02:00", "2026-10-25T00:30:00Z"},
		{"72 h over the spring night", "exact", "2026-03-27T16:00:00+01:00", "2026-03-30T17:00:00+02:00"},
		{"72 h over the autumn night", "exact", "2026-10-23T16:00:00+02:00", "2026-10-26T15:00:00+01:00"},
	}
	rules := preset(t)
	rules.Cabinets = append(rules.Cabinets, reprocessing.Cabinet{Name: "exact", Hours: 72, Source: sampling.Source{Citation: "common practice"}})
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			stored, until := instant(t, tt.stored), instant(t, tt.until)
			h := moved(good(t), stored-instant(t, "10:30"))
			step(t, &h, reprocessing.Storage).Cabinet = tt.cabinet
			a := reprocessing.Release(h, rules, stored, berlin(t))
			wantState(t, a, reprocessing.Ready, "stored in "+tt.cabinet)
			if a.Until != until {
				t.Errorf("until %s, want %s", a.Until.In(berlin(t)), until.In(berlin(t)))
			}
			wantState(t, reprocessing.Release(h, rules, until-us, berlin(t)), reprocessing.Ready, "stored in "+tt.cabinet)
			wantState(t, reprocessing.Release(h, rules, until, berlin(t)), reprocessing.InReprocessing, "that time ended at "+until.In(berlin(t)))
		})
	}
}

func TestStorage(t *testing.T) {
	add := func(h *reprocessing.History, kind reprocessing.StepKind, start, end unit.Instant, cabinet string) {
		h.Steps = append(h.Steps, reprocessing.Step{
			Stamp: stamp("further "+string(kind), start), Scope: "D-01", Kind: kind, Start: start, End: end,
			Cabinet: cabinet,
		})
	}
	stored, dried := instant(t, "10:30"), instant(t, "10:25")
	full := instant(t, "2026-04-01T11:30:00+02:00") // 30 days from 10:30 UTC
	tests := []struct {
		name, reason string
		change       func(*testing.T, *reprocessing.History)
		at           unit.Instant
		until        unit.Instant // zero: not ready
		want         string
	}{
		{"in the cabinet", "", func(*testing.T, *reprocessing.History) {}, stored + hour, full, "stored in drying-cabinet"},
		{"hung back", "taking it out and hanging it back does not renew the time", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			step(t, h, reprocessing.Storage).End = stored + 24*hour
			add(h, reprocessing.Storage, stored+24*hour+10*mins, 0, "drying-cabinet")
		}, stored + 25*hour, full, "stored in drying-cabinet since 2026-03-02 11:30 +01:00"},
		{"moved to a lesser cabinet", "the stricter of the two limits, from the first hanging", func(_ *testing.T, h *reprocessing.History) {
			add(h, reprocessing.Storage, stored+24*hour, 0, "ventilated-cabinet")
		}, stored + 25*hour, instant(t, "2026-03-09T11:30:00+01:00"), "stored in ventilated-cabinet since 2026-03-02 11:30 +01:00; at most 7 days"},
		{"dried again", "drying alone does not renew the time", func(_ *testing.T, h *reprocessing.History) {
			add(h, reprocessing.Drying, stored+20*24*hour, stored+20*24*hour+10*mins, "")
			add(h, reprocessing.Storage, stored+20*24*hour+20*mins, 0, "drying-cabinet")
		}, stored + 21*24*hour, full, "stored in drying-cabinet since 2026-03-02 11:30 +01:00"},
		{"disinfected and dried again", "that does renew it", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			later := func(s reprocessing.Step) reprocessing.Step {
				s.ID += " again"
				s.Start += 20 * 24 * hour
				if s.End.Known() {
					s.End += 20 * 24 * hour
				}
				s.DisinfectantExpires += 20 * 24 * hour
				s.DisinfectantFilled += 20 * 24 * hour
				return s
			}
			for _, kind := range []reprocessing.StepKind{reprocessing.Disinfection, reprocessing.Drying, reprocessing.Storage} {
				i := slices.IndexFunc(h.Steps, func(s reprocessing.Step) bool { return s.Kind == kind })
				h.Steps = append(h.Steps, later(h.Steps[i]))
			}
		}, stored + 21*24*hour, instant(t, "2026-04-21T12:30:00+02:00") - hour, "stored in drying-cabinet since 2026-03-22 11:30 +01:00"},
		{"taken out", "outside a cabinet the short limit runs", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			step(t, h, reprocessing.Storage).End = stored + 2*hour
		}, stored + 3*hour, stored + 5*hour, "outside a cabinet since 2026-03-02 13:30 +01:00; at most 3h"},
		{"taken out too long ago", "", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			step(t, h, reprocessing.Storage).End = stored + 2*hour
		}, stored + 5*hour, 0, "outside a cabinet since 2026-03-02 13:30 +01:00; at most 3h; that time ended at"},
		{"taken out after the end", "taking it out does not renew the time", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			step(t, h, reprocessing.Storage).End = full + hour
		}, full + 2*hour, 0, "at most 30 days; that time ended at"},
		{"hung back too late", "the cabinet does not make up for the time outside", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			step(t, h, reprocessing.Storage).End = stored + 2*hour
			add(h, reprocessing.Storage, stored+5*hour, 0, "drying-cabinet")
		}, stored + 6*hour, 0, "it hung outside a cabinet from 2026-03-02 13:30 +01:00 to 2026-03-02 16:30 +01:00; at most 3h"},
		{"hung up too late after drying", "3 h after the end of drying the time is over", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			step(t, h, reprocessing.Storage).Start = dried + 3*hour
		}, dried + 4*hour, 0, "it hung outside a cabinet from 2026-03-02 11:25 +01:00"},
		{"hung up just in time after drying", "", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			step(t, h, reprocessing.Storage).Start = dried + 3*hour - us
		}, dried + 4*hour, full + 2*hour + 55*mins - us, "stored in drying-cabinet"},
		{"never hung up", "3 h from the end of drying", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			*h = without(*h, reprocessing.Storage)
		}, dried + 3*hour - us, dried + 3*hour, "outside a cabinet since 2026-03-02 11:25 +01:00; at most 3h"},
		{"never hung up, 3 h", "the instant itself is over", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			*h = without(*h, reprocessing.Storage)
		}, dried + 3*hour, 0, "that time ended at 2026-03-02 14:25 +01:00"},
		{"hung up wet", "a storage before the end of drying is none", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			step(t, h, reprocessing.Storage).Start = dried - us
		}, stored + hour, dried + 3*hour, "outside a cabinet since"},
		{"unknown cabinet", "nobody can say how long it keeps a scope", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			step(t, h, reprocessing.Storage).Cabinet = "hook on the wall"
		}, stored + hour, 0, `cabinet "hook on the wall" is not in the rule set`},
		{"issued and hung back", "the time runs on", func(_ *testing.T, h *reprocessing.History) {
			add(h, reprocessing.Issue, stored+hour, 0, "")
			add(h, reprocessing.Storage, stored+2*hour, 0, "drying-cabinet")
		}, stored + 3*hour, full, "stored in drying-cabinet since 2026-03-02 11:30 +01:00"},
		{"issued and hung back too late", "it was outside for 3 h", func(_ *testing.T, h *reprocessing.History) {
			add(h, reprocessing.Issue, stored+hour, 0, "")
			add(h, reprocessing.Storage, stored+4*hour, 0, "drying-cabinet")
		}, stored + 5*hour, 0, "it hung outside a cabinet from 2026-03-02 12:30 +01:00"},
		{"issued without a cabinet", "not back", func(t *testing.T, h *reprocessing.History) {
			t.Helper()
			*h = without(*h, reprocessing.Storage)
			add(h, reprocessing.Issue, stored, 0, "")
		}, stored + mins, 0, "issued at 2026-03-02 11:30 +01:00 and not back"},
		{"issued and stored at one instant", "nobody knows which came last", func(_ *testing.T, h *reprocessing.History) {
			add(h, reprocessing.Issue, stored, 0, "")
		}, stored + hour, 0, "issued at 2026-03-02 11:30 +01:00 and not back"},
		{"issued, and a storage that failed", "a failed storage does not bring it back", func(_ *testing.T, h *reprocessing.History) {
			add(h, reprocessing.Issue, stored+hour, 0, "")
			add(h, reprocessing.Storage, stored+2*hour, 0, "drying-cabinet")
			h.Steps[len(h.Steps)-1].Result = reprocessing.Fail
		}, stored + 3*hour, 0, "and not back"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			tt.change(t, &h)
			a := reprocessing.Release(h, straight(t), tt.at, berlin(t))
			if tt.until.Known() {
				wantState(t, a, reprocessing.Ready, tt.want)
			} else {
				wantState(t, a, reprocessing.InReprocessing, tt.want)
			}
			if a.Until != tt.until {
				t.Errorf("%s: until %s, want %s", tt.reason, a.Until.In(berlin(t)), tt.until.In(berlin(t)))
			}
		})
	}
}

// The hours of a cabinet run from the first hanging, too, even if that was in another cabinet.
func TestHoursAreNotRenewed(t *testing.T) {
	rules := preset(t)
	rules.Cabinets = append(slices.Clone(rules.Cabinets), reprocessing.Cabinet{Name: "exact", Hours: 72, Source: sampling.Source{Citation: "common practice"}})
	h := good(t)
	first := step(t, &h, reprocessing.Storage)
	first.End = first.Start + 24*hour
	h.Steps = append(h.Steps, reprocessing.Step{
		Stamp: stamp("hung back", first.End), Scope: "D-01", Kind: reprocessing.Storage, Start: first.End + mins, Cabinet: "exact",
	})
	a := reprocessing.Release(h, rules, instant(t, "2026-03-04T10:00:00Z"), berlin(t))
	wantState(t, a, reprocessing.Ready, "stored in exact since 2026-03-02 11:30 +01:00; at most 72 h")
	if want := instant(t, "2026-03-05T10:30:00Z"); a.Until != want {
		t.Errorf("until %s, want %s", a.Until, want)
	}
}

// Without a limit for scopes outside a cabinet only a scope in one can be ready.
func TestNoLimitOutside(t *testing.T) {
	rules := straight(t)
	rules.Unstored = 0
	at := instant(t, "12:00")
	wantState(t, reprocessing.Release(good(t), rules, at, berlin(t)), reprocessing.Ready, "stored in")
	const silent = "not in a cabinet, and the rule set does not say how long a scope may wait outside one"
	wantState(t, reprocessing.Release(without(good(t), reprocessing.Storage), rules, at, berlin(t)), reprocessing.InReprocessing, silent)
	h := good(t)
	step(t, &h, reprocessing.Storage).End = at
	wantState(t, reprocessing.Release(h, rules, at, berlin(t)), reprocessing.InReprocessing, silent)
}

func TestPeriodicSamplingEndsReady(t *testing.T) {
	rules := preset(t)
	rules.Due = append(rules.Due, sampling.Rule{When: sampling.Periodic, Days: 14, Blocks: true, Source: sampling.Source{Citation: "common practice"}})
	due := instant(t, "2026-03-16T09:22:00Z") // 14 days after it was sampled: what was done to it before it was read is not shown
	a := reprocessing.Release(good(t), rules, instant(t, "12:00"), berlin(t))
	wantState(t, a, reprocessing.Ready, "periodic sampling falls due at 2026-03-16 10:22 +01:00")
	if a.Until != due {
		t.Errorf("until %s, want %s", a.Until, due)
	}
	wantState(t, reprocessing.Release(good(t), rules, due, berlin(t)), reprocessing.InReprocessing, "sampling is due: the last passed cleaning "+
		"verification is more than 14 days ago")
}

// A rule set without a drying step counts from the end of disinfection.
func TestWithoutDrying(t *testing.T) {
	rules := straight(t)
	rules.Steps = slices.DeleteFunc(rules.Steps, func(s reprocessing.StepRule) bool { return s.Step == reprocessing.Drying })
	h := without(without(good(t), reprocessing.Drying), reprocessing.Storage)
	a := reprocessing.Release(h, rules, instant(t, "12:00"), berlin(t))
	wantState(t, a, reprocessing.Ready, "outside a cabinet since 2026-03-02 11:05 +01:00")
	if want := instant(t, "13:05"); a.Until != want {
		t.Errorf("until %s, want %s", a.Until, want)
	}
}

// Where storage is required, as by the rules that ship, a scope that hangs nowhere is not ready, however short that is; it
// must not end before the scope was dried, and one that goes on is done.
func TestRequiredStorage(t *testing.T) {
	rules := preset(t)
	at := instant(t, "12:00")
	wantState(t, reprocessing.Release(good(t), rules, at, berlin(t)), reprocessing.Ready, "stored in")
	hangs := without(good(t), reprocessing.Storage)
	wantState(t, reprocessing.Release(hangs, rules, instant(t, "10:26"), berlin(t)), reprocessing.InReprocessing, "storage is not on record")
	wantState(t, reprocessing.Release(hangs, rules, at, berlin(t)), reprocessing.InReprocessing,
		"storage has not begun and should have by 2026-03-02 12:25 +01:00")
	wantState(t, reprocessing.Release(hangs, straight(t), instant(t, "10:26"), berlin(t)), reprocessing.Ready, "outside a cabinet since")
	h := good(t)
	s := step(t, &h, reprocessing.Storage)
	s.Start, s.End = instant(t, "10:00"), instant(t, "10:20")
	wantState(t, reprocessing.Release(h, rules, at, berlin(t)), reprocessing.InReprocessing, "storage at 2026-03-02 11:00 +01:00 came before drying ended")
	h = good(t)
	step(t, &h, reprocessing.Storage).End = at - mins // taken out a minute ago
	wantState(t, reprocessing.Release(h, rules, at, berlin(t)), reprocessing.Ready, "outside a cabinet since")
}

// What grows or settles between two steps has a limit by the rules that ship, and starts anew only from the step before.
func TestLimitsBetweenSteps(t *testing.T) {
	later := func(h *reprocessing.History, from reprocessing.StepKind, by unit.Instant) {
		begun := step(t, h, from).Start
		for i := range h.Steps {
			s := &h.Steps[i]
			if s.Start < begun {
				continue
			}
			s.Start, s.Recorded = s.Start+by, s.Recorded+by
			if s.End.Known() {
				s.End += by
			}
		}
	}
	tests := []struct {
		name, reason string
		change       func(*reprocessing.History)
		want         string // empty: ready
	}{
		{"as it should be", "", func(*reprocessing.History) {}, ""},
		{"disinfected 2 h after the cleaning", "the last moment", func(h *reprocessing.History) { later(h, reprocessing.Disinfection, 102*mins) }, ""},
		{
			"disinfected later", "", func(h *reprocessing.History) { later(h, reprocessing.Disinfection, 102*mins+us) },
			"disinfection began at 2026-03-02 12:17 +01:00, later than 2026-03-02 12:17 +01:00",
		},
		{
			"cleaned at eight and disinfected at three", "", func(h *reprocessing.History) { later(h, reprocessing.Disinfection, 5*hour) },
			"disinfection began at 2026-03-02 15:35 +01:00, later than 2026-03-02 12:17 +01:00",
		},
		{"dried 60 min after the disinfection", "", func(h *reprocessing.History) { later(h, reprocessing.Drying, 54*mins) }, ""},
		{
			"dried later", "", func(h *reprocessing.History) { later(h, reprocessing.Drying, 54*mins+us) },
			"drying began at 2026-03-02 12:05 +01:00, later than 2026-03-02 12:05 +01:00",
		},
		{"dried once more the day after", "it was dry", func(h *reprocessing.History) {
			h.Steps = append(h.Steps, again(t, h, reprocessing.Drying, 20*hour), again(t, h, reprocessing.Storage, 20*hour))
		}, ""},
		{"dried for no time, then hours later", "what proves nothing ends no wait", func(h *reprocessing.History) {
			d := again(t, h, reprocessing.Drying, 2*hour)
			s := step(t, h, reprocessing.Drying)
			s.End = s.Start + mins
			stored := again(t, h, reprocessing.Storage, 2*hour)
			*h = without(*h, reprocessing.Storage)
			h.Steps = append(h.Steps, d, stored)
		}, "drying began at 2026-03-02 13:11 +01:00"},
		{"wet again, and dried hours later", "a rinse wets it", func(h *reprocessing.History) {
			h.Steps = append(h.Steps, again(t, h, reprocessing.FinalRinse, 30*mins), again(t, h, reprocessing.Drying, 3*hour), again(t, h, reprocessing.Storage, 3*hour))
		}, "drying began at 2026-03-02 14:11 +01:00"},
		{"stored 60 min after the drying", "", func(h *reprocessing.History) { later(h, reprocessing.Storage, 55*mins) }, ""},
		{
			"stored later", "", func(h *reprocessing.History) { later(h, reprocessing.Storage, 55*mins+us) },
			"storage began at 2026-03-02 12:25 +01:00, later than 2026-03-02 12:25 +01:00",
		},
		{"stored late, dried again and stored", "from the drying again", func(h *reprocessing.History) {
			later(h, reprocessing.Storage, 60*mins)
			h.Steps = append(h.Steps, again(t, h, reprocessing.Drying, 80*mins), again(t, h, reprocessing.Storage, 20*mins))
		}, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			tt.change(&h)
			a := reprocessing.Release(h, preset(t), instant(t, "2026-03-03T12:00:00Z"), berlin(t))
			if tt.want == "" {
				wantState(t, a, reprocessing.Ready, "stored in")
			} else {
				wantState(t, a, reprocessing.InReprocessing, tt.want)
			}
		})
	}
}

// Where the step that a clock starts from is kept elsewhere, or lacks itself, nobody can say what is late.
func TestNoClockFromWhatIsNotHere(t *testing.T) {
	h, at := without(good(t), reprocessing.Disinfection), instant(t, "12:00")
	late := func(a reprocessing.Answer) bool {
		return slices.ContainsFunc(a.Reasons, func(r reprocessing.Reason) bool { return r.Blocks && strings.Contains(r.Text, "drying") })
	}
	if a := reprocessing.Release(h, preset(t), at, berlin(t)); late(a) || a.State != reprocessing.InReprocessing {
		t.Errorf("%s: %s", a.State, told(a))
	}
	rules := preset(t)
	i := slices.IndexFunc(rules.Steps, func(s reprocessing.StepRule) bool { return s.Step == reprocessing.Disinfection })
	kept(&rules.Steps[i], "2026-12-31")
	if a := reprocessing.Release(h, rules, at, berlin(t)); a.State != reprocessing.NothingAgainst {
		t.Errorf("kept elsewhere: %s: %s", a.State, told(a))
	}
}
