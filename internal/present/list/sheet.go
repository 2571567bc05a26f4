package list

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
)

// The limits of a worksheet (ECMA-376 part 1, section 18.3.1.73, and the published limits of spreadsheets):
// rows, and characters in a cell. The library would cut a longer cell without a word.
const (
	mostSheetRows  = excelize.TotalRows
	mostSheetChars = excelize.TotalCellChars
)

// sheetFile is a list as a workbook with one sheet, the header in bold and kept in view. A cell of a column of
// numbers is a number, an instant is a date that is shown as it was written, and everything else is text and
// never a formula.
type sheetFile struct {
	to      io.Writer
	book    *excelize.File
	series  *excelize.StreamWriter
	columns []Column
	rows    int
	// moments are the styles of instants by their offset from UTC.
	moments map[string]int
	err     error
}

func newSheet(to io.Writer, name string, columns []Column) (Writer, error) {
	s := &sheetFile{to: to, book: excelize.NewFile(), columns: columns, moments: map[string]int{}}
	if err := s.begin(sheetName(name)); err != nil {
		return nil, errors.Join(err, s.book.Close())
	}
	return s, nil
}

// begin makes the sheet and its header.
func (s *sheetFile) begin(name string) error {
	if err := s.book.SetSheetName(s.book.GetSheetName(0), name); err != nil {
		return err
	}
	bold, err := s.book.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return err
	}
	if s.series, err = s.book.NewStreamWriter(name); err != nil {
		return err
	}
	if err := s.series.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	header := make([]any, len(s.columns))
	for i, c := range s.columns {
		width := min(max(12, utf8.RuneCountInString(c.Name)+4), 40)
		if err := s.series.SetColWidth(i+1, i+1, float64(width)); err != nil {
			return err
		}
		header[i] = excelize.Cell{StyleID: bold, Value: text.Line(c.Name)}
	}
	s.rows = 1
	return s.series.SetRow("A1", header)
}

// Write adds a row. It refuses a row of another length than the header and one more row than a sheet has; a
// cell that is too long for a sheet is an error, since a part of it would be lost.
func (s *sheetFile) Write(cells ...string) error {
	switch {
	case s.err != nil:
	case len(cells) != len(s.columns):
		s.err = fmt.Errorf("row %d has %d cells, the header has %d", s.rows, len(cells), len(s.columns))
	case s.rows == mostSheetRows:
		s.err = fmt.Errorf("a sheet holds %d rows at most: narrow the list, or take it as CSV", mostSheetRows-1)
	default:
		row := make([]any, len(cells))
		for i, c := range cells {
			if row[i], s.err = s.cell(c, s.columns[i].Number); s.err != nil {
				return s.err
			}
		}
		s.rows++
		s.err = s.series.SetRow("A"+strconv.Itoa(s.rows), row)
	}
	return s.err
}

// Close ends the workbook and writes it.
func (s *sheetFile) Close() error {
	if s.err == nil {
		s.err = s.series.Flush()
	}
	if s.err == nil {
		_, s.err = s.book.WriteTo(s.to)
	}
	return errors.Join(s.err, s.book.Close())
}

// momentLayout is how unit.Instant is shown: wall time and offset.
const momentLayout = "2006-01-02 15:04 -07:00"

// cell returns what a cell holds.
func (s *sheetFile) cell(shown string, number bool) (any, error) {
	if shown == "" {
		return nil, nil //nolint:nilnil // an empty cell
	}
	if number {
		if n, err := unit.ParseNumber(shown); err == nil {
			if f, err := strconv.ParseFloat(n.String(), 64); err == nil {
				return f, nil
			}
		}
	}
	if at, err := time.Parse(momentLayout, shown); err == nil && len(shown) == len(momentLayout) && at.Year() >= 1901 {
		return s.moment(at, shown[len(shown)-len("-07:00"):])
	}
	shown = text.Line(shown)
	if len(shown) > mostSheetChars && len(utf16.Encode([]rune(shown))) > mostSheetChars {
		return nil, fmt.Errorf("row %d: a cell holds %d characters at most: take the list as CSV", s.rows, mostSheetChars)
	}
	return shown, nil
}

// moment returns a date. A spreadsheet knows wall time only, so that the offset is part of how it is shown:
// 02:30 comes twice in the night in which clocks go back.
func (s *sheetFile) moment(at time.Time, offset string) (any, error) {
	style, ok := s.moments[offset]
	if !ok {
		format := "yyyy-mm-dd hh:mm "
		for _, r := range offset {
			format += `\` + string(r) // as it is: some readers count digits between quotes in
		}
		var err error
		if style, err = s.book.NewStyle(&excelize.Style{CustomNumFmt: &format}); err != nil {
			return nil, err
		}
		s.moments[offset] = style
	}
	wall := time.Date(at.Year(), at.Month(), at.Day(), at.Hour(), at.Minute(), 0, 0, time.UTC)
	return excelize.Cell{StyleID: style, Value: wall}, nil
}

// sheetName makes a name of a sheet: at most 31 units of UTF-16, none of them one of \ / ? * [ ] : nor a quote
// at an end.
func sheetName(name string) string {
	name = strings.Map(func(r rune) rune {
		if strings.ContainsRune(`\/?*[]:`, r) || text.Line(string(r)) != string(r) {
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
