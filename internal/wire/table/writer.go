package table

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"rinsate/internal/base/unit"
)

// WriterOptions choose the form of a file. The zero value is a comma, LF, and no byte order mark.
type WriterOptions struct {
	Delimiter byte // one of , ; | and tab; 0 for a comma
	CRLF      bool // end records with CR LF, as RFC 4180 has it
	BOM       bool // begin with U+FEFF, by which spreadsheets know UTF-8
}

// Writer writes records so that Open reads the same cells back and a spreadsheet runs none of them.
//
// A spreadsheet takes a cell that begins with = + - @, a tab or a line break for a formula, in some
// locales also with the full-width forms of the four signs. Such a cell gets a leading apostrophe,
// unless it is a plain number such as -4.5. A cell that already begins with apostrophes before such
// a character gets one more, so that reading, which takes one off, gives back what was written.
//
// Opened in a spreadsheet that expects another delimiter, a file is split elsewhere and its cells
// begin elsewhere, which no writer can guard against: choose the delimiter for the reader.
type Writer struct {
	w         *bufio.Writer
	delimiter byte
	end       string
	fields    int // of each record; 0 before the first
	records   int
	err       error
}

// NewWriter writes to w. It panics on a delimiter that Open would not find.
func NewWriter(w io.Writer, o WriterOptions) *Writer {
	if o.Delimiter == 0 {
		o.Delimiter = ','
	}
	if strings.IndexByte(candidates, o.Delimiter) < 0 {
		panic(fmt.Sprintf("wire: %q is not a delimiter to write", o.Delimiter))
	}
	out := &Writer{w: bufio.NewWriter(w), delimiter: o.Delimiter, end: "\n"}
	if o.CRLF {
		out.end = "\r\n"
	}
	if o.BOM {
		_, out.err = out.w.WriteString("\uFEFF")
	}
	return out
}

// Write adds a record. It refuses an empty record, one that differs in length from the first, and a
// cell with a NUL or with bytes that are not UTF-8, since those could not be read back. After a
// fault of the writer below every call returns that fault.
func (w *Writer) Write(record ...string) error {
	if w.err != nil {
		return w.err
	}
	if len(record) == 0 || (w.records > 0 && len(record) != w.fields) {
		return fmt.Errorf("record %d has %d fields, the first has %d", w.records+1, len(record), w.fields)
	}
	for i, cell := range record {
		if !utf8.ValidString(cell) || strings.IndexByte(cell, 0) >= 0 {
			return fmt.Errorf("record %d, field %d: \"%s\" is not text", w.records+1, i+1, shorten(cell))
		}
	}
	for i, cell := range record {
		if i > 0 {
			w.put(string(w.delimiter))
		}
		w.cell(neutralise(cell), len(record) == 1)
	}
	w.put(w.end)
	w.fields = len(record)
	w.records++
	return w.err
}

// Flush hands on what is still buffered. Call it at the end and heed its error.
func (w *Writer) Flush() error {
	if w.err == nil {
		w.err = w.w.Flush()
	}
	return w.err
}

func (w *Writer) put(s string) {
	if w.err == nil {
		_, w.err = w.w.WriteString(s)
	}
}

// cell quotes where a reader would otherwise see something else: every delimiter that may be
// looked for, a blank line, a byte order mark, a sep= line, and space that is trimmed by others.
func (w *Writer) cell(s string, alone bool) {
	if strings.ContainsAny(s, candidates+"\"\r\n") || (alone && s == "") ||
		s != strings.TrimSpace(s) || strings.HasPrefix(s, "\uFEFF") ||
		(len(s) >= 4 && strings.EqualFold(s[:4], "sep=")) {
		w.put(`"`)
		w.put(strings.ReplaceAll(s, `"`, `""`))
		w.put(`"`)
		return
	}
	w.put(s)
}

// active says whether text begins as a formula, and armed whether it does after apostrophes.
func active(text string) bool {
	r, _ := utf8.DecodeRuneInString(text)
	return strings.ContainsRune("=+-@\t\r\n＝＋－＠", r)
}

func armed(text string) bool {
	rest := strings.TrimLeft(text, "'")
	return rest != "" && len(rest) < len(text) && active(rest)
}

func neutralise(text string) string {
	if text == "" {
		return text
	}
	if armed(text) {
		return "'" + text
	}
	if active(text) {
		if _, err := unit.ParseNumber(text); err != nil {
			return "'" + text
		}
	}
	return text
}

// restore takes off the apostrophe that neutralise puts on.
func restore(text []byte) []byte {
	if len(text) > 1 && text[0] == '\'' && armed(string(text)) {
		return text[1:]
	}
	return text
}

// SheetColumn is a column of a list that is written to a file.
type SheetColumn struct {
	Name string
	// Number says that its cells are numbers, so that a spreadsheet can count with them. A cell that is
	// no number stays text.
	Number bool
}
