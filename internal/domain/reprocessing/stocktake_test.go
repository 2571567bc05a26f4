package reprocessing_test

import (
	"strings"
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// takenStock is a scope of which nothing is on record but a stock-take at 09:00 that shows storage until 18:00.
func takenStock(t *testing.T) reprocessing.History {
	t.Helper()
	h := good(t)
	h.Uses, h.Steps, h.Samples, h.Decisions = nil, nil, nil, nil
	h.Instrument.Owner = scope.Own
	at := instant(t, "09:00")
	h.StockTakes = []reprocessing.StockTake{{
		Stamp: stamp("list", at), Scope: "D-01", At: at, By: "L-01", Second: "H-01", ByRoles: aLead, SecondRoles: prevention,
		Cabinet: "drying-cabinet", Until: instant(t, "18:00"), Papers: []string{"photograph"},
	}}
	return h
}

func TestStockTake(t *testing.T) {
	t.Parallel()
	nine, noon, six := instant(t, "09:00"), instant(t, "12:00"), instant(t, "18:00")
	list := func(h *reprocessing.History) *reprocessing.StockTake { return &h.StockTakes[0] }
	done := func(kind reprocessing.StepKind, at unit.Instant) func(*reprocessing.History) {
		return func(h *reprocessing.History) {
			h.Steps = append(h.Steps, reprocessing.Step{Stamp: stamp("step", at), Scope: "D-01", Kind: kind, Start: at, End: at + mins, Result: reprocessing.Pass})
		}
	}
	tests := []struct {
		name   string
		at     unit.Instant
		change func(*reprocessing.History)
		want   reprocessing.State
	}{
		{"signed", noon, nil, reprocessing.Ready},
		{"the moment it is signed", nine, nil, reprocessing.Ready},
		{"before it is signed", nine - us, nil, reprocessing.NotKnown},
		{"just before its storage ends", six - us, nil, reprocessing.Ready},
		{"when its storage ends", six, nil, reprocessing.NotKnown},
		{"signed by one", noon, func(h *reprocessing.History) { list(h).Second = "" }, reprocessing.NotKnown},
		{"signed twice by one", noon, func(h *reprocessing.History) { list(h).Second, list(h).SecondRoles = "l-01", prevention }, reprocessing.NotKnown},
		{"signed by two leads", noon, func(h *reprocessing.History) { list(h).SecondRoles = aLead }, reprocessing.NotKnown},
		{"without a photograph", noon, func(h *reprocessing.History) { list(h).Papers = nil }, reprocessing.NotKnown},
		{"without an end", noon, func(h *reprocessing.History) { list(h).Until = 0 }, reprocessing.NotKnown},
		{"taken back", noon, func(h *reprocessing.History) { h.StockTakes = nil }, reprocessing.NotKnown},
		{"a loaner", noon, func(h *reprocessing.History) { h.Instrument.Owner = scope.Loan }, reprocessing.NotKnown},
		{"it arrived since", noon, func(h *reprocessing.History) { h.Instrument.InService = nine + us }, reprocessing.NotKnown},
		{"it arrived as the list was signed", noon, func(h *reprocessing.History) { h.Instrument.InService = nine }, reprocessing.NotKnown},
		{"used since", noon, func(h *reprocessing.History) {
			h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("use", nine+hour), Scope: "D-01", Start: nine + mins, End: nine + hour})
		}, reprocessing.InReprocessing},
		{"used long before", noon, func(h *reprocessing.History) {
			h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("use", nine), Scope: "D-01", Start: nine - 2*hour, End: nine - hour})
		}, reprocessing.InReprocessing},
		{"cleaned since", noon, done(reprocessing.ManualCleaning, nine+hour), reprocessing.InReprocessing},
		{"moved since", noon, done(reprocessing.Storage, nine+hour), reprocessing.InReprocessing},
		{"a step of before", noon, done(reprocessing.Transport, nine-hour), reprocessing.InReprocessing},
		{"sampled", noon, func(h *reprocessing.History) { h.Samples = samples(1, nine+hour) }, reprocessing.NotKnown},
		{"back from repair", noon, func(h *reprocessing.History) {
			h.Repairs = []reprocessing.Repair{{Stamp: stamp("repair", nine), Repair: scope.Repair{Scope: "D-01", Sent: nine + mins, Returned: nine + hour}}}
		}, reprocessing.NotKnown},
		{"on hold", noon, func(h *reprocessing.History) {
			h.Holds = []reprocessing.Hold{{Stamp: stamp("hold", nine), Scope: "D-01", At: nine - hour, By: "L-01", Reason: "bent"}}
		}, reprocessing.OnHold},
		{"retired", noon, func(h *reprocessing.History) { h.Instrument.Retired = noon }, reprocessing.OutOfService},
		{"model not on record", noon, func(h *reprocessing.History) { h.Model = scope.Model{} }, reprocessing.NotKnown},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			h := takenStock(t)
			if test.change != nil {
				test.change(&h)
			}
			for name, a := range map[string]reprocessing.Answer{
				"then": reprocessing.Release(h, preset(t), test.at, berlin(t)),
				"now":  reprocessing.ReleaseNow(h.AsKnown(test.at), preset(t), reprocessing.Clock{}, test.at, berlin(t)),
			} {
				if a.State != test.want {
					t.Fatalf("%s: %s, want %s: %+v", name, a.State, test.want, a.Reasons)
				}
				if a.State != reprocessing.Ready {
					continue
				}
				if a.Until != six || a.StockTake != "list" || !strings.Contains(a.Reasons[0].Text, "by the stock-take of") || a.Reasons[0].Record != "list" {
					t.Errorf("%s: until %s, %q, %+v", name, a.Until, a.StockTake, a.Reasons)
				}
			}
		})
	}
}

// What somebody asked for by name no list stands for, where the rules say that it blocks.
func TestStockTakeAndARequest(t *testing.T) {
	t.Parallel()
	h, rules, noon := takenStock(t), preset(t), instant(t, "12:00")
	h.Requests = []reprocessing.Request{{
		Stamp: stamp("request", noon), Request: sampling.Request{Scope: "D-01", At: instant(t, "08:00"), By: "L-01", Reason: "look"},
	}}
	for _, blocks := range []bool{false, true} {
		for i := range rules.Due {
			rules.Due[i].Blocks = blocks || rules.Due[i].When != sampling.OnRequest
		}
		a := reprocessing.Release(h, rules, noon, berlin(t))
		if want := map[bool]reprocessing.State{false: reprocessing.Ready, true: reprocessing.InReprocessing}[blocks]; a.State != want || len(a.Due) != 1 {
			t.Errorf("blocks %t: %s, due %+v", blocks, a.State, a.Due)
		}
	}
}

// Of several lists the last counts, also where it shows less.
func TestLastStockTakeCounts(t *testing.T) {
	t.Parallel()
	h := takenStock(t)
	shorter := h.StockTakes[0]
	shorter.Stamp, shorter.At, shorter.Until = stamp("second", shorter.At+hour), shorter.At+hour, instant(t, "11:00")
	h.StockTakes = append(h.StockTakes, shorter)
	for _, test := range []struct {
		at   string
		want reprocessing.State
	}{{"09:59", reprocessing.Ready}, {"10:30", reprocessing.Ready}, {"11:00", reprocessing.NotKnown}} {
		if a := reprocessing.Release(h, preset(t), instant(t, test.at), berlin(t)); a.State != test.want {
			t.Errorf("at %s: %s, until %s", test.at, a.State, a.Until)
		}
	}
}

// A clock that was wrong makes no list count, and what it leaves out of the history is on record all the same.
func TestStockTakeWhileTheClockWasWrong(t *testing.T) {
	t.Parallel()
	noon := instant(t, "12:00")
	now := func(h reprocessing.History) reprocessing.State {
		return reprocessing.ReleaseNow(h, preset(t), reprocessing.Clock{}, noon, berlin(t)).State
	}
	h := takenStock(t)
	h.StockTakes[0].Unsure = noon - hour
	if got := now(h); got != reprocessing.NotKnown {
		t.Errorf("signed while the clock was in doubt: %s", got)
	}
	h = takenStock(t)
	h.Steps = []reprocessing.Step{{Stamp: stamp("step", noon), Scope: "D-01", Kind: reprocessing.Transport, Start: noon + hour, End: noon + 2*hour}}
	if got := now(h); got != reprocessing.NotKnown {
		t.Errorf("a step that claims to lie ahead: %s", got)
	}
	h = takenStock(t)
	h.StockTakes[0].At = noon + us
	if got := now(h); got != reprocessing.NotKnown {
		t.Errorf("signed in the future: %s", got)
	}
}

// After a restore a list speaks for what the copy lacks, where nothing is on record since.
func TestStockTakeAfterARestore(t *testing.T) {
	t.Parallel()
	noon := instant(t, "12:00")
	restored := func(t *testing.T) reprocessing.History {
		t.Helper()
		h := good(t)
		list := takenStock(t).StockTakes[0]
		list.Stamp, list.At, list.Until = stamp("list", noon), noon, noon+6*hour
		h.StockTakes = []reprocessing.StockTake{list}
		h.Restores = []reprocessing.RestoreNote{{
			Stamp: stamp("restore", noon-hour), Told: reprocessing.InPlace, Copied: noon - 90*mins, At: noon - hour, Size: 9, By: "L-01",
		}}
		return h
	}
	last := unit.Instant(0)
	for _, s := range good(t).Steps {
		last = max(last, s.Start, s.End)
	}
	if last > noon-90*mins {
		t.Fatalf("the cycle ends at %s, after the copy", last)
	}
	for _, test := range []struct {
		name   string
		change func(*reprocessing.History)
		want   reprocessing.State
	}{
		{"the list alone", func(*reprocessing.History) {}, reprocessing.Ready},
		{"without it", func(h *reprocessing.History) { h.StockTakes = nil }, reprocessing.NotKnown},
		{"signed before the restore", func(h *reprocessing.History) { h.StockTakes[0].At = noon - hour }, reprocessing.NotKnown},
		{"signed a moment after it", func(h *reprocessing.History) { h.StockTakes[0].At = noon - hour + us }, reprocessing.Ready},
		{"used since the copy", func(h *reprocessing.History) {
			h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("use 2", noon), Scope: "D-01", Start: noon - 80*mins, End: noon - 70*mins})
		}, reprocessing.NotKnown},
		{"still in use by the copy", func(h *reprocessing.History) {
			h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("use 2", noon), Scope: "D-01", Start: noon - 95*mins})
		}, reprocessing.NotKnown},
		{"on hold by the copy", func(h *reprocessing.History) {
			h.Holds = []reprocessing.Hold{{Stamp: stamp("hold", noon), Scope: "D-01", At: noon - 2*hour, By: "L-01", Reason: "bent"}}
		}, reprocessing.OnHold},
		{"restored once more", func(h *reprocessing.History) {
			again := h.Restores[0]
			again.Stamp, again.At, again.Copied = stamp("again", noon+us), noon+us, noon-hour
			h.Restores = append(h.Restores, again)
		}, reprocessing.NotKnown},
	} {
		h := restored(t)
		test.change(&h)
		for name, a := range map[string]reprocessing.Answer{
			"then": reprocessing.Release(h, preset(t), noon+mins, berlin(t)),
			"now":  reprocessing.ReleaseNow(h, preset(t), reprocessing.Clock{}, noon+mins, berlin(t)),
		} {
			if a.State != test.want {
				t.Errorf("%s, %s: %s, want %s: %+v", test.name, name, a.State, test.want, a.Reasons)
			}
		}
	}
}

func TestStockTakeAllowedByTheRules(t *testing.T) {
	t.Parallel()
	rules, zone := preset(t), berlin(t)
	c := rules.Cabinets[0]
	list := takenStock(t).StockTakes[0]
	most := list.At.AddDays(c.Days, zone)
	if c.Days == 0 {
		most = list.At + unit.Instant(c.Hours)*hour
	}
	for _, test := range []struct {
		cabinet string
		until   unit.Instant
		want    string
	}{
		{c.Name, most, ""},
		{c.Name, most + us, "longer than " + c.Name},
		{"shelf in the corridor", list.At + hour, "not in the rule set"},
	} {
		list.Cabinet, list.Until = test.cabinet, test.until
		err := list.Allowed(rules, zone)
		if (err == nil) != (test.want == "") || err != nil && !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s until %s: %v", test.cabinet, test.until, err)
		}
	}
	for name, change := range map[string]func(*reprocessing.StockTake){
		"no cabinet":    func(x *reprocessing.StockTake) { x.Cabinet = " " },
		"storage over":  func(x *reprocessing.StockTake) { x.Until = x.At },
		"no photograph": func(x *reprocessing.StockTake) { x.Papers = []string{""} },
		"no time":       func(x *reprocessing.StockTake) { x.At = 0 },
	} {
		x := takenStock(t).StockTakes[0]
		if change(&x); x.Check() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if err := takenStock(t).StockTakes[0].Check(); err != nil {
		t.Error(err)
	}
}
