package record

import (
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
)

var update = flag.Bool("update", false, "write docs/records.md anew")

// made returns the example of a kind as a record.
func made(tb testing.TB, d Descriptor) ledger.Record {
	tb.Helper()
	body, err := json.Marshal(d.example)
	if err != nil {
		tb.Fatal(err)
	}
	r := ledger.Record{
		V: ledger.Version, Seq: 7, Type: string(d.Kind), ID: ledger.ID(exampleID(string(d.Kind))), Site: "S1", At: exampleAt, Recorded: exampleAt + 1,
		By: "T-01", Body: body, BodyVersion: BodyVersion(d.Kind),
	}
	if d.Kind == Void {
		r.Corrects, r.Reason = ledger.ID(exampleID("use")), "wrong scope"
	}
	return r
}

// constants lists the constants of the type Kind, as the source has them.
func constants(tb testing.TB) (names []string) {
	tb.Helper()
	sources, err := filepath.Glob("*.go")
	if err != nil {
		tb.Fatal(err)
	}
	for _, source := range sources {
		file, err := parser.ParseFile(token.NewFileSet(), source, nil, 0)
		if err != nil {
			tb.Fatal(err)
		}
		for _, d := range file.Decls {
			g, ok := d.(*ast.GenDecl)
			if !ok || g.Tok != token.CONST {
				continue
			}
			for _, s := range g.Specs {
				v := s.(*ast.ValueSpec)
				if typ, ok := v.Type.(*ast.Ident); ok && typ.Name == "Kind" {
					names = append(names, v.Names[0].Name)
				}
			}
		}
	}
	return names
}

func TestEveryKindIsInTheListOnce(t *testing.T) {
	t.Parallel()
	names := constants(t)
	if len(names) != len(All) || len(byKind) != len(All) || len(names) < 31 {
		t.Errorf("%d constants, %d descriptors of %d kinds: each kind belongs into All, once", len(names), len(All), len(byKind))
	}
	for _, d := range All {
		// A constant is named like the stored word, so that the code and the records speak of the same.
		if !slices.ContainsFunc(names, func(n string) bool { return strings.EqualFold(n, string(d.Kind)) }) {
			t.Errorf("kind %q has no constant of its name", d.Kind)
		}
	}
}

func TestEveryKindIsComplete(t *testing.T) {
	t.Parallel()
	for _, d := range All {
		t.Run(string(d.Kind), func(t *testing.T) {
			t.Parallel()
			if d.Means == "" || d.Version < 1 || len(d.older) != d.Version-1 {
				t.Errorf("means %q, version %d with %d readers of older ones", d.Means, d.Version, len(d.older))
			}
			r := made(t, d)
			encoded, err := ledger.Encode(r)
			if err != nil {
				t.Fatal(err)
			}
			again, err := ledger.Decode(encoded)
			if err != nil {
				t.Fatal(err)
			}
			if again, err = Current(again); err != nil {
				t.Fatal(err)
			}
			if err := CheckText(d.Kind, again.Body, r.By, r.Device, r.Reason); err != nil {
				t.Errorf("the example: %v", err)
			}
			p, err := Place(again)
			if err != nil {
				t.Fatal(err)
			}
			if (d.Key != "") != (p.Entity != "") || (d.Scope != "") != (p.Scope != "") || (d.Word != "") != (p.Word != "") || !p.At.Known() {
				t.Errorf("key %q, scope %q, word %q: the example is placed as %+v", d.Key, d.Scope, d.Word, p)
			}
			f, err := Index(again)
			if err != nil {
				t.Fatal(err)
			}
			for _, want := range []Term{ByType.Is(string(d.Kind)), ByPerson.Is("T-01")} {
				if !slices.Contains(f.Terms, want.String()) {
					t.Errorf("not found by %s", want)
				}
			}
			if words, err := Words(again); err != nil || words == "" {
				t.Errorf("words %q, %v", words, err)
			}
			if _, err := Relations(again); err != nil {
				t.Error(err)
			}
			if _, err := Again(again); err != nil {
				t.Error(err)
			}
			if err := TakenBack(again); (err != nil) != (d.Kept != "") {
				t.Errorf("taken back by whoever wrote it: %v", err)
			}
			d.wantFields(t)
		})
	}
}

// wantFields fails when a field of the body is not declared, declared twice, or has no words. What lies
// within a declared field is declared with it.
func (d Descriptor) wantFields(t *testing.T) {
	t.Helper()
	declared := map[string]int{}
	for _, f := range d.Fields {
		declared[f.Name]++
		if f.Label == "" || strings.Contains(f.Label, "_") {
			t.Errorf("the field %s is called %q", f.Name, f.Label)
		}
		if declared[f.Name] > 1 {
			t.Errorf("the field %s is declared twice", f.Name)
		}
		if f.Ends && f.Names == "" {
			t.Errorf("the field %s ends a record without words", f.Name)
		}
	}
	all := fieldsOf(reflect.TypeOf(d.example))
	if len(all) == 0 {
		t.Error("the body has no fields")
	}
	for _, f := range all {
		if declared[jsonName(f)] == 0 {
			t.Errorf("the field %s is not declared: say what it is found by, or that it is plain", jsonName(f))
		}
	}
}

// Nothing that names a scope, a person, a lot, a kit or a meter is forgotten: such a field is looked for by
// the facet of its name, wherever it is.
func TestFieldsAreFoundByTheirNames(t *testing.T) {
	t.Parallel()
	facets := map[string]Facet{
		"scope": ByScope, "tag": ByScope, "scopes[]": ByScope, "by": ByPerson, "second": ByPerson, "adopted_by": ByPerson, "person": ByPerson,
		"meter": ByMeter, "lot": ByLot, "disinfectant_lot": ByLot, "kit": ByKit,
	}
	seen := 0
	for _, d := range All {
		for _, f := range d.Fields {
			want, ok := facets[f.Name[strings.LastIndexByte(f.Name, '.')+1:]]
			if !ok {
				continue
			}
			seen++
			if f.Facet != want {
				t.Errorf("%s: %s is found by %q, want %q", d.Kind, f.Name, f.Facet, want)
			}
		}
	}
	if seen < 50 {
		t.Errorf("only %d fields were looked at", seen)
	}
}

func TestUnknownKindsAndVersions(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name, want string
		record     ledger.Record
	}{
		{
			"kind", `record 3 is of the kind "rumour", which this program does not know; a newer program wrote it`,
			ledger.Record{Seq: 3, Type: "rumour", Body: json.RawMessage(`{}`)},
		},
		{
			"version", `record 4 (hold) has version 9 of its body, this program knows versions up to 2; a newer program wrote it`,
			ledger.Record{Seq: 4, Type: "hold", BodyVersion: 9, Body: json.RawMessage(`{}`)},
		},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			_, place := Place(test.record)
			_, index := Index(test.record)
			_, current := Current(test.record)
			for _, err := range []error{place, index, current, TakenBack(test.record)} {
				if err == nil || err.Error() != test.want {
					t.Errorf("got %v, want %s", err, test.want)
				}
			}
		})
	}
}

// An older body is read as the current one, step by step.
func TestOlderBodiesStayReadable(t *testing.T) {
	t.Parallel()
	type body struct {
		Tag  string       `json:"tag"`
		From unit.Instant `json:"from"`
	}
	rename := func(from, to string) Reader {
		return func(b json.RawMessage) (json.RawMessage, error) {
			return json.RawMessage(strings.Replace(string(b), from, to, 1)), nil
		}
	}
	d := describe(kind[body]{
		kind: "toy", version: 3, older: []Reader{rename(`"name"`, `"label"`), rename(`"label"`, `"tag"`)},
		key: "tag", time: "from", fields: []Field{found("tag", "", ByScope), plain("from", "from")},
	})
	for version, text := range map[int]string{0: `{"name":"D-01","from":5}`, 2: `{"label":"D-01","from":5}`, 3: `{"tag":"D-01","from":5}`} {
		r, err := d.upgrade(ledger.Record{Type: "toy", BodyVersion: version, Body: json.RawMessage(text)})
		if err != nil || string(r.Body) != `{"tag":"D-01","from":5}` || r.BodyVersion != 3 {
			t.Errorf("version %d: %s of version %d, %v", version, r.Body, r.BodyVersion, err)
		}
	}
}

// The notes of the clock of version 1 knew of steps back alone.
func TestOldNotesOfTheClock(t *testing.T) {
	t.Parallel()
	r, _, err := current(ledger.Record{Type: string(Clock), BodyVersion: 1, Body: json.RawMessage(`{"before":1772438400000000,"now":1772434800000000}`)})
	if err != nil {
		t.Fatal(err)
	}
	n, err := Body[reprocessing.ClockNote](r)
	want := reprocessing.ClockNote{From: 1_772_438_400_000_000, To: 1_772_434_800_000_000, Noticed: reprocessing.ByRecords}
	if err != nil || n != want || n.Words() != "the computer's clock was set back by 1h" {
		t.Errorf("%+v (%s) %v", n, n.Words(), err)
	}
}

// docs/records.md tells what this package knows, and nothing else.
func TestTableOfKinds(t *testing.T) {
	t.Parallel()
	name := filepath.Join("..", "..", "docs", "records.md")
	want := table()
	if *update {
		if err := os.WriteFile(name, []byte(want), 0o644); err != nil { //nolint:gosec // a page for everybody
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Error("docs/records.md is not what the kinds of records are: write it anew with go generate ./internal/record")
	}
}

// table writes the page.
func table() string {
	var b strings.Builder
	b.WriteString(`# The kinds of records

Written by ` + "`go generate ./internal/record`" + `; a test compares. The bytes around a body are told in ` +
		"`internal/base/ledger/doc.go`" + `. A record says
which version its body has by ` + "`body_v`" + `, which is left out for version 1.

A text that is free is typed by a person and may name a patient. The ledger holds a salted commitment to it, and it can be erased (` + "`rinsate erase`" + `);
the ` + "`reason`" + ` of every record is such a text too. Codes, choices, quantities, what the program itself wrote, the text of rule sets and all that
levels, targets and models say stay in the ledger for ever: a patient's name belongs in none of them.

| kind | what it records | body | key | scope | time | takes the place of | who may take it back |
|---|---|---|---|---|---|---|---|
`)
	for _, d := range All {
		fmt.Fprintf(&b, "| [%s](#%s) | %s | %d | %s | %s | %s | %s | %s |\n", d.Kind, d.Kind, d.Means, d.Version, keyWords(d.Key), code(d.Scope),
			timeWords(d), successWords(d), whoWords(d))
	}
	for _, d := range All {
		fmt.Fprintf(&b, "\n## %s\n\nRecords %s.", d.Kind, d.Means)
		if d.File != "" {
			fmt.Fprintf(&b, " Read in from files of `%s`.", d.File)
		}
		b.WriteString("\n\n| field | type | what people call it | found by | text |\n|---|---|---|---|---|\n")
		for _, f := range d.Fields {
			fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s |\n", f.Name, typeWords(reflect.TypeOf(d.example), f), f.Label, foundWords(f), textWords(f))
		}
		body, err := json.Marshal(d.example)
		if err != nil {
			panic(err)
		}
		canonical, err := ledger.Canonical(body)
		if err != nil {
			panic(err)
		}
		fmt.Fprintf(&b, "\n```json\n%s\n```\n", canonical)
	}
	return b.String()
}

func code(s string) string {
	if s == "" {
		return ""
	}
	return "`" + s + "`"
}

func keyWords(key string) string {
	switch {
	case key == ownID:
		return "its own id"
	case strings.HasPrefix(key, fixed):
		return "there is one"
	}
	return code(strings.ReplaceAll(key, " ", "` `"))
}

func timeWords(d Descriptor) string {
	if d.Time == "" {
		return "`at` of the record"
	}
	return code(d.Time)
}

func successWords(d Descriptor) string {
	if d.Kind == Void {
		return "any that may be taken back"
	}
	if p := placed(d); p.Entity == "" && p.Scope == "" && p.Meter == "" && !p.Note {
		return "nothing"
	}
	for _, f := range d.Fields {
		if f.Ends {
			return "its own kind: by correction, and by `" + f.Name + "`"
		}
	}
	return "its own kind, by correction"
}

// placed returns where the example of a kind belongs.
func placed(d Descriptor) Placing {
	body, err := json.Marshal(d.example)
	if err != nil {
		panic(err)
	}
	p, err := Place(ledger.Record{Type: string(d.Kind), ID: ledger.ID(exampleID("x")), At: exampleAt, Body: body})
	if err != nil {
		panic(err)
	}
	return p
}

func whoWords(d Descriptor) string {
	switch {
	case d.Kept != "":
		return "nobody: " + d.Kept
	case d.Limits != "":
		return d.Limits
	}
	return "whoever wrote it, or a person who may void records"
}

func foundWords(f Field) string {
	switch {
	case f.Names != "":
		return "`refers`: " + f.Names
	case f.Facet != Unsought:
		return "`" + string(f.Facet) + "`"
	}
	return ""
}

// textWords says where what people type in a field is kept.
func textWords(f Field) string {
	switch {
	case f.Free && f.Text == ManyLines:
		return "free, several lines"
	case f.Free:
		return "free"
	case f.Text == WholeFile:
		return "of a file, in the ledger"
	}
	return ""
}

// typeWords says how a field is written in JSON.
func typeWords(t reflect.Type, f Field) string {
	p, err := pathTo(t, f.Name)
	if err != nil {
		panic(err)
	}
	for _, s := range p {
		t = t.FieldByIndex(s.index).Type
		if s.list {
			t = t.Elem()
		}
	}
	return jsonType(t)
}

func jsonType(t reflect.Type) string {
	switch {
	case t == reflect.TypeFor[unit.Instant]():
		return "instant"
	case t == reflect.TypeFor[ledger.ID]():
		return "record id"
	case t == reflect.TypeFor[json.RawMessage]():
		return "object"
	case t.Implements(reflect.TypeFor[json.Marshaler]()):
		b, err := json.Marshal(reflect.New(t).Elem().Interface())
		if err == nil && len(b) > 0 && b[0] == '"' {
			return "decimal text"
		}
		return "whole number"
	}
	switch t.Kind() { //exhaustive:ignore // the rest has no place in a body, and the page would show it
	case reflect.String:
		return "text"
	case reflect.Bool:
		return "yes or no"
	case reflect.Int, reflect.Int64:
		return "whole number"
	case reflect.Slice, reflect.Array:
		return "list of " + jsonType(t.Elem())
	case reflect.Struct, reflect.Map, reflect.Pointer:
		return "object"
	}
	return t.String()
}

// Holds of version 1 had no kind: one that followed from a verification was for cleaning, any other counts as other.
// Lifts of version 1 named nobody's role, so that they end nothing that takes one.
func TestHoldsOfVersionOne(t *testing.T) {
	t.Parallel()
	for body, want := range map[string]reprocessing.HoldKind{
		`{"scope":"D-01","at":100,"by":"T-01","reason":"over","cause":"x"}`: reprocessing.CleaningHold,
		`{"scope":"D-01","at":100,"by":"T-01","reason":"smells"}`:           reprocessing.OtherHold,
	} {
		old := ledger.Record{Type: string(Hold), BodyVersion: 1, Body: json.RawMessage(body)}
		now, err := Current(old)
		if err != nil {
			t.Fatal(err)
		}
		hold, err := Body[reprocessing.Hold](now)
		if err != nil || hold.Kind != want || now.BodyVersion != 2 {
			t.Errorf("%s is read as %+v, version %d, %v; want %s", body, hold, now.BodyVersion, err, want)
		}
		lift := ledger.Record{Type: string(Lift), BodyVersion: 1, Body: json.RawMessage(
			`{"hold":"h","scope":"D-01","at":200,"by":"L-01","reason":"r","second":"L-02"}`)}
		if lift, err = Current(lift); err != nil || LiftEnds(lift, now, nil) {
			t.Errorf("a lift of version 1 ends %s (%v)", body, err)
		}
	}
}
