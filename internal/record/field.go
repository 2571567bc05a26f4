package record

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

// note is a plain field for free text of several lines.
func note(name, label string) Field { return Field{Name: name, Label: label, Text: ManyLines} }

// facet returns what a field is found by, those that name records as well.
func (f Field) facet() Facet {
	if f.Names != "" {
		return ByReference
	}
	return f.Facet
}
