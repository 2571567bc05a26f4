package desk_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/storetest"
)

// readyNow is the answer for the present instant.
func (b *bench) readyNow() (a reprocessing.Answer) {
	b.Helper()
	b.ask(func(v desk.View) (err error) {
		a, err = v.ReleaseNow("D-01", b.at(), store.Forever)
		return err
	})
	return a
}

// wantNow wants an answer now, with words in what blocks.
func (b *bench) wantNow(what string, want reprocessing.State, words ...string) {
	b.Helper()
	a := b.readyNow()
	var blocks []string
	for _, r := range a.Reasons {
		if r.Blocks {
			blocks = append(blocks, r.Whole())
		}
	}
	if a.State != want {
		b.Errorf("%s: %s, want %s; it blocks: %s", what, a.State, want, strings.Join(blocks, "; "))
	}
	for _, w := range words {
		if !strings.Contains(strings.Join(blocks, "; "), w) {
			b.Errorf("%s: it blocks %q, want %q in it", what, blocks, w)
		}
	}
}

// doubted is the word of the answer while nobody has compared the clock.
const doubted = "nobody has compared it with another clock since"

// compare compares the clock with a phone that shows what this clock does, by two leads at the machine.
func (b *bench) compare() {
	b.Helper()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Care().CompareClock(desk.Entry{By: "L-01"}, reprocessing.ClockNote{By: "L-01", Second: "L-02", Other: reprocessing.Phone, Saw: b.at()})
	})
}

// reprocessed brings the scope from a use to the cabinet.
func (b *bench) reprocessed() {
	b.Helper()
	b.use()
	b.verification("30", "30", "30")
	b.finish()
}

// write records a step that no rule asks for.
func (b *bench) write() {
	b.Helper()
	b.step(reprocessing.Transport, 0, nil)
}

// stepped plays a clock that is watched while it steps.
func (b *bench) stepped(step time.Duration) {
	b.Helper()
	look, watched := make(chan time.Time), make(chan struct{})
	ctx, stop := context.WithCancel(b.Context())
	var elapsed time.Duration
	tick := func() reprocessing.Ticked { return reprocessing.Ticked{Wall: b.at(), Elapsed: elapsed} }
	ready := make(chan struct{})
	go func() {
		defer close(watched)
		first := true
		b.desk.WatchClock(ctx, look, func() reprocessing.Ticked {
			t := tick()
			if first {
				first = false
				close(ready)
			}
			return t
		}, func(err error) { b.Error(err) })
	}()
	<-ready
	b.pass(5*time.Second + step)
	elapsed = 5 * time.Second
	look <- time.Time{}
	look <- time.Time{} // taken up only once the first was dealt with
	stop()
	<-watched
}

func TestHoldCountsWhateverTheClockSays(t *testing.T) {
	b := start(t)
	b.reprocessed()
	b.pass(time.Hour)
	b.wantNow("before", reprocessing.Ready)
	placed := b.at()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "smells"})
	})
	b.pass(-time.Minute)
	b.wantNow("a minute back", reprocessing.OnHold, "smells")
	if a := b.releaseAt(b.at(), store.Forever); a.State != reprocessing.Ready {
		t.Errorf("asked for the instant as one of the past: %s", a.State)
	}
	if a := b.readyNow(); strings.Contains(a.Reasons[0].Text, doubted) {
		t.Errorf("a minute and no more is only noted: %s", a.Reasons[0].Text)
	}
	b.pass(-time.Second)
	b.wantNow("more than a minute back, not on record yet", reprocessing.OnHold, "smells", doubted)
	b.write()
	b.wantNow("and on record", reprocessing.OnHold, "smells", doubted)
	b.compare()
	b.wantNow("compared", reprocessing.OnHold, "smells")
	if b.at() > placed {
		t.Fatal("the clock is past the hold")
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		var open []reprocessing.Hold
		open, err := w.OpenHolds("D-01", b.at())
		if err != nil || len(open) != 1 {
			t.Fatalf("open holds: %+v %v", open, err)
		}
		return w.LiftHold(desk.Entry{By: "L-01"}, reprocessing.Lift{Hold: open[0].ID, By: "L-01", Second: "L-02", Reason: "looked at"})
	})
	if a := b.readyNow(); a.State == reprocessing.OnHold {
		t.Errorf("two people have lifted the hold: %+v", a.Reasons)
	}
	b.rebuilt()
}

// A small step is on record and asks nobody; a large one asks until people have compared another clock.
func TestSteps(t *testing.T) {
	for _, test := range []struct {
		name  string
		step  time.Duration
		noted int
		large bool
	}{
		{"one second back", -time.Second, 0, false},
		{"five seconds back", -5 * time.Second, 1, false},
		{"a minute back", -time.Minute, 1, false},
		{"a minute and a second back", -time.Minute - time.Second, 1, true},
		{"nine minutes ahead", 9 * time.Minute, 1, false},
		{"ten minutes ahead", 10 * time.Minute, 1, false},
		{"eleven minutes ahead", 11 * time.Minute, 1, true},
	} {
		t.Run(test.name, func(t *testing.T) {
			b := start(t)
			b.reprocessed()
			b.pass(12 * time.Hour)
			b.wantNow("before", reprocessing.Ready)
			size := b.size()
			b.stepped(test.step)
			if got := int(b.size() - size); got != test.noted {
				t.Errorf("%d records of it, want %d", got, test.noted)
			}
			want := reprocessing.Ready
			if test.large {
				want = reprocessing.NotKnown
			}
			b.wantNow("after", want)
			if !test.large {
				return
			}
			a := b.readyNow()
			if a.Until.Known() || !strings.Contains(a.Reasons[0].Text, doubted) || !strings.Contains(a.Next[0], "compare this computer's clock") {
				t.Errorf("%+v, next %q", a.Reasons[0], a.Next)
			}
			b.pass(48 * time.Hour)
			b.wantNow("two days later", reprocessing.NotKnown, doubted)
			b.compare()
			b.wantNow("compared", reprocessing.Ready)
		})
	}
}

// The clock jumps ahead, work goes on, and it is put right: nothing that was written meanwhile proves anything, what
// speaks against the scope counts, and a new cycle makes it ready.
func TestJumpAndBack(t *testing.T) {
	for _, test := range []struct {
		name string
		far  time.Duration
	}{
		{"to 2099, when the lot has expired", time.Date(2099, 1, 1, 0, 0, 0, 0, time.UTC).Sub(storetest.NewClock().Now())},
		{"by forty days", 40 * 24 * time.Hour},
	} {
		t.Run(test.name, func(t *testing.T) { jumpAndBack(t, test.far) })
	}
}

func jumpAndBack(t *testing.T, far time.Duration) {
	t.Helper()
	holds := []string{"smells", "action level"}
	b := start(t)
	b.reprocessed()
	b.pass(time.Hour)
	b.wantNow("before", reprocessing.Ready)
	b.stepped(far)
	b.wantNow("ahead", reprocessing.NotKnown, doubted)
	u, _ := b.use()
	b.verification("30", "30", "250")
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "smells"})
	})
	b.clean()
	b.verification("30", "30", "30")
	b.finish()
	b.wantNow("reprocessed ahead", reprocessing.OnHold, doubted)
	b.stepped(-far)
	if b.at() > u.Start {
		t.Fatalf("the clock is not back: %s", b.at())
	}
	b.wantNow("back", reprocessing.OnHold, "smells", doubted)
	b.compare()
	b.wantNow("compared: the holds, and no step that proves anything", reprocessing.OnHold,
		append(holds, "manual cleaning was recorded while the computer's clock was in doubt, which proves nothing")...)
	a := b.readyNow()
	if a.Cycle > b.at() {
		t.Errorf("the cycle began at %s", a.Cycle)
	}
	for _, s := range a.Steps {
		if s.Status == reprocessing.DoneStep {
			t.Errorf("%s counts as done", s.Step)
		}
	}
	b.pass(time.Minute)
	b.reprocessed()
	b.wantNow("a new cycle ends no hold that was placed meanwhile", reprocessing.OnHold, holds...)
	b.ask(func(v desk.View) error {
		all, err := v.Records().Liftables("D-01", b.at())
		// Beside the two holds that were placed meanwhile: the use began at a time at which nothing was ready, and so did the
		// next, under these holds.
		if len(all) != len(holds)+2 || slices.ContainsFunc(all, func(l desk.Liftable) bool { return !l.Second || l.At > b.at() }) {
			t.Errorf("to be lifted by two: %+v", all)
		}
		return err
	})
	b.liftAll()
	b.wantNow("and lifted", reprocessing.Ready)
	b.rebuilt()
	b.wantNow("from rebuilt tables", reprocessing.Ready)
}

// What was begun in 2099 and never ended is taken back by name.
func TestOpenUseFromTheFarFuture(t *testing.T) {
	b := start(t)
	b.reprocessed()
	far := time.Date(2099, 1, 1, 0, 0, 0, 0, time.UTC).Sub(b.at().Time())
	b.stepped(far)
	use := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordUse(desk.Entry{By: "N-01"}, reprocessing.Use{Scope: "D-01", Start: b.at()}, "")
	})
	b.stepped(-far)
	b.compare()
	// By the clock of then its storage time was over.
	b.wantNow("open", reprocessing.OnHold, "in use on a patient since", "on hold (record) since")
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(both(desk.Entry{Corrects: use.Record.ID, Reason: "it never was"}))
	})
	b.wantNow("taken back", reprocessing.Ready)
}

// A clock that was ahead before anybody looked is found out as it goes back: what has a later time proves nothing.
func TestAheadUnnoticed(t *testing.T) {
	b := start(t)
	b.use()
	b.verification("30", "30", "30")
	b.pass(time.Hour)
	b.finish()
	b.wantNow("before", reprocessing.Ready)
	b.pass(-time.Hour)
	b.write()
	b.compare()
	a := b.readyNow()
	if a.State == reprocessing.Ready {
		t.Fatalf("ready by steps of a time that has not come: %+v", a.Steps)
	}
	b.pass(2 * time.Hour)
	if a = b.readyNow(); a.State == reprocessing.Ready {
		t.Errorf("time alone made it ready: %+v", a.Steps)
	}
	b.reprocessed()
	// The use began after steps that prove nothing.
	b.wantHeldFor("a new cycle", reprocessing.ExposureHold)
	b.liftAll()
	b.wantNow("a new cycle, and lifted", reprocessing.Ready)
}

// The clock is an hour back when the program begins again.
func TestBackAcrossARestart(t *testing.T) {
	b := start(t)
	b.reprocessed()
	b.pass(2 * time.Hour)
	b.write()
	b.finish()
	b.pass(time.Minute)
	home := b.desk.DB.Home()
	if err := b.desk.DB.Close(); err != nil {
		t.Fatal(err)
	}
	b.pass(-time.Hour)
	db, err := sqlite.Folder(home.Dir()).Open(context.Background(), b.now.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	b.desk = desk.New(db)
	b.wantNow("before anything is written", reprocessing.NotKnown, doubted, "set back by")
	size := b.size()
	for range 2 {
		if err := b.desk.NoticeClock(context.Background()); err != nil {
			t.Fatal(err)
		}
	}
	if got := b.size() - size; got != 1 {
		t.Errorf("%d records of it, want 1", got)
	}
	b.wantNow("noticed", reprocessing.NotKnown, doubted, "set back by")
	b.pass(3 * time.Hour)
	b.wantNow("when the clock has gone past it", reprocessing.NotKnown, doubted)
}

func TestCompareClock(t *testing.T) {
	b := start(t)
	b.person("T-01", access.Technician)
	b.person("T-02", access.Technician)
	technician := func(code string) access.Actor { return b.as(code, 0, access.Technician) }
	for _, test := range []struct {
		name   string
		actor  access.Actor
		second access.Actor
		note   reprocessing.ClockNote
		apart  time.Duration
		want   fault.Code
		words  string
	}{
		{name: "a lead", actor: b.as("L-01", 0, access.Lead)},
		{name: "one technician", actor: technician("T-01"), want: fault.Invalid, words: "two people on duty"},
		{name: "two technicians", actor: technician("T-01"), second: technician("T-02")},
		{name: "one technician twice", actor: technician("T-01"), second: technician("t-01"), want: fault.Invalid, words: "somebody else"},
		{name: "a technician and an auditor", actor: technician("T-01"), second: b.as("V-01", 0, access.Auditor), want: fault.Forbidden, words: "one who may"},
		{name: "a name alone", actor: technician("T-01"), note: reprocessing.ClockNote{Second: "T-02"}, want: fault.Unsigned, words: "has not shown"},
		{name: "two minutes apart", actor: b.as("L-01", 0, access.Lead), apart: 2 * time.Minute},
		{name: "more than two minutes behind", actor: b.as("L-01", 0, access.Lead), apart: 2*time.Minute + time.Second},
		{name: "more than two minutes ahead, by one technician", actor: technician("T-01"), apart: -2*time.Minute - time.Second},
		{name: "apart, by one at the machine", actor: access.Operator("L-01"), apart: 2 * time.Hour},
		{name: "no other clock", actor: b.as("L-01", 0, access.Lead), note: reprocessing.ClockNote{Other: "the sun"}, want: fault.Invalid, words: "radio-clock"},
		{name: "a lead at the machine who is registered", actor: access.Operator("L-01")},
		{name: "one person at the machine", actor: access.Operator("T-01"), want: fault.Invalid, words: "two people on duty"},
		{name: "two at the machine", actor: access.Operator("L-01"), note: reprocessing.ClockNote{Second: "L-02"}},
		{name: "one twice at the machine", actor: access.Operator("L-01"), note: reprocessing.ClockNote{Second: "l-01 "}, want: fault.Invalid},
		{name: "somebody unknown at the machine", actor: access.Operator("L-01"), note: reprocessing.ClockNote{Second: "X-77"}, want: fault.NotFound, words: "X-77"},
	} {
		t.Run(test.name, func(t *testing.T) {
			n := test.note
			if n.Other == "" {
				n.Other = reprocessing.Phone
			}
			n.Saw = b.at().Add(test.apart)
			err := b.desk.As(test.actor).Try(context.Background(), func(w *desk.Work) error {
				return only(w.Care().CompareClock(desk.Entry{Second: test.second}, n))
			})
			if got := fault.CodeOf(err); got != test.want || test.want == "" && err != nil {
				t.Fatalf("%v, want the code %q", err, test.want)
			}
			if test.words != "" && !strings.Contains(err.Error(), test.words) {
				t.Errorf("%v, want %q in it", err, test.words)
			}
		})
	}
	id := ledger.NewID(b.at(), strings.NewReader(strings.Repeat("x", 64)))
	saw := b.at()
	for i := range 2 {
		r := b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.Care().CompareClock(desk.Entry{ID: id, By: "L-01"}, reprocessing.ClockNote{By: "L-01", Second: "L-02", Other: reprocessing.Phone, Saw: saw})
		})
		if r.Fresh != (i == 0) {
			t.Errorf("sent %d times: fresh %t", i+1, r.Fresh)
		}
		b.pass(10 * time.Minute)
	}
}

// A clock that is found wrong is in doubt from then on, whatever the computer says: nothing is ready, what was written by a
// time that had not come proves nothing, and only a later comparison in which both agree ends it.
func TestClockFoundApart(t *testing.T) {
	for _, ahead := range []bool{true, false} {
		b := start(t)
		b.person("T-01", access.Technician)
		b.reprocessed()
		b.wantNow("before", reprocessing.Ready)
		b.pass(time.Minute)
		off := map[bool]time.Duration{true: -126 * time.Minute, false: 126 * time.Minute}[ahead]
		r := b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.Care().CompareClock(desk.Entry{By: "T-01"}, reprocessing.ClockNote{By: "T-01", Other: reprocessing.Phone, Saw: b.at().Add(off)})
		})
		want := "the computer's clock was found 2h6min ahead of a phone on its network"
		if !ahead {
			want = "the computer's clock was found 2h6min behind a phone on its network"
		}
		if n := body[reprocessing.ClockNote](t, r.Record); n.Noticed != reprocessing.ByApart || n.Words() != want {
			t.Errorf("%q, want %q", n.Words(), want)
		}
		b.wantNow("found apart", reprocessing.NotKnown, want, "nobody has found the two to agree since")
		if next := b.readyNow().Next; len(next) == 0 || !strings.HasPrefix(next[0], "have this computer's clock set right, then compare") {
			t.Errorf("next: %q", next)
		}
		b.pass(time.Minute + off)
		b.compare()
		if a := b.readyNow(); ahead && a.State == reprocessing.Ready {
			t.Errorf("set right: what was written with a time that had not come counts: %+v", a.Reasons)
		} else if !ahead && a.State != reprocessing.Ready {
			t.Errorf("set right: %s, %+v", a.State, a.Reasons)
		}
	}
}

// A hold that stood before the clock jumped, and that a verification of that time ended, is open again; the next one
// ends it.
func TestLiftOnReadingsOfAWrongClock(t *testing.T) {
	b := start(t)
	b.use()
	b.verification("30", "30", "250")
	b.wantNow("over the action level", reprocessing.OnHold, "action level")
	far := 40 * 24 * time.Hour
	b.stepped(far)
	b.clean()
	b.verification("30", "30", "30")
	b.wantNow("ahead", reprocessing.OnHold, "action level", doubted)
	b.stepped(-far)
	b.compare()
	b.wantNow("compared", reprocessing.OnHold, "action level")
	b.pass(time.Minute)
	b.reprocessed()
	// The hold for cleaning has ended; that the scope was used under it is an exposure.
	b.wantHeldFor("reprocessed", reprocessing.ExposureHold)
	b.liftAll()
	b.wantNow("lifted", reprocessing.Ready)
	b.rebuilt()
	b.wantNow("from rebuilt tables", reprocessing.Ready)
}

// A verification that rests on a sample of the wrong clock does not pass, though it was finished when that was right.
func TestVerificationOverACorrection(t *testing.T) {
	b := start(t)
	b.use()
	b.stepped(20 * time.Minute)
	b.read(points[0], "30")
	b.compare()
	b.read(points[1], "30")
	b.read(points[2], "30")
	b.finish()
	if a := b.readyNow(); a.State == reprocessing.Ready {
		t.Errorf("ready by a sample of a clock in doubt: %+v", a.Reasons)
	}
	b.clean()
	b.verification("30", "30", "30")
	b.finish()
	b.wantNow("cleaned and sampled again", reprocessing.Ready)
}
