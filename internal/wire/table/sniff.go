package table

import (
	"bytes"
	"fmt"
)

// candidates are the delimiters that are looked for, the likelier first.
const candidates = ",;\t|"

// sniffed is how many records are looked at.
const sniffed = 50

// prologue takes off a sep= line and the lines to skip, and settles the delimiter; 0 asks to find it.
func (t *Tokenizer) prologue(delimiter byte, skip int) error {
	t.fill()
	if hint, width := sepLine(t.buf[:t.end]); hint != 0 {
		if delimiter != 0 && delimiter != hint {
			return &SyntaxError{
				File: t.name, Line: 1,
				Problem: fmt.Sprintf("the file's first line names the delimiter %q, the profile %q", hint, delimiter),
			}
		}
		delimiter = hint
		t.pos, t.next = width, 2
	}
	for range skip {
		t.skipLine()
	}
	if delimiter == 0 {
		if t.end-t.pos < firstBuffer/2 {
			t.fill()
		}
		delimiter = sniff(t.buf[t.pos:t.end])
	}
	t.delimit(delimiter)
	return nil
}

// sepLine recognises a first line sep=; and returns its delimiter and its length with the break.
func sepLine(text []byte) (delimiter byte, width int) {
	line, _, broken := bytes.Cut(text, []byte("\n"))
	if i := bytes.IndexByte(line, '\r'); i >= 0 {
		line, broken = line[:i], true
	}
	if len(line) != 5 || !bytes.EqualFold(line[:4], []byte("sep=")) || bytes.IndexByte([]byte(candidates), line[4]) < 0 {
		return 0, 0
	}
	width = len(line)
	if broken {
		if bytes.HasPrefix(text[width:], []byte("\r\n")) {
			width++
		}
		width++
	}
	return line[4], width
}

// skipLine passes over a physical line, however long, without keeping it.
func (t *Tokenizer) skipLine() {
	for {
		if t.afterCR && t.pos < t.end {
			if t.buf[t.pos] == '\n' {
				t.pos++
			}
			t.afterCR = false
		}
		if i := bytes.IndexAny(t.buf[t.pos:t.end], "\r\n"); i >= 0 {
			t.pos = t.pastBreak(t.buf[:t.end], t.pos+i)
			t.next++
			return
		}
		t.pos = t.end
		if t.eof || t.fault != nil {
			return
		}
		t.fill()
	}
}

// sniff finds the delimiter in the first records. One that stands equally often in each record, the
// header included, is preferred to one that does not, and then the more frequent one: in a
// semicolon file decimal commas are missing from the header. A file with none of them has one
// column, for which any will do.
func sniff(text []byte) byte {
	var (
		first, count [len(candidates)]int
		steady       = [len(candidates)]bool{true, true, true, true}
		records      int
		quoted       bool
		empty        = true
	)
	finish := func() {
		for k := range count {
			if records == 0 {
				first[k] = count[k]
			} else if count[k] != first[k] {
				steady[k] = false
			}
			count[k] = 0
		}
		records++
		empty = true
	}
	for _, c := range text {
		switch {
		case c == '"':
			quoted, empty = !quoted, false
		case quoted:
		case c == '\n' || c == '\r':
			if !empty {
				finish()
			}
		default:
			empty = false
			if k := bytes.IndexByte([]byte(candidates), c); k >= 0 {
				count[k]++
			}
		}
		if records == sniffed {
			break
		}
	}
	if records == 0 {
		finish() // the record that the text ends in may be cut short, but there is no other
	}
	best := 0
	for k := range first {
		good, bestGood := steady[k] && first[k] > 0, steady[best] && first[best] > 0
		if good != bestGood && good || good == bestGood && first[k] > first[best] {
			best = k
		}
	}
	return candidates[best]
}
