package desk_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/storetest"
	"rinsate/internal/wire/table"
)

// cheap is a cost at which hashes are quick.
var cheap = access.Cost{Memory: 8, Passes: 1, Lanes: 1}

func beginning(clock *storetest.Clock) desk.Beginning {
	return desk.Beginning{
		Site:      record.SiteBody{Code: "NORTH", Name: "Example clinic", Zone: "Europe/Berlin"},
		Rules:     policy.Preset(),
		RulesName: "general.yaml",
		By:        "L-01",
		Meter:     &quality.Meter{Code: "M-1", System: "example-system"},
		Lot:       &quality.Lot{Kit: "example-kit", Lot: "A17", Expires: clock.At().Add(48 * time.Hour)},
		First: &identity.NewAccount{
			Code:     "L-01",
			Name:     "Kim Muster",
			Roles:    []access.Role{access.Lead, access.Administrator},
			Password: "crumb lantern oboe drift",
		},
		Cost: cheap,
	}
}

func TestBegin(t *testing.T) {
	t.Parallel()
	clock := storetest.NewClock()
	dir := filepath.Join(t.TempDir(), "new", "data")
	b := beginning(clock)
	if faults := b.Faults(clock.At()); len(faults) > 0 {
		t.Fatal(faults)
	}
	db, err := b.Begin(t.Context(), sqlite.Folder(dir), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	d := desk.New(db)
	if err := d.View(t.Context(), func(v desk.View) error {
		rules, err := v.Registry().Rules(v.Now(), store.Forever)
		meters, err2 := v.Measuring().Meters()
		lots, err3 := v.Day().Lots()
		a, err4 := v.People().Account("L-01")
		if rules.Name != "General rule set" || len(meters) != 1 || len(lots) != 1 || a.MustChange || !access.Allows(a.Roles, access.ManageAccounts) {
			t.Errorf("%s, %v, %v, %+v", rules.Name, meters, lots, a)
		}
		return errors.Join(err, err2, err3, err4)
	}); err != nil {
		t.Error(err)
	}
	if _, err := identity.NewDoor(d.DB, cheap).SignIn(t.Context(), "L-01", b.First.Password, identity.Source{}); err != nil {
		t.Error(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Begin(t.Context(), sqlite.Folder(dir), clock.Now); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("a second beginning: %v", err)
	}
	if db, err = sqlite.Folder(dir).Open(t.Context(), clock.Now); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	left, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil || slices.ContainsFunc(left, func(name string) bool { return strings.Contains(name, "beginning") }) {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// A beginning that fails at its last step leaves no ledger, and the next one finds the folder vacant.
func TestBeginAllOrNothing(t *testing.T) {
	t.Parallel()
	clock := storetest.NewClock()
	dir := filepath.Join(t.TempDir(), "data")
	b := beginning(clock)
	b.First.Password = "short"
	if _, err := b.Begin(t.Context(), sqlite.Folder(dir), clock.Now); err == nil {
		t.Fatal("a password that is too short was taken")
	}
	if err := sqlite.Folder(dir).Vacant(); err != nil {
		t.Error(err)
	}
	if _, err := sqlite.Folder(dir).Open(t.Context(), clock.Now); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("there is a ledger: %v", err)
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := beginning(clock).Begin(gone, sqlite.Folder(dir), clock.Now); err == nil {
		t.Error("nobody waits, yet it began")
	}
	db, err := beginning(clock).Begin(t.Context(), sqlite.Folder(dir), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Error(err)
	}
}

// What a kill leaves at any of its instants is cleared away by the next beginning.
func TestBeginAfterKill(t *testing.T) {
	t.Parallel()
	clock := storetest.NewClock()
	made := filepath.Join(t.TempDir(), "made")
	db, err := beginning(clock).Begin(t.Context(), sqlite.Folder(made), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	files := []string{"ledger.key", "checkpoint.txt", "rinsate.db", "rinsate.lock"}
	for moved := range 3 { // so many of the files were moved into their place
		dir := filepath.Join(t.TempDir(), "data")
		aside := filepath.Join(dir, "beginning")
		if err := os.MkdirAll(aside, 0o700); err != nil {
			t.Fatal(err)
		}
		for i, name := range files {
			to := aside
			if i < moved {
				to = dir
			}
			text, err := os.ReadFile(filepath.Join(made, name))
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(to, name), text, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if err := sqlite.Folder(dir).Vacant(); err != nil {
			t.Errorf("%d files moved: %v", moved, err)
		}
		db, err := beginning(clock).Begin(t.Context(), sqlite.Folder(dir), clock.Now)
		if err != nil {
			t.Errorf("%d files moved: %v", moved, err)
			continue
		}
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	}
}

func TestVacant(t *testing.T) {
	t.Parallel()
	for reason, c := range map[string]struct {
		file string
		want fault.Code
	}{
		"a ledger": {"rinsate.db", fault.Conflict}, "a key without its ledger": {"ledger.key", fault.Conflict}, "other files": {"letters.txt", fault.Conflict},
		"the lock of a command that ended": {"rinsate.lock", ""}, "a letter that has the name of our folder": {"beginning", fault.Conflict},
	} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, c.file), nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if got := fault.CodeOf(sqlite.Folder(dir).Vacant()); got != c.want {
			t.Errorf("%s: %q, want %q", reason, got, c.want)
		}
	}
	// A file that is not ours is never deleted.
	dir, clock := t.TempDir(), storetest.NewClock()
	letter := filepath.Join(dir, "beginning")
	if err := os.WriteFile(letter, []byte("Dear editor"), 0o600); err != nil {
		t.Fatal(err)
	}
	if db, err := beginning(clock).Begin(t.Context(), sqlite.Folder(dir), clock.Now); err == nil {
		t.Error("it began where a file has the name of our folder")
		db.Close() //nolint:errcheck // it should not be there
	}
	if text, err := os.ReadFile(letter); err != nil || string(text) != "Dear editor" {
		t.Errorf("the letter: %q, %v", text, err)
	}
	if err := sqlite.Folder(filepath.Join(t.TempDir(), "none")).Vacant(); err != nil {
		t.Errorf("no folder: %v", err)
	}
}

func TestBeginningFaults(t *testing.T) {
	t.Parallel()
	clock := storetest.NewClock()
	for part, spoil := range map[string]func(*desk.Beginning){
		"name":     func(b *desk.Beginning) { b.Site.Name = " " },
		"site":     func(b *desk.Beginning) { b.Site.Code = "NORTH WING" },
		"zone":     func(b *desk.Beginning) { b.Site.Zone = "Local" },
		"rules":    func(b *desk.Beginning) { b.Rules = []byte("name: x\n") },
		"meter":    func(b *desk.Beginning) { b.Meter.System = "" },
		"lot":      func(b *desk.Beginning) { b.Lot.Expires = clock.At() },
		"code":     func(b *desk.Beginning) { b.First.Code = "Kim Muster" },
		"person":   func(b *desk.Beginning) { b.First.Name = "" },
		"password": func(b *desk.Beginning) { b.First.Password = "example clinic north" },
	} {
		b := beginning(clock)
		spoil(&b)
		faults := b.Faults(clock.At())
		if len(faults) != 1 || faults[0].Part != part || faults[0].Err == nil {
			t.Errorf("%s: %v", part, faults)
		}
	}
}

func TestSuggestSiteCode(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]string{
		"Example clinic": "EC", "Northgate": "NORTHG", "St. Example's hospital, site 2": "SESHS2", "Klinik Süd": "KS", "": "", "病院": "",
	} {
		got := desk.SuggestSiteCode(name)
		if got != want {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
		if got != "" && desk.CheckSiteCode(got) != nil {
			t.Errorf("%q: the suggestion %q is refused", name, got)
		}
	}
}

// The examples of all kinds build on each other in the order in which they are listed, and the same
// again is stored once.
func TestExamples(t *testing.T) {
	t.Parallel()
	clock := storetest.NewClock()
	b := beginning(clock)
	b.Meter, b.Lot = nil, nil
	db, err := b.Begin(t.Context(), sqlite.Folder(filepath.Join(t.TempDir(), "data")), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	d := desk.New(db)
	clock.Move(365 * 24 * time.Hour)
	for _, kind := range desk.Kinds {
		have := func() (s desk.Stock) {
			t.Helper()
			if err := d.View(t.Context(), func(v desk.View) (err error) {
				s, err = v.Day().Stock(kind)
				return err
			}); err != nil {
				t.Fatal(err)
			}
			return s
		}
		before := have()
		for i := range 2 {
			clock.Move(time.Second)
			out, err := d.As(access.Operator("L-01")).
				Import(t.Context(), desk.File{Kind: kind, Name: string(kind) + ".csv", Content: strings.NewReader(desk.Example(kind)), By: "L-01"}, false)
			if err != nil {
				t.Fatal(err)
			}
			if i == 0 && (out.Stored == 0 || out.Changed > 0) || i == 1 && (out.Stored > 0 || out.Known == 0) {
				t.Errorf("%s, time %d: %+v", kind, i+1, out)
			}
		}
		if after := have(); !after.Any || kind != desk.People && before.Any || after.Names < before.Names {
			t.Errorf("%s: %+v, then %+v", kind, before, after)
		}
		if desk.About(kind) == "" {
			t.Errorf("%s is not explained", kind)
		}
		cells, err := desk.ExampleCells(kind)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range desk.Columns(kind) {
			if cell, ok := cells[f.Name]; !ok || f.Required && cell == "" {
				t.Errorf("%s: the example says nothing for %s", kind, f.Name)
			}
		}
		if len(cells) != len(desk.Columns(kind)) {
			t.Errorf("%s: the example has %d columns, the kind %d", kind, len(cells), len(desk.Columns(kind)))
		}
	}
}

// A line that takes the place of what is stored says so.
func TestImportChanges(t *testing.T) {
	t.Parallel()
	clock := storetest.NewClock()
	b := beginning(clock)
	db, err := b.Begin(t.Context(), sqlite.Folder(filepath.Join(t.TempDir(), "data")), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	var told []desk.Told
	out, err := desk.New(db).As(access.Operator("L-01")).Import(t.Context(), desk.File{
		Kind: desk.Meters, Name: "m.csv", By: "L-01", Tell: func(x desk.Told) { told = append(told, x) },
		Content: strings.NewReader("meter,system,serial\nM-1,example-system,55-1\nM-2,example-system,\nM-1,example-system,55-1\nM-2,example-system,\n"),
	}, true)
	if err != nil || out.Stored != 2 || out.Changed != 1 || out.Known != 2 {
		t.Fatalf("%v: %+v", err, out)
	}
	if out, err := desk.New(db).
		As(access.Operator("L-01")).
		Import(t.Context(), desk.File{Kind: desk.Meters, Name: "m.csv", By: "L-01", Content: strings.NewReader("meter,system\nM-1,example-system\n")},
			true); err != nil || out.Known != 1 ||
		out.Stored != 0 {
		t.Errorf("a meter that was registered by hand: %v, %+v", err, out)
	}
	if !told[0].Changes || !told[0].Fresh || told[1].Changes || !told[1].Fresh || told[2].Fresh || told[2].Changes || told[3].Fresh {
		t.Errorf("%+v", told)
	}
}

// A file may leave open when a value exceeds the level.
func TestImportedLevelWithoutComparison(t *testing.T) {
	t.Parallel()
	clock := storetest.NewClock()
	b := beginning(clock)
	db, err := b.Begin(t.Context(), sqlite.Folder(filepath.Join(t.TempDir(), "data")), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	for _, comparison := range []string{"", "over"} {
		out, err := desk.New(db).As(access.Operator("L-01")).Import(t.Context(), desk.File{
			Kind: desk.Levels, Name: "l.csv", By: "L-01",
			Content: strings.NewReader("system,kit,point,action,comparison,source,edition,adopted_by,adopted\n" +
				"s,k,instrument-channel,200," + comparison + ",test,1,L-01,2026-01-05T07:00:00+01:00\n"),
		}, true)
		if err != nil || out.Stored != 1 {
			t.Errorf("%q: %v, %+v", comparison, err, out)
		}
	}
}

func TestPropose(t *testing.T) {
	t.Parallel()
	const zone = "Europe/Berlin"
	for _, c := range []struct {
		reason, file string
		kind         desk.Kind
		given        table.Profile
		decimal      string
		format       string
		column       [2]string
	}{
		{"as this program writes", desk.Example(desk.Readings), desk.Readings, table.Profile{}, "", "", [2]string{}},
		{"decimal comma", "model;diameter_mm;length_mm\nX;4,2;1350\n", desk.Models, table.Profile{}, "comma", "", [2]string{}},
		{"a comma that may group thousands", "model;diameter_mm;length_mm\nX;4;1,350\n", desk.Models, table.Profile{}, "", "", [2]string{}},
		{"commas and points", "model;diameter_mm;length_mm\nX;4,2;13.5\n", desk.Models, table.Profile{}, "", "", [2]string{}},
		{"German times", "tag,model,in_service\nX,D,05.01.2026 07:00\n", desk.Fleet, table.Profile{}, "", "DD.MM.YYYY HH:mm", [2]string{}},
		{"day or month", "tag,model,in_service\nX,D,05/01/2026 07:00\n", desk.Fleet, table.Profile{}, "", "", [2]string{}},
		{"a day over 12", "tag,model,in_service\nX,D,05/01/2026 07:00\nY,D,25/01/2026 07:00\n", desk.Fleet, table.Profile{}, "", "DD/MM/YYYY HH:mm", [2]string{}},
		{"a month first", "tag,model,in_service\nX,D,01/25/2026 07:00\n", desk.Fleet, table.Profile{}, "", "MM/DD/YYYY HH:mm", [2]string{}},
		{"no time at all", "tag,model,in_service\nX,D,soon\n", desk.Fleet, table.Profile{}, "", "", [2]string{}},
		{"a name that is close", "tagg,model,in_service\nX,D,soon\n", desk.Fleet, table.Profile{}, "", "", [2]string{"tag", "tagg"}},
		{
			"columns that somebody named", "Gerät,Typ,seit\nX,D,05.01.2026 07:00\n", desk.Fleet,
			table.Profile{Columns: map[string]string{"in_service": "seit"}},
			"",
			"DD.MM.YYYY HH:mm",
			[2]string{"in_service", "seit"},
		},
	} {
		peeked, err := table.Peek("file.csv", strings.NewReader(c.file), table.Profile{}, 100)
		if err != nil {
			t.Fatal(err)
		}
		got := desk.Propose(c.kind, peeked, c.given, zone)
		if got.Profile.Decimal != c.decimal || strings.Join(got.Profile.Time.Format, "|") != c.format || got.Profile.Columns[c.column[0]] != c.column[1] ||
			got.Profile.Time.Zone != zone ||
			len(got.Notes) == 0 {
			t.Errorf("%s: %+v", c.reason, got)
		}
	}
}

// Pages can be looked at while a long file is read in, although a look counts as use of the session.
func TestSessionDuringImport(t *testing.T) {
	t.Parallel()
	clock := storetest.NewClock()
	b := beginning(clock)
	db, err := b.Begin(t.Context(), sqlite.Folder(filepath.Join(t.TempDir(), "data")), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	d := desk.New(db)
	door := identity.NewDoor(d.DB, cheap)
	pass, err := door.SignIn(t.Context(), "L-01", b.First.Password, identity.Source{})
	if err != nil {
		t.Fatal(err)
	}
	clock.Move(access.TouchEvery + time.Second)
	content, write := io.Pipe()
	ended := make(chan error, 1)
	go func() {
		_, err := d.As(access.Operator("L-01")).Import(t.Context(), desk.File{Kind: desk.Meters, Name: "m.csv", Content: content, By: "L-01"}, false)
		ended <- err
	}()
	if _, err := io.WriteString(write, "meter,system\n"); err != nil { // read within the transaction
		t.Fatal(err)
	}
	looked := make(chan error, 1)
	go func() {
		v, err := door.Session(t.Context(), pass.Token, true)
		if err == nil && v.State != access.Active {
			err = fmt.Errorf("the session is %v", v.State)
		}
		looked <- err
	}()
	if err := <-looked; err != nil { // it would never come if the page waited for the end of the import
		t.Error(err)
	}
	if err := write.Close(); err != nil {
		t.Fatal(err)
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
	v, err := door.Session(t.Context(), pass.Token, true)
	if err != nil || v.Session.Seen != clock.At() {
		t.Errorf("the next look does not count: %v, seen %s", err, v.Session.Seen)
	}
}
