package sampling_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

func duodenoscope() scope.Model {
	return scope.Model{
		Name: "duodenoscope A", Kind: scope.Duodenoscope, Risk: scope.HighRisk, Elevator: true, OuterDiameter: 13, SampledLength: 100,
		Channels: []scope.Channel{{Kind: scope.InstrumentChannel, Diameter: 4.2, Length: 1350}},
	}
}

func colonoscope() scope.Model {
	return scope.Model{
		Name: "colonoscope B", Kind: scope.Colonoscope, Risk: scope.StandardRisk, OuterDiameter: 13, SampledLength: 100,
		Channels: []scope.Channel{{Kind: scope.InstrumentChannel, Diameter: 3.7, Length: 1750}},
	}
}

// fact makes the record of a scope of the model in service since 1 January 2026.
func fact(t *testing.T, m scope.Model) sampling.Record {
	t.Helper()
	return sampling.Record{Model: m, Instrument: scope.Instrument{Tag: "X-01", Model: m.Name, Owner: scope.Own, InService: clock(t, "2026-01-01T00:00:00Z")}}
}

func rule(when sampling.Occasion, change ...func(*sampling.Rule)) sampling.Rule {
	r := sampling.Rule{When: when, Blocks: true, Source: sampling.Source{Citation: "common practice"}}
	for _, c := range change {
		c(&r)
	}
	return r
}

func every(uses, days int) func(*sampling.Rule) {
	return func(r *sampling.Rule) { r.Uses, r.Days = uses, days }
}

func TestDueAt(t *testing.T) {
	now := clock(t, "2026-03-02T08:00:00Z")
	started, cleaned := clock(t, "2026-03-02T06:00:00Z"), clock(t, "2026-03-02T07:00:00Z")
	passed := clock(t, "2026-02-20T08:00:00Z")
	type record = sampling.Record
	tests := []struct {
		name, reason string
		rule         sampling.Rule
		model        scope.Model
		change       func(*record)
		want         []string // a part of each Why, in order
		since        unit.Instant
	}{
		{
			"every cycle, open", "no cleaning verification has passed since it began", rule(sampling.EveryCycle), duodenoscope(),
			func(r *record) { r.Passed, r.CycleStart = passed, started },
			[]string{"sampled in every cycle"},
			started,
		},
		{
			"every cycle, cleaned", "due since it is clean", rule(sampling.EveryCycle), duodenoscope(),
			func(r *record) { r.Passed, r.CycleStart, r.Cleaned = passed, started, cleaned },
			[]string{"sampled in every cycle"},
			cleaned,
		},
		{
			"every cycle, passed", "once is enough", rule(sampling.EveryCycle), duodenoscope(),
			func(r *record) { r.Passed, r.CycleStart = cleaned, started }, nil, 0,
		},
		{"every cycle, none open", "nothing to sample", rule(sampling.EveryCycle), duodenoscope(), func(r *record) { r.Passed = passed }, nil, 0},

		{
			"uses, at the limit", "60 uses (CDC interim protocol 2015: every 60 procedures or monthly)",
			rule(sampling.Periodic, every(60, 0)), duodenoscope(),
			func(r *record) { r.Passed, r.UsesSincePassed, r.CycleStart = passed, 60, started },
			[]string{"60 uses since the last passed cleaning verification; the limit is 60"},
			started,
		},
		{"uses, one below", "59 of 60", rule(sampling.Periodic, every(60, 0)), duodenoscope(), func(r *record) { r.Passed, r.UsesSincePassed = passed, 59 }, nil, 0},
		{
			"days, at the limit", "ten days to the minute", rule(sampling.Periodic, every(0, 10)), duodenoscope(),
			func(r *record) { r.Passed = passed },
			[]string{"more than 10 days ago"},
			now,
		},
		{"days, a microsecond before", "not yet ten days", rule(sampling.Periodic, every(0, 10)), duodenoscope(), func(r *record) { r.Passed = passed + 1 }, nil, 0},
		{
			"days, back in service since", "an arrival does not stand for a verification", rule(sampling.Periodic, every(0, 10)), duodenoscope(),
			func(r *record) { r.Passed, r.Instrument.InService = passed, started },
			[]string{"more than 10 days ago"},
			now,
		},
		{
			"days come first", "whichever comes first, told once", rule(sampling.Periodic, every(60, 5)), duodenoscope(),
			func(r *record) { r.Passed, r.UsesSincePassed = passed, 3 },
			[]string{"more than 5 days ago"},
			clock(t, "2026-02-25T08:00:00Z"),
		},
		{
			"uses come first", "whichever comes first, told once", rule(sampling.Periodic, every(60, 30)), duodenoscope(),
			func(r *record) { r.Passed, r.UsesSincePassed, r.CycleStart = passed, 61, started },
			[]string{"61 uses"},
			started,
		},
		{
			"both are over", "told once, by the days", rule(sampling.Periodic, every(60, 5)), duodenoscope(),
			func(r *record) { r.Passed, r.UsesSincePassed = passed, 61 },
			[]string{"more than 5 days ago"},
			clock(t, "2026-02-25T08:00:00Z"),
		},
		{
			"never sampled", "the days run from the arrival", rule(sampling.Periodic, every(0, 60)), duodenoscope(), func(*record) {},
			[]string{"more than 60 days ago"},
			clock(t, "2026-03-02T00:00:00Z"),
		},

		{
			"after repair", "not sampled since its return", rule(sampling.AfterRepair), duodenoscope(),
			func(r *record) { r.Passed, r.Returned = passed, started },
			[]string{"back from repair"},
			started,
		},
		{"after repair, passed", "sampled since", rule(sampling.AfterRepair), duodenoscope(), func(r *record) { r.Passed, r.Returned = cleaned, started }, nil, 0},
		{
			"after repair, passed at that very instant", "the same instant shows nothing about the repaired scope",
			rule(sampling.AfterRepair), duodenoscope(), func(r *record) { r.Passed, r.Returned = started, started },
			[]string{"back from repair"},
			started,
		},
		{"never repaired", "nothing to sample", rule(sampling.AfterRepair), duodenoscope(), func(*record) {}, nil, 0},

		{
			"after a failed round", "nothing passed since", rule(sampling.AfterFailedVerification), duodenoscope(),
			func(r *record) { r.Passed, r.Failed = passed, started },
			[]string{"over the action level and no cleaning verification has passed since"},
			started,
		},
		{
			"after a failed cleaning verification, passed", "a later cleaning verification passed", rule(sampling.AfterFailedVerification), duodenoscope(),
			func(r *record) { r.Passed, r.Failed = cleaned, started }, nil, 0,
		},
		{
			"after a failed cleaning verification, a tie", "the failure counts", rule(sampling.AfterFailedVerification), duodenoscope(),
			func(r *record) { r.Passed, r.Failed = started, started },
			[]string{"over the action level"},
			started,
		},
		{"never failed", "nothing to sample", rule(sampling.AfterFailedVerification), duodenoscope(), func(*record) {}, nil, 0},

		{
			"loan arrived", "not sampled since", rule(sampling.OnArrival), duodenoscope(),
			func(r *record) { r.Instrument.Owner = scope.Loan },
			[]string{"loaner, no cleaning verification has passed since it arrived"},
			clock(t, "2026-01-01T00:00:00Z"),
		},
		{
			"trial arrived", "not sampled since", rule(sampling.OnArrival), duodenoscope(),
			func(r *record) { r.Instrument.Owner = scope.Trial },
			[]string{"trial scope"},
			clock(t, "2026-01-01T00:00:00Z"),
		},
		{"loan sampled", "once is enough", rule(sampling.OnArrival), duodenoscope(), func(r *record) { r.Instrument.Owner, r.Passed = scope.Loan, passed }, nil, 0},
		{"own scope", "it did not arrive from elsewhere", rule(sampling.OnArrival), duodenoscope(), func(*record) {}, nil, 0},

		{"on request", "open, the oldest first; answered and future ones are not due", rule(sampling.OnRequest), duodenoscope(), func(r *record) {
			r.Passed = passed
			r.Requests = []sampling.Request{
				{By: "I. Control", Reason: "cluster", At: cleaned, Points: []scope.PointKind{scope.ElevatorRecess}},
				{By: "I. Control", Reason: "odd smell", At: started},
				{By: "A. Lead", Reason: "answered", At: passed - 1},
				{By: "A. Lead", Reason: "tomorrow", At: now + 1},
			}
		}, []string{"asked for by I. Control: odd smell", "asked for by I. Control: cluster"}, started},

		{
			"other risk", "the rule is for high-risk models",
			rule(sampling.AfterRepair, func(r *sampling.Rule) { r.Risk = scope.HighRisk }), colonoscope(),
			func(r *record) { r.Returned = started }, nil, 0,
		},
		{
			"this risk", "the rule is for standard-risk models",
			rule(sampling.AfterRepair, func(r *sampling.Rule) { r.Risk = scope.StandardRisk }), colonoscope(),
			func(r *record) { r.Returned = started },
			[]string{"back from repair"},
			started,
		},
		{
			"named by its risk", "the sentence says for what the rule is",
			rule(sampling.EveryCycle, func(r *sampling.Rule) { r.Risk = scope.HighRisk }), duodenoscope(),
			func(r *record) { r.CycleStart = started },
			[]string{"high-risk models are sampled in every cycle"},
			started,
		},
		{
			"other kind", "the rule is for bronchoscopes",
			rule(sampling.EveryCycle, func(r *sampling.Rule) { r.Kinds = []scope.Kind{scope.Bronchoscope} }), colonoscope(),
			func(r *record) { r.CycleStart = started }, nil, 0,
		},
		{
			"this kind", "the rule names the kind",
			rule(sampling.EveryCycle, func(r *sampling.Rule) { r.Kinds = []scope.Kind{scope.Colonoscope} }), colonoscope(),
			func(r *record) { r.CycleStart = started },
			[]string{"colonoscope models are sampled"},
			started,
		},

		{
			"retired", "a scope that is gone is never due", rule(sampling.EveryCycle), duodenoscope(),
			func(r *record) { r.CycleStart, r.Instrument.Retired = started, now }, nil, 0,
		},
		{
			"retired later", "until then it is due", rule(sampling.EveryCycle), duodenoscope(),
			func(r *record) { r.CycleStart, r.Instrument.Retired = started, now+1 },
			[]string{"sampled in every cycle"},
			started,
		},
		{
			"not yet in service", "nothing is due before it came", rule(sampling.EveryCycle), duodenoscope(),
			func(r *record) { r.CycleStart, r.Instrument.InService = started, now+1 }, nil, 0,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if err := tt.rule.Check(); err != nil {
				t.Fatal(err)
			}
			r := fact(t, tt.model)
			tt.change(&r)
			got := sampling.DueAt([]sampling.Rule{tt.rule}, r, now, berlin(t))
			if len(got) != len(tt.want) {
				t.Fatalf("%s: got %+v, want %q", tt.reason, got, tt.want)
			}
			for i, part := range tt.want {
				if !strings.Contains(got[i].Whole(), part) {
					t.Errorf("%s: why %q, want %q in it", tt.reason, got[i].Whole(), part)
				}
				if got[i].When != tt.rule.When || !got[i].Blocks || got[i].Citation != "common practice" || got[i].Scope != "X-01" || len(got[i].Points) == 0 {
					t.Errorf("%s: the rule is not carried over: %+v", tt.reason, got[i])
				}
			}
			if len(got) > 0 && got[0].Since != tt.since {
				t.Errorf("%s: since %s, want %s", tt.reason, got[0].Since, tt.since)
			}
		})
	}
}

func TestDuePoints(t *testing.T) {
	r := fact(t, duodenoscope())
	now := clock(t, "2026-03-02T08:00:00Z")
	r.Requests = []sampling.Request{{At: now - 2}, {At: now - 1, Points: []scope.PointKind{scope.ElevatorRecess}}}
	got := sampling.DueAt([]sampling.Rule{rule(sampling.OnRequest)}, r, now, berlin(t))
	if len(got) != 2 {
		t.Fatalf("got %+v", got)
	}
	if diff := cmp.Diff([]scope.PointKind{scope.OuterDistalEnd, scope.ElevatorRecess, scope.InstrumentLumen}, got[0].Points); diff != "" {
		t.Errorf("a request without points asks for the routine ones (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([]scope.PointKind{scope.ElevatorRecess}, got[1].Points); diff != "" {
		t.Errorf("a request for one point (-want +got):\n%s", diff)
	}
}

// A limit of n days ends at the same wall-clock time n calendar days later, also over the nights in
// which the clock moves in Europe/Berlin (Directive 2000/84/EC: last Sundays of March and October).
func TestPeriodicDaysAcrossDaylightSaving(t *testing.T) {
	tests := []struct{ name, reason, passed, due string }{
		{"spring", "29 March 2026 has 23 hours", "2026-03-28T12:00:00+01:00", "2026-03-29T12:00:00+02:00"},
		{"autumn", "25 October 2026 has 25 hours", "2026-10-24T12:00:00+02:00", "2026-10-25T12:00:00+01:00"},
		{"into the missing hour", "02:30 does not exist: the earlier reading of it counts", "2026-03-28T02:30:00+01:00", "2026-03-29T00:30:00Z"},
		{"into the doubled hour", "02:30 exists twice: the earlier one counts", "2026-10-24T02:30:00+02:00", "2026-10-25T00:30:00Z"},
		{"ordinary night", "24 hours", "2026-06-01T12:00:00+02:00", "2026-06-02T12:00:00+02:00"},
	}
	rules := []sampling.Rule{rule(sampling.Periodic, every(0, 1))}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := fact(t, duodenoscope())
			r.Passed = clock(t, tt.passed)
			due := clock(t, tt.due)
			if got := sampling.DueAt(rules, r, due-1, berlin(t)); len(got) != 0 {
				t.Errorf("%s: due a microsecond early: %+v", tt.reason, got)
			}
			if got := sampling.DueAt(rules, r, due, berlin(t)); len(got) != 1 || got[0].Since != due {
				t.Errorf("%s: at %s: %+v", tt.reason, due, got)
			}
			if got := sampling.NextDue(rules, r, berlin(t)); got != due {
				t.Errorf("%s: next due at %s, want %s", tt.reason, got, due)
			}
		})
	}
}

func TestNextDue(t *testing.T) {
	r := fact(t, duodenoscope())
	r.Passed = clock(t, "2026-02-01T12:00:00Z")
	free := rule(sampling.Periodic, every(0, 3), func(r *sampling.Rule) { r.Blocks = false })
	tests := []struct {
		name, reason string
		rules        []sampling.Rule
		want         unit.Instant
	}{
		{"none", "no rule, no date", nil, 0},
		{"not blocking", "the release check need not close", []sampling.Rule{free}, 0},
		{"by uses only", "uses have no date", []sampling.Rule{rule(sampling.Periodic, every(60, 0))}, 0},
		{"other occasion", "it has no days", []sampling.Rule{rule(sampling.AfterRepair)}, 0},
		{"other kind", "not for this model", []sampling.Rule{rule(sampling.Periodic, every(0, 3), func(r *sampling.Rule) { r.Kinds = []scope.Kind{scope.EBUS} })}, 0},
		{
			"the earliest", "of two rules the stricter",
			[]sampling.Rule{free, rule(sampling.Periodic, every(0, 28)), rule(sampling.Periodic, every(0, 7)), rule(sampling.Periodic, every(0, 14))},
			clock(t, "2026-02-08T12:00:00Z"),
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := sampling.NextDue(tt.rules, r, berlin(t)); got != tt.want {
				t.Errorf("%s: %s, want %s", tt.reason, got, tt.want)
			}
		})
	}
}

// Without a new passed verification, what is due stays due, and it stays for the same reason.
func TestDueStaysDue(t *testing.T) {
	zone := berlin(t)
	rules := []sampling.Rule{
		rule(sampling.EveryCycle), rule(sampling.Periodic, every(30, 28)), rule(sampling.AfterRepair),
		rule(sampling.AfterFailedVerification), rule(sampling.OnArrival), rule(sampling.OnRequest),
	}
	base := fact(t, duodenoscope())
	rapid.Check(t, func(t *rapid.T) {
		instant := func(name string) unit.Instant {
			return base.Instrument.InService + unit.Instant(rapid.Int64Range(0, int64(60*24*hour)).Draw(t, name))
		}
		r := base
		r.Instrument.Owner = rapid.SampledFrom(scope.Owners).Draw(t, "owner")
		r.CycleStart, r.Passed, r.Failed, r.Returned = instant("start"), instant("passed"), instant("failed"), instant("returned")
		r.UsesSincePassed = rapid.IntRange(0, 40).Draw(t, "uses")
		r.Requests = []sampling.Request{{At: instant("request")}}
		now := max(r.CycleStart, r.Passed, r.Failed, r.Returned, r.Requests[0].At)
		later := now + unit.Instant(rapid.Int64Range(0, int64(90*24*hour)).Draw(t, "later"))
		after := sampling.DueAt(rules, r, later, zone)
		for _, d := range sampling.DueAt(rules, r, now, zone) {
			if !slices.ContainsFunc(after, func(e sampling.Due) bool { return e.When == d.When }) {
				t.Fatalf("%s was due and is not any more", d.When)
			}
		}
		if !slices.IsSortedFunc(after, func(a, b sampling.Due) int { return int(a.Since - b.Since) }) {
			t.Fatalf("not the oldest first: %+v", after)
		}
	})
}

func TestRuleCheck(t *testing.T) {
	tests := []struct {
		name string
		rule sampling.Rule
		want string
	}{
		{"good", rule(sampling.Periodic, every(60, 30)), ""},
		{"unknown occasion", rule("weekly"), `when "weekly" is not known; allowed: every-cycle, periodic`},
		{"periodic without a period", rule(sampling.Periodic), "it needs uses or days over 0"},
		{"a period elsewhere", rule(sampling.AfterRepair, every(0, 3)), "uses and days belong to a periodic rule only"},
		{"unknown risk", rule(sampling.AfterRepair, func(r *sampling.Rule) { r.Risk = "low" }), `risk "low" is not known`},
		{"unknown kind", rule(sampling.AfterRepair, func(r *sampling.Rule) { r.Kinds = []scope.Kind{"laparoscope"} }), `kind "laparoscope" is not known`},
		{"no citation", rule(sampling.AfterRepair, func(r *sampling.Rule) { r.Citation = "" }), "the citation is missing"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) { wantError(t, tt.rule.Check(), tt.want) })
	}
}
