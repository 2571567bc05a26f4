package table

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
)

// Kind says what a field's cells hold. It is for messages and help; the getter decides what is read.
type Kind int

// The kinds of fields.
const (
	KindText Kind = iota
	KindWord
	KindInt
	KindNumber
	KindBool
	KindTime
)

// String names the kind as a person would.
func (k Kind) String() string {
	switch k {
	case KindWord:
		return "word"
	case KindInt:
		return "whole number"
	case KindNumber:
		return "number"
	case KindBool:
		return "yes or no"
	case KindTime:
		return "time"
	case KindText:
		return "text"
	default:
		return fmt.Sprintf("kind %d", int(k))
	}
}

// Field describes a column that the program wants.
type Field struct {
	Name     string // ours; also the header looked for unless the profile maps it
	Required bool   // the column must exist and each cell be filled
	Kind     Kind
	Allowed  []string // for KindWord
	MaxRunes int      // of a text; 0 for DefaultMaxRunes
	Help     string   // half a sentence for the person who makes the file
}

// HeaderError is a header row that lacks a required column or names one twice, or no header row.
type HeaderError struct {
	File    string
	Line    int
	Problem string
	Missing []string // our field names
	Found   []string // the headers in the file
	Wanted  []string // all field names that are known, required or not
}

// Error prints the place, what is wrong, and what would do.
func (e *HeaderError) Error() string {
	text := fmt.Sprintf("%s:%d: %s", e.File, e.Line, e.Problem)
	if len(e.Found) > 0 {
		text += "; the file has: " + shortList(e.Found)
	}
	if len(e.Wanted) > 0 {
		text += "; known columns: " + shortList(e.Wanted)
	}
	return text
}

// Table reads a file row by row. It keeps one record in memory, and cell errors up to a cap.
type Table struct {
	name    string
	tok     *Tokenizer
	decoder *decoder
	rules   rules
	columns []column
	byName  map[string]int // by folded field name
	headers []string
	ignored []string
	row     bool // there is a current row
	errs    FileError
	cap     int
	fatal   bool // the tokenizer's error is in errs
}

type column struct {
	field    Field
	header   string // as in the file
	index    int    // in a record; -1 when the file lacks it
	constant []byte // from the profile, for a file that lacks the column
	values   map[string][]byte
	maxRunes int
}

// Open reads the header row of r, whose name stands in errors. The errors are *HeaderError,
// *SyntaxError, *ProfileError, or the reader's own, wrapped. It panics when two fields have the same
// name.
//
// A first line sep=; (or another delimiter) is obeyed and taken off; it must agree with a delimiter
// that the profile names.
func Open(name string, r io.Reader, profile Profile, fields []Field) (*Table, error) {
	rules, fault := profile.compile()
	if fault == nil {
		fault = knownFields(profile, fields)
	}
	if fault != nil {
		fault.File = "profile for " + name
		return nil, fault
	}
	d, err := newDecoder(r, rules.encoding)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	t := &Table{
		name: name, tok: newTokenizer(name, d, profile.Limits.MaxRecord), decoder: d, rules: rules,
		byName: make(map[string]int, len(fields)), cap: profile.Limits.MaxErrors,
	}
	if t.cap <= 0 {
		t.cap = DefaultMaxErrors
	}
	if err := t.tok.prologue(rules.delimiter, rules.skip); err != nil {
		return nil, err
	}
	t.tok.Next() // without a record there are no headers, and Err says why
	if err := t.tok.Err(); err != nil {
		return nil, err
	}
	for i := range t.tok.Len() {
		t.headers = append(t.headers, string(bytes.TrimSpace(t.tok.Field(i))))
	}
	if err := t.match(fields); err != nil {
		return nil, err
	}
	return t, nil
}

// knownFields refuses a profile that speaks of fields which the file's kind does not have: most
// likely a slip of the pen, which would otherwise pass in silence.
func knownFields(p Profile, fields []Field) *ProfileError {
	known := map[string]bool{}
	names := make([]string, 0, len(fields))
	for _, f := range fields {
		known[fold(f.Name)] = true
		names = append(names, f.Name)
	}
	check := func(key, field string) *ProfileError {
		if known[fold(field)] {
			return nil
		}
		problem := "there is no such field; the fields are " + strings.Join(names, ", ")
		if near := nearest(field, names); near != "" {
			problem += fmt.Sprintf("; did you mean %q?", near)
		}
		return &ProfileError{Key: key + "." + shorten(field), Problem: problem}
	}
	for _, field := range sortedKeys(p.Columns) {
		if fault := check("columns", field); fault != nil {
			return fault
		}
	}
	for _, field := range sortedKeys(p.Values) {
		if fault := check("values", field); fault != nil {
			return fault
		}
	}
	for _, field := range sortedKeys(p.Constant) {
		if fault := check("constant", field); fault != nil {
			return fault
		}
	}
	return nil
}

// match finds each field's place in the header row.
func (t *Table) match(fields []Field) error {
	fault := &HeaderError{File: t.name, Line: t.Line(), Found: t.headers}
	for _, f := range fields {
		fault.Wanted = append(fault.Wanted, f.Name)
	}
	if len(t.headers) == 0 {
		fault.Line, fault.Problem = t.tok.next, "the file has no header row"
		return fault
	}
	places := make(map[string]int, len(t.headers))
	for i, h := range t.headers {
		key := fold(h)
		if first, twice := places[key]; twice && key != "" {
			fault.Problem = fmt.Sprintf("columns %d and %d have the same header %q", first+1, i+1, shorten(h))
			return fault
		}
		places[key] = i
	}
	delete(places, "") // a column without a header is nobody's

	used := make([]bool, len(t.headers))
	var problems []string
	for _, f := range fields {
		key := fold(f.Name)
		if _, twice := t.byName[key]; twice {
			panic(fmt.Sprintf("wire: field %q is given twice", f.Name))
		}
		c := column{field: f, index: -1, header: f.Name, values: t.rules.values[key], maxRunes: f.MaxRunes}
		if c.maxRunes <= 0 {
			c.maxRunes = DefaultMaxRunes
		}
		header, mapped := t.rules.columns[key]
		if !mapped {
			header = f.Name
		}
		place, found := places[fold(header)]
		constant, fixed := t.rules.constant[key]
		switch {
		case found && fixed:
			problems = append(problems, fmt.Sprintf("column %q is in the file, but the profile also gives a constant for it", shorten(t.headers[place])))
		case found:
			c.index, c.header, used[place] = place, t.headers[place], true
		case fixed:
			c.header, c.constant = f.Name+" (constant in the profile)", append([]byte{}, strings.TrimSpace(constant)...)
		case f.Required || mapped:
			// An optional column that the profile promises is missed too: the profile is wrong.
			fault.Missing = append(fault.Missing, f.Name)
			problems = append(problems, t.missing(f, header, mapped))
		}
		t.byName[key] = len(t.columns)
		t.columns = append(t.columns, c)
	}
	if len(problems) > 0 {
		fault.Problem = strings.Join(problems, "; ")
		return fault
	}
	for i, h := range t.headers {
		if !used[i] {
			if h == "" {
				h = fmt.Sprintf("column %d (no header)", i+1)
			}
			t.ignored = append(t.ignored, h)
		}
	}
	return nil
}

func (t *Table) missing(f Field, header string, mapped bool) string {
	text := fmt.Sprintf("column %q is missing", f.Name)
	if mapped {
		text = fmt.Sprintf("column %q, which the profile names for %s, is missing", shorten(header), f.Name)
	}
	about := f.Kind.String()
	if len(f.Allowed) > 0 {
		about += ": " + shortList(f.Allowed)
	}
	if f.Help != "" {
		about += "; " + f.Help
	}
	text += " (" + about + ")"
	if near := nearest(header, t.headers); near != "" {
		text += fmt.Sprintf("; did you mean the file's %q?", shorten(near))
	}
	return text
}

// Next moves to the next row and returns false at the end or on a *SyntaxError. Rows in which every
// cell is empty, which spreadsheets write for formatted but unused rows, are passed over. A row that
// is longer or shorter than the header row is noted as an error and passed over.
func (t *Table) Next() bool {
	for t.tok.Next() {
		if t.blank() {
			continue
		}
		if got, want := t.tok.Len(), len(t.headers); got != want {
			if !t.full() {
				t.errs.List = append(t.errs.List, &SyntaxError{
					File: t.name, Line: t.Line(), Problem: fmt.Sprintf("the row has %d fields, the header row %d", got, want),
				})
			}
			continue
		}
		t.row = true
		return true
	}
	t.row = false
	if err := t.tok.Err(); err != nil && !t.fatal {
		t.fatal = true
		t.errs.List = append(t.errs.List, err) // whatever the cap: it says why the file ends here
	}
	return false
}

func (t *Table) blank() bool {
	for i := range t.tok.Len() {
		if len(bytes.TrimSpace(t.tok.Field(i))) > 0 {
			return false
		}
	}
	return true
}

// full says whether the cap is reached; the error at hand is then only counted.
func (t *Table) full() bool {
	if len(t.errs.List) < t.cap {
		return false
	}
	t.errs.More++
	return true
}

// Err returns the errors found so far as *FileError, or nil. A file with an error should not be taken in
// part.
func (t *Table) Err() error {
	if len(t.errs.List) == 0 {
		return nil
	}
	return &FileError{List: slices.Clip(t.errs.List), More: t.errs.More}
}

// Faults counts the faults found so far; Err lists them.
func (t *Table) Faults() int { return len(t.errs.List) + t.errs.More }

// Line returns the physical line, from 1, on which the current row starts; a sep= line and lines
// skipped are counted.
func (t *Table) Line() int { return t.tok.Line() }

// Ignored returns the headers in the file that no field took.
func (t *Table) Ignored() []string { return append([]string(nil), t.ignored...) }

// Field returns the handle of a field. It panics on a name that was not given to Open.
func (t *Table) Field(name string) Column {
	i, ok := t.byName[name]
	if !ok {
		if i, ok = t.byName[fold(name)]; !ok {
			panic(fmt.Sprintf("wire: the table has no field %q", name))
		}
	}
	return Column{t, &t.columns[i]}
}
