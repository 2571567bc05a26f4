package web

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store/storetest"
)

// typedWrong reads a sample of the scope that is in reprocessing far over its level, as somebody.
func (b *site) typedWrong(by string) string {
	b.Helper()
	sample := b.take(displayed, scope.ElevatorRecess)
	v, err := reading.ParseValue(reading.ATP, reading.RLU, "250")
	if err != nil {
		b.Fatal(err)
	}
	in := desk.Reading{Sample: sample, Meter: "M-1", Value: v, At: b.clock.Move(15 * time.Second)}
	return string(b.do(by, func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.Read(e, in) }).Record.ID)
}

// displayed is the scope whose value is typed wrong.
const displayed = heldScope

// A value over its level that its author typed wrong is corrected on its page with a photograph of the display: the form has
// a place for it, which is filed with the reading, and without it, or with something else, nothing is stored.
func TestCorrectedWithTheDisplay(t *testing.T) {
	t.Parallel()
	for _, role := range []access.Role{access.Technician, access.Lead} {
		b := newSite(t, storetest.NewClock(), "https://test.example")
		b.session(role)
		reading := b.typedWrong(codeOf(role))
		form := b.ask(http.MethodGet, "/records/"+reading+"?act=correct&set-value=25", role).body
		for _, want := range []string{`enctype="multipart/form-data"`, `name="file"`, "A photograph of the display", "corrects it alone within ten minutes"} {
			if !strings.Contains(form, want) {
				t.Errorf("%s: the form lacks %q:\n%.3000s", role, want, form)
			}
		}
		at := "/records/" + reading + "/correct"
		id := b.newID()
		fields := func(id string) map[string]string {
			return map[string]string{"id": id, "reason": "a zero too many", "set-value": "25", "secret": password}
		}
		before := b.total()
		if got := b.upload(at, role, fields(b.newID()), "", "", nil); got.status == http.StatusSeeOther || b.total() != before {
			t.Errorf("%s, without a photograph: status %d", role, got.status)
		}
		if got := b.upload(at, role, fields(b.newID()), "display.png", "image/png", []byte("no picture")); got.status == http.StatusSeeOther || b.total() != before {
			t.Errorf("%s, with something else: status %d", role, got.status)
		}
		for range 2 { // sent twice, stored once
			if got := b.upload(at, role, fields(id), "display.png", "image/png", photograph(t, 8, 8)); got.status != http.StatusSeeOther {
				t.Fatalf("%s, with the display: status %d\n%.3000s", role, got.status, got.body)
			}
		}
		b.look(func(v desk.View) error {
			all, err := v.Records().Attachments(displayed)
			n := 0
			for _, a := range all {
				if a.About == reading && a.Kind == dossier.Photograph {
					n++
				}
			}
			if n != 1 {
				t.Errorf("%s: %d photographs with the reading", role, n)
			}
			return err
		})
		if now := b.lastOf(displayed, record.Reading); now != id {
			t.Errorf("%s: %s counts, want %s", role, now, id)
		}
	}
}
