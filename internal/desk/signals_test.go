package desk_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
)

// raised returns the signals of all series with what people did about them.
func (b *bench) raised() (all []desk.Raised) {
	b.Helper()
	err := b.desk.View(b.Context(), func(v desk.View) error {
		o, err := v.Numbers().Outlook(b.at(), desk.UsualWatching())
		if err != nil {
			return err
		}
		all, err = v.Numbers().Raised(o.Signals)
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return all
}

// handle does something about a signal.
func (b *bench) handle(e desk.Entry, r desk.Raised, h trend.Handling) (receipt desk.Receipt, err error) {
	b.Helper()
	b.pass(time.Second)
	h.Signal, h.Identity, h.Begin, h.Last = r.ID, r.Identity, r.Signalled, r.Signalled
	if r.Signal != nil {
		h.Begin, h.Last = r.Signal.Begin(), r.Signal.Last
	}
	err = b.desk.As(access.Scribe()).Do(b.Context(), func(w *desk.Work) (err error) {
		receipt, err = w.OnSignals().HandleSignal(e, h)
		return err
	})
	return receipt, err
}

// rising is a bench whose series has an adopted baseline and rises after it.
func rising(t *testing.T) *bench {
	t.Helper()
	b := start(t)
	for _, v := range values(30, 0, 7) {
		b.cycle("T-01", "7", v)
	}
	b.freeze(desk.Freeze{})
	for _, v := range values(8, 0.6, 8) {
		b.cycle("T-01", "7", v)
	}
	return b
}

func TestSignalThroughItsLife(t *testing.T) {
	b := rising(t)
	signal := b.raised()[0]
	if signal.State != trend.LifeNew || signal.Signal == nil || signal.Acts != 0 {
		t.Fatalf("before anybody acted: %+v", signal)
	}
	lead := desk.Entry{By: "L-01"}
	if _, err := b.handle(lead, signal, trend.Handling{Act: trend.Closed, Words: "done"}); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("closed without an explanation: %v", err)
	}
	do := func(h trend.Handling, state trend.LifeState) desk.Receipt {
		t.Helper()
		r, err := b.handle(lead, signal, h)
		if err != nil {
			t.Fatal(err)
		}
		if got := b.raised()[0]; got.State != state || got.ID != signal.ID {
			t.Fatalf("after %s: %s (%s), want %s", h.Act, got.State, got.ID, state)
		}
		return r
	}
	do(trend.Handling{Act: trend.Seen}, trend.LifeSeen)
	explained := do(trend.Handling{Act: trend.Explained, Cause: trend.CleaningCause, Words: "a brush of the wrong size"}, trend.LifeExplained)
	var request desk.Receipt
	b.do(func(w *desk.Work) (err error) {
		request, err = w.Ask(lead, sampling.Request{Scope: "D-01", Reason: "with the right brush", By: "L-01"})
		return err
	})
	linked := do(trend.Handling{Act: trend.Linked, Record: request.Record.ID}, trend.LifeExplained)
	b.ask(func(v desk.View) error {
		line, err := v.Show(string(explained.Record.ID))
		if err != nil {
			return err
		}
		if got, want := line.Words(), "outer distal end, signal explained, "+trend.CleaningCause.Words()+", a brush of the wrong size"; got != want {
			t.Errorf("the record says %q, want %q", got, want)
		}
		if line, err = v.Show(string(linked.Record.ID)); err != nil {
			return err
		}
		rests, err := v.Records().Named(line)
		if got, want := related(rests), []string{"the reading that it began with: reading", "what was done about it: request"}; !slices.Equal(got, want) {
			t.Errorf("it rests on %q, want %q", got, want)
		}
		return err
	})
	b.ask(func(v desk.View) error {
		line, err := v.Show(string(signal.Reading))
		if err != nil {
			return err
		}
		chain, err := v.Records().Chain(line)
		if err != nil {
			return err
		}
		names, err := v.Records().Naming(line, chain)
		if n := len(names); n < 3 || !slices.Contains(related(names), "names it: signal") {
			t.Errorf("the reading leads to %q", related(names))
		}
		return err
	})
	do(trend.Handling{Act: trend.Closed, Words: "the right brushes are in use"}, trend.LifeClosed)

	if got := b.raised()[0]; got.Again {
		t.Error("it signals again right after it was closed")
	}

	// More readings change nothing about it, but that it signals again is said.
	for _, v := range values(5, 0.6, 9) {
		b.cycle("T-01", "7", v)
	}
	if got := b.raised()[0]; got.ID != signal.ID || got.State != trend.LifeClosed || !got.Again || got.Shifted || got.Acts != 4 {
		t.Errorf("after more readings: %+v", got)
	}

	// Without the explanation it was not closed.
	b.do(func(w *desk.Work) error {
		_, err := w.Void(desk.Entry{By: "L-01", Corrects: explained.Record.ID, Reason: "it was the right brush"})
		return err
	})
	if got := b.raised()[0]; got.State != trend.LifeSeen || got.Acts != 2 {
		t.Errorf("after the explanation was taken back: %s with %d acts", got.State, got.Acts)
	}
	var life desk.Life
	if err := b.desk.View(t.Context(), func(v desk.View) (err error) {
		life, err = v.Numbers().Life(signal.ID)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	var said []string
	for _, h := range life.Acts {
		words := string(h.Act)
		if h.Replaced.Known() {
			words += " taken back"
		}
		if !h.Counts {
			words += " idle"
		}
		said = append(said, words)
	}
	if want := []string{"seen", "explained taken back idle", "linked", "closed idle"}; life.State != trend.LifeSeen || !slices.Equal(said, want) {
		t.Errorf("%s: %q, want %q", life.State, said, want)
	}
}

// The same form sent twice is stored once; what is refused says why.
func TestHandleSignalRefuses(t *testing.T) {
	b := rising(t)
	signal := b.raised()[0]
	id := desk.Entry{By: "L-01", ID: ledger.NewID(b.at(), zeros{})}
	first, err := b.handle(id, signal, trend.Handling{Act: trend.Seen})
	if err != nil {
		t.Fatal(err)
	}
	if again, err := b.handle(id, signal, trend.Handling{Act: trend.Seen}); err != nil || again.Fresh || again.Record.ID != first.Record.ID {
		t.Errorf("sent twice: %+v, %v", again, err)
	}
	if _, err := b.handle(id, signal, trend.Handling{Act: trend.Linked, Record: signal.Reading}); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("another act under the same id: %v", err)
	}
	var hold desk.Receipt
	b.do(func(w *desk.Work) (err error) {
		if _, err = w.SettingUp().
			RegisterInstrument(desk.Entry{By: "L-01"}, b.at(), scope.Instrument{Tag: "D-99", Model: "D1", Owner: scope.Own, InService: b.at()}); err != nil {
			return err
		}
		hold, err = w.PlaceHold(desk.Entry{By: "L-01"}, reprocessing.Hold{Scope: "D-99", By: "L-01", Reason: "x"})
		return err
	})
	lead := desk.Entry{By: "L-01"}
	for _, c := range []struct {
		name   string
		entry  desk.Entry
		signal desk.Raised
		act    trend.Handling
		want   string
	}{
		{"nobody", desk.Entry{}, signal, trend.Handling{Act: trend.Explained}, "the code of who does it"},
		{"a correction", desk.Entry{By: "L-01", Corrects: first.Record.ID, Reason: "x"}, signal, trend.Handling{Act: trend.Seen}, "take it back and say it anew"},
		{"seen again", lead, signal, trend.Handling{Act: trend.Seen}, "seen before"},
		{"no cause", lead, signal, trend.Handling{Act: trend.Explained, Words: "x"}, "choose a cause"},
		{"no such record", lead, signal, trend.Handling{Act: trend.Linked, Record: ledger.DerivedID("none")}, "there is no record"},
		{"a reading", lead, signal, trend.Handling{Act: trend.Linked, Record: signal.Reading}, "a reading record is nothing that is done about a signal"},
		{"a hold on another scope", lead, signal, trend.Handling{Act: trend.Linked, Record: hold.Record.ID}, "is about D-99 and not about D-01"},
		{"no such signal", lead, desk.Raised{ID: ledger.DerivedID("none"), Identity: signal.Identity}, trend.Handling{Act: trend.Seen}, "there is no signal"},
		{"of another series", lead, ofAnotherKit(signal), trend.Handling{Act: trend.Seen}, "belongs to D-01, outer-distal-end, A with K and not to"},
	} {
		if _, err := b.handle(c.entry, c.signal, c.act); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

func ofAnotherKit(r desk.Raised) desk.Raised {
	r.Signal = nil
	r.Series.Kit = "L"
	r.ID = r.Identity.ID()
	return r
}

// zeros is a source of no randomness.
type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// When the reading that it began with is taken back, the signal goes on under its id and says so; when
// nothing signals any more, it says that.
func TestSignalKeepsItsIdentity(t *testing.T) {
	b := rising(t)
	signal := b.raised()[0]
	if _, err := b.handle(desk.Entry{By: "L-01"}, signal, trend.Handling{Act: trend.Seen}); err != nil {
		t.Fatal(err)
	}
	void := func(id ledger.ID) {
		b.do(func(w *desk.Work) error {
			_, err := w.Void(both(desk.Entry{Corrects: id, Reason: "of another scope"}))
			return err
		})
	}
	void(signal.Reading)
	all := b.raised()
	if len(all) != 1 || all[0].ID != signal.ID || !all[0].Shifted || all[0].Signal == nil || all[0].State != trend.LifeSeen ||
		all[0].Reading != signal.Reading {
		t.Fatalf("after its first reading was voided: %+v", all)
	}
	if _, err := b.handle(desk.Entry{By: "L-01"}, all[0], trend.Handling{Act: trend.Explained, Cause: trend.ScopeCause, Words: "x"}); err != nil {
		t.Errorf("acting on it: %v", err)
	}
	for _, p := range b.series().Points[30:] {
		void(p.ID)
	}
	if all = b.raised(); len(all) != 1 || all[0].ID != signal.ID || all[0].Signal != nil || all[0].State != trend.LifeExplained {
		t.Errorf("after all high readings were voided: %+v", all)
	}
}

// What may be linked is what was done since the change, of the scope, its kit and its meters.
func TestMeasures(t *testing.T) {
	b := rising(t)
	signal := b.raised()[0]
	var request, repair desk.Receipt
	b.do(func(w *desk.Work) (err error) {
		lead := desk.Entry{By: "L-01"}
		if request, err = w.Ask(lead, sampling.Request{Scope: "D-01", Reason: "again", By: "L-01"}); err != nil {
			return err
		}
		repair, err = w.RecordRepair(lead, scope.Repair{Scope: "D-01", Sent: b.at(), Fault: "a scratch"}, "")
		return err
	})
	var measures []desk.Measure
	if err := b.desk.View(t.Context(), func(v desk.View) (err error) {
		measures, err = v.Numbers().Measures(signal.Series, signal.Signal.Begin())
		return err
	}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []desk.Measure{
		{ID: request.Record.ID, Type: record.Request, What: "again"},
		{ID: repair.Record.ID, Type: record.Repair, What: "a scratch"},
	} {
		if !slices.ContainsFunc(measures, func(m desk.Measure) bool { return m.ID == want.ID && m.Type == want.Type && m.What == want.What }) {
			t.Errorf("%+v is not among %+v", want, measures)
		}
	}
}
