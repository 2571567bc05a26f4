package table

import (
	"archive/zip"
	"bufio"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"rinsate/internal/base/unit"
)

// SheetColumn is a column of a list that is written to a file.
type SheetColumn struct {
	Name string
	// Number says that its cells are numbers, so that a spreadsheet can count with them. A cell that is
	// no number stays text.
	Number bool
}

// The limits of a worksheet (ECMA-376 part 1, section 18.3.1.73, and the published limits of
// spreadsheets): rows, and characters in a cell.
const (
	mostSheetRows  = 1 << 20
	mostSheetChars = 32767
)

// SheetWriter writes one worksheet as an Office Open XML workbook (ECMA-376), with the header in bold
// and kept in view. Text is never a formula: a cell is a number or an inline string.
//
// It is no more than what a list needs; a general library for workbooks adds 2.4 MB to the program.
type SheetWriter struct {
	zip     *zip.Writer
	w       *bufio.Writer
	columns []SheetColumn
	rows    int
	err     error
}

// fixedParts are the parts of a workbook that do not depend on what is in it.
var fixedParts = []struct{ name, text string }{
	{"[Content_Types].xml", `<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/><Override PartName="/xl/styles.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"/></Types>`},
	{"_rels/.rels", `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>`},
	{"xl/_rels/workbook.xml.rels", `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/styles" Target="styles.xml"/></Relationships>`},
	{"xl/styles.xml", `<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><fonts count="2"><font><sz val="11"/></font><font><b/><sz val="11"/></font></fonts><fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill></fills><borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="2"><xf xfId="0"/><xf fontId="1" applyFont="1" xfId="0"/></cellXfs></styleSheet>`},
}

// NewSheetWriter begins a workbook with one sheet. The name of the sheet is cut and cleaned to what a
// workbook allows. Close ends it.
func NewSheetWriter(w io.Writer, name string, columns []SheetColumn) *SheetWriter {
	s := &SheetWriter{zip: zip.NewWriter(w), columns: columns}
	for _, p := range fixedParts {
		s.part(p.name, p.text)
	}
	s.part("xl/workbook.xml", `<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="`+escaped(sheetName(name))+`" sheetId="1" r:id="rId1"/></sheets></workbook>`)
	s.begin("xl/worksheets/sheet1.xml")
	s.put(`<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetViews><sheetView workbookViewId="0"><pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/></sheetView></sheetViews><cols>`)
	for i, c := range columns {
		s.put(fmt.Sprintf(`<col min="%d" max="%d" width="%d" customWidth="1"/>`, i+1, i+1, min(max(12, utf8.RuneCountInString(c.Name)+4), 40)))
	}
	s.put(`</cols><sheetData><row>`)
	for _, c := range columns {
		s.text(c.Name, ` s="1"`)
	}
	s.put(`</row>`)
	s.rows = 1
	return s
}

// Write adds a row. It refuses a row of another length than the header and one more row than a sheet
// has; a cell that is too long for a sheet is an error, since a part of it would be lost.
func (s *SheetWriter) Write(cells ...string) error {
	switch {
	case s.err != nil:
	case len(cells) != len(s.columns):
		s.err = fmt.Errorf("row %d has %d cells, the header has %d", s.rows, len(cells), len(s.columns))
	case s.rows == mostSheetRows:
		s.err = fmt.Errorf("a sheet holds %d rows at most: narrow the list, or take it as CSV", mostSheetRows-1)
	default:
		s.put(`<row>`)
		for i, c := range cells {
			s.cell(c, s.columns[i].Number)
		}
		s.put(`</row>`)
		s.rows++
	}
	return s.err
}

// Close ends the workbook. It does not close the writer below.
func (s *SheetWriter) Close() error {
	s.put(`</sheetData></worksheet>`)
	if s.err == nil {
		s.err = s.w.Flush()
	}
	return errors.Join(s.err, s.zip.Close())
}

// declaration begins every part.
const declaration = `<?xml version="1.0" encoding="UTF-8" standalone="yes"?>` + "\n"

func (s *SheetWriter) begin(name string) {
	if s.err != nil {
		return
	}
	w, err := s.zip.Create(name)
	if err != nil {
		s.err = err
		return
	}
	s.w = bufio.NewWriter(w)
	s.put(declaration)
}

func (s *SheetWriter) part(name, text string) {
	s.begin(name)
	s.put(text)
	if s.err == nil {
		s.err = s.w.Flush()
	}
}

func (s *SheetWriter) put(text string) {
	if s.err == nil {
		_, s.err = s.w.WriteString(text)
	}
}

func (s *SheetWriter) cell(text string, number bool) {
	if number {
		if n, err := unit.ParseNumber(text); err == nil {
			s.put(`<c><v>` + n.String() + `</v></c>`)
			return
		}
	}
	s.text(text, "")
}

// text writes a cell of text; style is an attribute or nothing.
func (s *SheetWriter) text(text, style string) {
	switch {
	case text == "":
		s.put(`<c/>`)
	case len(text) > mostSheetChars && len(utf16.Encode([]rune(text))) > mostSheetChars:
		s.err = fmt.Errorf("row %d: a cell holds %d characters at most: take the list as CSV", s.rows, mostSheetChars)
	default:
		s.put(`<c t="inlineStr"` + style + `><is><t xml:space="preserve">` + escaped(text) + `</t></is></c>`)
	}
}

// escaped makes text fit for XML. What XML has no character for is written as _xHHHH_, and text that
// looks like that is kept apart from it (ECMA-376 part 1, section 22.9.2.19, ST_Xstring).
func escaped(text string) string {
	if !strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r >= 0xFFFE || strings.ContainsRune(`_<>&"'`, r) }) {
		return text
	}
	var b strings.Builder
	for i, r := range text {
		switch {
		case r == '_' && encoded(text[i:]):
			b.WriteString("_x005F_")
		case r < ' ' && r != '\t' && r != '\n' || r == 0xFFFE || r == 0xFFFF:
			fmt.Fprintf(&b, "_x%04X_", r)
		default:
			xml.EscapeText(&b, []byte(string(r))) //nolint:errcheck // a Builder takes everything
		}
	}
	return b.String()
}

// encoded says whether text begins with a character that is written as _xHHHH_.
func encoded(text string) bool {
	if len(text) < 7 || text[1] != 'x' || text[6] != '_' {
		return false
	}
	return strings.Trim(text[2:6], "0123456789ABCDEFabcdef") == ""
}

// sheetName makes a name of a sheet: at most 31 units of UTF-16, none of them one of \ / ? * [ ] : nor a
// quote at an end.
func sheetName(name string) string {
	name = strings.Map(func(r rune) rune {
		if strings.ContainsRune(`\/?*[]:`, r) || r < ' ' {
			return '-'
		}
		return r
	}, name)
	for len(utf16.Encode([]rune(name))) > 31 {
		_, last := utf8.DecodeLastRuneInString(name)
		name = name[:len(name)-last]
	}
	if name = strings.Trim(name, "' "); name == "" {
		return "list"
	}
	return name
}
