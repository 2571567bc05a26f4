package table

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Profile says how one kind of file from one system is written. The zero value is the default: the
// delimiter and encoding are found out, numbers have a decimal point and no grouping, times are RFC
// 3339, and headers are our own field names.
type Profile struct {
	// Delimiter is auto (or empty), or one of , ; | and tab, as the character or by name: comma,
	// semicolon, pipe, tab.
	Delimiter string
	// Encoding is auto (or empty), utf-8, utf-16, utf-16le, utf-16be, windows-1252, iso-8859-1 or
	// ibm850.
	Encoding string
	// Decimal is point (or empty) or comma.
	Decimal string
	// Grouping is the character between thousands: one of . , ' or a space (which also covers the
	// narrow and the no-break space), or none. Empty means none with a decimal point, and either a
	// point or a space with a decimal comma.
	Grouping string
	// Time says how moments are written.
	Time Clock
	// Columns maps our field name to the header in the file.
	Columns map[string]string
	// Values maps, for each of our fields, a text in the file to our word. Case does not matter;
	// the empty text stands for an empty cell.
	Values map[string]map[string]string
	// Constant gives a value to fields that the file has no column for.
	Constant map[string]string
	// SkipLines is the number of physical lines before the header, a sep= line not counted.
	SkipLines int

	// Limits are set by the program, never by a profile's file.
	Limits Limits
}

// Limits bound what one file may cost. Zero values stand for the defaults.
type Limits struct {
	MaxRecord int // bytes of a record; DefaultMaxRecord
	MaxErrors int // errors kept before only counting on; DefaultMaxErrors
}

// DefaultMaxErrors is how many cell errors are kept when no other limit is set: enough to see a
// pattern, few enough to read.
const DefaultMaxErrors = 100

const (
	maxProfile   = 64 << 10 // bytes of a profile's file
	maxSkipLines = 10_000
)

// ProfileError is a fault in a profile. Line is 0 when the profile was not read from a file.
type ProfileError struct {
	File    string
	Line    int
	Key     string // such as time.zone
	Problem string
}

// Error prints file:line: key: problem.
func (e *ProfileError) Error() string {
	text := e.File
	if e.Line > 0 {
		text = fmt.Sprintf("%s:%d", text, e.Line)
	}
	if e.Key != "" {
		text += ": " + e.Key
	}
	return text + ": " + e.Problem
}

// rules is a Profile made ready.
type rules struct {
	delimiter byte // 0: to be found out
	encoding  string
	numerals  numerals
	clock     clock
	columns   map[string]string            // by folded field name
	values    map[string]map[string][]byte // by folded field name, then lower-case text
	constant  map[string]string
	skip      int
}

var delimiters = map[string]byte{
	"": 0, "auto": 0, ",": ',', "comma": ',', ";": ';', "semicolon": ';',
	"\t": '\t', "tab": '\t', "|": '|', "pipe": '|',
}

var groupings = map[string]byte{
	"": 0, "none": 0, ".": '.', "point": '.', ",": ',', "comma": ',', "'": '\'', "apostrophe": '\'', " ": ' ', "space": ' ',
}

func (p Profile) compile() (rules, *ProfileError) {
	r := rules{skip: p.SkipLines}
	var ok bool
	if r.delimiter, ok = delimiters[p.Delimiter]; !ok {
		return r, &ProfileError{Key: "delimiter", Problem: fmt.Sprintf("%q is not auto, comma, semicolon, tab or pipe", shorten(p.Delimiter))}
	}
	var err error
	if r.encoding, err = checkEncoding(p.Encoding); err != nil {
		return r, &ProfileError{Key: "encoding", Problem: err.Error()}
	}
	switch p.Decimal {
	case "", "point":
		r.numerals.decimal = '.'
	case "comma":
		r.numerals.decimal = ','
	default:
		return r, &ProfileError{Key: "decimal", Problem: fmt.Sprintf("%q is neither point nor comma", shorten(p.Decimal))}
	}
	if r.numerals.group, ok = groupings[p.Grouping]; !ok {
		return r, &ProfileError{Key: "grouping", Problem: fmt.Sprintf("%q is not none, point, comma, apostrophe or space", shorten(p.Grouping))}
	}
	r.numerals.either = p.Grouping == "" && r.numerals.decimal == ','
	if r.numerals.group == r.numerals.decimal {
		return r, &ProfileError{Key: "grouping", Problem: "the same character cannot group thousands and begin the decimals"}
	}
	if p.SkipLines < 0 || p.SkipLines > maxSkipLines {
		return r, &ProfileError{Key: "skip_lines", Problem: fmt.Sprintf("%d is outside 0–%d", p.SkipLines, maxSkipLines)}
	}
	var fault *ProfileError
	if r.clock, fault = p.Time.compile(); fault != nil {
		return r, fault
	}
	if r.columns, fault = folded("columns", p.Columns); fault != nil {
		return r, fault
	}
	if r.constant, fault = folded("constant", p.Constant); fault != nil {
		return r, fault
	}
	for _, field := range sortedKeys(p.Constant) {
		if _, both := r.columns[fold(field)]; both {
			return r, &ProfileError{Key: "constant." + field, Problem: "the field also has a column; only one can count"}
		}
	}
	for _, field := range sortedKeys(p.Columns) {
		if fold(p.Columns[field]) == "" {
			return r, &ProfileError{Key: "columns." + field, Problem: "the header is empty"}
		}
	}
	perField, fault := folded("values", p.Values)
	if fault != nil {
		return r, fault
	}
	r.values = make(map[string]map[string][]byte, len(perField))
	for _, field := range sortedKeys(perField) {
		words := make(map[string][]byte, len(perField[field]))
		for _, text := range sortedKeys(perField[field]) {
			lower := strings.ToLower(strings.TrimSpace(text))
			if _, twice := words[lower]; twice {
				return r, &ProfileError{Key: "values." + field, Problem: fmt.Sprintf("%q is given twice but for case or spaces", shorten(text))}
			}
			words[lower] = []byte(strings.TrimSpace(perField[field][text]))
		}
		r.values[field] = words
	}
	return r, nil
}

// folded keys a map by folded field names.
func folded[V any](key string, m map[string]V) (map[string]V, *ProfileError) {
	out := make(map[string]V, len(m))
	for _, field := range sortedKeys(m) {
		name := fold(field)
		if _, twice := out[name]; twice || name == "" {
			return nil, &ProfileError{Key: key + "." + field, Problem: "the field name is empty or given twice but for case, spaces and hyphens"}
		}
		out[name] = m[field]
	}
	return out, nil
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// fold makes header names comparable: case, surrounding space, and the difference between spaces,
// hyphens and underscores do not count.
func fold(name string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(name), func(r rune) bool {
		return strings.ContainsRune(" \t-_\u00a0", r)
	}), "_")
}

// ParseProfile reads a profile's YAML, whose name stands in errors. The keys are delimiter,
// encoding, decimal, grouping, time (zone, format, ambiguous), columns, values, constant and
// skip_lines; an empty file is the default profile. Every other key, a key given twice, a value
// that is not known, an alias and a second document are a *ProfileError with the line. Which field
// names exist is only known to Open.
func ParseProfile(name string, r io.Reader) (Profile, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxProfile+1))
	if err != nil {
		return Profile{}, fmt.Errorf("read profile %s: %w", name, err)
	}
	if len(text) > maxProfile {
		return Profile{}, &ProfileError{File: name, Problem: fmt.Sprintf("the profile is longer than %d bytes", maxProfile)}
	}
	d := yaml.NewDecoder(strings.NewReader(string(text)))
	var doc, more yaml.Node
	if err := d.Decode(&doc); errors.Is(err, io.EOF) {
		return Profile{}, nil
	} else if err != nil {
		return Profile{}, fmt.Errorf("%s: %w", name, err)
	}
	if err := d.Decode(&more); err == nil {
		return Profile{}, &ProfileError{File: name, Line: more.Line, Problem: "a second document begins here; a profile is one document"}
	} else if !errors.Is(err, io.EOF) {
		return Profile{}, fmt.Errorf("%s: %w", name, err)
	}
	p := profileReader{lines: map[string]int{}}
	for _, root := range doc.Content {
		p.document(root)
	}
	fault := p.fault
	if fault == nil {
		_, fault = p.profile.compile()
	}
	if fault != nil {
		if fault.File = name; fault.Line == 0 {
			fault.Line = p.lines[fault.Key]
		}
		return Profile{}, fault
	}
	return p.profile, nil
}

// profileReader walks the YAML itself instead of unmarshalling, so that each fault has its line and
// a word such as no stays a word.
type profileReader struct {
	profile Profile
	lines   map[string]int // of each key, such as time.zone
	fault   *ProfileError  // the first
}

func (p *profileReader) refuse(n *yaml.Node, key, problem string) {
	if p.fault == nil {
		p.fault = &ProfileError{Line: n.Line, Key: key, Problem: problem}
	}
}

func (p *profileReader) document(n *yaml.Node) {
	if n.Kind == yaml.ScalarNode && n.Tag == "!!null" {
		return // only comments
	}
	p.mapping("", n, func(key string, v *yaml.Node) {
		switch key {
		case "delimiter":
			p.profile.Delimiter = p.word(key, v)
		case "encoding":
			p.profile.Encoding = p.word(key, v)
		case "decimal":
			p.profile.Decimal = p.word(key, v)
		case "grouping":
			p.profile.Grouping = p.word(key, v)
		case "time":
			p.clock(key, v)
		case "columns":
			p.profile.Columns = p.texts(key, v)
		case "constant":
			p.profile.Constant = p.texts(key, v)
		case "values":
			p.profile.Values = map[string]map[string]string{}
			p.mapping(key, v, func(field string, v *yaml.Node) {
				p.profile.Values[field] = p.texts(key+"."+field, v)
			})
		case "skip_lines":
			count, err := strconv.Atoi(p.word(key, v))
			if err != nil {
				p.refuse(v, key, "is not a whole number")
			}
			p.profile.SkipLines = count
		default:
			p.refuse(v, key, "there is no such key; the keys are delimiter, encoding, decimal, grouping, time, columns, values, constant, skip_lines")
		}
	})
}

func (p *profileReader) clock(at string, n *yaml.Node) {
	c := &p.profile.Time
	p.mapping(at, n, func(key string, v *yaml.Node) {
		path := at + "." + key
		switch key {
		case "zone":
			c.Zone = p.word(path, v)
		case "ambiguous":
			c.Ambiguous = p.word(path, v)
		case "format":
			if v.Kind != yaml.SequenceNode {
				c.Format = []string{p.word(path, v)}
				return
			}
			if len(v.Content) == 0 {
				p.refuse(v, path, "the list is empty")
			}
			for _, item := range v.Content {
				c.Format = append(c.Format, p.word(path, item))
			}
		default:
			p.refuse(v, path, "there is no such key; the keys are zone, format, ambiguous")
		}
	})
}

// mapping calls each for the entries and notes their lines.
func (p *profileReader) mapping(at string, n *yaml.Node, each func(key string, v *yaml.Node)) {
	if n.Kind != yaml.MappingNode {
		p.refuse(n, at, "is not a mapping of keys to values")
		return
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		path := strings.TrimPrefix(at+"."+k.Value, ".")
		if k.Kind != yaml.ScalarNode {
			p.refuse(k, at, "a key is not a plain text")
			return
		}
		if seen[k.Value] {
			p.refuse(k, path, "is given twice")
		}
		seen[k.Value] = true
		p.lines[path] = k.Line
		each(k.Value, v)
	}
}

func (p *profileReader) texts(at string, n *yaml.Node) map[string]string {
	out := map[string]string{}
	p.mapping(at, n, func(key string, v *yaml.Node) { out[key] = p.text(at+"."+key, v) })
	return out
}

func (p *profileReader) text(at string, n *yaml.Node) string {
	if n.Kind != yaml.ScalarNode {
		p.refuse(n, at, "is not a plain text")
		return ""
	}
	return n.Value
}

// word is a text that must not be empty: leaving the key out is how to ask for the default.
func (p *profileReader) word(at string, n *yaml.Node) string {
	s := p.text(at, n)
	if s == "" {
		p.refuse(n, at, "has no value; leave the key out for the default")
	}
	return s
}
