package policy

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// Amendment gives one value of a rule set another.
type Amendment struct {
	// Path leads to the value: names of keys, and in lists what a rule is called (its name, step, points,
	// or occasion).
	Path []string
	// Value is the new value as the text has it.
	Value string
	// Text says that the value is a text, which is then quoted where it has to be.
	Text bool
}

// Amend changes single values in the text of a rule set and leaves everything else in it as it is:
// comments, spaces, order. A key that a rule does not have yet is added to it. What it returns may be a
// rule set that Parse refuses. The value of a key that spans lines, or is a list, cannot be changed so.
func Amend(text []byte, amendments ...Amendment) ([]byte, error) {
	for _, a := range amendments {
		var err error
		if text, err = amend(text, a); err != nil {
			return nil, fmt.Errorf("%s: %w", strings.Join(a.Path, ", "), err)
		}
	}
	return text, nil
}

func amend(text []byte, a Amendment) ([]byte, error) {
	top, err := document(text)
	if err != nil {
		return nil, err
	}
	if len(a.Path) == 0 {
		return nil, errors.New("nothing is named")
	}
	rule, name := find(top, a.Path[:len(a.Path)-1]), a.Path[len(a.Path)-1]
	if rule == nil || rule.Kind != yaml.MappingNode {
		return nil, errors.New("there is no such rule in the text")
	}
	value := a.Value
	if a.Text {
		value = quoted(value)
	}
	if strings.ContainsAny(value, "\r\n") || value == "" {
		return nil, errors.New("the value is empty or has more than one line")
	}
	_, old := member(rule, name)
	if old == nil {
		return insert(text, rule, name, value)
	}
	from, to, err := extent(text, old)
	if err != nil {
		return nil, err
	}
	return splice(text, from, to, value), nil
}

func splice(text []byte, from, to int, value string) []byte {
	return []byte(string(text[:from]) + value + string(text[to:]))
}

// insert adds a key behind the first one of a rule, which names it.
func insert(text []byte, rule *yaml.Node, name, value string) ([]byte, error) {
	if len(rule.Content) == 0 {
		return nil, errors.New("the rule is empty: change it in the text")
	}
	key, first := rule.Content[0], rule.Content[1]
	if rule.Style&yaml.FlowStyle != 0 {
		_, to, err := extent(text, first)
		if err != nil {
			return nil, err
		}
		return splice(text, to, to, ", "+name+": "+value), nil
	}
	// In block style it goes on a line of its own before the first key, at the same depth.
	at, err := offset(text, key)
	if err != nil {
		return nil, err
	}
	return splice(text, at, at, name+": "+value+"\n"+strings.Repeat(" ", key.Column-1)), nil
}

// offset returns the place of a node in the text, in bytes. The parser counts columns in characters.
func offset(text []byte, n *yaml.Node) (int, error) {
	at, line, column := 0, 1, 1
	for line < n.Line || line == n.Line && column < n.Column {
		r, size := utf8.DecodeRune(text[at:])
		if size == 0 || line > n.Line {
			return 0, errors.New("the place in the text is not known: change it in the text")
		}
		at, column = at+size, column+1
		if breaks(r) && (r != '\r' || at == len(text) || text[at] != '\n') {
			line, column = line+1, 1
		}
	}
	return at, nil
}

// breaks says whether a character ends a line (YAML 1.1, section 4.2); a carriage return before a line feed
// does so with it.
func breaks(r rune) bool {
	return r == '\n' || r == '\r' || r == '\u0085' || r == '\u2028' || r == '\u2029'
}

// extent returns the bytes that a plain or quoted value takes on its line.
func extent(text []byte, n *yaml.Node) (from, to int, err error) {
	if n.Kind != yaml.ScalarNode {
		return 0, 0, errors.New("it is a list: change it in the text")
	}
	if from, err = offset(text, n); err != nil {
		return 0, 0, err
	}
	line := string(text[from:])
	if end := strings.IndexFunc(line, breaks); end >= 0 {
		line = line[:end]
	}
	length := -1
	switch n.Style &^ yaml.TaggedStyle { //nolint:exhaustive // a value in another style spans lines
	case yaml.DoubleQuotedStyle:
		length = closing(line, '"', '\\')
	case yaml.SingleQuotedStyle:
		length = closing(line, '\'', '\'')
	case 0:
		if strings.HasPrefix(line, n.Value) {
			length = len(n.Value)
		}
	}
	if length < 0 {
		return 0, 0, errors.New("it spans lines: change it in the text")
	}
	return from, from + length, nil
}

// closing returns the length of a quoted text with its quotes; escape makes the character behind it part
// of the text. It is -1 when the quote is not closed on the line.
func closing(line string, quote, escape byte) int {
	for i := 1; i < len(line); i++ {
		switch {
		case line[i] == escape && escape != quote:
			i++
		case line[i] == quote && escape == quote && i+1 < len(line) && line[i+1] == quote:
			i++
		case line[i] == quote:
			return i + 1
		}
	}
	return -1
}

// quoted writes a text so that YAML reads it as that text.
func quoted(text string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range text {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < ' ' || r >= 0x7f && r < 0xa0 || r == 0x2028 || r == 0x2029 || r == 0xfeff:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
