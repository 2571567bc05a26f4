package kit

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"

	"rinsate/internal/wire/table"
)

// TableLimit bounds a form with a table that is pasted or uploaded. The whole of it is kept in memory and
// nowhere else.
const TableLimit = 1 << 20

// Pasted reads a form with a table as text or as a file and returns the table.
func (x *Exchange) Pasted() (name string, content []byte, err error) {
	err = x.R.ParseMultipartForm(2 * TableLimit)
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return "", nil, &PageError{
			Status:  http.StatusRequestEntityTooLarge,
			Message: fmt.Sprintf("The table is larger than %d kB.", TableLimit>>10),
			Hint:    "Send fewer lines.",
		}
	}
	if err != nil {
		return "", nil, &PageError{Status: http.StatusBadRequest, Message: "The form did not arrive whole.", Hint: "Open the page anew and send it again."}
	}
	text := x.R.PostFormValue("table")
	file, header, err := x.R.FormFile("file")
	if err == nil {
		defer file.Close() //nolint:errcheck // it is in memory
		if content, err = io.ReadAll(file); err != nil {
			return "", nil, err
		}
		name = header.Filename
	}
	switch empty := strings.TrimSpace(text) == ""; {
	case empty && len(content) == 0:
		return "", nil, &PageError{Status: http.StatusBadRequest, Message: "Paste a table or choose a file."}
	case !empty && len(content) > 0:
		return "", nil, &PageError{Status: http.StatusBadRequest, Message: "There is a pasted table and a file.", Hint: "Send one of the two."}
	case !empty:
		return "table", []byte(text), nil
	}
	return name, content, nil
}

// ReadPasted reads a table with columns that are known.
func ReadPasted[T any](name string, content []byte, fields []table.Field, read func(*table.Table) ([]T, error)) ([]T, error) {
	t, err := table.Open(name, bytes.NewReader(content), table.Profile{}, fields)
	var rows []T
	if err == nil {
		rows, err = read(t)
	}
	if err != nil {
		return nil, &PageError{
			Status:  http.StatusBadRequest,
			Message: Sentence(err.Error()),
			Hint:    "The first line names the columns: " + columnNames(fields) + ".",
		}
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
