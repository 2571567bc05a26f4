package reprocessing_test

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
)

// restoredAt is a history of which a copy made at 11:00 took the place of the records at noon.
func restoredAt(tb testing.TB, h reprocessing.History) reprocessing.History {
	tb.Helper()
	h.Restores = append(slices.Clone(h.Restores), reprocessing.RestoreNote{
		Stamp: stamp("restore", instant(tb, "12:00")), Told: reprocessing.FromFile, Copied: instant(tb, "11:00"), At: instant(tb, "12:00"),
		Size: 100, By: "L-01",
	})
	return h
}

// nothingSince is what two people say of scopes.
func nothingSince(tb testing.TB, restore string, scopes ...string) reprocessing.RestoreNote {
	tb.Helper()
	return reprocessing.RestoreNote{
		Stamp: stamp("nothing", instant(tb, "12:30")), Told: reprocessing.NothingSince, At: instant(tb, "12:30"), By: "L-01", Second: "L-02",
		Restore: restore, Scopes: scopes, Known: reprocessing.ByPaper,
	}
}

// cycleFrom adds a whole cycle, with the soak of delayed reprocessing, that begins as much later than the one of good.
func cycleFrom(tb testing.TB, h reprocessing.History, later unit.Instant) reprocessing.History {
	tb.Helper()
	at := func(text string) unit.Instant { return instant(tb, text) }
	h.Steps, h.Samples, h.Decisions = slices.Clone(h.Steps), slices.Clone(h.Samples), slices.Clone(h.Decisions)
	for _, s := range good(tb).Steps {
		if s.Kind == reprocessing.PointOfUse || s.Kind == reprocessing.Transport {
			continue
		}
		s.Start += later
		if s.End.Known() {
			s.End += later
		}
		s.Stamp = stamp("again "+string(s.Kind), max(s.Start, s.End))
		h.Steps = append(h.Steps, s)
	}
	h.Steps = append(h.Steps, reprocessing.Step{
		Stamp: stamp("again soak", at("09:00")+later), Scope: "D-01", Kind: reprocessing.Soak, Start: at("08:50") + later + 5*mins, End: at("09:00") + later + 5*mins,
		By: "T. Echnician",
	})
	for i := range h.Steps { // the soak comes before the cleaning and takes its ten minutes
		after := slices.Index(reprocessing.StepKinds, h.Steps[i].Kind) > slices.Index(reprocessing.StepKinds, reprocessing.Soak)
		if after && strings.HasPrefix(h.Steps[i].ID, "again ") {
			h.Steps[i].Start += 10 * mins
			if h.Steps[i].End.Known() {
				h.Steps[i].End += 10 * mins
			}
		}
	}
	h.Samples = append(h.Samples, samples(1, at("09:32")+later)...)
	h.Decisions = append(h.Decisions, decision("round again", 1, at("08:30")+later, at("09:32")+later, at("09:40")+later, reading.OK))
	return h
}

func TestReadyAfterARestore(t *testing.T) {
	t.Parallel()
	rules, zone := preset(t), berlin(t)
	const lost = "what happened in between is not on record"
	for _, test := range []struct {
		name, at string
		change   func(reprocessing.History) reprocessing.History
		want     reprocessing.State
		part     string
	}{
		{"before anything of it", "10:45", nil, reprocessing.Ready, "OK"},
		{"at the copy", "11:00", nil, reprocessing.NotKnown, "is not on record"},
		{"between the copy and the restore", "11:59", nil, reprocessing.NotKnown, "is not on record"},
		{"at the restore", "12:00", nil, reprocessing.NotKnown, lost},
		{"two days later", "2026-03-04T12:00:00Z", nil, reprocessing.NotKnown, lost},
		{
			"nothing happened to it", "13:00", func(h reprocessing.History) reprocessing.History {
				h.Restores = append(h.Restores, nothingSince(t, "restore", "C-01", "D-01"))
				return h
			}, reprocessing.Ready, "OK",
		},
		{
			"nothing happened to it, asked about the time between", "11:30", func(h reprocessing.History) reprocessing.History {
				h.Restores = append(h.Restores, nothingSince(t, "restore", "D-01"))
				return h
			}, reprocessing.Ready, "OK",
		},
		{
			"nothing happened to others", "13:00", func(h reprocessing.History) reprocessing.History {
				h.Restores = append(h.Restores, nothingSince(t, "restore", "C-01", "D-011"))
				return h
			}, reprocessing.NotKnown, lost,
		},
		{
			"nothing happened since another copy", "13:00", func(h reprocessing.History) reprocessing.History {
				h.Restores = append(h.Restores, nothingSince(t, "an older restore", "D-01"))
				return h
			}, reprocessing.NotKnown, lost,
		},
		{
			"nothing happened since the first of two copies", "15:00", func(h reprocessing.History) reprocessing.History {
				second := h.Restores[0]
				second.Stamp, second.Copied, second.At = stamp("second restore", instant(t, "14:00")), instant(t, "13:50"), instant(t, "14:00")
				h.Restores = append(h.Restores, nothingSince(t, "restore", "D-01"), second)
				return h
			}, reprocessing.NotKnown, lost,
		},
		{
			"a hold stays a hold, whatever people say", "13:00", func(h reprocessing.History) reprocessing.History {
				h.Holds = append(h.Holds, reprocessing.Hold{Stamp: stamp("hold", instant(t, "10:40")), Scope: "D-01", At: instant(t, "10:40"), By: "L-01", Reason: "bent"})
				h.Restores = append(h.Restores, nothingSince(t, "restore", "D-01"))
				return h
			}, reprocessing.OnHold, "bent",
		},
		{
			"a whole cycle since", "18:00", func(h reprocessing.History) reprocessing.History { return cycleFrom(t, h, 5*hour) },
			reprocessing.Ready, "OK",
		},
		{
			"a whole cycle, but for its cleaning a minute before the restore", "18:00", func(h reprocessing.History) reprocessing.History {
				h = cycleFrom(t, h, 5*hour)
				for i, s := range h.Steps {
					if s.ID == "again "+string(reprocessing.ManualCleaning) {
						h.Steps[i].Start, h.Steps[i].End = instant(t, "11:59"), instant(t, "12:16")
					}
				}
				return h
			}, reprocessing.NotKnown, lost,
		},
		{
			"a whole cycle since, after a leak test that had failed before the copy", "18:00", func(h reprocessing.History) reprocessing.History {
				step(t, &h, reprocessing.LeakTest).Result = reprocessing.Fail
				return cycleFrom(t, h, 5*hour)
			}, reprocessing.InReprocessing, "passed at",
		},
		{
			"a whole cycle without the soak", "18:00", func(h reprocessing.History) reprocessing.History {
				return without(cycleFrom(t, h, 5*hour), reprocessing.Soak)
			}, reprocessing.NotKnown, "no soak for delayed reprocessing",
		},
		{
			"a whole cycle of between, recorded late", "18:00", func(h reprocessing.History) reprocessing.History { return cycleFrom(t, h, 150*mins) },
			reprocessing.NotKnown, lost,
		},
		{
			"a use since and nothing else: it is known again", "13:00", func(h reprocessing.History) reprocessing.History {
				used := reprocessing.Use{Stamp: stamp("later use", instant(t, "12:40")), Scope: "D-01", Start: instant(t, "12:10"), End: instant(t, "12:40")}
				h.Uses = append(h.Uses, used)
				return h
			}, reprocessing.InReprocessing, "no reprocessing step is on record since the last use",
		},
		{
			"a use of between, recorded late", "13:00", func(h reprocessing.History) reprocessing.History {
				used := reprocessing.Use{Stamp: stamp("late use", instant(t, "12:40")), Scope: "D-01", Start: instant(t, "11:10"), End: instant(t, "11:40")}
				h.Uses = append(h.Uses, used)
				return h
			}, reprocessing.NotKnown, lost,
		},
		{
			"registered since", "13:00", func(h reprocessing.History) reprocessing.History {
				h.Instrument.InService = instant(t, "12:05")
				h.Uses, h.Steps, h.Samples, h.Decisions = nil, nil, nil, nil
				return h
			}, reprocessing.NotKnown, "no reprocessing step is on record since it came into service",
		},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			h := restoredAt(t, good(t))
			if test.change != nil {
				h = test.change(h)
			}
			at := instant(t, test.at)
			wantState(t, reprocessing.Release(h, rules, at, zone), test.want, test.part)
			if at < instant(t, "12:00") {
				return // nobody asks about the present before it is
			}
			wantState(t, reprocessing.ReleaseNow(h, rules, reprocessing.Clock{}, at, zone), test.want, test.part)
		})
	}
}

// A restore that was recorded by a clock in doubt counts from when that was settled, or from now.
func TestRestoreByAWrongClock(t *testing.T) {
	t.Parallel()
	rules, zone := preset(t), berlin(t)
	at := instant(t, "18:00")
	h := cycleFrom(t, restoredAt(t, good(t)), 5*hour)
	wantState(t, reprocessing.ReleaseNow(h, rules, reprocessing.Clock{}, at, zone), reprocessing.Ready, "OK")
	h.Restores[0].Unsure = instant(t, "17:00")
	wantState(t, reprocessing.ReleaseNow(h, rules, reprocessing.Clock{}, at, zone), reprocessing.NotKnown, "what happened in between")
	h.Restores[0].Unsure = reprocessing.Never
	wantState(t, reprocessing.ReleaseNow(h, rules, reprocessing.Clock{}, at, zone), reprocessing.NotKnown, "what happened in between")
	h.Restores[0].Unsure, h.Restores[0].At = 0, at+hour
	wantState(t, reprocessing.ReleaseNow(h, rules, reprocessing.Clock{}, at, zone), reprocessing.NotKnown, "what happened in between")
}

// A restore never makes a scope more usable, and what was begun before it never makes one ready after it.
func TestRestoreIsMonotone(t *testing.T) {
	rules, zone := preset(t), berlin(t)
	morning := instant(t, "08:00")
	ready := 0
	rapid.Check(t, func(rt *rapid.T) {
		h := good(t)
		if rapid.Bool().Draw(rt, "again") {
			h = cycleFrom(t, h, between(rt, "later", 0, 10*hour))
		}
		h = disturb(rt, h, morning)
		at := between(rt, "at", morning+3*hour, morning+24*hour)
		before := reprocessing.ReleaseNow(h, rules, reprocessing.Clock{}, at, zone)
		restored := h
		copied := between(rt, "copied", morning, at)
		note := reprocessing.RestoreNote{
			Stamp: stamp("restore", at), Told: reprocessing.InPlace, Copied: copied, At: between(rt, "restored", copied, at), Size: 1, By: "L-01",
		}
		restored.Restores = []reprocessing.RestoreNote{note}
		after := reprocessing.ReleaseNow(restored, rules, reprocessing.Clock{}, at, zone)
		if after.State != reprocessing.Ready {
			return
		}
		ready++
		if before.State != reprocessing.Ready || after.Until > before.Until {
			rt.Fatalf("%s until %s before, %s until %s after the restore", before.State, before.Until, after.State, after.Until)
		}
		for _, p := range after.Steps {
			if p.Status == reprocessing.DoneStep && p.Start < note.At && p.Step != reprocessing.PointOfUse {
				rt.Fatalf("ready after a restore at %s by %s at %s", note.At, p.Step, p.Start)
			}
		}
	})
	if ready == 0 {
		t.Error("no drawn history was ready after a restore: the property shows nothing")
	}
}

func TestRestoreNoteCheck(t *testing.T) {
	t.Parallel()
	restore := reprocessing.RestoreNote{Told: reprocessing.InPlace, Copied: noon, At: noon, Size: 1, By: "L-01"}
	nothing := nothingSince(t, "restore", "D-01")
	for _, test := range []struct {
		name   string
		note   reprocessing.RestoreNote
		change func(*reprocessing.RestoreNote)
		want   string
	}{
		{"a restore", restore, func(*reprocessing.RestoreNote) {}, ""},
		{"of nothing", restore, func(n *reprocessing.RestoreNote) { n.Size = 0 }, "without records"},
		{"by nobody", restore, func(n *reprocessing.RestoreNote) { n.By = "" }, "who does it?"},
		{"of an unknown time", restore, func(n *reprocessing.RestoreNote) { n.Copied = 0 }, "when was the copy made?"},
		{"before the copy", restore, func(n *reprocessing.RestoreNote) { n.Copied = noon + 1 }, "after it was restored"},
		{"nothing since", nothing, func(*reprocessing.RestoreNote) {}, ""},
		{"alone", nothing, func(n *reprocessing.RestoreNote) { n.Second = "" }, "the lead and a second person"},
		{"of no scope", nothing, func(n *reprocessing.RestoreNote) { n.Scopes = nil }, "of which scopes?"},
		{"since no copy", nothing, func(n *reprocessing.RestoreNote) { n.Restore = "" }, "since which one?"},
		{"by a feeling", nothing, func(n *reprocessing.RestoreNote) { n.Known = "felt" }, "paper"},
		{"something else", restore, func(n *reprocessing.RestoreNote) { n.Told = "dreamt" }, "nothing that can be told"},
	} {
		n := test.note
		test.change(&n)
		wantError(t, n.Check(), test.want)
		if n.Words() == "" {
			t.Errorf("%s: no words", test.name)
		}
	}
}
