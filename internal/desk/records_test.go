package desk_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// chain returns a record and its versions, as "what it did: what it says".
func (b *bench) chain(id ledger.ID) (line desk.Line, versions []string) {
	b.Helper()
	b.ask(func(v desk.View) (err error) {
		if line, err = v.Show(string(id)); err != nil {
			return err
		}
		chain, err := v.Records().Chain(line)
		for _, version := range chain {
			versions = append(versions, version.Did+": "+version.Words())
		}
		return err
	})
	return line, versions
}

// Every record of a chain tells the same chain, from the first version to the last; each says what became of
// it.
func TestChain(t *testing.T) {
	t.Parallel()
	b := start(t)
	b.use()
	first := b.read(points[0], "388")
	sample := first.Record.Because[0]
	at := first.Record.At
	replace := func(corrects ledger.ID, value string) ledger.ID {
		b.pass(time.Minute)
		return b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.Read(
				both(desk.Entry{Corrects: corrects, Reason: "typed wrong"}),
				desk.Reading{Sample: sample, Meter: "M-1", Value: b.rlu(value), At: at},
			)
		}).Record.ID
	}
	second := replace(first.Record.ID, "38")
	third := replace(second, "83")
	b.pass(time.Minute)
	void := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: third, Reason: "another scope"})
	}).Record.ID
	taken := ledger.DerivedID("taken back for", string(second)) // what was over the action level was taken back by two
	want := []string{
		": outer distal end, 388 RLU, action",
		"voided: with H-01",
		"anew: outer distal end, 38 RLU, OK",
		"corrected: outer distal end, 83 RLU, OK",
		"voided: another scope",
	}
	for i, id := range []ledger.ID{first.Record.ID, taken, second, third, void} {
		line, got := b.chain(id)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("from version %d (-want +got):\n%s", i+1, diff)
		}
		b.ask(func(v desk.View) error {
			did, err := v.Records().Fate(line)
			if fate := []string{record.StateVoided, "", record.StateCorrected, record.StateVoided, ""}[i]; did != fate {
				t.Errorf("version %d: %q, want %q", i+1, did, fate)
			}
			return err
		})
	}
}

// related lists the records of a relation as "words: type".
func related(list []desk.Relation) (words []string) {
	for _, r := range list {
		words = append(words, r.How+": "+string(r.Type))
	}
	slices.Sort(words)
	return words
}

// A reading leads to its sample, its lot, the use before it and its verification; a cleaning verification to what is in it and to the
// hold that it placed; a lift to its hold.
func TestRelations(t *testing.T) {
	t.Parallel()
	b := start(t)
	_, use := b.use()
	over := b.verification("30", "388", "30")
	b.clean()
	passed := b.verification("30", "30", "30")
	var hold, lift string
	b.ask(func(v desk.View) error {
		return v.Records().Search(store.Query{Terms: []record.Term{record.ByScope.Is("D-01")}}, func(l desk.Line) (bool, error) {
			switch l.Type {
			case record.Hold:
				hold = l.ID
			case record.Lift:
				lift = l.ID
			}
			return true, nil
		})
	})
	reading, _ := b.chain(over.Record.ID)
	b.ask(func(v desk.View) error {
		named, err := v.Records().Named(reading)
		if err != nil {
			return err
		}
		want := []string{
			"its lot: lot", "its sample: sample", "the last check of its meter before it: check", "the use that its cycle follows: use",
		}
		if diff := cmp.Diff(want, related(named)); diff != "" {
			t.Errorf("a reading rests on (-want +got):\n%s", diff)
		}
		for _, r := range named {
			if r.Type == record.Use && r.ID != string(use) {
				t.Errorf("another use: %s", r.ID)
			}
		}
		chain, err := v.Records().Chain(reading)
		if err != nil {
			return err
		}
		naming, err := v.Records().Naming(reading, chain)
		if err != nil || len(naming) != 1 || naming[0].Type != record.Verification || !strings.Contains(naming[0].Words(), "first test") {
			t.Errorf("on a reading rest %q, %v", related(naming), err)
		}
		verification, err := v.Show(naming[0].ID)
		if err != nil {
			return err
		}
		if named, err = v.Records().Named(verification); err != nil {
			return err
		}
		inside := 0
		for _, r := range named {
			if r.Words() == "" || r.Seq >= verification.Seq {
				t.Errorf("a cleaning verification rests on %q", r.How)
			}
			if strings.HasSuffix(r.How, "of the verification") {
				inside++
			}
		}
		if inside != 6 {
			t.Errorf("a cleaning verification holds %d samples and readings, want 6: %q", inside, related(named))
		}
		if chain, err = v.Records().Chain(verification); err != nil {
			return err
		}
		if naming, err = v.Records().Naming(verification, chain); err != nil {
			return err
		}
		if !slices.ContainsFunc(naming, func(r desk.Relation) bool { return r.ID == hold }) {
			t.Errorf("on a cleaning verification over the action level rest %q, want its hold", related(naming))
		}
		l, err := v.Show(lift)
		if err != nil {
			return err
		}
		if named, err = v.Records().Named(l); err != nil {
			return err
		}
		if want := []string{
			"the cleaning verification that it rests on: verification", "the hold that it lifts: hold", "what it rests on: step",
		}; !cmp.Equal(related(named), want) {
			t.Errorf("a lift rests on %q, want %q", related(named), want)
		}
		return nil
	})
	if len(passed.Followed) == 0 {
		t.Fatal("the second cleaning verification lifted nothing")
	}
}

// Every type of record is said in words.
func TestWords(t *testing.T) {
	t.Parallel()
	b := start(t)
	b.use()
	b.verification("30", "388", "30")
	n := 0
	b.ask(func(v desk.View) error {
		return v.Records().Search(store.Query{}, func(l desk.Line) (bool, error) {
			n++
			if w := l.Words(); w == "" || strings.Contains(w, "cannot be read") || strings.Contains(w, "{") {
				t.Errorf("%s %d: %q", l.Type, l.Seq, w)
			}
			return true, nil
		})
	})
	if int64(n) != b.size() {
		t.Errorf("%d of %d records", n, b.size())
	}
}
