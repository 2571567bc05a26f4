package ledger

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

const (
	// maxInteger is the largest whole number that every JSON reader keeps exactly: RFC 8785 takes
	// numbers as IEEE 754 doubles, which hold whole numbers below 2^53.
	maxInteger = 1<<53 - 1

	// maxDepth bounds the nesting of a document, so that a crafted record cannot exhaust the stack.
	maxDepth = 64
)

// Canonical returns the RFC 8785 form of a JSON document, with one rule more than the RFC: a
// number must be a whole number below 2^53 in magnitude, written without point or exponent (-0
// is refused too). A quantity such as 6.4 belongs in a string, where no reader can round it. Also
// refused are duplicate keys, invalid UTF-8, lone surrogates, text after the document and nesting
// deeper than 64. The error names the path of the value that is wrong.
func Canonical(document []byte) ([]byte, error) {
	return appendCanonical(make([]byte, 0, len(document)), document, "")
}

// appendCanonical appends the canonical form of document to out; name stands for the document in
// the path of an error.
func appendCanonical(out, document []byte, name string) ([]byte, error) {
	c := canon{src: document, out: out}
	fault := c.value(0)
	if fault == nil && c.next() != 0 {
		fault = c.wrong("there is text after the end")
	}
	if fault != nil {
		return nil, fault.under(name)
	}
	return c.out, nil
}

// A valueError is a fault in a JSON value; its path grows while the reader unwinds, so that
// nothing is spent on paths as long as all is well.
type valueError struct{ path, problem string }

func (e *valueError) Error() string {
	if path := strings.TrimPrefix(e.path, "."); path != "" {
		return path + ": " + e.problem
	}
	return e.problem
}

func (e *valueError) under(step string) *valueError {
	e.path = step + e.path
	return e
}

// canon reads src once and writes its canonical form to out as it goes.
type canon struct {
	src []byte
	pos int
	out []byte
}

func (c *canon) wrong(format string, args ...any) *valueError {
	return &valueError{problem: fmt.Sprintf(format, args...)}
}

// next skips white space and returns the byte there without consuming it, 0 at the end. For a zero
// byte in the source it returns 0xff, which is as wrong everywhere and no end.
func (c *canon) next() byte {
	for c.pos < len(c.src) {
		switch b := c.src[c.pos]; b {
		case ' ', '\t', '\n', '\r':
			c.pos++
		case 0:
			return 0xff
		default:
			return b
		}
	}
	return 0
}

func (c *canon) value(depth int) *valueError {
	if depth > maxDepth {
		return c.wrong("is nested deeper than %d", maxDepth)
	}
	switch b := c.next(); {
	case b == '{':
		return c.object(depth)
	case b == '[':
		return c.array(depth)
	case b == '"':
		_, fault := c.text()
		return fault
	case b == '-' || b >= '0' && b <= '9':
		return c.number()
	case b == 0:
		return c.wrong("a JSON value is missing or cut off")
	}
	for _, word := range [...]string{"true", "false", "null"} {
		if bytes.HasPrefix(c.src[c.pos:], []byte(word)) {
			c.pos += len(word)
			c.out = append(c.out, word...)
			return nil
		}
	}
	return c.wrong("byte %d does not begin a JSON value", c.pos)
}

func (c *canon) array(depth int) *valueError {
	c.pos++
	c.out = append(c.out, '[')
	for i := 0; ; i++ {
		if i == 0 && c.next() == ']' {
			break
		}
		if fault := c.value(depth + 1); fault != nil {
			return fault.under("[" + strconv.Itoa(i) + "]")
		}
		b := c.next()
		if b == ']' {
			break
		}
		if b != ',' {
			return c.wrong("byte %d should be a comma or the end of the array", c.pos)
		}
		c.pos++
		c.out = append(c.out, ',')
	}
	c.pos++
	c.out = append(c.out, ']')
	return nil
}

// A member is one name and value of an object, already written to out[start:end].
type member struct {
	key        []byte
	start, end int
}

func (c *canon) object(depth int) *valueError {
	c.pos++
	c.out = append(c.out, '{')
	begin, sorted := len(c.out), true
	var few [12]member
	members := few[:0]
	for c.next() != '}' || len(members) > 0 {
		if c.next() != '"' {
			return c.wrong("byte %d should begin a name in quotes", c.pos)
		}
		m := member{start: len(c.out)}
		key, fault := c.text()
		if fault != nil {
			return fault
		}
		m.key = key
		if c.next() != ':' {
			return c.wrong("byte %d should be a colon", c.pos).under(step(key))
		}
		c.pos++
		c.out = append(c.out, ':')
		if fault := c.value(depth + 1); fault != nil {
			return fault.under(step(key))
		}
		m.end = len(c.out)
		sorted = sorted && (len(members) == 0 || compareKeys(members[len(members)-1].key, key) < 0)
		members = append(members, m)
		b := c.next()
		if b == '}' {
			break
		}
		if b != ',' {
			return c.wrong("byte %d should be a comma or the end of the object", c.pos)
		}
		c.pos++
		c.out = append(c.out, ',')
	}
	c.pos++
	if !sorted {
		if fault := c.arrange(members, begin); fault != nil {
			return fault
		}
	}
	c.out = append(c.out, '}')
	return nil
}

// arrange puts the members that were written from out[begin] on into canonical order.
func (c *canon) arrange(members []member, begin int) *valueError {
	slices.SortFunc(members, func(a, b member) int { return compareKeys(a.key, b.key) })
	arranged := make([]byte, 0, len(c.out)-begin)
	for i, m := range members {
		if i > 0 {
			if bytes.Equal(members[i-1].key, m.key) {
				return c.wrong("the name %q stands twice in one object", m.key).under(step(m.key))
			}
			arranged = append(arranged, ',')
		}
		arranged = append(arranged, c.out[m.start:m.end]...)
	}
	copy(c.out[begin:], arranged)
	return nil
}

// compareKeys orders UTF-8 texts by their UTF-16 code units, as RFC 8785 section 3.2.3 demands.
// That is the order of the bytes but for one case: characters from U+10000 on (first byte 0xF0 or
// more) are written with surrogates, which sort before U+E000 to U+FFFF (first byte 0xEE, 0xEF).
func compareKeys(a, b []byte) int {
	for i := range min(len(a), len(b)) {
		if x, y := a[i], b[i]; x != y {
			if x >= 0xee && y >= 0xee && (x >= 0xf0) != (y >= 0xf0) {
				return cmp.Compare(y, x)
			}
			return cmp.Compare(x, y)
		}
	}
	return cmp.Compare(len(a), len(b))
}

func step(key []byte) string {
	plain := len(key) > 0
	for _, b := range key {
		plain = plain && (b == '_' || b >= '0' && b <= '9' || b >= 'A' && b <= 'Z' || b >= 'a' && b <= 'z')
	}
	if plain {
		return "." + string(key)
	}
	return fmt.Sprintf("[%q]", key)
}

func (c *canon) number() *valueError {
	start := c.pos
	for c.pos < len(c.src) && strings.IndexByte("+-.0123456789eE", c.src[c.pos]) >= 0 {
		c.pos++
	}
	text := c.src[start:c.pos]
	digits := bytes.TrimPrefix(text, []byte("-"))
	whole, n := len(digits) > 0 && len(digits) <= 16, int64(0)
	for i := 0; whole && i < len(digits); i++ {
		whole = digits[i] >= '0' && digits[i] <= '9'
		n = n*10 + int64(digits[i]-'0')
	}
	if whole && digits[0] == '0' {
		whole = len(text) == 1
	}
	if !whole || n > maxInteger {
		return c.wrong("%.40s is not a whole number below 2^53; write other quantities as decimal strings", text)
	}
	c.out = append(c.out, text...)
	return nil
}

// text reads a string, writes it in canonical form and returns its content.
func (c *canon) text() ([]byte, *valueError) {
	c.pos++
	start, ascii := c.pos, true
	for i := start; i < len(c.src); i++ {
		switch b := c.src[i]; {
		case b == '"':
			content := c.src[start:i]
			if !ascii && !utf8.Valid(content) {
				return nil, c.wrong("the text holds bytes that are not UTF-8")
			}
			c.pos = i + 1
			c.out = append(c.out, c.src[start-1:c.pos]...)
			return content, nil
		case b == '\\':
			return c.escapedText()
		case b < ' ':
			return nil, c.wrong("the text holds a bare control character at byte %d", i)
		case b >= utf8.RuneSelf:
			ascii = false
		}
	}
	return nil, c.wrong("the text has no closing quote")
}

// escapedText is text for the rare string with a backslash; pos is at its first character.
func (c *canon) escapedText() ([]byte, *valueError) {
	var content []byte
	for c.pos < len(c.src) {
		b := c.src[c.pos]
		c.pos++
		switch {
		case b == '"':
			if !utf8.Valid(content) {
				return nil, c.wrong("the text holds bytes that are not UTF-8")
			}
			c.out = appendText(c.out, content)
			return content, nil
		case b < ' ':
			return nil, c.wrong("the text holds a bare control character at byte %d", c.pos-1)
		case b != '\\':
			content = append(content, b)
		default:
			r, ok := c.escape()
			if !ok {
				return nil, c.wrong("the text holds a broken escape or half a surrogate pair before byte %d", c.pos)
			}
			content = utf8.AppendRune(content, r)
		}
	}
	return nil, c.wrong("the text has no closing quote")
}

// escape reads what follows a backslash.
func (c *canon) escape() (rune, bool) {
	if c.pos >= len(c.src) {
		return 0, false
	}
	b := c.src[c.pos]
	c.pos++
	if b != 'u' {
		i := strings.IndexByte(`"\/bfnrt`, b)
		if i < 0 {
			return 0, false
		}
		return rune("\"\\/\b\f\n\r\t"[i]), true
	}
	r, ok := c.hex4()
	if !ok || !utf16.IsSurrogate(r) {
		return r, ok
	}
	if !bytes.HasPrefix(c.src[c.pos:], []byte(`\u`)) {
		return 0, false
	}
	c.pos += 2
	low, ok := c.hex4()
	r = utf16.DecodeRune(r, low)
	return r, ok && r != utf8.RuneError
}

func (c *canon) hex4() (rune, bool) {
	if c.pos+4 > len(c.src) {
		return 0, false
	}
	n, err := strconv.ParseUint(string(c.src[c.pos:c.pos+4]), 16, 16)
	c.pos += 4
	return rune(n), err == nil
}

// appendText appends s, which must be UTF-8, as a JSON string in canonical form.
func appendText[T ~string | ~[]byte](out []byte, s T) []byte {
	const hex = "0123456789abcdef"
	out = append(out, '"')
	done := 0
	for i := range len(s) {
		b := s[i]
		if b >= ' ' && b != '"' && b != '\\' {
			continue
		}
		out = append(append(out, s[done:i]...), '\\')
		done = i + 1
		switch b {
		case '"', '\\':
			out = append(out, b)
		case '\b':
			out = append(out, 'b')
		case '\t':
			out = append(out, 't')
		case '\n':
			out = append(out, 'n')
		case '\f':
			out = append(out, 'f')
		case '\r':
			out = append(out, 'r')
		default:
			out = append(out, 'u', '0', '0', hex[b>>4], hex[b&15])
		}
	}
	return append(append(out, s[done:]...), '"')
}
