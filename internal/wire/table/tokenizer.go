package table

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

const (
	// DefaultMaxRecord is the longest record, in bytes of UTF-8, that is read when no other limit
	// is set.
	DefaultMaxRecord = 1 << 20

	largestMaxRecord = 1 << 28 // offsets in a record are kept in 32 bits
	maxFields        = 4096    // more columns than any export holds; bounds the offsets kept
	firstBuffer      = 64 << 10
)

// SyntaxError is a fault in the shape of a file: a stray quote, a NUL byte, a record without end,
// text that cannot be decoded, a reader that broke off. Reading ends there, since what follows can
// no longer be told apart.
type SyntaxError struct {
	File    string
	Line    int // physical line, from 1
	Column  int // character in the line, from 1; 0 where the whole record is meant
	Problem string
	Err     error // the cause, where there is one
}

// Error prints file:line:column and the problem.
func (e *SyntaxError) Error() string {
	place := fmt.Sprintf("%s:%d", e.File, e.Line)
	if e.Column > 0 {
		place = fmt.Sprintf("%s:%d", place, e.Column)
	}
	return place + ": " + e.Problem
}

// Unwrap returns the cause.
func (e *SyntaxError) Unwrap() error { return e.Err }

// span is one field's place in the buffer. A doubled quote inside is only taken out when the field
// is asked for, so that a record whose end is not yet in the buffer can be scanned again.
type span struct {
	from, to int32
	doubled  bool
}

// Tokenizer splits UTF-8 text into records and fields by RFC 4180, stricter and in bounded memory:
// its buffer stays below four times the longest record allowed, whatever the input. LF, CR LF and
// a lone CR end a record; blank lines are passed over; rows may differ in length, which is for the
// caller to judge.
type Tokenizer struct {
	name    string
	src     io.Reader
	eof     bool  // src has come to its end
	fault   error // or broke off
	delim   byte
	max     int
	special [256]bool // bytes at which a scan stops to look

	buf      []byte
	pos, end int  // buf[pos:end] is not yet consumed
	afterCR  bool // the last break was a CR at the end of the buffer: an LF belongs to it

	spans    []span
	line     int // where the current record starts
	next     int // the line at pos
	atLine   int // where the last scan ran out of text
	atColumn int
	err      error
}

func newTokenizer(name string, r io.Reader, maxRecord int) *Tokenizer {
	if maxRecord <= 0 {
		maxRecord = DefaultMaxRecord
	}
	return &Tokenizer{
		name: name, src: r, max: min(maxRecord, largestMaxRecord),
		buf: make([]byte, firstBuffer), spans: make([]span, 0, 32), next: 1,
	}
}

func (t *Tokenizer) delimit(delimiter byte) {
	if delimiter >= utf8.RuneSelf || strings.IndexByte("\"\r\n\x00", delimiter) >= 0 {
		panic(fmt.Sprintf("wire: %q cannot be a delimiter", delimiter))
	}
	t.delim = delimiter
	t.special = [256]bool{'"': true, '\r': true, '\n': true, 0: true}
	t.special[delimiter] = true
}

// Next moves to the next record. It returns false at the end and on an error, which Err gives.
func (t *Tokenizer) Next() bool {
	for t.err == nil {
		if t.scan() {
			return true
		}
		switch {
		case t.err != nil:
		case t.end-t.pos > t.max:
			t.tooLong()
		case t.fault != nil:
			t.fail(t.atLine, t.atColumn, t.fault.Error(), t.fault)
		case !t.eof:
			t.fill()
		default:
			t.spans = t.spans[:0]
			return false
		}
	}
	t.spans = t.spans[:0]
	return false
}

// Len returns how many fields the record has.
func (t *Tokenizer) Len() int { return len(t.spans) }

// Field returns the i-th field from 0, without its quotes. The bytes are valid until Next.
func (t *Tokenizer) Field(i int) []byte {
	s := &t.spans[i]
	if s.doubled {
		s.undouble(t.buf)
	}
	return t.buf[s.from:s.to:s.to]
}

// Line returns the physical line, from 1, on which the record starts.
func (t *Tokenizer) Line() int { return t.line }

// Err returns what ended the reading early, a *SyntaxError, or nil.
func (t *Tokenizer) Err() error { return t.err }

// undouble takes out one of each pair of quotes, in place: the text only gets shorter.
func (s *span) undouble(buf []byte) {
	field := buf[s.from:s.to]
	to := bytes.IndexByte(field, '"')
	for i := to; i < len(field); i++ {
		field[to] = field[i]
		to++
		if field[i] == '"' {
			i++
		}
	}
	s.to, s.doubled = s.from+int32(to), false
}

func (t *Tokenizer) fail(line, column int, problem string, cause error) bool {
	t.err = &SyntaxError{File: t.name, Line: line, Column: column, Problem: problem, Err: cause}
	return false
}

func (t *Tokenizer) tooLong() bool {
	return t.fail(t.next, 0, fmt.Sprintf("the record that starts here is longer than %d bytes; is a quote left open?", t.max), nil)
}

// fill moves the unconsumed text to the front of the buffer and reads until the buffer is full.
// The buffer is at least twice that text, so scanning a long record again and again stays linear,
// even when src gives one byte at a time.
func (t *Tokenizer) fill() {
	t.end = copy(t.buf, t.buf[t.pos:t.end])
	t.pos = 0
	if t.end*2 > len(t.buf) {
		larger := make([]byte, 2*len(t.buf))
		copy(larger, t.buf[:t.end])
		t.buf = larger
	}
	for idle := 0; t.end < len(t.buf) && !t.eof && t.fault == nil; {
		n, err := t.src.Read(t.buf[t.end:])
		t.end += n
		if idle++; n > 0 {
			idle = 0
		}
		switch {
		case err == io.EOF:
			t.eof = true
		case err != nil:
			t.fault = err
		case idle == 100:
			t.fault = io.ErrNoProgress
		}
	}
}

// pastBreak returns the place after the line break at i.
func (t *Tokenizer) pastBreak(b []byte, i int) int {
	if b[i] == '\r' {
		if i+1 == len(b) {
			t.afterCR = true
		} else if b[i+1] == '\n' {
			return i + 2
		}
	}
	return i + 1
}

// place is a position's line and where that line starts in the buffer. Columns are only counted
// where a scan stops, so that the fast path counts nothing.
type place struct{ line, start int }

func (p place) column(b []byte, i int) int { return utf8.RuneCount(b[p.start:i]) + 1 }

// partial notes where the text ran out: a fault of the reader is reported there.
func (t *Tokenizer) partial(b []byte, p place) bool {
	t.atLine, t.atColumn = p.line, p.column(b, len(b))
	return false
}

// reject refuses the byte at i of the record that starts at pos.
func (t *Tokenizer) reject(b []byte, i int, p place, problem string) bool {
	if i-t.pos > t.max {
		return t.tooLong()
	}
	if i < len(b) && b[i] == 0 {
		problem = "a NUL byte; the file may be UTF-16 (name the encoding in the profile) or not be text"
	}
	return t.fail(p.line, p.column(b, i), problem, nil)
}

// scan finds the record at pos. It returns false, without moving, when the record's end is not in
// the buffer, and on an error.
func (t *Tokenizer) scan() bool {
	b, i := t.buf[:t.end], t.pos
	if t.afterCR && i < len(b) {
		if b[i] == '\n' {
			i++
		}
		t.afterCR = false
	}
	for i < len(b) && (b[i] == '\n' || b[i] == '\r') {
		i = t.pastBreak(b, i)
		t.next++
	}
	t.pos, t.line = i, t.next
	p := place{line: t.next, start: i}
	if i == len(b) {
		return t.partial(b, p)
	}
	spans, special := t.spans[:0], &t.special
	for {
		var f span
		if i < len(b) && b[i] == '"' {
			var ok bool
			if f, p, ok = t.quoted(b, i, p); !ok {
				return false
			}
			i = int(f.to) + 1
			if i < len(b) && (!special[b[i]] || b[i] == 0) {
				return t.reject(b, i, p, "text follows a closing quote")
			}
		} else {
			from := i
			for i < len(b) && !special[b[i]] {
				i++
			}
			f = span{from: int32(from), to: int32(i)}
			if i < len(b) && (b[i] == '"' || b[i] == 0) {
				return t.reject(b, i, p, "a quote stands in a field that does not begin with one")
			}
		}
		if len(spans) == maxFields {
			return t.reject(b, i, p, fmt.Sprintf("the record has more than %d fields", maxFields))
		}
		spans = append(spans, f)
		if i == len(b) || b[i] != t.delim {
			break
		}
		i++
	}
	if i == len(b) && !t.eof {
		return t.partial(b, p)
	}
	if i-t.pos > t.max {
		return t.tooLong()
	}
	t.spans, t.pos, t.next = spans, i, p.line
	if i < len(b) {
		t.pos = t.pastBreak(b, i)
		t.next++
	}
	return true
}

// quoted scans the field whose opening quote is at i. The span ends at the closing quote.
func (t *Tokenizer) quoted(b []byte, i int, p place) (span, place, bool) {
	opened, at := p, i
	f := span{from: int32(i + 1)}
	for i++; ; i++ {
		for i < len(b) && !t.special[b[i]] {
			i++
		}
		if i == len(b) {
			if t.eof && i-t.pos <= t.max {
				return f, p, t.reject(b, at, opened, "the quote that opens here is never closed")
			}
			return f, p, t.partial(b, p)
		}
		switch b[i] {
		case 0:
			return f, p, t.reject(b, i, p, "")
		case '"':
			if i+1 == len(b) && !t.eof {
				return f, p, t.partial(b, p) // the next byte may double it
			}
			if i+1 == len(b) || b[i+1] != '"' {
				f.to = int32(i)
				return f, p, true
			}
			f.doubled = true
			i++
		case '\r':
			p = place{p.line + 1, i + 1}
		case '\n':
			if b[i-1] != '\r' {
				p.line++
			}
			p.start = i + 1
		}
	}
}
