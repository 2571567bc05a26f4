package record

import (
	"bytes"
	"strconv"
	"strings"

	"rinsate/internal/base/ledger"
)

// Field is one field of the body of a kind of record.
type Field struct {
	// Name is its name in JSON: "scope", "with.kit" inside another, "controls[].lot" inside those of a list.
	Name string
	// Label is what people call it; describe fills in the shared word for the name where none is given.
	Label string
	// Facet is what its values are found by, Unsought when nobody looks for records by it.
	Facet Facet
	// Names is what a record is to this one whose id the field holds: "its sample". Empty for every other
	// field.
	Names string
	// Ends says that the record takes the place of the one whose id the field holds.
	Ends bool
	// Text says what its texts may be.
	Text Text
	// Free says that people type in it what they like, which may name a patient: the ledger holds a salted
	// commitment to such a text, and the text can be erased.
	Free bool
}

// Unsought is the facet of a field that nobody looks for records by.
const Unsought Facet = ""

// Text is what a text may be.
type Text int

// The kinds of text.
const (
	// OneLine is one line of at most MaxText characters.
	OneLine Text = iota
	// ManyLines may have line feeds and tabs.
	ManyLines
	// WholeFile is what a file held, word for word, as long as a record may be.
	WholeFile
)

// found is a field that records are looked for by.
func found(name, label string, facet Facet) Field {
	return Field{Name: name, Label: label, Facet: facet}
}

// names is a field that holds the id of another record.
func names(name, label, words string) Field { return Field{Name: name, Label: label, Names: words} }

// ends is a field that holds the id of the record whose place this one takes.
func ends(name, label, words string) Field {
	return Field{Name: name, Label: label, Names: words, Ends: true}
}

// plain is a field that nobody looks for records by.
func plain(name, label string) Field { return Field{Name: name, Label: label} }

// note is a field for free text of several lines.
func note(name, label string) Field {
	return Field{Name: name, Label: label, Text: ManyLines, Free: true}
}

// remark is a field for free text of one line.
func remark(name, label string) Field { return Field{Name: name, Label: label, Free: true} }

// facet returns what a field is found by, those that name records as well.
func (f Field) facet() Facet {
	if f.Names != "" {
		return ByReference
	}
	return f.Facet
}

// FreeText names a free text by its record and its place there: "reason" of the record itself, or "body" and
// the way into the body, such as "body.note" and "body.verification.points[2].not_applicable".
type FreeText struct {
	Record ledger.ID `json:"record"`
	Field  string    `json:"field"`
}

// freeFields are the fields of a kind that hold free texts.
type freeFields struct {
	names map[string]bool
	// marks are how a body goes on where one of them begins; most bodies hold none of them.
	marks [][]byte
}

func freeOf(fields []Field) freeFields {
	f := freeFields{names: map[string]bool{}}
	for _, field := range fields {
		if field.Free {
			f.names[field.Name] = true
			f.marks = append(f.marks, []byte(strconv.Quote(field.Name[strings.LastIndexByte(field.Name, '.')+1:])))
		}
	}
	return f
}

// in says at a glance whether a body may hold free texts.
func (f freeFields) in(body []byte) bool {
	for _, m := range f.marks {
		if bytes.Contains(body, m) {
			return true
		}
	}
	return false
}

// unnumbered turns the way to a text into the name of its field: "points[2].note" into "points[].note".
func unnumbered(way string) string {
	if !strings.Contains(way, "[") {
		return way
	}
	var b strings.Builder
	inside := false
	for _, r := range way {
		switch {
		case r == '[':
			inside = true
			b.WriteString("[")
			continue
		case r == ']':
			inside = false
		case inside:
			continue
		}
		b.WriteRune(r)
	}
	return b.String()
}
