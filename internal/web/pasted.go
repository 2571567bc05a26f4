package web

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"

	"rinsate/internal/wire/table"
)

// tableLimit bounds a form with a table that is pasted or uploaded. The whole of it is kept in memory and
// nowhere else.
const tableLimit = 1 << 20

// pasted reads a form with a table as text or as a file and returns the table.
func (x *exchange) pasted() (name string, content []byte, err error) {
	err = x.r.ParseMultipartForm(2 * tableLimit)
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return "", nil, &pageError{status: http.StatusRequestEntityTooLarge, message: fmt.Sprintf("The table is larger than %d kB.", tableLimit>>10), hint: "Send fewer lines."}
	}
	if err != nil {
		return "", nil, &pageError{status: http.StatusBadRequest, message: "The form did not arrive whole.", hint: "Open the page anew and send it again."}
	}
	text := x.r.PostFormValue("table")
	file, header, err := x.r.FormFile("file")
	if err == nil {
		defer file.Close() //nolint:errcheck // it is in memory
		if content, err = io.ReadAll(file); err != nil {
			return "", nil, err
		}
		name = header.Filename
	}
	switch empty := strings.TrimSpace(text) == ""; {
	case empty && len(content) == 0:
		return "", nil, &pageError{status: http.StatusBadRequest, message: "Paste a table or choose a file."}
	case !empty && len(content) > 0:
		return "", nil, &pageError{status: http.StatusBadRequest, message: "There is a pasted table and a file.", hint: "Send one of the two."}
	case !empty:
		return "table", []byte(text), nil
	}
	return name, content, nil
}

// readPasted reads a table with columns that are known.
func readPasted[T any](name string, content []byte, fields []table.Field, read func(*table.Table) ([]T, error)) ([]T, error) {
	t, err := table.Open(name, bytes.NewReader(content), table.Profile{}, fields)
	var rows []T
	if err == nil {
		rows, err = read(t)
	}
	if err != nil {
		return nil, &pageError{status: http.StatusBadRequest, message: sentence(err.Error()), hint: "The first line names the columns: " + columnNames(fields) + "."}
	}
	return rows, nil
}

func columnNames(fields []table.Field) string {
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = f.Name
	}
	return strings.Join(names, ", ")
}
