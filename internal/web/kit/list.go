package kit

import (
	"bytes"
	"io"
	"net/http"
	"strings"

	"rinsate/internal/domain/access"
	"rinsate/internal/present/list"
	"rinsate/internal/wire/table"
)

// Listing is a list of a page as a file: what the page shows, in the same order and by the same filter,
// without the bound on its length.
type Listing struct {
	// Name is the name of the file without its extension and of the sheet in it.
	Name    string
	Columns []table.SheetColumn
	Rows    [][]string
}

// The formats that a list is taken away in, as ?format= names them.
const (
	CSV  = string(list.CSV)
	XLSX = string(list.XLSX)
	JSON = string(list.JSON)
)

// WantsFile says whether the list is asked for as a file. Whoever may not export is refused.
func (x *Exchange) WantsFile() (bool, error) { return x.WantsFileOf(access.Export) }

// WantsFileOf is WantsFile for a list that people take away with another permission.
func (x *Exchange) WantsFileOf(need access.Permission) (bool, error) {
	switch x.R.URL.Query().Get("format") {
	case "":
		return false, nil
	case CSV, XLSX, JSON:
		if !x.May(need) {
			return false, Forbidden()
		}
		return true, nil
	}
	return false, NoSuchFormat()
}

// NoSuchFormat refuses a format that lists do not have.
func NoSuchFormat() error {
	return &PageError{Status: http.StatusBadRequest, Message: "There is no such format.", Hint: "Allowed are csv, xlsx and json."}
}

// File answers with a list in the format that was asked for.
func (x *Exchange) File(l Listing) error {
	var b bytes.Buffer
	format := x.R.URL.Query().Get("format")
	err := WriteList(&b, format, l.Name, l.Columns, func(write func(...string) error) error {
		for _, r := range l.Rows {
			if err := write(r...); err != nil {
				return &PageError{Status: http.StatusBadRequest, Message: Sentence(err.Error())}
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	x.Named(l.Name + "." + format)
	x.Answer(http.StatusOK, ListTypes[format], b.Bytes())
	return nil
}

// ListTypes are the types of the formats.
var ListTypes = map[string]string{
	CSV: list.CSV.MediaType(), XLSX: list.XLSX.MediaType(), JSON: list.JSON.MediaType(),
}

// WriteList writes a list; rows calls write for each of its rows.
func WriteList(to io.Writer, format, name string, columns []table.SheetColumn, rows func(write func(...string) error) error) error {
	return list.Write(to, list.Format(format), name, columns, rows)
}

// Exports are the addresses under which the list of this page is taken away; empty for whoever may not.
type Exports struct{ CSV, XLSX string }

// Exports are the addresses of the list of this page; empty for whoever may not export.
func (x *Exchange) Exports() Exports { return x.ExportsOf("", access.Export) }

// ExportsOf is Exports for one of several lists of this page, by its name, and for a list that people take
// away with another permission.
func (x *Exchange) ExportsOf(name string, need access.Permission) Exports {
	if !x.May(need) {
		return Exports{}
	}
	address := func(format string) string {
		q := x.R.URL.Query()
		q.Set("format", format)
		if name != "" {
			q.Set("list", name)
		}
		return x.R.URL.EscapedPath() + "?" + q.Encode()
	}
	return Exports{CSV: address(CSV), XLSX: address(XLSX)}
}

// Columns are columns of text.
func Columns(names ...string) []table.SheetColumn {
	return list.Columns(names)
}

// Mentions says whether one of the texts holds what is looked for, in any case of letters.
func Mentions(wanted string, texts ...string) bool {
	for _, t := range texts {
		if strings.Contains(strings.ToLower(t), strings.ToLower(wanted)) {
			return true
		}
	}
	return false
}
