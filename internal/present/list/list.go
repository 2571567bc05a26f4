// Package list writes columns and rows for whoever takes them: a CSV file, a workbook, JSON, or a table on a
// terminal. What a cell says is decided by whoever made the list; here it gets the form that the reader can
// take, and nothing in it can act on a terminal, a spreadsheet or the direction of writing.
//
// Begin with Write, or with Terminal for a person at a command line.
package list

import (
	"fmt"
	"io"

	"rinsate/internal/base/text"
	"rinsate/internal/wire/table"
)

// Column is a column of a list: its name, and whether its cells are numbers.
type Column = table.SheetColumn

// Format is a kind of file.
type Format string

// The formats, as they end the names of files.
const (
	CSV  Format = "csv"
	XLSX Format = "xlsx"
	JSON Format = "json"
)

// MediaType is the type of a file of this format.
func (f Format) MediaType() string {
	switch f {
	case CSV:
		return "text/csv; charset=utf-8"
	case XLSX:
		return "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
	case JSON:
		return "application/json"
	}
	return ""
}

// Writer takes the rows of a list one after another. Each has a cell for every column; Close ends the file and
// not the writer below. After an error nothing more is written.
type Writer interface {
	Write(cells ...string) error
	Close() error
}

// New begins a file with the names of the columns. The name is that of the sheet in a workbook.
func New(to io.Writer, f Format, name string, columns []Column) (Writer, error) {
	switch f {
	case CSV:
		return newCSV(to, columns, table.WriterOptions{CRLF: true, BOM: true})
	case XLSX:
		return newSheet(to, name, columns)
	case JSON:
		return newJSON(to, name, columns)
	}
	return nil, fmt.Errorf("a list cannot be written as %q", f)
}

// Write writes a whole file; rows calls write for each row.
func Write(to io.Writer, f Format, name string, columns []Column, rows func(write func(...string) error) error) error {
	w, err := New(to, f, name, columns)
	if err != nil {
		return err
	}
	if err := rows(w.Write); err != nil {
		return err
	}
	return w.Close()
}

// Plain begins a CSV for another program on the same machine: lines end with LF, and there is no byte order
// mark.
func Plain(to io.Writer, columns []Column) (Writer, error) {
	return newCSV(to, columns, table.WriterOptions{})
}

// Columns are columns of text.
func Columns(names []string) []Column {
	columns := make([]Column, len(names))
	for i, name := range names {
		columns[i].Name = name
	}
	return columns
}

// csvFile is a list as CSV, which guards against formulas (table.Writer).
type csvFile struct{ w *table.Writer }

func newCSV(to io.Writer, columns []Column, o table.WriterOptions) (Writer, error) {
	f := csvFile{table.NewWriter(to, o)}
	header := make([]string, len(columns))
	for i, c := range columns {
		header[i] = c.Name
	}
	return f, f.Write(header...)
}

func (f csvFile) Write(cells ...string) error { return f.w.Write(visible(cells)...) }

func (f csvFile) Close() error { return f.w.Flush() }

// visible returns cells fit to be read; the given ones stay as they are.
func visible(cells []string) []string {
	shown := make([]string, len(cells))
	for i, c := range cells {
		shown[i] = text.Line(c)
	}
	return shown
}
