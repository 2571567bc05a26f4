package trend_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
)

func TestLifeOfASignal(t *testing.T) {
	t.Parallel()
	const refused = trend.LifeState("")
	all := func(seen, explained, linked, closed, reopened trend.LifeState) map[trend.Act]trend.LifeState {
		m := map[trend.Act]trend.LifeState{}
		m[trend.Seen], m[trend.Explained], m[trend.Linked], m[trend.Closed], m[trend.Reopened] = seen, explained, linked, closed, reopened
		return m
	}
	want := map[trend.LifeState]map[trend.Act]trend.LifeState{}
	want[trend.LifeNew] = all(trend.LifeSeen, trend.LifeExplained, trend.LifeSeen, refused, refused)
	want[trend.LifeSeen] = all(refused, trend.LifeExplained, trend.LifeSeen, refused, refused)
	want[trend.LifeExplained] = all(refused, trend.LifeExplained, trend.LifeExplained, trend.LifeClosed, refused)
	want[trend.LifeClosed] = all(refused, refused, refused, refused, trend.LifeSeen)
	for _, state := range trend.LifeStates {
		for _, act := range trend.Acts {
			next, err := state.Next(act)
			_, words := errors.AsType[*trend.LifeError](err)
			if to := want[state][act]; to == refused && (!words || next != state) || to != refused && (err != nil || next != to) {
				t.Errorf("%s after %s: %s, %v; want %q", act, state, next, err, to)
			}
		}
	}
	if _, err := trend.LifeNew.Next("forgotten"); err == nil {
		t.Error("an unknown act is accepted")
	}
}

// What rests on an act that was taken back counts no more.
func TestLiveWithoutWhatWasTakenBack(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		acts   []trend.Act
		state  trend.LifeState
		counts []bool
	}{
		{"nothing", nil, trend.LifeNew, []bool{}},
		{"the whole way", []trend.Act{trend.Seen, trend.Explained, trend.Linked, trend.Closed}, trend.LifeClosed, []bool{true, true, true, true}},
		{"closed without its explanation", []trend.Act{trend.Seen, trend.Closed}, trend.LifeSeen, []bool{true, false}},
		{"and opened again", []trend.Act{trend.Seen, trend.Closed, trend.Reopened}, trend.LifeSeen, []bool{true, false, false}},
		{"seen by two", []trend.Act{trend.Seen, trend.Seen}, trend.LifeSeen, []bool{true, true}},
		{"opened again", []trend.Act{trend.Explained, trend.Closed, trend.Reopened}, trend.LifeSeen, []bool{true, true, true}},
	} {
		state, counts := trend.Live(c.acts)
		if state != c.state || !slices.Equal(counts, c.counts) {
			t.Errorf("%s: %s, %v; want %s, %v", c.name, state, counts, c.state, c.counts)
		}
	}
}

// A closed signal has an explanation that was given since it was last opened, whatever people did.
func TestClosedIsExplained(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		acts := rapid.SliceOf(rapid.SampledFrom(trend.Acts)).Draw(t, "acts")
		state, counts := trend.Live(acts)
		explained := false
		for i, a := range acts {
			if !counts[i] {
				continue
			}
			switch a {
			case trend.Explained:
				explained = true
			case trend.Reopened:
				explained = false
			case trend.Seen, trend.Linked, trend.Closed:
			}
		}
		if state == trend.LifeClosed && !explained || state == trend.LifeExplained && !explained {
			t.Fatalf("%v gives %s, and nobody explained", acts, state)
		}
	})
}

func identity(reading string, at unit.Instant) trend.Identity {
	return trend.Identity{
		Series:  trend.Key{Scope: "D-01", Point: scope.OuterDistalEnd, System: "A", Kit: "K"},
		Reading: ledger.DerivedID(reading), Signalled: at, Direction: trend.Higher,
	}
}

func TestHandlingSaysWhatItHasTo(t *testing.T) {
	t.Parallel()
	whole := func(act trend.Act, change func(*trend.Handling)) trend.Handling {
		i := identity("r", 5)
		h := trend.Handling{Signal: i.ID(), Identity: i, Act: act, At: 6, Words: "words"}
		switch act {
		case trend.Explained:
			h.Cause = trend.LotCause
		case trend.Linked:
			h.Record = ledger.DerivedID("hold")
		case trend.Seen, trend.Closed, trend.Reopened:
		}
		if change != nil {
			change(&h)
		}
		return h
	}
	for _, act := range trend.Acts {
		if err := whole(act, nil).Check(); err != nil {
			t.Errorf("%s: %v", act, err)
		}
	}
	for _, c := range []struct {
		act    trend.Act
		change func(*trend.Handling)
		want   string
	}{
		{trend.Seen, func(h *trend.Handling) { h.Signal = "" }, "must name the signal"},
		{trend.Seen, func(h *trend.Handling) { h.Signalled = 0 }, "must name the signal"},
		{"forgotten", nil, "nothing that is done about a signal"},
		{trend.Seen, func(h *trend.Handling) { h.Words = strings.Repeat("x", 2001) }, "at most 2000"},
		{trend.Explained, func(h *trend.Handling) { h.Cause = "mood" }, "choose a cause: scope, cleaning, training, lot, meter, sampling, none"},
		{trend.Explained, func(h *trend.Handling) { h.Words = " " }, "say what was behind"},
		{trend.Closed, func(h *trend.Handling) { h.Cause = trend.LotCause }, "only an explanation"},
		{trend.Closed, func(h *trend.Handling) { h.Words = "" }, "why the signal can be closed"},
		{trend.Reopened, func(h *trend.Handling) { h.Words = "" }, "why the signal is opened again"},
		{trend.Linked, func(h *trend.Handling) { h.Record = "" }, "name the record"},
		{trend.Seen, func(h *trend.Handling) { h.Record = "x" }, "only a link"},
	} {
		if err := whole(c.act, c.change).Check(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.act, err, c.want)
		}
	}
	for _, c := range trend.Causes {
		if c.Words() == "" || c.Words() == string(c) {
			t.Errorf("the cause %q has no words", c)
		}
	}
}

// raised is a signal with a change between two instants.
func raised(reading string, first, last, after unit.Instant, d trend.Direction) trend.Signal {
	i := identity(reading, first)
	return trend.Signal{
		Key: i.Series, Direction: d, Last: last, Since: &trend.Since{After: after, Until: first},
		First: trend.Crossing{ID: i.Reading, At: first, Direction: d},
	}
}

func TestCarry(t *testing.T) {
	t.Parallel()
	past := func(reading string, at, begin, last unit.Instant) trend.Past {
		i := identity(reading, at)
		return trend.Past{ID: i.ID(), Identity: i, Begin: begin, Last: last}
	}
	elsewhere := raised("b", 50, 60, 40, trend.Higher)
	elsewhere.Key.Point = scope.ElevatorRecess
	for _, c := range []struct {
		reason  string
		past    []trend.Past
		signals []trend.Signal
		want    []int
	}{
		{"the same reading begins it, and it goes on", []trend.Past{past("b", 50, 40, 50)}, []trend.Signal{raised("b", 50, 90, 40, trend.Higher)}, []int{0}},
		{"a later reading begins it", []trend.Past{past("b", 50, 40, 50)}, []trend.Signal{raised("c", 60, 90, 45, trend.Higher)}, []int{0}},
		{"an earlier reading begins it", []trend.Past{past("b", 50, 40, 50)}, []trend.Signal{raised("a", 45, 90, 35, trend.Higher)}, []int{0}},
		{"only a later change", []trend.Past{past("b", 50, 40, 50)}, []trend.Signal{raised("c", 90, 95, 80, trend.Higher)}, []int{-1}},
		{"the other way", []trend.Past{past("b", 50, 40, 50)}, []trend.Signal{raised("c", 51, 60, 45, trend.Lower)}, []int{-1}},
		{"a change of spread that has a direction now", []trend.Past{past("b", 50, 40, 50)}, []trend.Signal{raised("c", 51, 60, 45, trend.Spread)}, []int{0}},
		{"another series", []trend.Past{past("b", 50, 40, 50)}, []trend.Signal{elsewhere}, []int{-1}},
		{"nothing signals", []trend.Past{past("b", 50, 40, 50)}, nil, []int{-1}},
		{
			"the same reading comes before what overlaps",
			[]trend.Past{past("a", 45, 40, 60), past("b", 50, 40, 60)},
			[]trend.Signal{raised("b", 50, 60, 40, trend.Higher)},
			[]int{-1, 0},
		},
		{
			"the nearest of two",
			[]trend.Past{past("b", 50, 30, 70)},
			[]trend.Signal{raised("a", 35, 60, 30, trend.Higher), raised("c", 52, 60, 40, trend.Higher)},
			[]int{1},
		},
		{"none is carried on twice", []trend.Past{past("b", 50, 30, 70), past("d", 55, 30, 70)}, []trend.Signal{raised("c", 52, 60, 40, trend.Higher)}, []int{0, -1}},
	} {
		if got := trend.Carry(c.past, c.signals); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.reason, got, c.want)
		}
	}
}

// The id depends on the series, the reading and the direction, and on nothing else.
func TestIdentity(t *testing.T) {
	t.Parallel()
	a := raised("b", 50, 60, 40, trend.Higher)
	b := a
	b.Last, b.Crossings, b.Open, b.Direction, b.Since = 90, 12, true, trend.Spread, nil
	if a.Identity().ID() != b.Identity().ID() {
		t.Error("more readings change the id")
	}
	ids := map[ledger.ID]bool{a.Identity().ID(): true}
	for _, change := range []func(*trend.Identity){
		func(i *trend.Identity) { i.Series.Scope = "D-02" }, func(i *trend.Identity) { i.Series.Point = scope.ElevatorRecess },
		func(i *trend.Identity) { i.Series.System = "B" }, func(i *trend.Identity) { i.Series.Kit = "L" },
		func(i *trend.Identity) { i.Reading = ledger.DerivedID("c") }, func(i *trend.Identity) { i.Direction = trend.Lower },
	} {
		i := a.Identity()
		change(&i)
		if ids[i.ID()] {
			t.Errorf("%s has the id of another", i)
		}
		ids[i.ID()] = true
	}
}
