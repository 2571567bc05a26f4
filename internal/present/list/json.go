package list

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
)

// jsonFile is a list as one document, {"name", "columns", "rows"}, with a row on each line. Cells of a column of
// numbers are numbers where they are, and nothing else is changed: what acts is escaped, so that it arrives.
type jsonFile struct {
	w       *bufio.Writer
	columns []Column
	rows    int
	err     error
}

func newJSON(to io.Writer, name string, columns []Column) (Writer, error) {
	f := &jsonFile{w: bufio.NewWriter(text.NewWriter(to)), columns: columns}
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.Name
	}
	f.put(`{"name":`)
	f.value(name)
	f.put(`,"columns":`)
	f.value(names)
	f.put(`,"rows":[`)
	return f, f.err
}

func (f *jsonFile) put(part string) {
	if f.err == nil {
		_, f.err = f.w.WriteString(part)
	}
}

func (f *jsonFile) value(v any) {
	document, err := json.Marshal(v)
	if f.err == nil {
		f.err = err
	}
	f.put(string(document))
}

func (f *jsonFile) Write(cells ...string) error {
	if f.err == nil && len(cells) != len(f.columns) {
		f.err = fmt.Errorf("row %d has %d cells, the header has %d", f.rows+1, len(cells), len(f.columns))
	}
	row := make([]any, len(cells))
	for i, c := range cells {
		row[i] = c
		if f.err == nil && f.columns[i].Number {
			if n, err := unit.ParseNumber(c); err == nil {
				row[i] = json.Number(n.String())
			}
		}
	}
	if f.rows++; f.rows > 1 {
		f.put(",")
	}
	f.put("\n")
	f.value(row)
	return f.err
}

func (f *jsonFile) Close() error {
	f.put("\n]}\n")
	if f.err == nil {
		f.err = f.w.Flush()
	}
	return f.err
}
