package web

import (
	"bytes"
	"io"
	"log/slog"
	"mime"
	"net/http"
	"time"

	"rinsate/internal/base/text"
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

// named says under which name the answer is kept.
func (x *exchange) named(name string) {
	x.w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
}

// writeList writes a list; rows calls write for each of its rows.
func writeList(to io.Writer, format, name string, columns []table.SheetColumn, rows func(write func(...string) error) error) error {
	// What older records hold must neither break the file nor command the program that opens it.
	shown := func(write func(...string) error) func(...string) error {
		return func(cells ...string) error {
			safe := make([]string, len(cells))
			for i, cell := range cells {
				safe[i] = text.Visible(cell)
			}
			return write(safe...)
		}
	}
	if format == xlsxFormat {
		w := table.NewSheetWriter(to, name, columns)
		if err := rows(shown(w.Write)); err != nil {
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
	if err := rows(shown(w.Write)); err != nil {
		return err
	}
	return w.Flush()
}

// downloadPatience is how long a browser may take for each piece of a long answer.
const downloadPatience = 2 * time.Minute

// stream begins an answer that is too long to be kept in memory, with a name to keep it under, and returns
// where it goes. Once a byte was sent an error can only cut the answer off, so that nobody takes it for a
// whole one.
func (x *exchange) stream(kind, name string) *streamed {
	x.named(name)
	x.w.Header().Set("Content-Type", kind)
	return &streamed{x: x, control: http.NewResponseController(x.w)}
}

// streamed is a long answer on its way.
type streamed struct {
	x       *exchange
	control *http.ResponseController
	begun   bool
}

// Write sends a piece.
func (s *streamed) Write(p []byte) (int, error) {
	s.begun = true
	// A recorder in a test has no deadlines; a browser that takes nothing is let go.
	_ = s.control.SetWriteDeadline(time.Now().Add(downloadPatience)) //nolint:forbidigo // a deadline of the network
	return s.x.w.Write(p)
}

// end ends the answer.
func (s *streamed) end(err error) error {
	if err != nil && s.begun {
		s.x.s.log.Error("a long answer was cut off", slog.String("path", s.x.r.URL.Path), slog.Any("error", err))
		panic(http.ErrAbortHandler)
	}
	if err != nil {
		s.x.w.Header().Del("Content-Disposition")
	}
	return err
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
