package desk_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/scope"
)

// named registers a scope, and returns what was refused.
func (b *bench) named(tag, serial, barcode string, change ...func(*scope.Instrument)) error {
	b.now.Move(time.Second)
	i := scope.Instrument{Tag: tag, Serial: serial, Barcode: barcode, Model: "D1", Owner: scope.Own, InService: b.at()}
	for _, f := range change {
		f(&i)
	}
	return b.desk.As(access.Scribe()).Do(context.Background(), func(w *desk.Work) error {
		_, err := w.SettingUp().RegisterInstrument(lead, b.at(), i)
		return err
	})
}

// A scope that is registered anew under another tag would leave its holds behind, and one with the number of another
// would be answered for by it: no entry makes a code mean two scopes.
func TestOneCodeMeansOneScope(t *testing.T) {
	b := start(t)
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	left := func(i *scope.Instrument) { i.Retired = i.InService }
	must(b.named("D-02", "X2", "(01)b2"))
	must(b.named("D-03", "X3", "label", left))
	for _, test := range []struct{ reason, serial, barcode, other string }{
		{"the serial number of another", "X2", "", "D-02"},
		{"the same in other words", "x2", "", "D-02"},
		{"that of one that has left", "X3", "", "D-03"},
		{"the barcode of another", "", "(01)b2", "D-02"},
		{"another's barcode as serial number", "(01)b2", "", "D-02"},
		{"another's serial number as barcode", "", "X2", "D-02"},
		{"another's tag as barcode", "", "D-02", "D-02"},
		{"another's tag as serial number", "d-02", "", "D-02"},
	} {
		err := b.named("D-04", test.serial, test.barcode)
		if fault.CodeOf(err) != fault.Conflict || !strings.Contains(err.Error(), "of scope "+test.other+" already") {
			t.Errorf("%s: %v", test.reason, err)
		}
	}
	if err := b.named("d-02", "", ""); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("a tag that differs from another's in case alone: %v", err)
	}
	must(b.named("D-04", "X4", "label")) // a label was stuck on another scope
	must(b.named("D-02", "X2", "(01)b2", func(i *scope.Instrument) { i.Location = "room 2" }))
	if err := b.named("D-02", "X4", "(01)b2"); fault.CodeOf(err) != fault.Conflict {
		t.Errorf("an entry that is changed to another's number: %v", err)
	}
	for text, want := range map[string]string{"x4": "D-04", "label": "D-04", "X3": "D-03", "(01)b2": "D-02", "(01)B2": ""} {
		var got scope.Instrument
		err := b.desk.View(context.Background(), func(v desk.View) (err error) {
			got, err = v.Registry().Named(text)
			return err
		})
		if got.Tag != want || (err == nil) != (want != "") || err != nil && fault.CodeOf(err) != fault.NotFound {
			t.Errorf("%q: %q, %v", text, got.Tag, err)
		}
	}
	file := "tag,serial,barcode,model,owner,location,in_service,retired\nD-09,x2,,D1,own,,2026-03-02T07:00:00+01:00,\n"
	_, err := b.desk.As(access.Operator("L-01")).Import(t.Context(), desk.File{
		Name: "fleet.csv", Kind: desk.Fleet, By: "L-01", Content: strings.NewReader(file),
	}, false)
	if text := fmt.Sprint(err); !strings.Contains(text, "of scope D-02 already") {
		t.Errorf("a file gives a second scope the number of another: %s", text)
	}
}
