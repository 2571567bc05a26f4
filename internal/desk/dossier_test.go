package desk_test

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/jpeg"
	"image/png"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite/sqlitetest"
	"rinsate/internal/store/storetest"
)

func picture(tb testing.TB, width, height int) []byte {
	tb.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, width, height))); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

// certificate is a document as small as the check of files allows; text tells one from another.
func certificate(text string) []byte {
	return []byte("%PDF-1.4\n% " + text + "\nstartxref\n9\n%%EOF\n")
}

func photograph() dossier.Attachment {
	return dossier.Attachment{Scope: "D-01", Kind: dossier.Photograph, Title: "scratch at the distal end"}
}

// twoScopes is a desk with a second scope, D-02.
func twoScopes(t *testing.T) *bench {
	t.Helper()
	b := start(t)
	b.do(func(w *desk.Work) error {
		_, err := w.SettingUp().RegisterInstrument(lead, b.at(), scope.Instrument{Tag: "D-02", Model: "D1", Owner: scope.Own, InService: b.at()})
		return err
	})
	return b
}

func (b *bench) attach(e desk.Entry, a dossier.Attachment, content []byte) desk.Receipt {
	b.Helper()
	return b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Attach(e, a, content) })
}

func (b *bench) ask(question func(desk.View) error) {
	b.Helper()
	if err := b.desk.View(context.Background(), question); err != nil {
		b.Fatal(err)
	}
}

func (b *bench) attachments(tag string) (all []desk.Attached) {
	b.Helper()
	b.ask(func(v desk.View) (err error) {
		all, err = v.Records().Attachments(tag)
		return err
	})
	return all
}

func TestAttach(t *testing.T) {
	t.Parallel()
	b := twoScopes(t)
	inspected := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordStep(tech, reprocessing.Step{Scope: "D-01", Kind: reprocessing.Inspection, Start: b.at(), By: "T-01", Result: reprocessing.Fail})
	}).Record
	content := picture(t, 4, 3)
	a := photograph()
	a.About, a.Media = string(inspected.ID), dossier.PNG
	b.pass(time.Minute)
	first := b.attach(tech, a, content).Record
	if !cmp.Equal(first.Because, []ledger.ID{inspected.ID}) || first.At != b.at() || first.By != "T-01" {
		t.Errorf("the record: %+v", first)
	}
	b.pass(time.Minute)
	second := b.attach(tech, dossier.Attachment{Scope: "D-01", Kind: dossier.Certificate, Title: "leak tester", At: b.at()}, certificate("1")).Record
	all := b.attachments("D-01")
	if len(all) != 2 || all[0].ID != second.ID || all[1].ID != first.ID {
		t.Fatalf("attached: %+v, want the latest first", all)
	}
	got := all[1]
	want := a
	want.At, want.By = first.At, "T-01"
	want.File = dossier.File{Media: dossier.PNG, Size: int64(len(content)), Digest: got.Digest, Width: 4, Height: 3}
	if diff := cmp.Diff(want, got.Attachment); diff != "" || got.Replaced.Known() {
		t.Errorf("attached (-want +got):\n%s", diff)
	}
	if other := b.attachments("D-02"); other == nil || len(other) != 0 {
		t.Errorf("attached to the other scope: %#v, want an empty list", other)
	}
	for _, key := range []string{string(first.ID), string(first.ID)[:35], got.Digest, strings.ToUpper(got.Digest)} {
		b.ask(func(v desk.View) error {
			f, back, err := v.Records().Content(key)
			if !bytes.Equal(back, content) || f != want.File {
				t.Errorf("%s: %+v and %d bytes, want %d", key, f, len(back), len(content))
			}
			return err
		})
	}
}

func TestAttachTwice(t *testing.T) {
	t.Parallel()
	b := twoScopes(t)
	e := tech
	e.ID = ledger.DerivedID("photograph")
	content := picture(t, 4, 3)
	first := b.attach(e, photograph(), content)
	b.pass(time.Minute)
	if again := b.attach(e, photograph(), content); again.Fresh || again.Record.Seq != first.Record.Seq || again.Record.At != first.Record.At {
		t.Errorf("sent again: %+v, want the stored one", again)
	}
	other := photograph()
	other.Title = "another title"
	elsewhere := photograph()
	elsewhere.Scope = "D-02"
	conflict := "record " + string(e.ID) + " is stored with another content\nhint: a stored record never changes: send a correction that names it"
	b.refused(t, []refusal{
		{
			"another file under the id",
			func(w *desk.Work) (desk.Receipt, error) { return w.Attach(e, photograph(), picture(t, 3, 4)) },
			fault.Conflict,
			conflict,
		},
		{"another title under the id", func(w *desk.Work) (desk.Receipt, error) { return w.Attach(e, other, content) }, fault.Conflict, conflict},
		{"another scope under the id", func(w *desk.Work) (desk.Receipt, error) { return w.Attach(e, elsewhere, content) }, fault.Conflict, conflict},
	})
	// The same file a second time, and with another scope: two more records, one file.
	b.attach(tech, photograph(), content)
	b.attach(tech, elsewhere, content)
	var files int
	if err := sqlitetest.Raw(t, b.desk.DB.Home()).QueryRowContext(t.Context(), `SELECT count(*) FROM content`).Scan(&files); err != nil || files != 1 {
		t.Errorf("%d files are kept (%v), want 1", files, err)
	}
}

func TestAttachRefusals(t *testing.T) {
	t.Parallel()
	b := twoScopes(t)
	content := picture(t, 4, 3)
	var jpg bytes.Buffer
	if err := jpeg.Encode(&jpg, image.NewGray(image.Rect(0, 0, 4, 3)), nil); err != nil {
		t.Fatal(err)
	}
	elsewhere := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordStep(tech, reprocessing.Step{Scope: "D-02", Kind: reprocessing.Inspection, Start: b.at(), By: "T-01"})
	}).Record.ID
	person := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterPerson(lead, b.at(), record.PersonBody{Code: "T-09"})
	}).Record.ID
	nothing := ledger.DerivedID("nothing")
	act := func(e desk.Entry, content []byte, change func(*dossier.Attachment)) func(*desk.Work) (desk.Receipt, error) {
		return func(w *desk.Work) (desk.Receipt, error) {
			a := photograph()
			change(&a)
			return w.Attach(e, a, content)
		}
	}
	b.refused(t, []refusal{
		{
			"another type of file",
			act(tech, []byte("<html>"), func(*dossier.Attachment) {}),
			fault.Invalid,
			"the file is of a type that is not kept; allowed: JPEG (.jpg, .jpeg), PNG (.png) and PDF (.pdf)",
		},
		{
			"a name that does not fit",
			act(tech, jpg.Bytes(), func(a *dossier.Attachment) { a.Media = dossier.PNG }),
			fault.Invalid,
			"the file is called a PNG picture and holds a JPEG picture: give it the name that fits, or look whether it is the right file; allowed: JPEG (.jpg, " +
				".jpeg), PNG (.png) and PDF (.pdf)",
		},
		{
			"no title",
			act(tech, content, func(a *dossier.Attachment) { a.Title = "" }),
			fault.Invalid,
			"attachment to D-01: the title is missing: say in a few words what the file shows",
		},
		{"nobody", act(desk.Entry{}, content, func(*dossier.Attachment) {}), fault.Invalid, "attachment to D-01: who attaches it?"},
		{
			"no such scope",
			act(tech, content, func(a *dossier.Attachment) { a.Scope = "X-99" }),
			fault.NotFound,
			"scope \"X-99\" is not registered\nhint: see the fleet with: rinsate fleet",
		},
		{
			"about no record",
			act(tech, content, func(a *dossier.Attachment) { a.About = string(nothing) }),
			fault.NotFound,
			"there is no record " + string(nothing),
		},
		{
			"about a record of another scope",
			act(tech, content, func(a *dossier.Attachment) { a.About = string(elsewhere) }),
			fault.Invalid,
			"record " + string(elsewhere) + " (step) is of scope D-02, not of D-01\nhint: see the records of a scope with: rinsate history D-01",
		},
		{
			"about a record of no scope",
			act(tech, content, func(a *dossier.Attachment) { a.About = string(person) }),
			fault.Invalid,
			"record " + string(person) + " (person) belongs to no scope, so nothing of D-01 can be about it",
		},
		{
			"a correction of another type",
			act(desk.Entry{By: "T-01", Corrects: elsewhere, Reason: "r"}, content, func(*dossier.Attachment) {}),
			fault.Invalid,
			"an attachment record cannot take the place of a step record",
		},
		{
			"in the future",
			act(tech, content, func(a *dossier.Attachment) { a.At = b.at().Add(time.Hour) }),
			fault.Invalid,
			"attachment at 2026-03-02 10:00 +01:00 lies in the future (it is 2026-03-02 09:00 +01:00)",
		},
	})
	var files int
	if err := sqlitetest.Raw(t, b.desk.DB.Home()).QueryRowContext(t.Context(), `SELECT count(*) FROM content`).Scan(&files); err != nil || files != 0 {
		t.Errorf("%d files are kept (%v), want none", files, err)
	}
}

// About may name the record by which the scope itself was registered.
func TestAttachAboutTheInstrument(t *testing.T) {
	t.Parallel()
	b := start(t)
	registered := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterInstrument(lead, b.at(), scope.Instrument{Tag: "D-03", Model: "D1", Owner: scope.Own, InService: b.at()})
	}).Record
	a := dossier.Attachment{Scope: "D-03", About: string(registered.ID), Kind: dossier.Certificate, Title: "delivery"}
	b.attach(lead, a, certificate("delivery"))
}

func TestVoidAndCorrectAttachment(t *testing.T) {
	t.Parallel()
	b := start(t)
	content := picture(t, 4, 3)
	wrong := b.attach(tech, photograph(), content).Record.ID
	b.pass(time.Minute)
	better := photograph()
	better.Title = "scratch in the elevator recess"
	right := b.attach(desk.Entry{By: "T-01", Corrects: wrong, Reason: "wrong place"}, better, content).Record.ID
	voided := b.pass(time.Minute)
	void := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "L-01", Corrects: right, Reason: "another scope"})
	})
	if len(void.Followed) != 0 {
		t.Errorf("%d records followed", len(void.Followed))
	}
	all := b.attachments("D-01")
	if len(all) != 2 || all[0].ID != right || all[0].Replaced != voided || all[0].Corrects != wrong || all[0].Reason != "wrong place" ||
		!all[1].Replaced.Known() {
		t.Errorf("after the void: %+v", all)
	}
	b.ask(func(v desk.View) error { // both stay visible, with their file
		lines, err := v.Chronicle("D-01", 0, store.Forever, 3)
		if err != nil {
			return err
		}
		if len(lines) != 3 || lines[0].Type != record.Void || lines[1].ID != string(right) || lines[2].ID != string(wrong) {
			t.Errorf("the chronicle: %+v", lines)
		}
		_, back, err := v.Records().Content(string(right))
		if !bytes.Equal(back, content) {
			t.Errorf("%d bytes of the voided one", len(back))
		}
		return err
	})
}

// What is not the file that was attached never reaches anybody.
func TestContentThatWasTamperedWith(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name, text string
		byID       string
		byHash     fault.Code
	}{
		{"changed", `UPDATE content SET bytes = x'00'`, "the database was changed", fault.Broken},
		{"removed", `DELETE FROM content`, "(scratch at the distal end) is missing from the database", fault.NotFound},
	} {
		t.Run(test.name, func(t *testing.T) {
			b := start(t)
			content := picture(t, 4, 3)
			id := b.attach(tech, photograph(), content).Record.ID
			raw := sqlitetest.Raw(t, b.desk.DB.Home())
			for _, text := range []string{`DROP TRIGGER content_no_update`, `DROP TRIGGER content_no_delete`, test.text} {
				if _, err := raw.ExecContext(t.Context(), text); err != nil {
					t.Fatal(err)
				}
			}
			digest := b.attachments("D-01")[0].Digest
			b.ask(func(v desk.View) error {
				_, back, err := v.Records().Content(string(id))
				if fault.CodeOf(err) != fault.Broken || !strings.Contains(err.Error(), test.byID) || !strings.Contains(err.Error(), digest) || back != nil {
					t.Errorf("by its id: %v and %d bytes", err, len(back))
				}
				if _, _, err := v.Records().Content(digest); fault.CodeOf(err) != test.byHash {
					t.Errorf("by its hash: %v, want %s", err, test.byHash)
				}
				return nil
			})
			_, err := b.desk.DB.Home().Verify(context.Background(), nil, nil)
			if _, ok := errors.AsType[*ledger.FaultError](err); !ok {
				t.Errorf("verified: %v", err)
			}
		})
	}
}

func TestContentOfNoAttachment(t *testing.T) {
	t.Parallel()
	b := start(t)
	_, use := b.use()
	for _, test := range []struct {
		key  string
		code fault.Code
		want string
	}{
		{string(use), fault.NotFound, "(use) attaches no file"},
		{string(ledger.DerivedID("nothing")), fault.NotFound, "there is no record"},
		{strings.Repeat("0", 64), fault.NotFound, "no file with the SHA-256 0000"},
		{"nonsense", fault.Invalid, "is not a record id"},
	} {
		b.ask(func(v desk.View) error {
			_, content, err := v.Records().Content(test.key)
			if fault.CodeOf(err) != test.code || !strings.Contains(err.Error(), test.want) || content != nil {
				t.Errorf("%s: %v, want %s %q", test.key, err, test.code, test.want)
			}
			return nil
		})
	}
	b.ask(func(v desk.View) error {
		if _, err := v.Records().Attachments("X-99"); fault.CodeOf(err) != fault.NotFound {
			t.Errorf("of no scope: %v", err)
		}
		return nil
	})
}

// TestAttachmentsKept attaches and voids at random, rebuilds the tables, and finds every file again.
func TestAttachmentsKept(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	rapid.Check(t, func(rt *rapid.T) {
		b := start(checked{t, rt})
		type kept struct {
			content []byte
			voided  bool
		}
		model := map[ledger.ID]kept{}
		for range rapid.IntRange(1, 8).Draw(rt, "acts") {
			b.pass(time.Second)
			content := certificate(rapid.StringMatching(`[ab]{1,3}`).Draw(rt, "content"))
			id := b.attach(tech, dossier.Attachment{Scope: "D-01", Kind: dossier.Report, Title: "r"}, content).Record.ID
			void := rapid.Bool().Draw(rt, "void")
			if void {
				b.must(func(w *desk.Work) (desk.Receipt, error) {
					return w.Void(desk.Entry{By: "L-01", Corrects: id, Reason: "r"})
				})
			}
			model[id] = kept{content, void}
		}
		db := storetest.Rebuilt(checked{t, rt}, b.desk.DB, b.now.Now)
		defer func() {
			if err := db.Close(); err != nil {
				rt.Error(err)
			}
		}()
		b.desk = desk.New(db)
		all := b.attachments("D-01")
		if len(all) != len(model) {
			rt.Fatalf("%d attachments, want %d", len(all), len(model))
		}
		distinct := map[string]bool{}
		for _, a := range all {
			want := model[a.ID]
			distinct[a.Digest] = true
			b.ask(func(v desk.View) error {
				_, content, err := v.Records().Content(string(a.ID))
				if !bytes.Equal(content, want.content) || a.Replaced.Known() != want.voided {
					rt.Fatalf("%s: %d bytes, replaced %s; want %d bytes, voided %t", a.ID, len(content), a.Replaced, len(want.content), want.voided)
				}
				return err
			})
		}
		if v, err := db.Home().Verify(context.Background(), nil, nil); err != nil || v.Files != len(distinct) {
			rt.Fatalf("verified: %+v, %v; want %d files", v, err, len(distinct))
		}
	})
}

func TestHandOver(t *testing.T) {
	t.Parallel()
	b := twoScopes(t)
	began := b.at()
	write := func(e desk.Entry, text string, scopes ...string) ledger.ID {
		t.Helper()
		b.pass(time.Minute)
		return b.must(func(w *desk.Work) (desk.Receipt, error) {
			return w.HandOver(e, dossier.Handover{Text: text, Scopes: scopes})
		}).Record.ID
	}
	notes := func(since time.Duration, limit int) (texts []string) {
		t.Helper()
		b.ask(func(v desk.View) error {
			all, err := v.Records().Handover(began.Add(since), limit)
			for _, n := range all {
				texts = append(texts, n.Text)
			}
			return err
		})
		return texts
	}
	b.ask(func(v desk.View) error {
		if none, err := v.Records().Handover(0, 10); none == nil || len(none) != 0 || err != nil {
			t.Errorf("before anything: %#v, %v, want an empty list", none, err)
		}
		return nil
	})
	write(tech, "one\r\ntwo", "D-01", "D-02")
	wrong := write(tech, "D-01 is wet")
	mistake := write(nurse, "for another room")
	write(nurse, "latest")
	if diff := cmp.Diff([]string{"latest", "for another room", "D-01 is wet", "one\ntwo"}, notes(0, 10)); diff != "" {
		t.Errorf("a later note ends no earlier one (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([]string{"latest", "for another room"}, notes(0, 2)); diff != "" {
		t.Errorf("two of them (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([]string{"latest", "for another room"}, notes(3*time.Minute, 10)); diff != "" {
		t.Errorf("since the third (-want +got):\n%s", diff)
	}
	write(desk.Entry{By: "T-01", Corrects: wrong, Reason: "typed wrong"}, "D-01 is dry")
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Void(desk.Entry{By: "N-01", Corrects: mistake, Reason: "wrong room"})
	})
	if diff := cmp.Diff([]string{"D-01 is dry", "latest", "one\ntwo"}, notes(0, 10)); diff != "" {
		t.Errorf("after a correction and a void (-want +got):\n%s", diff)
	}
	b.ask(func(v desk.View) error { // what was replaced says so
		for _, id := range []ledger.ID{wrong, mistake} {
			line, err := v.Show(string(id))
			if err != nil || !line.Replaced.Known() {
				t.Errorf("%s: %+v, %v", id, line, err)
			}
		}
		all, err := v.Records().Handover(0, 10)
		if want := []string{"D-01", "D-02"}; err == nil && !cmp.Equal(all[2].Scopes, want) {
			t.Errorf("scopes %v, want %v", all[2].Scopes, want)
		}
		return err
	})
	e := tech
	e.ID = ledger.DerivedID("note")
	send := func(text string) func(*desk.Work) (desk.Receipt, error) {
		return func(w *desk.Work) (desk.Receipt, error) { return w.HandOver(e, dossier.Handover{Text: text}) }
	}
	first := b.must(send("sent twice"))
	b.pass(time.Minute)
	if again := b.must(send("sent twice")); again.Fresh || again.Record.Seq != first.Record.Seq {
		t.Errorf("sent again: %+v", again)
	}
	b.refused(t, []refusal{
		{
			"another text under the id",
			send("other"),
			fault.Conflict,
			"record " + string(e.ID) + " is stored with another content\nhint: a stored record never changes: send a correction that names it",
		},
		{
			"no text",
			func(w *desk.Work) (desk.Receipt, error) { return w.HandOver(tech, dossier.Handover{Text: "\r\n"}) },
			fault.Invalid,
			"hand-over note: the text is missing",
		},
		{
			"nobody",
			func(w *desk.Work) (desk.Receipt, error) { return w.HandOver(desk.Entry{}, dossier.Handover{Text: "x"}) },
			fault.Invalid,
			"hand-over note: who writes it?",
		},
		{"about no scope that is known", func(w *desk.Work) (desk.Receipt, error) {
			return w.HandOver(tech, dossier.Handover{Text: "x", Scopes: []string{"X-99"}})
		}, fault.NotFound, "scope \"X-99\" is not registered\nhint: see the fleet with: rinsate fleet"},
		{"voided twice", func(w *desk.Work) (desk.Receipt, error) {
			return w.Void(desk.Entry{By: "N-01", Corrects: mistake, Reason: "again"})
		}, fault.Conflict, "record " + string(mistake) + " (handover) is replaced already or cannot be replaced\nhint: look at its chain with: rinsate " +
			"ledger show " + string(mistake)},
	})
}
