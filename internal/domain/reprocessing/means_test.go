package reprocessing_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
)

const days = 24 * hour

// elsewhere returns the disinfection of the good history as somebody recorded it of another scope.
func elsewhere(tb testing.TB, h *reprocessing.History) reprocessing.Step {
	tb.Helper()
	s := *step(tb, h, reprocessing.Disinfection)
	s.Scope, s.ID = "G-07", "disinfection of another scope"
	return s
}

// meansCase is a disinfection and what is on record of its means elsewhere.
type meansCase struct {
	name, reason string
	// own changes the disinfection, other what was recorded of another scope; nil where nothing was.
	own, other func(*reprocessing.Step)
	want       string // empty: ready
}

func runMeans(t *testing.T, rules reprocessing.Rules, tests []meansCase) {
	t.Helper()
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			s := step(t, &h, reprocessing.Disinfection)
			s.Reprocessor, s.CycleNumber = "W-1", "712"
			x := elsewhere(t, &h)
			if tt.own != nil {
				tt.own(s)
			}
			if tt.other != nil {
				tt.other(&x)
				h.Shared = []reprocessing.Step{x}
			}
			at := instant(t, "12:00")
			for _, a := range []reprocessing.Answer{
				reprocessing.Release(h, rules, at, berlin(t)), reprocessing.ReleaseNow(h, rules, reprocessing.Clock{}, at, berlin(t)),
			} {
				if tt.want == "" {
					wantState(t, a, reprocessing.Ready, "")
					continue
				}
				wantState(t, a, reprocessing.InReprocessing, tt.want)
				if got := status(t, a, reprocessing.Disinfection); got != reprocessing.FailedStep {
					t.Errorf("%s: status %q", tt.reason, got)
				}
			}
		})
	}
}

// One run of a reprocessor has one result.
func TestRunWithTwoResults(t *testing.T) {
	const failed = "the run of W-1 failed by the record of G-07 at 2026-03-02 10:35 +01:00"
	fail := func(s *reprocessing.Step) { s.Result = reprocessing.Fail }
	with := func(change func(*reprocessing.Step)) func(*reprocessing.Step) {
		return func(s *reprocessing.Step) { fail(s); change(s) }
	}
	runMeans(t, preset(t), []meansCase{
		{"it passed there as well", "", nil, func(*reprocessing.Step) {}, ""},
		{"it failed there", "the failed result counts for every scope in the run", nil, fail, failed},
		{"its concentration failed there", "", nil, func(s *reprocessing.Step) { s.MEC = reprocessing.Fail }, failed},
		{"another reprocessor", "", nil, with(func(s *reprocessing.Step) { s.Reprocessor = "W-2" }), ""},
		{"the next run", "", nil, with(func(s *reprocessing.Step) { s.CycleNumber = "713" }), ""},
		{"the number comes again another day", "machines count anew", nil, with(func(s *reprocessing.Step) { s.Start, s.End = s.Start-days, s.End-days }), ""},
		{
			"written a few minutes later", "two people rarely write down the same minute", nil,
			with(func(s *reprocessing.Step) { s.Start, s.End = s.Start+20*mins, s.End+20*mins }), "the run of W-1 failed by the record of G-07",
		},
		{"other letters", "", func(s *reprocessing.Step) { s.Reprocessor = "w-1 " }, fail, "the run of w-1  failed by the record of G-07"},
		{
			"nobody wrote its number", "one that began in the same minute was the same", func(s *reprocessing.Step) { s.CycleNumber = "" },
			with(func(s *reprocessing.Step) { s.Start += mins - us }), "the run of W-1 failed by the record of G-07",
		},
		{
			"nobody wrote its number, another minute", "a reprocessor may do two one after the other", func(s *reprocessing.Step) { s.CycleNumber = "" },
			with(func(s *reprocessing.Step) { s.Start += mins }), "",
		},
		{"in a basin", "each by itself", func(s *reprocessing.Step) { s.Reprocessor = "" }, with(func(s *reprocessing.Step) { s.Reprocessor = "" }), ""},
	})
	t.Run("taken back", func(t *testing.T) {
		h := good(t)
		s := step(t, &h, reprocessing.Disinfection)
		s.Reprocessor, s.CycleNumber = "W-1", "712"
		x := elsewhere(t, &h)
		x.Result, x.Replaced = reprocessing.Fail, instant(t, "11:00")
		h.Shared = []reprocessing.Step{x}
		known := func(k string) reprocessing.Answer {
			return reprocessing.Release(h.AsKnown(instant(t, k)), preset(t), instant(t, "10:50"), berlin(t))
		}
		wantState(t, known("10:55"), reprocessing.InReprocessing, failed)
		wantState(t, known("11:00"), reprocessing.Ready, "")
	})
}

// A solution is used for the days of its label from when it was filled (14 for the one of the good history), or not at
// all where nobody knows.
func TestSolutionLife(t *testing.T) {
	unknown := func(expires unit.Instant) func(*reprocessing.Step) {
		return func(s *reprocessing.Step) { s.DisinfectantFilled, s.DisinfectantExpires = 0, s.End+expires }
	}
	used := func(ago unit.Instant) func(*reprocessing.Step) {
		return func(s *reprocessing.Step) {
			s.Start, s.End, s.DisinfectantFilled = s.End-ago, s.End-ago+30*mins, 0
			s.DisinfectantExpires = s.Start + 300*days
		}
	}
	filled := func(ago unit.Instant) func(*reprocessing.Step) {
		return func(s *reprocessing.Step) { s.DisinfectantFilled = s.End - ago }
	}
	runMeans(t, preset(t), []meansCase{
		{"filled in time", "", filled(14*days - us), nil, ""},
		{
			"filled too long ago", "ready one moment before the end of the life, not at it", filled(14 * days), nil,
			"the solution was filled at 2026-02-16 11:05 +01:00",
		},
		{"its own date", "", unknown(14 * days), nil, ""},
		{"the date of its lot", "which says nothing of the solution", unknown(14*days + us), nil, "when the solution was filled is not on record"},
		{
			"in use for long, nobody knows since when", "", unknown(days), used(14 * days),
			`lot "A12" in W-1 is in use since 2026-02-16 11:05 +01:00 by the record of G-07`,
		},
		{"in use for less", "", unknown(days), used(14*days - us), ""},
		{"filled anew", "the lot served for two fillings", filled(days), used(14 * days), ""},
		{"in use elsewhere for long", "", unknown(days), func(s *reprocessing.Step) { used(14 * days)(s); s.Reprocessor = "W-2" }, ""},
		{"another lot", "", unknown(days), func(s *reprocessing.Step) { used(14 * days)(s); s.DisinfectantLot = "A13" }, ""},
		{
			"filled before its first use", "", unknown(days), func(s *reprocessing.Step) { used(10 * days)(s); s.DisinfectantFilled = s.Start - 5*days },
			`lot "A12" in W-1 is in use since 2026-02-15 11:05 +01:00`,
		},
	})
	t.Run("no reuse life", func(t *testing.T) {
		rules := preset(t)
		rules.Disinfectants = []reprocessing.Disinfectant{{Name: "opa-0.55-reprocessor", Contact: 5 * unit.Minute}}
		runMeans(t, rules, []meansCase{{"nothing asked", "", unknown(300 * days), used(100 * days), ""}})
	})
}

// Of two dates of one lot the earlier one counts for every use of it, as long as both stand.
func TestLotWithTwoDates(t *testing.T) {
	dated := func(after unit.Instant, change func(*reprocessing.Step)) func(*reprocessing.Step) {
		return func(s *reprocessing.Step) {
			s.DisinfectantExpires = s.End + after
			s.Start, s.End = s.Start-20*days, s.End-20*days // when it was far ahead
			if change != nil {
				change(s)
			}
		}
	}
	const expired = `lot "A12" expired at 2026-03-02 11:05 +01:00 by the record of G-07`
	runMeans(t, preset(t), []meansCase{
		{"later than the end", "", nil, dated(us, nil), ""},
		{"at the end", "it has to last to the end", nil, dated(0, nil), expired},
		{"in another reprocessor", "the date is that of the lot", nil, dated(0, func(s *reprocessing.Step) { s.Reprocessor = "W-2" }), expired},
		{"another lot", "", nil, dated(0, func(s *reprocessing.Step) { s.DisinfectantLot = "A13" }), ""},
		{"another disinfectant", "its lots have numbers of their own", nil, dated(0, func(s *reprocessing.Step) { s.Disinfectant = "opa-0.55" }), ""},
		{"written with a space", "", nil, dated(0, func(s *reprocessing.Step) { s.DisinfectantLot = " a12" }), expired},
		{
			"recorded afterwards", "whenever it arrives", nil,
			func(s *reprocessing.Step) { s.DisinfectantExpires = s.End; s.Start, s.End = s.Start+days, s.End+days },
			expired,
		},
	})
	unfilled := func(s *reprocessing.Step) { s.DisinfectantFilled = 0 }
	soon := func(change func(*reprocessing.Step)) func(*reprocessing.Step) { // a date within the life of a solution
		return func(s *reprocessing.Step) {
			s.DisinfectantExpires = s.End
			s.Start, s.End = s.Start-2*hour, s.End-2*hour
			change(s)
		}
	}
	runMeans(t, preset(t), []meansCase{
		{"the same solution", "", nil, soon(func(*reprocessing.Step) {}), expired},
		{"the solution of another reprocessor", "it has a life of its own", nil, soon(func(s *reprocessing.Step) { s.Reprocessor = "W-2" }), ""},
		{"a filling before", "", nil, soon(func(s *reprocessing.Step) { s.DisinfectantFilled -= 13 * days }), ""},
		{"nobody says which filling", "it may be the same", unfilled, soon(unfilled), expired},
		{"done before it was filled anew", "", func(s *reprocessing.Step) { s.DisinfectantFilled = s.Start - mins }, soon(unfilled), ""},
	})
}

// What cannot be is refused.
func TestSolutionThatCannotBe(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*reprocessing.Step)
		want   string
	}{
		{"as it is", func(*reprocessing.Step) {}, ""},
		{"as hot as steam", func(s *reprocessing.Step) { s.Coldest, s.Warmest = 134, 138 }, ""},
		{"400 °C", func(s *reprocessing.Step) { s.Coldest = 400 }, "400 °C as the coldest temperature cannot be"},
		{"400 °C at most", func(s *reprocessing.Step) { s.Warmest = 400 }, "400 °C as the warmest temperature cannot be"},
		{"below zero", func(s *reprocessing.Step) { s.Coldest = -1 }, "-1 °C as the coldest temperature cannot be"},
		{"colder than the coldest", func(s *reprocessing.Step) { s.Warmest = 24.9 }, "the warmest temperature, 24.9 °C, is below the coldest, 25 °C"},
		{"filled at the end", func(s *reprocessing.Step) { s.DisinfectantFilled = s.End }, ""},
		{"filled after it", func(s *reprocessing.Step) { s.DisinfectantFilled = s.End + us }, "would have been filled at"},
		{"filled when it had expired", func(s *reprocessing.Step) { s.DisinfectantExpires = s.DisinfectantFilled }, "when it had expired"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h := good(t)
			s := step(t, &h, reprocessing.Disinfection)
			tt.change(s)
			wantError(t, s.Check(), tt.want)
		})
	}
}

// No clock runs from a step that is to be done again: nobody is hurried to disinfect what is not clean.
func TestNoClockFromWhatFailed(t *testing.T) {
	for _, test := range []struct {
		name   string
		change func(*reprocessing.History)
		hurry  bool
	}{
		{"clean", func(*reprocessing.History) {}, true},
		{"the cleaning failed", func(h *reprocessing.History) { step(t, h, reprocessing.ManualCleaning).Result = reprocessing.Fail }, false},
		{"the inspection failed", func(h *reprocessing.History) { step(t, h, reprocessing.Inspection).Result = reprocessing.Fail }, false},
		{"not tight, which was before", func(h *reprocessing.History) { step(t, h, reprocessing.LeakTest).Result = reprocessing.Fail }, true},
	} {
		h := good(t)
		cleaned := step(t, &h, reprocessing.ManualCleaning).End
		h.Steps = slices.DeleteFunc(slices.Clone(h.Steps), func(s reprocessing.Step) bool {
			return s.Kind == reprocessing.Disinfection || s.Kind == reprocessing.Drying || s.Kind == reprocessing.Storage
		})
		test.change(&h)
		a := reprocessing.Release(h, preset(t), cleaned.Add(50*time.Minute), berlin(t))
		hurried := slices.ContainsFunc(a.Steps, func(p reprocessing.Progress) bool { return p.Step == reprocessing.Disinfection && p.Deadline.Known() })
		if hurried != test.hurry || hurried != strings.Contains(strings.Join(a.Next, "; "), "to begin by") {
			t.Errorf("%s: hurried %t: %q", test.name, hurried, a.Next)
		}
	}
}
