package takeback_test

import (
	"errors"
	"testing"
	"time"

	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/takeback"
)

func step(kind reprocessing.StepKind, result reprocessing.Result) reprocessing.Step {
	return reprocessing.Step{Scope: "D-01", Kind: kind, Start: 100, End: 200, Result: result}
}

func read(outcome reading.Outcome) reading.Reading {
	return reading.Reading{Sample: "s", Judgement: reading.Judgement{Outcome: outcome}}
}

func TestWeights(t *testing.T) {
	mec := step(reprocessing.Disinfection, reprocessing.Pass)
	mec.MEC = reprocessing.Fail
	for _, test := range []struct {
		reason string
		got    takeback.Weight
		want   takeback.Sort
	}{
		{"after a use everything is due", takeback.OfUse(reprocessing.Use{}), takeback.Duty},
		{"a failed check", takeback.OfStep(step(reprocessing.LeakTest, reprocessing.Fail)), takeback.Failure},
		{"a failed step that proves nothing else", takeback.OfStep(step(reprocessing.Transport, reprocessing.Fail)), takeback.Failure},
		{"a solution that failed its test", takeback.OfStep(mec), takeback.Failure},
		{"a cleaning, which has to be verified", takeback.OfStep(step(reprocessing.ManualCleaning, reprocessing.NotStated)), takeback.Duty},
		{"a leak test, after which the scope is wet", takeback.OfStep(step(reprocessing.LeakTest, reprocessing.Pass)), takeback.Duty},
		{"a scope that is out", takeback.OfStep(step(reprocessing.Issue, reprocessing.NotStated)), takeback.Duty},
		{"a drying, from which the time without a place runs", takeback.OfStep(step(reprocessing.Drying, reprocessing.NotStated)), takeback.Duty},
		{"an inspection, after which comes what is left", takeback.OfStep(step(reprocessing.Inspection, reprocessing.Pass)), takeback.Duty},
		{"a place, from which days run", takeback.OfStep(step(reprocessing.Storage, reprocessing.NotStated)), takeback.Duty},
		{"a transport, which may go on", takeback.OfStep(step(reprocessing.Transport, reprocessing.NotStated)), takeback.Duty},
		{"a repair", takeback.OfRepair(scope.Repair{}), takeback.Duty},
		{"a request", takeback.OfRequest(sampling.Request{}), takeback.Duty},
		{"a hold", takeback.OfHold(reprocessing.Hold{}), takeback.Held},
		{"a mark, from which a clock runs", takeback.OfMoment(sampling.Moment{Mark: sampling.Activated}), takeback.Duty},
		{"over the action level", takeback.OfReading(read(reading.Action)), takeback.Failure},
		{"the alert level is no failure", takeback.OfReading(read(reading.Alert)), takeback.Evidence},
		{"what does not count", takeback.OfReading(read(reading.Void)), takeback.Evidence},
		{"what no level judges", takeback.OfReading(read(reading.None)), takeback.Evidence},
		{"a sample that was not read", takeback.OfSample(), takeback.Evidence},
		{"a sample of which one reading failed", takeback.OfSample(read(reading.OK), read(reading.Action), read(reading.OK)), takeback.Failure},
		{"a failed check of a meter", takeback.OfCheck(quality.Verdict{Outcome: quality.Rejected}), takeback.Failure},
		{"a warning", takeback.OfCheck(quality.Verdict{Outcome: quality.Warning}), takeback.Evidence},
		{"a meter that left", takeback.OfMeter(quality.Meter{Retired: 5}, quality.Meter{}), takeback.Failure},
		{"a meter that left earlier", takeback.OfMeter(quality.Meter{Retired: 5}, quality.Meter{Retired: 6}), takeback.Failure},
		{"a meter that had left by then", takeback.OfMeter(quality.Meter{Retired: 5}, quality.Meter{Retired: 5}), takeback.Aside},
		{"a meter in service", takeback.OfMeter(quality.Meter{}, quality.Meter{}), takeback.Aside},
		{"a recall", takeback.OfLot(quality.Lot{Expires: 9, Recalled: 5}, quality.Lot{Expires: 9}), takeback.Failure},
		{"an earlier expiry", takeback.OfLot(quality.Lot{Expires: 5}, quality.Lot{Expires: 9}), takeback.Failure},
		{"the first edition of a lot", takeback.OfLot(quality.Lot{Expires: 5}, quality.Lot{}), takeback.Failure},
		{"a later expiry", takeback.OfLot(quality.Lot{Expires: 9}, quality.Lot{Expires: 5}), takeback.Aside},
		{"an arrival", takeback.OfInstrument(scope.Instrument{InService: 5}, scope.Instrument{Tag: "D-01", InService: 4}), takeback.Duty},
		{"no arrival", takeback.OfInstrument(scope.Instrument{InService: 5}, scope.Instrument{Tag: "D-01", InService: 5}), takeback.Aside},
		{"the first edition: without it there is no scope", takeback.OfInstrument(scope.Instrument{InService: 5}, scope.Instrument{}), takeback.Aside},
	} {
		if test.got.Sort != test.want {
			t.Errorf("%s: %+v, want %s", test.reason, test.got, test.want)
		}
		adverse := test.want == takeback.Failure || test.want == takeback.Held || test.want == takeback.Duty
		if test.got.Adverse() != adverse || adverse && test.got.What == "" {
			t.Errorf("%s: adverse %v, called %q", test.reason, test.got.Adverse(), test.got.What)
		}
	}
}

// Another version keeps what the first says against the scope, or it is a taking back.
func TestKeeps(t *testing.T) {
	use := reprocessing.Use{Scope: "D-01", Start: 100, End: 200}
	uses := func(change func(*reprocessing.Use)) bool {
		x := use
		change(&x)
		return takeback.KeepsUse(use, x)
	}
	steps := func(old reprocessing.Step, change func(*reprocessing.Step)) bool {
		x := old
		change(&x)
		return takeback.KeepsStep(old, x)
	}
	failed, cleaning := step(reprocessing.LeakTest, reprocessing.Fail), step(reprocessing.ManualCleaning, reprocessing.NotStated)
	open := cleaning
	open.End = 0
	mec := step(reprocessing.Disinfection, reprocessing.Pass)
	mec.MEC = reprocessing.Fail
	full := step(reprocessing.Disinfection, reprocessing.Pass)
	full.By, full.Disinfectant, full.DisinfectantLot, full.DisinfectantExpires, full.MEC = "T-01", "slow", "B1", 900, reprocessing.Pass
	full.Coldest, full.HasTemperature, full.Contact, full.Reprocessor, full.CycleNumber, full.Cabinet = 20, true, 5, "R-1", "7", "1"
	hold := reprocessing.Hold{Scope: "D-01", Kind: reprocessing.LeakHold, At: 100}
	holds := func(change func(*reprocessing.Hold)) bool {
		x := hold
		change(&x)
		return takeback.KeepsHold(hold, x)
	}
	repair := scope.Repair{Scope: "D-01", Sent: 100, Returned: 200}
	rejected := quality.Verdict{Meter: "M-1", At: 100, Outcome: quality.Rejected}
	for _, test := range []struct {
		reason    string
		got, want bool
	}{
		{"another room", uses(func(u *reprocessing.Use) { u.Room = "2" }), true},
		{"another scope", uses(func(u *reprocessing.Use) { u.Scope = "D-02" }), false},
		{"an earlier use", uses(func(u *reprocessing.Use) { u.Start-- }), false},
		{"a later end, from which residue dries later", uses(func(u *reprocessing.Use) { u.End++ }), false},
		{"no end", uses(func(u *reprocessing.Use) { u.End = 0 }), false},
		{"the first end", takeback.KeepsUse(reprocessing.Use{Scope: "D-01", Start: 100}, use), true},

		{"failed and still failed", steps(failed, func(s *reprocessing.Step) { s.Note = "at the bending section" }), true},
		{"failed, now passed", steps(failed, func(s *reprocessing.Step) { s.Result = reprocessing.Pass }), false},
		{"failed, now nothing said", steps(failed, func(s *reprocessing.Step) { s.Result = reprocessing.NotStated }), false},
		{"failed before the repair", steps(failed, func(s *reprocessing.Step) { s.Start-- }), false},
		{"failed, of another scope", steps(failed, func(s *reprocessing.Step) { s.Scope = "D-02" }), false},
		{"failed, another step", steps(failed, func(s *reprocessing.Step) { s.Kind = reprocessing.Drying }), false},
		{"failed, elsewhere", steps(failed, func(s *reprocessing.Step) { s.Reprocessor = "R-2" }), false},
		{"failed, over earlier", steps(failed, func(s *reprocessing.Step) { s.End-- }), false},
		{"a solution that passes now", steps(mec, func(s *reprocessing.Step) { s.MEC = reprocessing.Pass }), false},
		{"a cleaning that failed after all", steps(cleaning, func(s *reprocessing.Step) { s.Result = reprocessing.Fail }), true},
		{"a cleaning that was earlier", steps(cleaning, func(s *reprocessing.Step) { s.Start-- }), false},
		{"a cleaning that ended later", steps(cleaning, func(s *reprocessing.Step) { s.End++ }), false},
		{"a cleaning that ended earlier", steps(cleaning, func(s *reprocessing.Step) { s.End-- }), false},
		{"a cleaning that has no end", steps(open, func(s *reprocessing.Step) { s.End = 150 }), true},
		{"another room for drying", steps(step(reprocessing.Drying, reprocessing.Pass), func(s *reprocessing.Step) { s.Note = "in room 2" }), true},
		{"another disinfectant", steps(full, func(s *reprocessing.Step) { s.Disinfectant = "quick" }), false},
		{"another lot", steps(full, func(s *reprocessing.Step) { s.DisinfectantLot = "B2" }), false},
		{"another expiry", steps(full, func(s *reprocessing.Step) { s.DisinfectantExpires++ }), false},
		{"a longer contact", steps(full, func(s *reprocessing.Step) { s.Contact++ }), false},
		{"warmer", steps(full, func(s *reprocessing.Step) { s.Coldest++ }), false},
		{"another machine", steps(full, func(s *reprocessing.Step) { s.Reprocessor = "R-2" }), false},
		{"another cycle", steps(full, func(s *reprocessing.Step) { s.CycleNumber = "8" }), false},
		{"another cabinet", steps(full, func(s *reprocessing.Step) { s.Cabinet = "2" }), false},
		{"another doer", steps(full, func(s *reprocessing.Step) { s.By = "T-02" }), false},
		{"the same doer, typed otherwise", steps(full, func(s *reprocessing.Step) { s.By = " t-01" }), true},
		{"a result that was missing", steps(step(reprocessing.LeakTest, ""), func(s *reprocessing.Step) { s.Result = reprocessing.Pass }), false},
		{"a cleaning with a remark", steps(full, func(s *reprocessing.Step) { s.Note = "slow" }), true},
		{"only what was left out", takeback.FillsStep(step(reprocessing.Disinfection, ""), full), true},
		{"another, and what was left out", takeback.FillsStep(open, full), false},
		{"what was said is another", takeback.FillsStep(full, step(reprocessing.Disinfection, reprocessing.Pass)), false},
		{"what failed lacks nothing", takeback.FillsStep(failed, step(reprocessing.LeakTest, reprocessing.Pass)), false},
		{"a drying of another scope", steps(step(reprocessing.Drying, reprocessing.Pass), func(s *reprocessing.Step) { s.Scope = "D-02" }), false},

		{"a stricter hold", holds(func(h *reprocessing.Hold) { h.Kind = reprocessing.CultureHold }), true},
		{"as strict", holds(func(h *reprocessing.Hold) { h.Reason = "a leak" }), true},
		{"a milder hold", holds(func(h *reprocessing.Hold) { h.Kind = reprocessing.CleaningHold }), false},
		{"a later hold", holds(func(h *reprocessing.Hold) { h.At++ }), false},
		{"a hold on another scope", holds(func(h *reprocessing.Hold) { h.Scope = "D-02" }), false},

		{"the same repair", takeback.KeepsRepair(repair, scope.Repair{Scope: "D-01", Sent: 100, Returned: 200, Work: "sealed"}), true},
		{"back earlier", takeback.KeepsRepair(repair, scope.Repair{Scope: "D-01", Sent: 100, Returned: 199}), false},
		{"back for the first time", takeback.KeepsRepair(scope.Repair{Scope: "D-01", Sent: 100}, repair), true},

		{"the same wish", takeback.KeepsRequest(sampling.Request{At: 1}, sampling.Request{At: 1, Reason: "a culture"}), true},
		{"fewer points", takeback.KeepsRequest(sampling.Request{Points: scope.PointKinds}, sampling.Request{}), false},

		{"over, and still over", takeback.KeepsReading(read(reading.Action), read(reading.Action)), true},
		{"over, and good now", takeback.KeepsReading(read(reading.Action), read(reading.OK)), false},
		{"over, and not judged now", takeback.KeepsReading(read(reading.Action), read(reading.None)), false},
		{"good, and over now", takeback.KeepsReading(read(reading.OK), read(reading.Action)), true},

		{"good, and as good", takeback.KeepsReading(read(reading.OK), read(reading.OK)), true},
		{"good, and not judged now", takeback.KeepsReading(read(reading.OK), read(reading.Void)), true},
		{"not judged, and good now", takeback.KeepsReading(read(reading.Void), read(reading.OK)), false},

		{"a check that is good now", takeback.KeepsCheck(quality.Verdict{Outcome: quality.Unjudged}, quality.Verdict{Outcome: quality.Accepted}), false},
		{"a check that fails after all", takeback.KeepsCheck(quality.Verdict{Outcome: quality.Accepted}, rejected), true},
		{"a check that still fails", takeback.KeepsCheck(rejected, rejected), true},
		{"a check that passes now", takeback.KeepsCheck(rejected, quality.Verdict{Meter: "M-1", At: 100, Outcome: quality.Accepted}), false},
		{"a check that failed later", takeback.KeepsCheck(rejected, quality.Verdict{Meter: "M-1", At: 101, Outcome: quality.Rejected}), false},
	} {
		if test.got != test.want {
			t.Errorf("%s: %v", test.reason, test.got)
		}
	}
}

func TestWhatItTakes(t *testing.T) {
	slip := takeback.Case{Weight: takeback.Weight{Sort: takeback.Duty}, Author: true, Since: access.Slip - time.Microsecond}
	for _, test := range []struct {
		reason string
		change func(*takeback.Case)
		want   takeback.Need
	}{
		{"a slip", func(*takeback.Case) {}, takeback.Usual},
		{"a hold by mistake", func(c *takeback.Case) { c.Sort = takeback.Held }, takeback.Usual},
		{"ten minutes after", func(c *takeback.Case) { c.Since = access.Slip }, takeback.Two},
		{"before it was captured: the clock is wrong", func(c *takeback.Case) { c.Since = -1 }, takeback.Two},
		{"after the next act", func(c *takeback.Case) { c.Followed = true }, takeback.Two},
		{"somebody else's", func(c *takeback.Case) { c.Author = false }, takeback.Two},
		{"what failed", func(c *takeback.Case) { c.Sort = takeback.Failure }, takeback.Two},
		{"what failed, pictured", func(c *takeback.Case) { c.Sort, c.Pictured = takeback.Failure, true }, takeback.Two},
		{"a value that failed", func(c *takeback.Case) { c.Sort, c.Value = takeback.Failure, true }, takeback.Two},
		{"a value that failed, pictured", func(c *takeback.Case) { c.Sort, c.Value, c.Pictured = takeback.Failure, true, true }, takeback.Usual},
		{"a value that failed, pictured, too late", func(c *takeback.Case) {
			c.Sort, c.Value, c.Pictured, c.Since = takeback.Failure, true, true, access.Slip
		}, takeback.Two},
		{"what was left out, by who did it", func(c *takeback.Case) { c.Since, c.Fills = time.Hour, true }, takeback.Usual},
		{"evidence that shows more now", func(c *takeback.Case) {
			c.Sort, c.Since, c.Keeps, c.Milder = takeback.Evidence, time.Hour, true, true
		}, takeback.Two},
		{"evidence that shows more now, a slip", func(c *takeback.Case) {
			c.Sort, c.Keeps, c.Milder = takeback.Evidence, true, true
		}, takeback.Usual},
		{"what says the same against it", func(c *takeback.Case) { c.Since, c.Keeps = time.Hour, true }, takeback.Usual},
		{"what says more against it", func(c *takeback.Case) { c.Since, c.Author, c.Keeps, c.Worse = time.Hour, false, true, true }, takeback.Anybody},
		{"evidence is gone", func(c *takeback.Case) { c.Sort, c.Since, c.Author = takeback.Evidence, time.Hour, false }, takeback.Anybody},
		{"evidence is another", func(c *takeback.Case) { c.Sort, c.Since, c.Keeps = takeback.Evidence, time.Hour, true }, takeback.Usual},
		{"what bears on nothing", func(c *takeback.Case) { c.Sort, c.Since = takeback.Aside, time.Hour }, takeback.Usual},
	} {
		c := slip
		test.change(&c)
		if got := c.Takes(); got != test.want {
			t.Errorf("%s: %s, want %s", test.reason, got, test.want)
		}
	}
}

func TestPeople(t *testing.T) {
	lead, ip, technician := []access.Role{access.Lead}, []access.Role{access.InfectionPrevention}, []access.Role{access.Technician}
	for _, test := range []struct {
		reason string
		p      takeback.People
		want   error
	}{
		{"a lead and infection prevention", takeback.People{By: "L-01", Second: "I-01", ByRoles: lead, SecondRoles: ip}, nil},
		{"the other way", takeback.People{By: "I-01", Second: "L-01", ByRoles: ip, SecondRoles: lead}, nil},
		{"the lead's own, with somebody else", takeback.People{By: "L-01", Second: "L-02", ByRoles: lead, SecondRoles: lead, Involved: []string{"L-01"}}, nil},
		{"a technician first", takeback.People{By: "T-01", Second: "L-01", ByRoles: technician, SecondRoles: lead}, takeback.ErrNotTheirs},
		{"nobody of whom anything is known", takeback.People{By: "L-01", Second: "L-02", SecondRoles: lead}, takeback.ErrNotTheirs},
		{"one alone", takeback.People{By: "L-01", ByRoles: lead}, takeback.ErrAlone},
		{"the same twice", takeback.People{By: "L-01", Second: " l-01", ByRoles: lead, SecondRoles: lead}, takeback.ErrSamePerson},
		{"who took part", takeback.People{By: "L-01", Second: "l-02 ", ByRoles: lead, SecondRoles: lead, Involved: []string{"T-01", "L-02"}}, takeback.ErrAlone},
		{"a technician second", takeback.People{By: "L-01", Second: "T-02", ByRoles: lead, SecondRoles: technician}, takeback.ErrAlone},
	} {
		if err := test.p.Check(); !errors.Is(err, test.want) || test.want == nil && err != nil {
			t.Errorf("%s: %v, want %v", test.reason, err, test.want)
		}
	}
}

func TestWorse(t *testing.T) {
	order := []takeback.Sort{takeback.Aside, takeback.Evidence, takeback.Duty, takeback.Held, takeback.Failure}
	for i, a := range order {
		for j, b := range order {
			want := order[max(i, j)]
			if got := (takeback.Weight{Sort: a}).Worse(takeback.Weight{Sort: b}); got.Sort != want {
				t.Errorf("of %s and %s: %s", a, b, got.Sort)
			}
		}
	}
}
