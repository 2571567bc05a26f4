package desk_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
)

// listed reads a file in as the lead and returns what became of its lines.
func (b *bench) listed(kind desk.Kind, rows ...string) (desk.Imported, []desk.Told, error) {
	b.Helper()
	header, _, _ := strings.Cut(desk.Example(kind), "\n")
	var told []desk.Told
	f := desk.File{
		Kind: kind, Name: "list.csv", Content: strings.NewReader(header + "\n" + strings.Join(rows, "\n") + "\n"), By: "L-01",
		Tell: func(t desk.Told) { told = append(told, t) },
	}
	if b.byTwo {
		f.Second = b.as("L-02", 0, access.Lead)
	}
	out, err := b.desk.As(b.as("L-01", 0, access.Lead)).Import(b.Context(), f, false)
	return out, told, err
}

func (b *bench) mustList(kind desk.Kind, rows ...string) (desk.Imported, []desk.Told) {
	b.Helper()
	out, told, err := b.listed(kind, rows...)
	if err != nil {
		b.Fatal(err)
	}
	return out, told
}

// stands returns the edition of a thing that stands.
func stands[T any](b *bench, typ record.Kind, key string) T {
	b.Helper()
	last, ok := desk.Latest(b.editions(typ, key))
	if !ok {
		b.Fatalf("no %s %s stands", typ, key)
	}
	body, err := desk.BodyOf[T](last)
	if err != nil {
		b.Fatal(err)
	}
	return body
}

func written(at unit.Instant) string { return at.Time().Format(time.RFC3339) }

// A supplier's list that knows nothing of a recall leaves it, and says so; it can add one, and make it earlier.
func TestFileOfLotsKeepsRecalls(t *testing.T) {
	b := start(t)
	expires := written(b.at().Add(90 * 24 * time.Hour))
	since := b.pass(time.Minute)
	b.mustList(desk.Lots, "K,7,"+expires+","+written(since))
	if l := stands[quality.Lot](b, record.Lot, "K|7"); l.Recalled != since {
		t.Fatalf("recalled by file: %+v", l)
	}
	for _, row := range []string{"K,7," + expires + ",", "K,7," + expires + "," + written(since.Add(time.Hour))} {
		out, told := b.mustList(desk.Lots, row)
		if l := stands[quality.Lot](b, record.Lot, "K|7"); l.Recalled != since {
			t.Errorf("%s: recalled since %s, want %s", row, l.Recalled, since)
		}
		if want := "it is recalled since " + since.In(b.desk.DB.Zone()); out.Stored != 0 || !strings.Contains(told[0].What, want) {
			t.Errorf("%s: %d stored, told %q, want %q", row, out.Stored, told[0].What, want)
		}
	}
	longer := written(b.at().Add(100 * 24 * time.Hour))
	before := stands[quality.Lot](b, record.Lot, "K|7")
	_, told := b.mustList(desk.Lots, "K,7,"+longer+",")
	l := stands[quality.Lot](b, record.Lot, "K|7")
	if l != before || !strings.Contains(told[0].What+told[len(told)-1].What, "of two dates the earlier one counts") {
		t.Errorf("with a later expiry: %+v, told %+v", l, told)
	}
	sooner := written(b.at().Add(80 * 24 * time.Hour))
	b.mustList(desk.Lots, "K,7,"+sooner+",")
	if l := stands[quality.Lot](b, record.Lot, "K|7"); l.Recalled != since || written(l.Expires) != sooner {
		t.Errorf("with an earlier expiry: %+v", l)
	}
	b.mustList(desk.Lots, "K,7,"+sooner+","+written(since.Add(-time.Hour)))
	if l := stands[quality.Lot](b, record.Lot, "K|7"); l.Recalled != since.Add(-time.Hour) {
		t.Errorf("recalled earlier: %+v", l)
	}
	out, _ := b.mustList(desk.Lots, "K,8,"+expires+",", "K,8,"+expires+","+written(since))
	if out.Stored != 2 || out.Changed != 1 {
		t.Errorf("recalled within a file: %+v", out)
	}
	if out, _ := b.mustList(desk.Lots, "K,8,"+expires+",", "K,8,"+expires+","+written(since)); out.Stored != 0 {
		t.Errorf("the same file again: %+v", out)
	}
}

// No way but its own takes a recall back: not an edition, not a correction, not a void.
func TestRecallStays(t *testing.T) {
	b := start(t)
	lot := stands[quality.Lot](b, record.Lot, "K|7")
	since := b.pass(time.Minute)
	recalled := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().Recall(because("a notice"), "K|7", b.base(record.Lot, "K|7"), since)
	}).Record.ID
	words := "lot 7 of kit K is recalled since " + since.In(b.desk.DB.Zone()) +
		"\nhint: two people take a recall back, on the page of the lot or with: rinsate unrecall"
	later := lot
	later.Recalled = since + 1
	b.refused(t, []refusal{
		{"an edition without it", func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().RegisterLot(lead, b.at(), lot) }, fault.Invalid, words},
		{"an edition with a later one", func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().RegisterLot(lead, b.at(), later)
		}, fault.Invalid, words},
		{"a correction", func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().RegisterLot(desk.Entry{By: "L-01", Corrects: recalled, Reason: "a typo"}, b.at(), lot)
		}, fault.Invalid, words},
		{"a void", func(w *desk.Work) (desk.Receipt, error) {
			return w.Void(desk.Entry{By: "L-01", Corrects: recalled, Reason: "a typo"})
		}, fault.Invalid, "the recall of the lot would be taken back with this record\nhint: take the recall back, with a second person"},
	})
}

// It takes two to take a recall back, and the second had no part in it.
func TestTakeBackRecall(t *testing.T) {
	b := start(t)
	since := b.pass(time.Minute)
	recalled := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().Recall(because("a notice"), "K|7", b.base(record.Lot, "K|7"), since)
	}).Record.ID
	b.pass(time.Minute)
	take := func(a access.Actor, e desk.Entry, base ledger.ID, named string) error {
		return b.attempt(a, func(w *desk.Work) error { return only(w.SettingUp().TakeBackRecall(e, "K|7", base, named)) })
	}
	me, other := b.as("L-02", 0, access.Lead), b.as("IP-1", 0, access.InfectionPrevention)
	b.person("IP-1", access.InfectionPrevention)
	why := func(second access.Actor) desk.Entry {
		return desk.Entry{Reason: "another lot was meant", Second: second}
	}
	for _, test := range []struct {
		reason string
		err    error
		want   fault.Code
	}{
		{"with infection prevention", take(me, why(other), recalled, ""), ""},
		{"alone", take(me, why(access.Actor{}), recalled, ""), fault.Invalid},
		{"with a name", take(me, why(access.Actor{}), recalled, "IP-1"), fault.Unsigned},
		{"with oneself", take(me, why(b.as("l-02", 0, access.Lead)), recalled, ""), fault.Invalid},
		{"with who recalled it", take(me, why(b.as("L-01", 0, access.Lead)), recalled, ""), fault.Invalid},
		{"with a technician", take(me, why(b.as("T-01", 0, access.Technician)), recalled, ""), fault.Forbidden},
		{"with somebody whom nobody knows", take(me, why(b.as("L-77", 0, access.Lead)), recalled, ""), fault.NotFound},
		{"without a reason", take(me, desk.Entry{Second: other}, recalled, ""), fault.Invalid},
		{"at the machine, with who recalled it", take(access.Operator("L-02"), why(access.Actor{}), recalled, "L-01"), fault.Invalid},
		{"at the machine, with oneself", take(access.Operator("L-02"), why(access.Actor{}), recalled, " l-02"), fault.Invalid},
		{"at the machine, with a name", take(access.Operator("L-02"), why(access.Actor{}), recalled, "IP-1"), ""},
	} {
		if got := fault.CodeOf(test.err); got != test.want || test.want == "" && test.err != nil {
			t.Errorf("%s: %v, want the code %q", test.reason, test.err, test.want)
		}
	}
	done := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().TakeBackRecall(because("another lot was meant"), "K|7", recalled, "L-02")
	}).Record.ID
	if l := stands[quality.Lot](b, record.Lot, "K|7"); l.Recalled.Known() || l.Cleared != "L-02" {
		t.Errorf("taken back: %+v", l)
	}
	b.refused(t, []refusal{{"twice", func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().TakeBackRecall(because("x"), "K|7", done, "L-02")
	}, fault.Invalid, "lot 7 of kit K is not recalled"}})
	// A list as it was before changes nothing, and a new recall forgets who agreed.
	if out, _ := b.mustList(desk.Lots, "K,7,"+written(stands[quality.Lot](b, record.Lot, "K|7").Expires)+","); out.Stored != 0 {
		t.Errorf("the list as it was: %+v", out)
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().Recall(because("after all"), "K|7", done, since)
	})
	if l := stands[quality.Lot](b, record.Lot, "K|7"); l.Recalled != since || l.Cleared != "" {
		t.Errorf("recalled again: %+v", l)
	}
}

// A list of the fleet brings nothing back that left, makes no loaner one's own by saying nothing, and no arrival
// undone.
func TestFileOfFleetKeepsRetirements(t *testing.T) {
	b := start(t)
	came := b.at()
	left := b.pass(time.Hour)
	row := func(tag, owner string, from, to unit.Instant) string {
		retired := ""
		if to.Known() {
			retired = written(to)
		}
		return fmt.Sprintf("%s,,,D1,%s,,%s,%s", tag, owner, written(from), retired)
	}
	b.mustList(desk.Fleet, row("D-01", "loan", came, left))
	_, told := b.mustList(desk.Fleet, row("D-01", "", came, 0), row("D-01", "", came, left.Add(time.Hour)))
	for _, x := range told {
		if x.Fresh || !strings.Contains(x.What, "it is out of service since "+left.In(b.desk.DB.Zone())) || !strings.Contains(x.What, "it is a loaner") {
			t.Errorf("told %+v", x)
		}
	}
	if i := stands[scope.Instrument](b, record.Instrument, "D-01"); i.Retired != left || i.Owner != scope.Loan {
		t.Errorf("after a list that knows nothing of it: %+v", i)
	}
	if _, _, err := b.listed(desk.Fleet, row("D-01", "", left.Add(time.Minute), 0)); err == nil || !strings.Contains(err.Error(), "bring it back on its page") {
		t.Errorf("a row by which it is back: %v", err)
	}
	again := b.pass(time.Hour)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().Reinstate(because("lent again"), "D-01", b.base(record.Instrument, "D-01"), again)
	})
	b.mustList(desk.Fleet, row("D-01", "", came, left), row("D-01", "", came, 0))
	if i := stands[scope.Instrument](b, record.Instrument, "D-01"); i.InService != again || i.Retired.Known() || i.Owner != scope.Loan {
		t.Errorf("after the list from before it came back: %+v", i)
	}
	b.byTwo = true // as it takes for a loaner that becomes the hospital's own
	b.mustList(desk.Fleet, row("D-01", "own", again, again.Add(time.Hour)))
	b.byTwo = false
	if i := stands[scope.Instrument](b, record.Instrument, "D-01"); i.Retired != again.Add(time.Hour) || i.Owner != scope.Own {
		t.Errorf("bought, and retired by file: %+v", i)
	}
	retired := b.base(record.Instrument, "D-01")
	const back = "\nhint: bring it back on its page in the set-up, with the reason"
	b.refused(t, []refusal{
		{"an edition", func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().RegisterInstrument(lead, b.at(), scope.Instrument{Tag: "D-01", Model: "D1", Owner: scope.Own, InService: again})
		}, fault.Invalid, "scope D-01 is out of service since " + again.Add(time.Hour).In(b.desk.DB.Zone()) + back},
		{"a void", func(w *desk.Work) (desk.Receipt, error) {
			return w.Void(desk.Entry{By: "L-01", Corrects: retired, Reason: "a typo"})
		}, fault.Invalid, "that the scope left would be taken back with this record" + back},
	})
}

// A list of meters has no column for it, and brings none back.
func TestFileOfMetersKeepsRetirements(t *testing.T) {
	b := start(t)
	at := b.pass(time.Minute)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterMeter(lead, at, quality.Meter{Code: "M-1", System: "A", Retired: at})
	})
	b.mustList(desk.Meters, "M-1,A,55-1")
	if m := stands[quality.Meter](b, record.Meter, "M-1"); m.Retired != at || m.Serial != "55-1" {
		t.Errorf("%+v", m)
	}
}

// What is registered again after something else is a change back, of every kind of file that describes but lots: of their
// dates the earlier one counts.
func TestChangedBackByFile(t *testing.T) {
	b := start(t)
	b.byTwo = true
	adopted := written(b.at().Add(-time.Hour))
	b.pass(time.Minute)
	channel := func(sealed string) string {
		return "E1,duodenoscope,,no,13.5,100,instrument,4.2,1350,biopsy port,yes,yes," + sealed + ",brush and flush,example instructions 1"
	}
	for _, test := range []struct {
		kind   desk.Kind
		typ    record.Kind
		key    string
		a, b   []string
		beside []string
		// one says that what has another date is about the same all the same: since levels judge from their signature, the
		// last one that was signed is in force.
		one bool
	}{
		{kind: desk.Models, typ: record.Model, key: "E1", a: []string{channel("yes")}, b: []string{channel("no")}},
		{
			kind: desk.Fleet, typ: record.Instrument, key: "D-09",
			a: []string{"D-09,,,D1,own,room 1," + adopted + ","}, b: []string{"D-09,,,D1,own,room 2," + adopted + ","},
		},
		{kind: desk.People, typ: record.Person, key: "T-09", a: []string{"T-09,technician"}, b: []string{"T-09,lead"}},
		{kind: desk.Meters, typ: record.Meter, key: "M-9", a: []string{"M-9,A,1"}, b: []string{"M-9,A,2"}},
		{
			kind: desk.Levels, typ: record.Level, one: true,
			a:      []string{"Z,K,outer-distal-end,,atp,RLU,100,200,over,,,,baseline,1,L-01," + adopted},
			b:      []string{"Z,K,outer-distal-end,,atp,RLU,100,300,over,,,,baseline,1,L-01," + adopted},
			beside: []string{"Z,K,outer-distal-end,,atp,RLU,100,250,over,,,,baseline,2,L-01," + written(b.at())},
		},
		{
			kind: desk.Targets, typ: record.Target, key: "Z|positive|light cell",
			a:      []string{"Z,,positive,light cell,,300,3000,instructions,1,L-01," + adopted},
			b:      []string{"Z,,positive,light cell,,300,4000,instructions,1,L-01," + adopted},
			beside: []string{"Z,M-9,positive,light cell,,200,3000,instructions,1,L-01," + adopted},
		},
	} {
		want := func(step string, rows []string, stored int) {
			t.Helper()
			b.pass(time.Minute)
			if out, _ := b.mustList(test.kind, rows...); out.Stored != stored {
				t.Errorf("%s, %s: %d stored, want %d", test.kind, step, out.Stored, stored)
			}
		}
		want("a", test.a, 1)
		want("b", test.b, 1)
		want("a again", test.a, 1)
		want("b again", test.b, 1)
		want("b once more", test.b, 0)
		if test.beside != nil { // what is about something else is no change
			want("beside it", test.beside, 1)
			if test.one {
				want("b after it", test.b, 1)
				want("both", append(append([]string{}, test.b...), test.beside...), 1)
				want("both in the other order", append(append([]string{}, test.beside...), test.b...), 1)
			} else {
				want("b after it", test.b, 0)
			}
			want("both in that order", append(append([]string{}, test.b...), test.beside...), map[bool]int{true: 1}[test.one])
			want("both once more", append(append([]string{}, test.b...), test.beside...), 0)
		}
		if test.key != "" {
			if n := len(b.editions(test.typ, test.key)); n < 4 {
				t.Errorf("%s: %d editions, want 4", test.kind, n)
			}
		}
	}
}
