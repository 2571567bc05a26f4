package desk_test

import (
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/record"
)

// A row that was voided is no more than known when its file comes again, and says by whom it was taken back, when, and what
// to do; the ways that it says work: a row with an id of its own, and taking the void back where what is gone spoke against
// the scope. A row in the middle of others keeps nothing of them from being stored.
func TestRowThatWasTakenBack(t *testing.T) {
	b := start(t)
	b.targets()
	begin := b.pass(time.Hour)
	at := func(d time.Duration) string { return written(begin.Add(d)) }
	b.pass(2 * time.Hour)
	const way = "to record it after all give the row an id of its own, in the column id"
	for _, test := range []struct {
		kind    desk.Kind
		typ     record.Kind
		row     string // with its id
		adverse bool
	}{
		{desk.Steps, record.Step, "ID,D-01,transport," + at(0) + "," + at(time.Minute) + ",T-01,pass,,,,,,,,,,,,,", true},
		{desk.Uses, record.Use, "ID,D-01," + at(10*time.Minute) + "," + at(20*time.Minute) + ",,,,T-01,,,", true},
		{desk.Repairs, record.Repair, "ID,D-01," + at(30*time.Minute) + "," + at(40*time.Minute) + ",leak,sheath,L-01", true},
		{desk.Readings, record.Reading, "ID,D-01,outer-distal-end,1,,K,7,T-01," + at(50*time.Minute) + ",,,,,," + at(51*time.Minute) + ",,,M-1,,,,41", false},
	} {
		row := func(id string) string { return strings.Replace(test.row, "ID", id, 1) }
		if out, _ := b.mustList(test.kind, row("")); out.Stored != 1 {
			t.Fatalf("%s: %+v", test.kind, out)
		}
		b.pass(time.Minute)
		void := func(id ledger.ID, why string) error {
			b.pass(time.Minute)
			return b.desk.As(b.as("L-01", 0, access.Lead)).Do(b.Context(), func(w *desk.Work) error {
				return only(w.Void(desk.Entry{Second: b.as("L-02", 0, access.Lead), Corrects: id, Reason: why}))
			})
		}
		if err := void(b.latest(test.typ), "another scope was meant"); err != nil {
			t.Fatalf("%s: %v", test.kind, err)
		}
		b.pass(time.Minute)
		out, told := b.mustList(test.kind, row(""))
		says := strings.Join(out.Warnings, " ")
		if out.Stored != 0 || out.Known != 1 || !strings.Contains(told[0].What, "L-01 took it back at ") || !strings.Contains(told[0].What, way) ||
			!strings.Contains(says, way) {
			t.Errorf("%s again: %+v %+v", test.kind, out, told)
		}
		if strings.Contains(says, "or take the voiding back: rinsate void ") != test.adverse {
			t.Errorf("%s: %q", test.kind, says)
		}
		if out, _ := b.mustList(test.kind, row("anew")); out.Stored != 1 {
			t.Errorf("%s with an id of its own: %+v", test.kind, out)
		}
		if !test.adverse {
			continue
		}
		if err := void(ledger.ID(says[strings.LastIndex(says, " ")+1:]), "it was this scope after all"); err != nil {
			t.Errorf("%s: taking the void back: %v", test.kind, err)
		}
		b.pass(time.Minute)
		if out, _ := b.mustList(test.kind, row("")); len(out.Warnings) != 0 {
			t.Errorf("%s once it is back: %q", test.kind, out.Warnings)
		}
	}
}
