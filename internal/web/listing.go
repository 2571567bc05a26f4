package web

import (
	"bytes"
	"io"
	"net/http"
	"net/url"
	"strings"

	"rinsate/internal/domain/access"
	"rinsate/internal/wire/table"
)

// listing is a list of a page as a file: what the page shows, in the same order and by the same filter,
// without the bound on its length.
type listing struct {
	// Name is the name of the file without its extension and of the sheet in it.
	Name    string
	Columns []table.SheetColumn
	Rows    [][]string
}

// The formats that a list is taken away in, as ?format= names them.
const (
	csvFormat  = "csv"
	xlsxFormat = "xlsx"
)

// wantsFile says whether the list is asked for as a file. Whoever may not export is refused.
func (x *exchange) wantsFile() (bool, error) { return x.wantsFileOf(access.Export) }

// wantsFileOf is wantsFile for a list that people take away with another permission.
func (x *exchange) wantsFileOf(need access.Permission) (bool, error) {
	switch x.r.URL.Query().Get("format") {
	case "":
		return false, nil
	case csvFormat, xlsxFormat:
		if !x.may(need) {
			return false, forbidden()
		}
		return true, nil
	}
	return false, &pageError{status: http.StatusBadRequest, message: "There is no such format.", hint: "Allowed are csv and xlsx."}
}

// file answers with a list in the format that was asked for.
func (x *exchange) file(l listing) error {
	var b bytes.Buffer
	format := x.r.URL.Query().Get("format")
	err := writeList(&b, format, l.Name, l.Columns, func(write func(...string) error) error {
		for _, r := range l.Rows {
			if err := write(r...); err != nil {
				return &pageError{status: http.StatusBadRequest, message: sentence(err.Error())}
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	x.named(l.Name + "." + format)
	x.answer(http.StatusOK, listKinds[format], b.Bytes())
	return nil
}

// listKinds are the types of the formats.
var listKinds = map[string]string{
	csvFormat: "text/csv; charset=utf-8", xlsxFormat: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}

// writeList writes a list; rows calls write for each of its rows.
func writeList(to io.Writer, format, name string, columns []table.SheetColumn, rows func(write func(...string) error) error) error {
	if format == xlsxFormat {
		w := table.NewSheetWriter(to, name, columns)
		if err := rows(w.Write); err != nil {
			return err
		}
		return w.Close()
	}
	w := table.NewWriter(to, table.WriterOptions{CRLF: true, BOM: true})
	header := make([]string, len(columns))
	for i, c := range columns {
		header[i] = c.Name
	}
	if err := w.Write(header...); err != nil {
		return err
	}
	if err := rows(w.Write); err != nil {
		return err
	}
	return w.Flush()
}

// exports are the addresses under which the list of this page is taken away; empty for whoever may not.
type exports struct{ CSV, XLSX string }

func (x *exchange) exports() exports { return x.exportsOf("", access.Export) }

// exportsOf is exports for one of several lists of this page, by its name, and for a list that people take
// away with another permission.
func (x *exchange) exportsOf(list string, need access.Permission) exports {
	if !x.may(need) {
		return exports{}
	}
	address := func(format string) string {
		q := x.r.URL.Query()
		q.Set("format", format)
		if list != "" {
			q.Set("list", list)
		}
		return x.r.URL.EscapedPath() + "?" + q.Encode()
	}
	return exports{CSV: address(csvFormat), XLSX: address(xlsxFormat)}
}

// columns are columns of text.
func columns(names ...string) []table.SheetColumn {
	list := make([]table.SheetColumn, len(names))
	for i, name := range names {
		list[i].Name = name
	}
	return list
}

// exportsOfList are the addresses of a further list of the page, by its name.
func (x *exchange) exportsOfList(list string) exports {
	e := x.exports()
	for _, address := range []*string{&e.CSV, &e.XLSX} {
		if *address != "" {
			*address += "&list=" + url.QueryEscape(list)
		}
	}
	return e
}

// mentions says whether one of the texts holds what is looked for, in any case of letters.
func mentions(wanted string, texts ...string) bool {
	for _, t := range texts {
		if strings.Contains(strings.ToLower(t), strings.ToLower(wanted)) {
			return true
		}
	}
	return false
}
