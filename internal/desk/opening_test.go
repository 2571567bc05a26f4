package desk_test

import (
	"database/sql"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/wire/table"
)

func (b *bench) signsStart(by, second string) error {
	return b.attempt(access.Operator(by), func(w *desk.Work) error { return only(w.SettingUp().SignStart(desk.Entry{By: by}, second)) })
}

func (b *bench) presently() (a reprocessing.Answer) {
	b.Helper()
	b.ask(func(v desk.View) (err error) {
		a, err = v.ReleaseNow("D-01", b.at(), store.Forever)
		return err
	})
	return a
}

// On trial no answer is a plain yes; what a use of a scope places of which nothing is on record is no hold, and bad
// news is one. With the start that ends.
func TestTrialAndStart(t *testing.T) {
	b := start(t)
	b.trial = true
	if why := b.desk.OnPaper(t.Context()); !strings.Contains(why, "on trial: paper decides") {
		t.Errorf("before the start every page says %q", why)
	}
	b.use() // nothing is on record before it
	b.wantHeldFor("a use on trial of which nothing is on record")
	b.verification("40", "40", "40")
	b.finish()
	a := b.presently()
	if a.State != reprocessing.PaperDecides || a.Paper == nil || a.Paper.Here != reprocessing.Ready || !a.Paper.Until.Known() || a.Until.Known() {
		t.Fatalf("whole, on trial: %s until %s, %+v", a.State, a.Until, a.Paper)
	}
	if err := b.signsStart("L-01", ""); fault.CodeOf(err) != fault.Invalid {
		t.Errorf("signed by one: %v", err)
	}
	if err := b.signsStart("L-01", "l-01"); fault.CodeOf(err) != fault.Invalid {
		t.Errorf("signed twice by one: %v", err)
	}
	if err := b.signsStart("L-01", "L-02"); fault.CodeOf(err) != fault.Forbidden || !strings.Contains(err.Error(), "one in the role") {
		t.Errorf("signed by two leads: %v", err)
	}
	if err := b.signsStart("L-01", "X-77"); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("signed with somebody whom nobody knows: %v", err)
	}
	before := b.at()
	b.pass(time.Minute)
	r := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().SignStart(desk.Entry{ID: ledger.DerivedID("start"), By: "H-01"}, "L-01")
	})
	b.must(func(w *desk.Work) (desk.Receipt, error) { // sent again
		return w.SettingUp().SignStart(desk.Entry{ID: ledger.DerivedID("start"), By: "H-01"}, "L-01")
	})
	n := body[reprocessing.StartNote](b, r.Record)
	if len(n.Founders) != 6 { // all who have a role, whoever registered them
		t.Errorf("founders: %+v", n.Founders)
	}
	if a := b.presently(); a.State != reprocessing.Ready || a.Paper != nil {
		t.Errorf("started: %s, %+v", a.State, a.Paper)
	}
	if a := b.releaseAt(before, store.Forever); a.State != reprocessing.PaperDecides {
		t.Errorf("about a time before the start: %s", a.State)
	}
	if a := b.releaseAt(b.at(), before); a.State != reprocessing.PaperDecides {
		t.Errorf("as known before the start: %s", a.State)
	}
	if why := b.desk.OnPaper(t.Context()); why != "" {
		t.Errorf("after the start every page says %q", why)
	}
	if err := b.signsStart("L-01", "H-01"); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("signed once more: %v", err)
	}
	err := b.attempt(access.Operator("L-01"), func(w *desk.Work) error {
		return only(w.Void(desk.Entry{By: "L-01", Corrects: r.Record.ID, Reason: "a mistake"}))
	})
	if fault.CodeOf(err) != fault.Invalid {
		t.Errorf("taken back: %v", err)
	}
}

// From the start on a use of a scope of which nothing is on record places a hold; bad news always does.
func TestUseOfAnUnknownScope(t *testing.T) {
	for _, test := range []struct {
		name    string
		prepare func(b *bench)
		want    []reprocessing.HoldKind
	}{
		{"on trial", func(b *bench) { b.trial = true }, nil},
		{"on trial, under a hold", func(b *bench) {
			b.trial = true
			b.must(func(w *desk.Work) (desk.Receipt, error) {
				return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", Kind: reprocessing.LeakHold, By: "T-01", Reason: "bubbles"})
			})
			b.pass(time.Minute)
		}, []reprocessing.HoldKind{reprocessing.LeakHold, reprocessing.ExposureHold}},
		{"started", (*bench).signStart, []reprocessing.HoldKind{reprocessing.ExposureHold}},
	} {
		b := start(t)
		b.pass(48 * time.Hour)
		test.prepare(b)
		b.pass(time.Minute)
		b.use()
		b.wantHeldFor(test.name, test.want...)
	}
}

// Records that were begun before there was a start are neither on trial nor started.
func TestInUseBeforeThereWasAStart(t *testing.T) {
	b := start(t)
	b.trial = true
	inUseBefore(b)
	b.pass(48 * time.Hour)
	b.use()
	b.wantHeldFor("a use of which nothing is on record", reprocessing.ExposureHold)
	if a := b.presently(); a.Paper == nil || !strings.HasPrefix(a.Paper.Why, "the start is not signed") {
		t.Errorf("%+v", a.Paper)
	}
	// The roles of these people are a lead's grant, who gave them: no founding ones.
	if err := b.signsStart("L-01", "H-01"); fault.CodeOf(err) != fault.Forbidden || !strings.Contains(err.Error(), "has the role infection-prevention from L-01") {
		t.Errorf("with whom the lead has made infection prevention: %v", err)
	}
	if err := b.signsStart("L-02", "H-01"); err != nil {
		t.Error(err)
	}
}

// inUseBefore makes the records of a bench those that an earlier build began, whose first record said nothing of a trial.
func inUseBefore(b *bench) {
	b.Helper()
	dir := b.desk.DB.Home().Dir()
	if err := b.desk.DB.Close(); err != nil {
		b.Fatal(err)
	}
	file, err := sql.Open("sqlite", filepath.Join(dir, "rinsate.db"))
	if err != nil {
		b.Fatal(err)
	}
	for _, statement := range []string{
		`DROP TRIGGER record_no_update`, `UPDATE record SET bytes = CAST(replace(CAST(bytes AS TEXT), '"trial":true,', '') AS BLOB) WHERE seq = 0`,
	} {
		if _, err := file.ExecContext(b.Context(), statement); err != nil {
			b.Fatal(err)
		}
	}
	if err := file.Close(); err != nil {
		b.Fatal(err)
	}
	db, err := sqlite.Folder(dir).Open(b.Context(), b.now.Now)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := db.Close(); err != nil {
			b.Error(err)
		}
	})
	b.desk = desk.New(db)
}

// A second person who got the role when one was wanted is none, and the answer says what to do.
func TestSecondPersonAfterTheStart(t *testing.T) {
	b := start(t)
	b.use()
	b.verification("40", "40", "40")
	b.finish()
	b.pass(time.Minute)
	hold := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "a smell"})
	}).Record.ID
	b.pass(time.Minute)
	b.person("L-07", access.Lead)
	b.pass(time.Minute)
	lift := func(by, second string) error {
		_, err := b.lift(reprocessing.Lift{Hold: string(hold), By: by, Second: second, Reason: "aired"})
		return err
	}
	for _, pair := range [][2]string{{"L-01", "L-07"}, {"L-07", "L-01"}} {
		if err := lift(pair[0], pair[1]); fault.CodeOf(err) != fault.Forbidden || !strings.Contains(err.Error(), "only after that began") ||
			!strings.Contains(err.Error(), "deputies are named beforehand") {
			t.Errorf("%v: %v", pair, err)
		}
	}
	if err := lift("L-01", "H-01"); err != nil {
		t.Error(err)
	}
	// For the next hold L-07 is a deputy of long ago.
	b.pass(time.Minute)
	hold = b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "a smell again"})
	}).Record.ID
	b.pass(time.Minute)
	if err := lift("L-01", "L-07"); err != nil {
		t.Error(err)
	}
}

// Once a site is started, a list of people makes nobody infection prevention by itself.
func TestInfectionPreventionFromAList(t *testing.T) {
	b := start(t)
	b.signStart()
	grant := func(e desk.Entry) error {
		return b.attempt(access.Scribe(), func(w *desk.Work) error {
			return only(w.SettingUp().RegisterPerson(e, b.at(), record.PersonBody{Code: "H-07", Role: "infection prevention"}))
		})
	}
	if err := grant(desk.Entry{By: "L-01"}); fault.CodeOf(err) != fault.Forbidden {
		t.Errorf("by a lead: %v", err)
	}
	if err := grant(desk.Entry{By: "H-01"}); err != nil {
		t.Errorf("by one who has the role: %v", err)
	}
	if err := grant(desk.Entry{By: "L-01", Second: b.as("L-02", 0, access.Lead)}); err != nil {
		t.Errorf("by two: %v", err)
	}
}

// onList is a scope on a list, stored for a day.
func (b *bench) onList(tag string) desk.Listed {
	return desk.Listed{Scope: tag, Cabinet: "drying-cabinet", Until: b.at().Add(24 * time.Hour)}
}

func (b *bench) takeStock(by, second string, list ...desk.Listed) (r desk.Receipt, err error) {
	err = b.desk.As(access.Operator(by)).Do(b.Context(), func(w *desk.Work) (err error) {
		r, err = w.Vouching().TakeStock(desk.Entry{By: by}, list, []desk.Photograph{{Media: "image/png", Content: picture(b, 4, 4)}}, second)
		return err
	})
	return r, err
}

// One list of two people makes scopes ready of which nothing is on record, until their next use; it can be taken back.
func TestTakeStock(t *testing.T) {
	b := start(t)
	for tag, owner := range map[string]scope.Owner{"D-02": scope.Own, "D-03": scope.Loan} {
		b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.SettingUp().RegisterInstrument(desk.Entry{By: "L-01"}, b.at(), scope.Instrument{Tag: tag, Model: "D1", Owner: owner, InService: b.at()})
		})
	}
	b.signStart()
	b.pass(time.Minute)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterInstrument(desk.Entry{By: "L-01"}, b.at(), scope.Instrument{Tag: "D-04", Model: "D1", Owner: scope.Own, InService: b.at()})
	})
	b.pass(time.Minute)
	good := b.onList("D-01")
	for _, test := range []struct {
		name, by, second string
		list             []desk.Listed
		want             fault.Code
		words            string
	}{
		{"one alone", "L-01", "", []desk.Listed{good}, fault.Invalid, "second person"},
		{"two leads", "L-01", "L-02", []desk.Listed{good}, fault.Forbidden, "one in the role"},
		{"no scope", "L-01", "H-01", nil, fault.Invalid, "at least one"},
		{"no such scope", "L-01", "H-01", []desk.Listed{b.onList("Z-99")}, fault.NotFound, "Z-99"},
		{"twice on the list", "L-01", "H-01", []desk.Listed{good, good}, fault.Invalid, "twice"},
		{"a loaner", "L-01", "H-01", []desk.Listed{b.onList("D-03")}, fault.Conflict, "reprocessed on arrival"},
		{"it came after the start", "L-01", "H-01", []desk.Listed{b.onList("D-04")}, fault.Conflict, "an arrival"},
		{"no cabinet of the rules", "L-01", "H-01", []desk.Listed{{Scope: "D-01", Cabinet: "shelf", Until: good.Until}}, fault.Invalid, "not in the rule set"},
		{"storage over", "L-01", "H-01", []desk.Listed{{Scope: "D-01", Cabinet: good.Cabinet, Until: b.at()}}, fault.Invalid, "its storage is over"},
		{
			"stored for a year", "L-01", "H-01",
			[]desk.Listed{{Scope: "D-01", Cabinet: good.Cabinet, Until: b.at().Add(9000 * time.Hour)}},
			fault.Invalid, "longer than",
		},
	} {
		if _, err := b.takeStock(test.by, test.second, test.list...); fault.CodeOf(err) != test.want || !strings.Contains(err.Error(), test.words) {
			t.Errorf("%s: %v", test.name, err)
		}
	}
	if a := b.presently(); a.State != reprocessing.NotKnown {
		t.Fatalf("before: %s", a.State)
	}
	r, err := b.takeStock("L-01", "H-01", good, b.onList("D-02"))
	if err != nil || len(r.Followed) != 1 {
		t.Fatal(err)
	}
	a := b.presently()
	if a.State != reprocessing.Ready || a.Until != good.Until || a.StockTake != string(r.Record.ID) {
		t.Fatalf("listed: %s until %s, %q: %q", a.State, a.Until, a.StockTake, blocking(a))
	}
	var stock desk.OnPaper
	b.ask(func(v desk.View) (err error) {
		stock, err = v.Day().OnPaper(b.at())
		return err
	})
	if len(stock.Taken) != 2 || len(stock.Open) != 2 || stock.Open[0].Why == "" || stock.Open[1].Why == "" {
		t.Errorf("%+v", stock)
	}
	b.pass(time.Minute)
	b.use()
	b.wantHeldFor("a use over the list")
	if a := b.presently(); a.State == reprocessing.Ready {
		t.Error("ready by the list after its next use")
	}
	if _, err := b.takeStock("L-01", "H-01", b.onList("D-01")); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("over a scope with acts on record: %v", err)
	}
	// Who takes the list back finds the use that rested on it.
	b.pass(time.Minute)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: r.Record.ID, Reason: "it was another scope's paper"})
	})
	b.wantHeldFor("a use over a list that was taken back", reprocessing.ExposureHold)
}

// Taking back the photograph takes the list with it.
func TestPhotographOfTheListTakenBack(t *testing.T) {
	b := start(t)
	b.signStart()
	b.pass(time.Minute)
	r, err := b.takeStock("H-01", "L-02", b.onList("D-01"))
	if err != nil {
		t.Fatal(err)
	}
	known := b.at()
	b.pass(time.Minute)
	b.use()
	b.pass(time.Minute)
	paper := ledger.ID(body[reprocessing.StockTake](b, r.Record).Papers[0])
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: paper, Reason: "it names a patient"})
	})
	b.wantHeldFor("a use over a list without its paper", reprocessing.ExposureHold)
	if a := b.releaseAt(known, known); a.State != reprocessing.Ready {
		t.Errorf("as known then: %s", a.State)
	}
	if a := b.releaseAt(known, store.Forever); a.State != reprocessing.NotKnown {
		t.Errorf("as known now: %s", a.State)
	}
}

// No list lifts a hold.
func TestStockTakeLiftsNoHold(t *testing.T) {
	b := start(t)
	b.signStart()
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "a smell"})
	})
	b.pass(time.Minute)
	if _, err := b.takeStock("H-01", "L-02", b.onList("D-01")); err != nil {
		t.Fatal(err)
	}
	if a := b.presently(); a.State != reprocessing.OnHold {
		t.Errorf("listed under a hold: %s", a.State)
	}
}

func TestReadStock(t *testing.T) {
	list, err := desk.ReadStock("list.csv", strings.NewReader(desk.StockExample), table.Profile{})
	if err != nil || len(list) != 1 || list[0].Scope != "D-01" || list[0].Cabinet != "drying-cabinet" || !list[0].Until.Known() || len(list[0].Papers) != 0 {
		t.Errorf("%+v, %v", list, err)
	}
	_, err = desk.ReadStock("list.csv", strings.NewReader("scope,cabinet,until\nD-01,,tomorrow\n"), table.Profile{})
	if err == nil || !strings.Contains(err.Error(), "cabinet") {
		t.Error(err)
	}
}
