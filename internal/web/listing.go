package web

import (
	"bytes"
	"mime"
	"net/http"

	"rinsate/internal/access"
	"rinsate/internal/wire"
)

// listing is a list of a page as a file: what the page shows, in the same order and by the same filter,
// without the bound on its length.
type listing struct {
	// Name is the name of the file without its extension and of the sheet in it.
	Name    string
	Columns []wire.SheetColumn
	Rows    [][]string
}

// The formats that a list is taken away in, as ?format= names them.
const (
	csvFormat  = "csv"
	xlsxFormat = "xlsx"
)

// wantsFile says whether the list is asked for as a file. Whoever may not export is refused.
func (x *exchange) wantsFile() (bool, error) {
	switch x.r.URL.Query().Get("format") {
	case "":
		return false, nil
	case csvFormat, xlsxFormat:
		if !x.may(access.Export) {
			return false, forbidden()
		}
		return true, nil
	}
	return false, &pageError{status: http.StatusBadRequest, message: "There is no such format.", hint: "Allowed are csv and xlsx."}
}

// file answers with a list in the format that was asked for.
func (x *exchange) file(l listing) error {
	var b bytes.Buffer
	format, kind := x.r.URL.Query().Get("format"), "text/csv; charset=utf-8"
	if format == xlsxFormat {
		kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
		w := wire.NewSheetWriter(&b, l.Name, l.Columns)
		for _, r := range l.Rows {
			if err := w.Write(r...); err != nil {
				return &pageError{status: http.StatusBadRequest, message: sentence(err.Error())}
			}
		}
		if err := w.Close(); err != nil {
			return err
		}
	} else {
		w := wire.NewWriter(&b, wire.WriterOptions{CRLF: true, BOM: true})
		header := make([]string, len(l.Columns))
		for i, c := range l.Columns {
			header[i] = c.Name
		}
		if err := w.Write(header...); err != nil {
			return err
		}
		for _, r := range l.Rows {
			if err := w.Write(r...); err != nil {
				return err
			}
		}
		if err := w.Flush(); err != nil {
			return err
		}
	}
	x.w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": l.Name + "." + format}))
	x.answer(http.StatusOK, kind, b.Bytes())
	return nil
}

// exports are the addresses under which the list of this page is taken away; empty for whoever may not.
type exports struct{ CSV, XLSX string }

func (x *exchange) exports() exports {
	if !x.may(access.Export) {
		return exports{}
	}
	address := func(format string) string {
		q := x.r.URL.Query()
		q.Set("format", format)
		return x.r.URL.EscapedPath() + "?" + q.Encode()
	}
	return exports{CSV: address(csvFormat), XLSX: address(xlsxFormat)}
}
